"""Stage metrics that rest on a model of friction or of waves: each says so."""

from __future__ import annotations

import numpy as np

from pipeline.metrics.declare import Unseen
from pipeline.metrics.view import STAGE, StageView
from pipeline.physics.constants import PERFORATION_FRICTION
from pipeline.physics.fluids import hydrostatic_psi
from pipeline.physics.friction import perforation_friction_psi, pipe_friction_psi
from pipeline.picks.arrays import filled
from pipeline.picks.stepdown import DISCHARGE

MODELLED = "modelled: Churchill (1977) with drag reduction; perforations by Economides and Nolte"
NO_GEOMETRY = Unseen("no casing, perforation depth, TVD or fluid density in the tables")


def _reduction(s: StageView) -> float | Unseen:
    """Drag reduction: as stated, else as calibrated on the stage."""
    if s.design.drag_reduction is not None:
        return s.design.drag_reduction
    return s.pick("drag_reduction")


@STAGE.metric("ratio", "share of plain pipe friction that is missing at the stage's last steady rate", source=MODELLED)
def drag_reduction(s: StageView) -> float | Unseen:
    return s.pick("drag_reduction")


@STAGE.metric("psi", "modelled pipe friction at rate", source=MODELLED)
def modelled_pipe_friction_psi(s: StageView) -> float | Unseen:
    state, reduction = s.at_rate_state, _reduction(s)
    if isinstance(state, Unseen):
        return state
    if isinstance(reduction, Unseen):
        return reduction
    assert s.design.pipe is not None
    pipe = s.design.pipe
    return float(
        pipe_friction_psi(state[0], state[2], pipe.length_ft, pipe.inside_in, drag_reduction=min(reduction, 0.99))
    )


@STAGE.metric("psi", "modelled perforation friction at rate, all holes fired open", source=MODELLED)
def modelled_perf_friction_psi(s: StageView) -> float | Unseen:
    state = s.at_rate_state
    if isinstance(state, Unseen):
        return state
    if not s.design.holes or not s.design.hole_in:
        return Unseen("no holes or hole diameter in the tables")
    return float(perforation_friction_psi(state[0], state[2], s.design.holes, s.design.hole_in, DISCHARGE))


@STAGE.metric("psi", "modelled bottomhole pressure at rate: surface + hydrostatic - pipe friction", source=MODELLED)
def modelled_bottomhole_psi(s: StageView) -> float | Unseen:
    state, friction, tvd = s.at_rate_state, modelled_pipe_friction_psi(s), s.row.get("tvd_ft")
    if isinstance(state, Unseen):
        return state
    if isinstance(friction, Unseen):
        return friction
    if not tvd:
        return NO_GEOMETRY
    return float(state[1] + hydrostatic_psi(state[2], tvd) - friction)


@STAGE.metric("psi", "modelled near-wellbore friction at rate, from the step-down", source=MODELLED)
def modelled_nearwell_friction_psi(s: StageView) -> float | Unseen:
    state, kt = s.at_rate_state, s.pick("step_down_kt")
    if isinstance(state, Unseen) or isinstance(kt, Unseen):
        return state if isinstance(state, Unseen) else kt
    return kt * float(np.sqrt(state[0]))


@STAGE.metric("psi", "perforation friction at rate, from the step-down", source=MODELLED)
def step_down_perf_friction_psi(s: StageView) -> float | Unseen:
    state, kp = s.at_rate_state, s.pick("step_down_kp")
    if isinstance(state, Unseen) or isinstance(kp, Unseen):
        return state if isinstance(state, Unseen) else kp
    return kp * state[0] ** 2


@STAGE.metric("", "open perforations that the step-down implies", source=MODELLED, kind="number")
def open_perforations(s: StageView) -> float | Unseen:
    kp = s.pick("step_down_kp")
    if isinstance(kp, Unseen):
        return kp
    if s.design.pipe is None or not s.design.hole_in:
        return Unseen("no hole diameter or fluid density in the tables")
    if kp <= 0.0:
        return Unseen("the step-down shows no perforation friction")
    square = PERFORATION_FRICTION * s.design.pipe.density_ppg / (kp * s.design.hole_in**4 * DISCHARGE**2)
    return float(np.sqrt(square))


@STAGE.metric("ratio", "open perforations over holes fired", source=MODELLED)
def entry_efficiency(s: StageView) -> float | Unseen:
    holes = open_perforations(s)
    if isinstance(holes, Unseen):
        return holes
    return holes / s.design.holes if s.design.holes else Unseen("no holes in the tables")


@STAGE.metric("psi", "modelled net pressure at rate: bottomhole less entry friction less closure", source=MODELLED)
def modelled_net_pressure_psi(s: StageView) -> float | Unseen:
    bottom, closure, tvd = modelled_bottomhole_psi(s), s.row.get("closure_gradient_psi_ft"), s.row.get("tvd_ft")
    if isinstance(bottom, Unseen):
        return bottom
    if not closure or not tvd:
        return Unseen("no closure gradient in the stages table")
    stepped = step_down_perf_friction_psi(s)
    perf = modelled_perf_friction_psi(s) if isinstance(stepped, Unseen) else stepped
    near = modelled_nearwell_friction_psi(s)
    if isinstance(perf, Unseen):
        return perf
    return float(bottom - perf - (0.0 if isinstance(near, Unseen) else near) - closure * tvd)


@STAGE.metric("psi/ft", "(breakdown pressure + hydrostatic - pipe friction at that rate)/TVD", source=MODELLED)
def breakdown_gradient_psi_ft(s: StageView) -> float | Unseen:
    broke, tvd, pipe = s.picks.effective["breakdown_pressure"], s.row.get("tvd_ft"), s.design.pipe
    if broke.value is None:
        return Unseen(broke.reason)
    if pipe is None or not tvd:
        return NO_GEOMETRY
    reduction = _reduction(s)
    friction = 0.0
    if broke.time_s is not None:
        rate = float(np.interp(broke.time_s, s.time_s, filled(s.rate, 0.0))) if s.time_s.size else 0.0
        share = 0.0 if isinstance(reduction, Unseen) else min(reduction, 0.99)
        friction = float(
            pipe_friction_psi(rate, pipe.density_ppg, pipe.length_ft, pipe.inside_in, drag_reduction=share)
        )
    return float((broke.value + hydrostatic_psi(pipe.density_ppg, tvd) - friction) / tvd)


@STAGE.metric("psi", "modelled pressure across the plug at the highest surface pressure", source=MODELLED)
def plug_differential_psi(s: StageView) -> float | Unseen:
    pipe, tvd, below, reduction = s.design.pipe, s.row.get("tvd_ft"), s.around.below, _reduction(s)
    if pipe is None or not tvd:
        return NO_GEOMETRY
    if below is None:
        return Unseen("no ISIP and falloff of the stage below")
    if isinstance(reduction, Unseen):
        return reduction
    values = np.where(s.main, s.pressure, -np.inf)
    if not s.main.any():
        return Unseen("no main treatment")
    top = int(np.argmax(values))
    friction = pipe_friction_psi(
        float(s.rate[top]), pipe.density_ppg, pipe.length_ft, pipe.inside_in, drag_reduction=min(reduction, 0.99)
    )
    elapsed = (s.at(float(s.time_s[top])) - below.shut_in).total_seconds()
    held = below.isip_psi - below.decline_psi_rt_s * float(np.sqrt(max(elapsed, 0.0)))
    reservoir = (s.row.get("reservoir_gradient_psi_ft") or 0.0) * tvd - float(hydrostatic_psi(pipe.density_ppg, tvd))
    return float(s.pressure[top] - friction - max(held, reservoir, 0.0))


@STAGE.metric("psi", "plug's rating less the differential on it", source=MODELLED)
def plug_margin_psi(s: StageView) -> float | Unseen:
    differential = plug_differential_psi(s)
    if isinstance(differential, Unseen):
        return differential
    if s.around.plug_rating_psi is None:
        return Unseen("no rating of the stage's plug in the tables")
    return float(s.around.plug_rating_psi - differential)


@STAGE.metric("ft/s", "wave speed of the well, from its other stages' hammer periods and perforation depths: 4L/T")
def wave_speed_ft_s(s: StageView) -> float | Unseen:
    found = s.around.wave_speed_ft_s
    return Unseen("fewer than three other stages with a hammer period") if found is None else found


@STAGE.metric("ft", "depth that reflects the water hammer, by other stages' wave speed", source="Wylie and Streeter")
def reflector_depth_ft(s: StageView) -> float | Unseen:
    period, speed = s.pick("hammer_period"), wave_speed_ft_s(s)
    if isinstance(period, Unseen) or isinstance(speed, Unseen):
        return period if isinstance(period, Unseen) else speed
    return float(speed * period / 4.0)


@STAGE.metric("ft", "standard error of the reflector's depth")
def reflector_error_ft(s: StageView) -> float | Unseen:
    depth, period = reflector_depth_ft(s), s.picks.effective["hammer_period"]
    speed, error = s.around.wave_speed_ft_s, s.around.wave_speed_error_ft_s
    if isinstance(depth, Unseen):
        return depth
    if speed is None or error is None or not period.value:
        return Unseen("no error of wave speed or period")
    return float(depth * np.hypot(error / speed, (period.standard_error or 0.0) / period.value))
