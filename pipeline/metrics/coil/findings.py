"""Findings about coil runs and plugs."""

from __future__ import annotations

from collections import defaultdict
from typing import Any

import numpy as np

from pipeline.metrics.coil.view import RunView
from pipeline.metrics.findings import finding
from pipeline.picks.coil_record import GAP_S
from pipeline.units import qty

Row = dict[str, Any]
TAG_OFF_FT = 30.0
"""Largest distance of a tag from its expected depth without a finding (common practice). [ft]"""
AT_TARGET_FT = 30.0
"""A stop this near to the planned depth of a run is at bottom (common practice). [ft]"""
SLOW_PLUG = 2.5
"""Largest ratio of a plug's mill time to the median of its kind without a finding. [1]"""
STALL_CLUSTER = 4
"""Number of stalls on one plug that counts as a cluster. [1]"""
LOSS_MIN = 5.0
"""Lost returns for this long or longer are a finding. [min]"""
OVER_LIMIT_S = 5.0
"""Rate above the motor's limit for longer than this is a finding. [s]"""


def run_findings(well_id: str, run: int, view: RunView, measured: Row) -> list[Row]:
    """Return the findings about a coil run."""
    found: list[tuple[str, str]] = []
    path = view.path
    if path is None:
        return [finding(well_id, "run", run, "no_depth", "no depth in the record: the run cannot be measured")]
    if view.assigned.unusable:
        found.append(("depth_unit", view.assigned.unusable))
    for moment, jump in path.jumps_ft:
        at = f"{view.moment(moment):%Y-%m-%d %H:%M:%S} UTC"
        found.append(
            ("depth_jump", f"depth counter jump of {qty(jump, 'ft', plus=True)} at {at}, removed from the depths")
        )
    if len(path.gaps_s):
        lost = float(np.diff(path.gaps_s, axis=1).sum()) / 60.0
        found.append(("depth_gap", f"{len(path.gaps_s)} gap(s) of more than {GAP_S:.0f} s, {lost:.0f} min in total"))
    absent = [
        name for name, channel in (
            ("circulating pressure", view.record.pressure_psi), ("pump rate", view.record.pump_bpm),
            ("weight", view.record.weight_lbf), ("return rate", view.record.return_bpm),
        ) if channel is None
    ]  # fmt: skip
    if absent:
        found.append(("missing_channel", f"no {', no '.join(absent)} in the record"))
    if view.reversed_weight:
        found.append(
            ("weight_reversed", "the weight is negative with the coil hanging: its sign is treated as reversed")
        )
    target = view.row.get("target_depth_ft")
    for stop in view.assigned.other:
        if target is not None and abs(stop.depth_ft - target) <= AT_TARGET_FT:
            continue  # the mill tags bottom where the run was to end
        text = f"motor working for {stop.working_min:.0f} min at {qty(stop.depth_ft, 'ft')}, not at any listed plug"
        found.append(("stop_without_plug", text))
    for moment, depth, excess in view.overpulls:
        at = f"{view.moment(moment):%Y-%m-%d %H:%M:%S} UTC"
        found.append(("overpull", f"{qty(excess, 'lbf')} above the pulling weight nearby at {qty(depth, 'ft')}, {at}"))
    if measured["locked_up"]:
        found.append(("lock_up", f"the coil could not pass {qty(measured['lock_up_depth_ft'], 'ft')}"))
    short = measured["short_of_target_ft"]
    if short is not None and short > 100.0:
        found.append(("short_of_target", f"the run ended {qty(short, 'ft')} short of its planned depth"))
    loss = measured["lost_returns_min"]
    if loss is not None and loss >= LOSS_MIN:
        found.append(("lost_returns", f"less than 70 % of the pumped rate returned for {loss:.0f} min"))
    over = measured["over_motor_limit_s"]
    if over is not None and over > OVER_LIMIT_S:
        found.append(("over_motor_limit", f"rate above the motor's limit for {over:.0f} s with the bypass closed"))
    if measured["bypass_used"] is False:
        found.append(("bypass_not_opened", "wiper trips were pumped within the motor's rate limit"))
    margin = measured["lateral_margin"]
    if margin is not None and margin < 1.0:
        speed, planned = measured["wiper_lateral_velocity_ft_min"], measured["planned_velocity_ft_min"]
        text = f"{qty(speed, 'ft/min')} in the lateral on wiper trips, {qty(planned, 'ft/min')} planned to move debris"
        found.append(("slow_annulus", text))
    return [finding(well_id, "run", run, kind, message) for kind, message in found]


def plug_findings(well_id: str, plugs: list[Row], described: dict[int, Row]) -> list[Row]:
    """Return the findings about the plugs of a coil run."""
    kinds: dict[str, list[float]] = defaultdict(list)
    for row in plugs:
        if row["mill_min"] is not None:
            kinds[_kind(described, row)].append(row["mill_min"])
    found: list[Row] = []

    def say(row: Row, kind: str, message: str) -> None:
        found.append(finding(well_id, "plug", row["plug"], kind, message))

    for row in plugs:
        if row["mill_min"] is None:
            say(row, "plug_not_milled", _why(row["missing_because"], "mill_min"))
            continue
        alike = kinds[_kind(described, row)]
        middle = float(np.median(alike))
        if len(alike) >= 3 and row["mill_min"] > SLOW_PLUG * middle:
            text = (
                f"milled in {row['mill_min']:.0f} min; the run's median for {_kind(described, row)} is {middle:.0f} min"
            )
            say(row, "slow_plug", text)
        if row["stalls"] is not None and row["stalls"] >= STALL_CLUSTER:
            say(row, "stall_cluster", f"{row['stalls']} stalls on one plug")
        off = row["off_depth_ft"] if row["off_depth_ft"] is not None else row["depth_error_ft"]
        if off is not None and abs(off) > TAG_OFF_FT:
            say(row, "off_depth", f"tagged {qty(off, 'ft', plus=True)} from its set depth")
    return found


def _kind(described: dict[int, Row], row: Row) -> str:
    material = described[row["plug"]].get("material")
    return f"{material} plugs" if material else "plugs"


def _why(reasons: str | None, metric: str) -> str:
    for part in (reasons or "").split("; "):
        if part.startswith(f"{metric}: "):
            return part.removeprefix(f"{metric}: ")
    return "no reason recorded"
