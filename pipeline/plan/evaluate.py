"""Evaluate each candidate design: physics along the lateral, models inside their data range, total hours."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from pipeline.models.frames import NET_PSI, plain_pressure_psi
from pipeline.models.predict import Prediction, StoredModel, predict
from pipeline.physics.entry import evenness, limited_entry_split
from pipeline.physics.fluids import hydrostatic_psi
from pipeline.physics.friction import perforation_friction_psi, pipe_friction_psi
from pipeline.physics.hydraulics import hydraulic_horsepower
from pipeline.plan.file import Candidate, NextPad, PlanFile
from pipeline.units import qty

RISE_PSI = 1000.0
"""Pressure at rate exceeds the mean of a stage by up to this (common practice); added when checking the limit. [psi]"""


SIGNED = ("pressure_margin", "mean_pressure_margin")
"""Quantities that can be below zero; of the others the lower limit is zero at the least."""


@dataclass(frozen=True)
class Line:
    """One figure of a design.

    Attributes
    ----------
    design, quantity : str
    value, low, high : float, optional
    unit, basis, note : str
        ``basis`` is physics, model, count or sum.
    as_mean : bool
        Whether the model behind the value is no better than the mean.
    """

    design: str
    quantity: str
    value: float | None
    low: float | None
    high: float | None
    unit: str
    basis: str
    note: str
    as_mean: bool = False


@dataclass(frozen=True)
class Habits:
    """Medians of the team's own runs in the lake; None if no runs are recorded.

    Attributes
    ----------
    wiper_min, plugs_per_wiper : float, optional
    trip_hours : float, optional
        Coil hours of a mill-out other than milling, stalls and wiper trips. [h]
    above_mean_psi : float, optional
        Highest treating pressure of a stage minus its mean at rate. [psi]
    quarter : float
        Last quarter of the data, counted from the first; predictions are made for this time.
    """

    wiper_min: float | None
    plugs_per_wiper: float | None
    trip_hours: float | None
    above_mean_psi: float | None
    quarter: float


def evaluate(plan: PlanFile, models: Mapping[str, StoredModel], habits: Habits) -> list[Line]:
    """Return all figures of all designs of a plan."""
    return [line for design in plan.designs for line in _design(plan, design, models, habits)]


def job_of(pad: NextPad, design: Candidate, habits: Habits, stage: int, stages: int) -> dict[str, Any]:
    """Return the known data of a stage before it is pumped, in the columns of the modelling tables."""
    toe = pad.heel_md_ft + pad.lateral_ft
    bottom = toe - (stage - 1) * design.stage_length_ft
    pipe, perf = _friction(pad, design, bottom)
    carried = 0.5 * ((design.plugs_per_wiper or habits.plugs_per_wiper or 2.0) - 1.0)
    return {
        "frac_crew": design.frac_crew, "coil_crew": design.coil_crew, "design": design.design,
        "operation_mode": pad.operation_mode, "formation": pad.formation, "tvd_ft": pad.tvd_ft,
        "closure_gradient_psi_ft": pad.closure_gradient_psi_ft, "lateral_ft": pad.lateral_ft,
        "nearest_spacing_ft": pad.nearest_spacing_ft, "stage": float(stage), "bottom_perf_ft": bottom,
        "set_depth_ft": bottom, "position_fraction": (toe - bottom) / pad.lateral_ft,
        "pad_order": float(0.5 * stages * pad.wells), "mill_order": float(stages - stage + 1),
        "plugs_since_wiper": carried, "depth_debris": bottom / 1000.0 * carried,
        "quarters": habits.quarter, "stage_length_ft": design.stage_length_ft, "stages_measured": float(stages),
        "designed_proppant_lbm": design.proppant_total_lbm, "designed_pipe_friction_psi": pipe,
        "designed_perf_friction_psi": perf,
        "proppant_lbm_ft": design.proppant_total_lbm * stages / pad.lateral_ft,
    }  # fmt: skip


def _friction(pad: NextPad, design: Candidate, depth_ft: float) -> tuple[float, float]:
    pipe = pipe_friction_psi(
        design.rate_bpm, pad.fluid_density_ppg, depth_ft, pad.casing_inside_in, drag_reduction=design.drag_reduction
    )
    perf = perforation_friction_psi(
        design.rate_bpm, pad.fluid_density_ppg, design.holes, design.hole_diameter_in, design.discharge_coefficient
    )
    return float(pipe), float(perf)


def stage_count(pad: NextPad, design: Candidate) -> int:
    """Return the number of stages in a lateral."""
    return max(round(pad.lateral_ft / design.stage_length_ft), 1)


def _design(plan: PlanFile, design: Candidate, models: Mapping[str, StoredModel], habits: Habits) -> list[Line]:
    pad, stages = plan.pad, stage_count(plan.pad, design)
    lines = [Line(design.name, "stages_per_well", float(stages), None, None, "", "count", "lateral / stage length")]
    lines += _physics(plan, design)
    middle = job_of(pad, design, habits, (stages + 1) // 2, stages)
    toe = job_of(pad, design, habits, 1, stages)
    pressure = predict(models.get("treating_pressure"), middle)
    at_toe = predict(models.get("treating_pressure"), toe)
    lines.append(_said(design, "treating_pressure", pressure, "psi"))
    lines += _margins(design, at_toe, plan.limits.surface_pressure_psi, habits.above_mean_psi)
    for name, unit in (
        ("breakdown_pressure", "psi"), ("screen_out", "ratio"), ("pump_time", "min"), ("fleet_gap", "min"),
        ("mill_minutes", "min"), ("cost_per_stage", "1000 USD"), ("oil_180_days", "bbl/ft"),
    ):  # fmt: skip
        lines.append(_said(design, name, predict(models.get(name), middle), unit))
    return lines + _sums(plan, design, stages, habits, {line.quantity: line for line in lines})


def _margins(design: Candidate, at_toe: Prediction, limit_psi: float, above_psi: float | None) -> list[Line]:
    """Margin of the mean pressure at the toe, and of the highest: as the margin of a measured stage is defined."""

    def margin(room_psi: float, words: str) -> Prediction:
        ends = (at_toe.value, at_toe.high, at_toe.low)
        value, low, high = (None if end is None else room_psi - end for end in ends)
        return Prediction(value, low, high, f"{words}; {at_toe.note}", at_toe.as_mean)

    mean = _said(design, "mean_pressure_margin", margin(limit_psi, "limit minus mean pressure at the toe"), "psi")
    if above_psi is None:
        nothing = "no stages with a highest pressure and a mean at rate"
        return [Line(design.name, "pressure_margin", None, None, None, "psi", "model", nothing), mean]
    words = f"limit minus highest pressure at the toe: the mean and {qty(above_psi, 'psi')}, the median of past stages"
    return [_said(design, "pressure_margin", margin(limit_psi - above_psi, words), "psi"), mean]


def _said(design: Candidate, quantity: str, found: Prediction, unit: str) -> Line:
    low = found.low if found.low is None or quantity in SIGNED else max(found.low, 0.0)
    return Line(design.name, quantity, found.value, low, found.high, unit, "model", found.note, found.as_mean)


def _physics(plan: PlanFile, design: Candidate) -> list[Line]:
    """Check surface pressure along the lateral, entry, plug and horsepower by physics alone."""
    pad, limits = plan.pad, plan.limits
    stages = stage_count(pad, design)
    column = float(hydrostatic_psi(pad.fluid_density_ppg, pad.tvd_ft))
    closure = pad.closure_gradient_psi_ft * pad.tvd_ft
    toe = pad.heel_md_ft + pad.lateral_ft
    depths = [toe - i * design.stage_length_ft for i in range(stages)]
    surface = []
    for depth in depths:
        pipe, perf = _friction(pad, design, depth)
        surface.append(plain_pressure_psi(pad.closure_gradient_psi_ft, pad.fluid_density_ppg, pad.tvd_ft, pipe + perf))
    highest = max(surface)
    over = sum(value + RISE_PSI > limits.surface_pressure_psi for value in surface)
    _, perf = _friction(pad, design, toe)
    stress = closure + np.linspace(-0.5, 0.5, design.clusters) * pad.stress_spread_psi
    _, split = limited_entry_split(
        design.rate_bpm, stress, design.holes / design.clusters, design.hole_diameter_in,
        design.discharge_coefficient, pad.fluid_density_ppg,
    )  # fmt: skip
    below = pad.reservoir_gradient_psi_ft * pad.tvd_ft
    across = highest + column - _friction(pad, design, toe)[0] - below
    power = float(hydraulic_horsepower(highest, design.rate_bpm))

    def line(quantity: str, value: float, unit: str, note: str) -> Line:
        return Line(design.name, quantity, value, None, None, unit, "physics", note)

    room = limits.plug_rating_psi - across
    limit = limits.surface_pressure_psi
    said = f"{over} of {stages} stages would exceed {qty(limit, 'psi')} with {qty(RISE_PSI, 'psi')} margin added"
    margin = said if over else "limit minus the highest surface pressure"
    horses = "" if limits.horsepower is None else f"; {qty(limits.horsepower - power, 'hp', plus=True)} reserve"
    return [
        line("physics_surface_toe", surface[0], "psi", f"closure + {qty(NET_PSI, 'psi')} net + friction - column"),
        line("physics_surface_heel", surface[-1], "psi", "the same at the last stage"),
        line("surface_pressure_limit", limit, "psi", "as the plan file states it"),
        line("physics_margin", limit - highest, "psi", margin),
        line("perforation_friction", perf, "psi", "at design rate through all holes, before they erode"),
        line(
            "entry_spread", evenness(split), "ratio",
            f"coefficient of variation of cluster rates, with a stress spread of {qty(pad.stress_spread_psi, 'psi')}",
        ),
        line(
            "plug_margin", room, "psi",
            f"rating minus {qty(across, 'psi')} across the plug, worst case: reservoir pressure below the plug",
        ),
        line("horsepower", power, "hp", f"at the highest surface pressure{horses}"),
    ]  # fmt: skip


def _sums(plan: PlanFile, design: Candidate, stages: int, habits: Habits, lines: dict[str, Line]) -> list[Line]:
    """Sum hours and cost for the pad. Low sums the lows, high the highs (fully correlated errors): the widest case."""
    pad = plan.pad
    pumped = stages * pad.wells
    gaps = (stages - 1) * pad.wells + (pad.wells - 1)
    fracturing = _added("pad_hours", design, [(lines["pump_time"], pumped / 60.0), (lines["fleet_gap"], gaps / 60.0)])
    plugs = max(stages - 1, 0)
    every = design.plugs_per_wiper or habits.plugs_per_wiper
    extra = None
    if habits.wiper_min is not None and habits.trip_hours is not None and every:
        extra = plugs // every * habits.wiper_min / 60.0 + habits.trip_hours
    milling = _added("mill_out_hours", design, [(lines["mill_minutes"], plugs / 60.0)], extra, needs_extra=True)
    cost = _added("pad_cost", design, [(lines["cost_per_stage"], float(pumped))], unit="1000 USD")
    return [fracturing, milling, cost]


def _added(
    quantity: str, design: Candidate, parts: list[tuple[Line, float]], extra: float | None = 0.0, *,
    needs_extra: bool = False, unit: str = "h",
) -> Line:  # fmt: skip
    missing = [line for line, _ in parts if line.value is None]
    if missing:
        note = f"{missing[0].quantity}: {missing[0].note}"
        return Line(design.name, quantity, None, None, None, unit, "sum", note)
    if extra is None:
        return Line(design.name, quantity, None, None, None, unit, "sum", "no mill-out with wiper trips in the records")
    value = sum((line.value or 0.0) * times for line, times in parts) + extra
    ends = [[getattr(line, end) for line, _ in parts] for end in ("low", "high")]
    low, high = (
        None if any(item is None for item in side)
        else sum(max(item, 0.0) * times for item, (_, times) in zip(side, parts, strict=True)) + extra
        for side in ends
    )  # fmt: skip
    note = "errors of all parts assumed fully correlated: the widest case"
    if as_mean := [line.quantity.replace("_", " ") for line, _ in parts if line.as_mean]:
        note += f"; the model of {' and '.join(as_mean)} is no better than the mean"
    if needs_extra:
        note += f"; {extra:.1f} h of this for wiper trips and trips, from medians of past runs"
    return Line(design.name, quantity, value, low, high, unit, "sum", note)
