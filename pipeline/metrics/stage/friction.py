"""Stage metrics based on a friction or wave model; each states its model."""

from __future__ import annotations

import numpy as np

from pipeline.metrics.declare import Missing, known, known_or
from pipeline.metrics.stage.view import STAGE, StageView
from pipeline.physics.constants import PERFORATION_FRICTION
from pipeline.physics.entry import pressure_at_reference_rate_psi
from pipeline.physics.fluids import hydrostatic_psi, slurry_density_ppg
from pipeline.physics.friction import perforation_friction_psi, pipe_friction_psi
from pipeline.physics.hydraulics import pipe_capacity_bbl
from pipeline.picks.arrays import behind, filled
from pipeline.picks.types import Pipe

MODELLED = "modelled: Churchill (1977) with drag reduction; perforations by Economides and Nolte"
MOST_REDUCTION = 0.99
"""Of drag that is modelled. [1]"""
ERODED_DISCHARGE = 0.9
"""Discharge coefficient of a perforation whose edge is worn round. [1]"""
GROWTH = 1.2
"""Most that the diameter of a perforation grows in a stage, chosen. [1]"""
WARNING_S = 600.0
"""Time over which the slope of bottomhole pressure is measured. [s]"""
SHORTEST_SLOPE_S = 120.0
"""A slope over a shorter time is noise. [s]"""
NO_GEOMETRY = "no casing, perforation depth, TVD or fluid density in the tables"


def _reduction(s: StageView) -> float:
    """Drag reduction: as stated in the tables, otherwise as calibrated on the stage."""
    if s.design.drag_reduction is not None:
        return s.design.drag_reduction
    return s.pick("drag_reduction")


def _pipe_friction_psi(pipe: Pipe, rate_bpm: float, density_ppg: float, reduction: float) -> float:
    """Friction of a stage's pipe; a reduction of all of it is a fault of the calibration. [psi]"""
    length, inside = pipe.length_ft, pipe.inside_in
    return float(
        pipe_friction_psi(rate_bpm, density_ppg, length, inside, drag_reduction=min(reduction, MOST_REDUCTION))
    )


@STAGE.metric("ratio", "share of untreated pipe friction removed at the stage's last steady rate", source=MODELLED)
def drag_reduction(s: StageView) -> float:
    return s.pick("drag_reduction")


@STAGE.metric("psi", "modelled pipe friction at rate", source=MODELLED)
def modelled_pipe_friction_psi(s: StageView) -> float:
    rate, _, density = s.at_rate_state
    return _pipe_friction_psi(known(s.design.pipe, NO_GEOMETRY), rate, density, _reduction(s))


@STAGE.metric("psi", "modelled perforation friction at rate, all holes fired open", source=MODELLED)
def modelled_perf_friction_psi(s: StageView) -> float:
    rate, _, density = s.at_rate_state
    return _perf_friction_psi(s, rate, density)


def _perf_friction_psi(s: StageView, rate_bpm: float, density_ppg: float) -> float:
    """Friction of a stage's perforations, all holes fired open. [psi]"""
    if not s.design.holes or not s.design.hole_in:
        raise Missing("no holes or hole diameter in the tables")
    return float(perforation_friction_psi(rate_bpm, density_ppg, s.design.holes, s.design.hole_in, s.design.discharge))


@STAGE.metric(
    "psi",
    "treating pressure carried to the design rate with modelled losses: from the pressure at rate, or from the mean of "
    "the main treatment where the stage never reached 90 % of the design rate",
    source=MODELLED,
    version=2,
)
def pressure_at_design_rate_psi(s: StageView) -> float:
    rate, pressure, density = s.treated_state
    if not s.design.rate_bpm:
        raise Missing("no design rate in the stages table")
    perf = _perf_friction_psi(s, rate, density)
    pipe = _pipe_friction_psi(known(s.design.pipe, NO_GEOMETRY), rate, density, _reduction(s))
    return float(pressure_at_reference_rate_psi(pressure, rate, s.design.rate_bpm, pipe, perf))


@STAGE.metric("psi", "modelled bottomhole pressure at rate: surface + hydrostatic - pipe friction", source=MODELLED)
def modelled_bottomhole_psi(s: StageView) -> float:
    state, friction, tvd = s.at_rate_state, modelled_pipe_friction_psi(s), s.row.get("tvd_ft")
    if not tvd:
        raise Missing(NO_GEOMETRY)
    return float(state[1] + hydrostatic_psi(state[2], tvd) - friction)


@STAGE.metric("psi", "modelled near-wellbore friction at rate, from the step-down", source=MODELLED)
def modelled_nearwell_friction_psi(s: StageView) -> float:
    state, kt = s.at_rate_state, s.pick("step_down_kt")
    return kt * float(np.sqrt(state[0]))


@STAGE.metric("psi", "perforation friction at rate, from the step-down", source=MODELLED)
def step_down_perf_friction_psi(s: StageView) -> float:
    state, kp = s.at_rate_state, s.pick("step_down_kp")
    return kp * state[0] ** 2


@STAGE.metric("in**2", "flow capacity n*Cd*d^2 of the perforations implied by the step-down", source=MODELLED)
def perforation_capacity_in2(s: StageView) -> float:
    kp = s.pick("step_down_kp")
    if s.design.pipe is None:
        raise Missing("no fluid density in the tables")
    if kp <= 0.0:
        raise Missing("the step-down shows no perforation friction")
    return float(np.sqrt(PERFORATION_FRICTION * s.design.pipe.density_ppg / kp))


@STAGE.metric("", "open perforations implied by the step-down, if none has eroded", source=MODELLED, kind="number")
def open_perforations(s: StageView) -> float:
    capacity = perforation_capacity_in2(s)
    if not s.design.hole_in:
        raise Missing("no hole diameter in the tables")
    return capacity / (s.design.discharge * s.design.hole_in**2)


@STAGE.metric(
    "ratio",
    "open perforations over holes fired, at the most: no hole has eroded, and none is more than open",
    source=MODELLED,
)
def perforation_efficiency_high(s: StageView) -> float:
    return _efficiency(s, s.design.discharge, known(s.design.hole_in, "no hole diameter in the tables"))


@STAGE.metric(
    "ratio",
    "open perforations over holes fired, at the least: all holes have eroded by a fifth of their diameter to a "
    "discharge coefficient of 0.9",
    source="coefficients of eroded perforations: Crump and Conway 1988, from memory; growth of the diameter chosen",
)
def perforation_efficiency_low(s: StageView) -> float:
    return _efficiency(s, ERODED_DISCHARGE, known(s.design.hole_in, "no hole diameter in the tables") * GROWTH)


@STAGE.metric(
    "ratio",
    "open perforations over holes fired, from n*Cd*d^2 of the step-down and the diameter measured after the treatment",
    source=MODELLED,
)
def perforation_efficiency(s: StageView) -> float:
    eroded = s.row.get("eroded_hole_diameter_in")
    if not eroded:
        raise Missing("no eroded hole diameter in the tables: between the lowest and the highest efficiency")
    return _efficiency(s, s.design.discharge, eroded)


def _efficiency(s: StageView, discharge: float, diameter_in: float) -> float:
    capacity = perforation_capacity_in2(s)
    if not s.design.holes:
        raise Missing("no holes in the tables")
    return min(capacity / (s.design.holes * discharge * diameter_in**2), 1.0)


@STAGE.metric(
    "psi",
    "modelled bottomhole pressure at rate minus perforation friction minus closure: net pressure and near-wellbore "
    "friction together",
    source=MODELLED,
)
def pressure_above_closure_psi(s: StageView) -> float:
    bottom, closure, tvd = modelled_bottomhole_psi(s), s.row.get("closure_gradient_psi_ft"), s.row.get("tvd_ft")
    if not closure or not tvd:
        raise Missing("no closure gradient in the stages table")
    try:
        perf = step_down_perf_friction_psi(s)
    except Missing:
        perf = modelled_perf_friction_psi(s)
    return float(bottom - perf - closure * tvd)


@STAGE.metric(
    "psi",
    "modelled net pressure at rate: pressure above closure minus the near-wellbore friction of the step-down",
    source=MODELLED,
    version=2,
)
def modelled_net_pressure_psi(s: StageView) -> float:
    return pressure_above_closure_psi(s) - modelled_nearwell_friction_psi(s)


@STAGE.metric(
    "psi/min",
    "slope of modelled bottomhole pressure over the last ten minutes at rate with proppant at the perforations: a "
    "rising pressure warns of a screen-out",
    source=MODELLED,
)
def bottomhole_slope_psi_min(s: StageView) -> float:
    pipe, tvd = s.design.pipe, s.row.get("tvd_ft")
    if pipe is None or not tvd:
        raise Missing(NO_GEOMETRY)
    if s.conc is None:
        raise Missing("no proppant concentration in the record")
    if not s.at_rate.any():
        raise Missing("never at rate")
    pumped, loaded = s.pumped_in
    late = s.at_rate & (behind(pumped, loaded, pipe_capacity_bbl(pipe.inside_in, pipe.length_ft)) > 0.0)
    if not late.any():
        raise Missing("no proppant at the perforations at rate")
    last = s.time_s[np.flatnonzero(late)[-1]]
    late &= s.time_s > last - WARNING_S
    if np.ptp(s.time_s[late]) < SHORTEST_SLOPE_S:
        raise Missing("less than two minutes at rate with proppant at the perforations")
    column_bbl = pipe_capacity_bbl(pipe.inside_in, min(tvd, pipe.length_ft))
    mean_ppa = (loaded - behind(pumped, loaded, column_bbl))[late] / column_bbl
    density = slurry_density_ppg(pipe.density_ppg, mean_ppa, s.design.absolute_volume_gal_lbm)
    bottom = s.pressure[late] + hydrostatic_psi(density, tvd)
    minutes = s.time_s[late] / 60.0
    centred = minutes - minutes.mean()
    return float((centred @ bottom) / (centred @ centred))


@STAGE.metric("psi/ft", "(breakdown pressure + hydrostatic - pipe friction at that rate)/TVD", source=MODELLED)
def breakdown_gradient_psi_ft(s: StageView) -> float:
    broke, tvd, pipe = s.picks.effective["breakdown_pressure"], s.row.get("tvd_ft"), s.design.pipe
    if broke.value is None:
        raise Missing(broke.reason)
    if pipe is None or not tvd:
        raise Missing(NO_GEOMETRY)
    friction = 0.0
    if broke.time_s is not None:
        rate = float(np.interp(broke.time_s, s.time_s, filled(s.rate, 0.0))) if s.time_s.size else 0.0
        friction = _pipe_friction_psi(pipe, rate, pipe.density_ppg, known_or(_reduction, s, 0.0))
    return float((broke.value + hydrostatic_psi(pipe.density_ppg, tvd) - friction) / tvd)


@STAGE.metric("psi", "modelled pressure across the plug at the highest surface pressure", source=MODELLED)
def plug_differential_psi(s: StageView) -> float:
    pipe, tvd, below, reduction = s.design.pipe, s.row.get("tvd_ft"), s.around.below, _reduction(s)
    if pipe is None or not tvd:
        raise Missing(NO_GEOMETRY)
    if below is None:
        raise Missing("no ISIP and falloff of the stage below")
    values = np.where(s.main, s.pressure, -np.inf)
    if not s.main.any():
        raise Missing("no main treatment")
    top = int(np.argmax(values))
    friction = _pipe_friction_psi(pipe, float(s.rate[top]), pipe.density_ppg, reduction)
    elapsed = (s.at(float(s.time_s[top])) - below.shut_in).total_seconds()
    held = below.isip_psi - below.decline_psi_rt_s * float(np.sqrt(max(elapsed, 0.0)))
    reservoir = (s.row.get("reservoir_gradient_psi_ft") or 0.0) * tvd - float(hydrostatic_psi(pipe.density_ppg, tvd))
    return float(s.pressure[top] - friction - max(held, reservoir, 0.0))


@STAGE.metric("psi", "plug rating minus the differential across it", source=MODELLED)
def plug_margin_psi(s: StageView) -> float:
    differential = plug_differential_psi(s)
    if s.around.plug_rating_psi is None:
        raise Missing("no rating of the stage's plug in the tables")
    return float(s.around.plug_rating_psi - differential)


@STAGE.metric("ft/s", "wave speed of the well, from its other stages' hammer periods and perforation depths: 4L/T")
def wave_speed_ft_s(s: StageView) -> float:
    return known(
        s.around.wave_speed_ft_s,
        "no other stage of the well with a perforation depth and a hammer period of medium confidence or better",
    )


@STAGE.metric("ft", "depth of the water hammer reflector, from other stages' wave speed", source="Wylie and Streeter")
def reflector_depth_ft(s: StageView) -> float:
    period, speed = s.pick("hammer_period"), wave_speed_ft_s(s)
    pick = s.picks.effective["hammer_period"]
    if pick.confidence == "low" and not pick.by_engineer:  # two samples per period show a wave of another length
        raise Missing(f"the period of the water hammer is in doubt: {pick.reason}")
    return float(speed * period / 4.0)


@STAGE.metric("ft", "standard error of the reflector's depth")
def reflector_error_ft(s: StageView) -> float:
    depth, period = reflector_depth_ft(s), s.picks.effective["hammer_period"]
    speed, error = s.around.wave_speed_ft_s, s.around.wave_speed_error_ft_s
    if speed is None or error is None or not period.value:
        raise Missing("no error of wave speed or period")
    return float(depth * np.hypot(error / speed, (period.standard_error or 0.0) / period.value))
