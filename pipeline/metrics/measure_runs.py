"""Measure the coil runs and plugs of one well."""

from __future__ import annotations

from typing import Any

import polars as pl

from pipeline.metrics.coil import PLUG, RUN, PlugView, RunView
from pipeline.metrics.findings import coil_findings
from pipeline.metrics.well import WellInput, WellRows, amended, parts, pick_row
from pipeline.picks import coil as coil_picks
from pipeline.picks.coil import CoilRecord, PlugPicks
from pipeline.picks.record import Pick


def measure_runs(well: WellInput, rows: WellRows) -> None:
    """Add the rows of a well's coil runs and plugs."""
    runs = {row["run"]: row for row in well.tables["coil_runs"]}
    done: set[int] = set()
    for run, frame in parts(well.coil, "run"):
        done |= _measure_run(well, run, frame, runs.get(run, {}), done, rows)


def _measure_run(
    well: WellInput, run: int, frame: pl.DataFrame, row: dict[str, Any], done: set[int], rows: WellRows
) -> set[int]:
    """Measure one coil run; returns the plugs that it milled."""
    view = _run_view(well, frame, row)
    frontier = coil_picks.frontier_ft(view.depth)
    plugs = [plug for plug in well.tables["plugs"] if plug["set_depth_ft"] is not None and plug["plug"] not in done]
    if row.get("kind") not in (None, "mill-out"):
        plugs = []
    present = coil_picks.present_s(view.record, view.depth, frontier)
    milled: dict[int, PlugPicks] = {}
    for plug in sorted(plugs, key=lambda item: float(item["set_depth_ft"])):
        if float(plug["set_depth_ft"]) > frontier[-1] + coil_picks.COUNTER_ERROR_FT:
            continue
        milled[plug["plug"]] = coil_picks.pick_plug(view.record, present, frontier, plug["set_depth_ft"])
    automatic, trips = dict(milled), view.trip_pick
    for number, found in milled.items():
        given = amended(well, "plug", number, view.origin)
        milled[number] = PlugPicks(_over(found.tag, given), _over(found.mill, given))
    view.trip_pick = _over(trips, amended(well, "run", run, view.origin))
    view.plugs = milled
    key = {"well_id": well.well_id, "run": run}
    rows.runs.append(RUN.measure(key, view))
    rows.picks.append(pick_row(well, "run", run, trips, view.origin, view.trip_pick))
    previous: float | None = None
    by_number = {plug["plug"]: plug for plug in plugs}
    measured = []
    for number, picks in milled.items():
        plug_view = PlugView(picks, by_number[number], run, view, previous)
        measured.append(PLUG.measure({"well_id": well.well_id, "plug": number}, plug_view))
        for own, effective in ((automatic[number].tag, picks.tag), (automatic[number].mill, picks.mill)):
            rows.picks.append(pick_row(well, "plug", number, own, view.origin, effective))
        if picks.mill.time_s is not None:
            previous = picks.mill.time_s
    rows.plugs += measured
    rows.findings += coil_findings(well.well_id, run, measured)
    return {number for number, picks in milled.items() if picks.mill.value is not None}


def _over(pick: Pick, given: dict[str, Pick]) -> Pick:
    return pick.amended_by(given[pick.name]) if pick.name in given else pick


def _run_view(well: WellInput, frame: pl.DataFrame, row: dict[str, Any]) -> RunView:
    micro = frame["time"].to_physical().to_numpy()
    record = CoilRecord(
        (micro - micro[0]) / 1e6,
        *(
            frame[name].cast(pl.Float64).fill_null(float("nan")).to_numpy()
            for name in ("depth_ft", "circulating_pressure_psi", "pump_rate_bpm")
        ),
    )
    depth = coil_picks.filled_depth(record)
    frontier = coil_picks.frontier_ft(depth)
    about = well.tables["wells"][0] if well.tables["wells"] else {}
    heel = about.get("heel_md_ft")
    trips = coil_picks.wiper_trips(record, depth, frontier, heel)
    casing = [item["inside_diameter_in"] for item in well.tables["strings"] if item["string"] == "casing"]
    inside = casing[-1] if casing else None
    pick = coil_picks.wiper_pick(trips, heel)
    return RunView(record, depth, trips, pick, {}, row, inside, frame["time"][0], well.zone)
