"""Measure the stages of one well: picks first, then data shared between stages, then metrics."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise
from typing import Any

import numpy as np

from pipeline.metrics.findings import finding, reported_findings
from pipeline.metrics.stage import friction, metrics, slurry
from pipeline.metrics.stage.findings import stage_findings
from pipeline.metrics.stage.plausible import Levels, Suspect, beside, doubted, exchanged, levels, suspects
from pipeline.metrics.stage.view import STAGE, Below, StageView, Surroundings
from pipeline.metrics.stage.waves import casing_wave_speed_ft_s, pooled_wave_speed
from pipeline.metrics.well import Rows, Samples, WellInput, WellRows, amended, casing, parts, pick_row, settle
from pipeline.physics.constants import CAPACITY_IN2_FT_PER_BBL
from pipeline.physics.fluids import absolute_volume_gal_per_lbm
from pipeline.physics.hydraulics import pipe_capacity_bbl
from pipeline.picks.pump_down import PumpDown, find_pump_down, pump_down_between
from pipeline.picks.stage import StagePicks, pick_stage
from pipeline.picks.types import DISCHARGE, Pipe, StageDesign, StageRecord

OVERLAP_S = 300.0
"""Two stages of a well cannot pump at once for longer. [s]"""
METRICS = (metrics, slurry, friction)
"""Importing these modules declares the metrics."""


@dataclass
class Picked:
    """A stage with its samples, its row of the stages table, and its picks.

    `suspects` are the channels whose declared unit physics contradicts.
    """

    samples: Samples
    row: dict[str, Any]
    design: StageDesign
    picks: StagePicks
    suspects: list[Suspect]

    @property
    def number(self) -> int:
        """The stage."""
        return self.samples.number

    @property
    def origin(self) -> datetime:
        """First sample of the record, UTC."""
        return self.samples.origin


def pick_stages(well: WellInput) -> list[Picked]:
    """Make the picks of a well's stages, with the amendments applied."""
    described = {row["stage"]: row for row in well.tables["stages"]}
    reported = {row["stage"]: row for row in well.tables["reported"]}
    picked: list[Picked] = []
    shows: list[Levels] = []
    for samples in parts(well.treatment, "stage"):
        row = described.get(samples.number, {})
        design = stage_design(row, well.tables["strings"], well.planning.main_rate_bpm)
        given = amended(well, "stage", samples.number, samples.origin)
        picks = pick_stage(stage_record(samples), design, given)
        shows.append(levels(picks))
        odd = suspects(picks, design, row, reported.get(samples.number, {}), shows[-1])
        picked.append(Picked(samples, row, design, picks, odd))
    for one, other in zip(picked, beside(shows), strict=True):
        one.suspects += [odd for odd in other if odd.channel not in {own.channel for own in one.suspects}]
        one.picks = doubted(one.picks, one.suspects)
    return picked


def measure_stages(well: WellInput, rows: WellRows) -> dict[int, tuple[datetime, PumpDown]]:
    """Add the rows of a well's stages.

    Returns
    -------
    dict of int to (datetime, PumpDown)
        Pump-downs in the stage records, keyed by the stage they prepare, with the record's start time.
    """
    reported = {row["stage"]: row for row in well.tables["reported"]}
    picked = pick_stages(well)
    for one in picked:
        rows.findings += [finding(well.well_id, "stage", one.number, "unit_suspect", odd.words) for odd in one.suspects]
    rows.findings += _date_findings(well, picked)
    rows.findings += _overlaps(well, picked)
    pumped_down = {}
    for one in picked:
        found = _pump_down(well, one, rows)
        if found is not None:
            pumped_down[one.number + 1] = (one.origin, found)
    plugs = {row["plug"]: row for row in well.tables["plugs"]}
    for one in picked:
        around = _surroundings(one, picked, plugs)
        view = StageView(one.picks, one.design, one.row, one.origin, around, bool(one.suspects))
        measured = STAGE.measure({"well_id": well.well_id, "stage": one.number}, view)
        rows.stages.append(measured)
        for name, pick in one.picks.automatic.items():
            effective = one.picks.effective[name]
            rows.picks.append(pick_row(well, "stage", one.number, pick, one.origin, effective))
        rows.findings += stage_findings(well.well_id, one.number, view, measured)
        rows.findings += reported_findings(well.well_id, one.number, reported.get(one.number, {}), measured)
    return pumped_down


def _pump_down(well: WellInput, one: Picked, rows: WellRows) -> PumpDown | None:
    """Measure the pump-down in a stage's record between its effective picks, whose rows are added."""
    automatic = find_pump_down(one.picks.timeline)
    if automatic is None:
        return None
    run = one.number + 1  # the stage that it prepares
    start, end = (pick.time_s for pick in settle(well, rows, "wireline", run, one.origin, *automatic))
    assert start is not None and end is not None
    return pump_down_between(one.picks.timeline, min(start, end), max(start, end))


def _overlaps(well: WellInput, picked: list[Picked]) -> Rows:
    """Return the stages that pump at the same time as the one before: a well has one pumping at a time."""
    spans = [
        (one.origin + timedelta(seconds=float(line.record.time_s[line.main])), one)
        for one in picked
        if (line := one.picks.timeline).main is not None
    ]
    found = []
    for (_, one), (start, other) in pairwise(sorted(spans, key=lambda item: item[0])):
        line = one.picks.timeline
        last = -1 if line.end is None else line.end
        end = one.origin + timedelta(seconds=float(line.record.time_s[last]))
        if (end - start).total_seconds() > OVERLAP_S:
            text = f"it pumps at the same time as stage {one.number} of the well: the clock of one of them is wrong"
            found.append(finding(well.well_id, "stage", other.number, "overlapping_records", text))
    return found


def _date_findings(well: WellInput, picked: list[Picked]) -> Rows:
    """Return the stages whose date fits the well's other dates only with day and month exchanged."""
    told = [row["set_time"] for row in well.tables["plugs"]]
    told += [row["start_time"] for row in well.tables["wireline"]]
    known = [moment for moment in told if moment is not None]
    found = []
    for one in picked:
        others = known + [other.origin for other in picked if other is not one]
        if (other := exchanged(one.origin, others)) is not None:
            text = (
                f"the record begins on {one.origin:%Y-%m-%d}, far from the well's other dates; with day and month "
                f"exchanged it is {other:%Y-%m-%d}: check `format` of the time in the map"
            )
            found.append(finding(well.well_id, "stage", one.number, "date_suspect", text))
    return found


def _surroundings(one: Picked, picked: list[Picked], plugs: dict[int, dict[str, Any]]) -> Surroundings:
    """Data from the rest of the well for a stage; its own hammer is never used for its own wave speed."""
    speeds, errors = [], []
    for other in picked:
        period, depth = other.picks.effective["hammer_period"], other.row.get("bottom_perf_ft")
        if other is not one and period.value and period.confidence not in ("low", "none") and depth:
            speeds.append(4.0 * depth / period.value)
            errors.append(speeds[-1] * (period.standard_error or 0.0) / period.value)
    speed, error = pooled_wave_speed(speeds, errors) or (None, None)
    plug = plugs.get(one.number, {})
    return Surroundings(speed, error, _below(one, picked), plug.get("set_depth_ft"), plug.get("rating_psi"))


def _below(one: Picked, picked: list[Picked]) -> Below | None:
    for other in picked:
        if other.number != one.number - 1:
            continue
        isip, later = other.picks.effective["isip"], other.picks.effective["pressure_5min"]
        end = other.picks.effective["shut_in"].time_s
        if isip.value is None or end is None:
            return None
        decline = 0.0 if later.value is None else max((isip.value - later.value) / np.sqrt(300.0), 0.0)
        return Below(other.origin + timedelta(seconds=end), isip.value, float(decline))
    return None


def stage_record(samples: Samples) -> StageRecord:
    """Return a stage's samples in the form that the picks read."""
    return StageRecord(
        samples.time_s,
        samples.channels["treating_pressure_psi"],
        samples.channels["slurry_rate_bpm"],
        samples.channel("clean_rate_bpm"),
        samples.channel("proppant_conc_ppa"),
        samples.channel("friction_reducer_gpt"),
        samples.channel("downhole_pressure_psi"),
    )


def stage_design(row: dict[str, Any], strings: Rows, main_bpm: float | None = None) -> StageDesign:
    """Return what the tables (and, for the main rate, the settings) state about a stage before it is pumped."""
    depth, density = row.get("bottom_perf_ft"), row.get("fluid_density_ppg")
    gravity = row.get("proppant_specific_gravity")
    capacity = casing_volume_bbl(strings, depth)
    pipe = None
    if capacity is not None and depth and density:
        equal = float(np.sqrt(capacity * CAPACITY_IN2_FT_PER_BBL / depth))
        pipe = Pipe(depth, equal, density, casing_wave_speed_ft_s(strings, depth, density))
    known = {"absolute_volume_gal_lbm": float(absolute_volume_gal_per_lbm(gravity))} if gravity else {}
    shot = row.get("holes_shot")
    return StageDesign(
        rate_bpm=row.get("designed_rate_bpm"),
        capacity_bbl=capacity,
        pressure_limit_psi=row.get("pressure_limit_psi"),
        proppant_lbm=row.get("designed_proppant_lbm"),
        pipe=pipe,
        holes=shot if shot is not None else row.get("holes_designed"),
        hole_in=row.get("hole_diameter_in"),
        drag_reduction=row.get("drag_reduction"),
        main_bpm=row.get("stated_main_rate_bpm") or main_bpm,
        discharge=row.get("discharge_coefficient") or DISCHARGE,
        **known,
    )


def casing_volume_bbl(strings: Rows, depth_ft: float | None) -> float | None:
    """Volume of the casing from surface to a depth, section by section. [bbl]

    None if depth or diameter is unknown for any part of the path.
    """
    rows = casing(strings)
    if depth_ft is None or not rows:
        return None
    volume, reached = 0.0, 0.0
    for row in rows:
        top, bottom, inside = row["top_md_ft"], row["bottom_md_ft"], row["inside_diameter_in"]
        if None in (top, bottom, inside) or top > reached + 1.0:
            return None
        length = min(bottom, depth_ft) - reached
        if length > 0.0:
            volume += float(pipe_capacity_bbl(inside, length))
            reached += length
    return volume if reached >= depth_ft - 1.0 else None
