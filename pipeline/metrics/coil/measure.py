"""Measure the coil runs, plugs and toe preparation of one well."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from pipeline.metrics.coil import plugs, runs, toe
from pipeline.metrics.coil.findings import plug_findings, run_findings
from pipeline.metrics.coil.view import PLUG, RUN, TOE, PlugView, RunView, Span, ToeView
from pipeline.metrics.findings import finding
from pipeline.metrics.well import Samples, WellInput, WellRows, amended, parts, pick_row
from pipeline.picks.coil_record import CoilPath, CoilRecord, trace
from pipeline.picks.coil_states import (
    STALLS,
    WIPER_TRIPS,
    find_stalls,
    find_states,
    find_wiper_trips,
    lock_up_ft,
    weight_is_reversed,
    wiper_pick,
)
from pipeline.picks.coil_stops import COUNTER_FT, Assigned, PlugPicks, Stop, assign, find_stops
from pipeline.picks.toe import STATIONS, cement_spans, find_stations
from pipeline.picks.types import Pick

METRICS = (plugs, runs, toe)
"""Importing these modules declares the metrics."""
MILL_OUT = "mill-out"
TOE_KINDS = ("toe preparation", "toe milling", "toe perforating")
_CHANNELS = (
    "circulating_pressure_psi", "pump_rate_bpm", "return_rate_bpm", "weight_lbf", "sand_conc_ppa", "bypass_open",
)  # fmt: skip


def measure_runs(well: WellInput, rows: WellRows) -> None:
    """Add the rows of a well's coil runs, plugs and toe preparation."""
    described = {row["run"]: row for row in well.tables["coil_runs"]}
    open_plugs = {
        row["plug"]: float(row["set_depth_ft"]) for row in well.tables["plugs"] if row["set_depth_ft"] is not None
    }
    toe_runs: list[RunView] = []
    last: tuple[int, int] | None = None
    for samples in parts(well.coil, "run"):
        run, row = samples.number, described.get(samples.number, {})
        view = _run_view(well, samples, row, open_plugs if row.get("kind") in (None, MILL_OUT) else {})
        milled = _measure_run(well, run, view, rows, open_plugs)
        open_plugs = {number: depth for number, depth in open_plugs.items() if number not in milled}
        if row.get("kind") in TOE_KINDS:
            toe_runs.append(view)
        else:
            last = run, view.left
    if last is not None and last[1]:
        text = f"{last[1]} listed plug(s) not met by any run"
        rows.findings.append(finding(well.well_id, "run", last[0], "plugs_left", text))
    if toe_runs:
        tests = well.tables["toe_tests"]
        first = next((row for row in rows.stages if (row["well_id"], row["stage"]) == (well.well_id, 1)), {})
        given = ToeView(toe_runs, tests[0] if tests else {}, first)
        rows.toes.append(TOE.measure({"well_id": well.well_id}, given))


def _measure_run(well: WellInput, run: int, view: RunView, rows: WellRows, open_plugs: dict[int, float]) -> set[int]:
    """Measure one coil run; return the plugs it milled."""
    automatic, trips, cut = dict(view.plugs), view.trip_pick, view.station_pick
    stall_picks = {number: _stall_pick(view, number) for number in automatic}
    effective_stalls = dict(stall_picks)
    for number, found in automatic.items():
        given = amended(well, "plug", number, view.origin)
        view.plugs[number] = PlugPicks(_over(found.tag, given), _over(found.mill, given))
        effective_stalls[number] = _over(stall_picks[number], given)
    given = amended(well, "run", run, view.origin)
    view.trip_pick, view.station_pick = _over(trips, given), _over(cut, given)
    met = {number for number, picks in view.plugs.items() if picks.tag.value is not None}
    view.left = len(open_plugs.keys() - met)
    measured_run = RUN.measure({"well_id": well.well_id, "run": run}, view)
    rows.runs.append(measured_run)
    for own, effective in ((trips, view.trip_pick), (cut, view.station_pick)):
        rows.picks.append(pick_row(well, "run", run, own, view.origin, effective))
    by_number = {row["plug"]: row for row in well.tables["plugs"]}
    measured = []
    previous: float | None = None
    for number, picks in view.plugs.items():
        since = _since_wiper(view, picks)
        plug_view = PlugView(
            number, picks, effective_stalls[number], by_number[number], run, view, previous, since
        )  # fmt: skip
        measured.append(PLUG.measure({"well_id": well.well_id, "plug": number}, plug_view))
        own_and_effective = (
            (automatic[number].tag, picks.tag), (automatic[number].mill, picks.mill),
            (stall_picks[number], effective_stalls[number]),
        )  # fmt: skip
        for own, effective in own_and_effective:
            rows.picks.append(pick_row(well, "plug", number, own, view.origin, effective))
        if picks.mill.time_s is not None:
            previous = picks.mill.time_s
    rows.plugs += measured
    rows.findings += run_findings(well.well_id, run, view, measured_run)
    rows.findings += plug_findings(well.well_id, measured, by_number)
    return {number for number, picks in view.plugs.items() if picks.mill.value is not None}


def _over(pick: Pick, given: dict[str, Pick]) -> Pick:
    return pick.amended_by(given[pick.name]) if pick.name in given else pick


def _stall_pick(view: RunView, number: int) -> Pick:
    """Number of stalls on a plug, as a pick."""
    if number not in view.assigned.stops:
        return STALLS.missing(view.plugs[number].tag.reason)
    found = view.stalls.get(number)
    if found is None:
        return STALLS.missing("no circulating pressure in the record")
    stop = view.assigned.stops[number]
    if stop.gap_s > 0.0 or stop.done_s is None:
        return STALLS.at(float(len(found)), None, "low", "the record does not cover all milling")
    return STALLS.at(float(len(found)), None, "high", "surges with a pick-up")


def _since_wiper(view: RunView, picks: PlugPicks) -> int:
    """Plugs milled in this run between the last wiper trip and a given plug."""
    tag = picks.tag.time_s
    if tag is None:
        return 0
    last = max((trip.end_s for trip in view.trips if trip.end_s <= tag), default=-1.0)
    done = [other.mill.time_s for other in view.plugs.values() if other.mill.time_s is not None]
    return sum(last < moment <= tag for moment in done)


def coil_record(samples: Samples) -> CoilRecord:
    """Return a run's samples in the form that the picks read."""
    return CoilRecord(samples.time_s, samples.channels["depth_ft"], *(samples.channel(name) for name in _CHANNELS))


def _run_view(well: WellInput, samples: Samples, row: dict[str, Any], plugs: dict[int, float]) -> RunView:
    record = coil_record(samples)
    path = trace(record)
    about = well.tables["wells"][0] if well.tables["wells"] else {}
    heel = about.get("heel_md_ft")
    nothing = Assigned({}, {}, [], None)
    if path is None:
        missing, cut = (method.missing("no depth in the record") for method in (WIPER_TRIPS, STATIONS))
        return RunView(
            record, None, nothing, {}, {}, [], missing, cut, [], [], None, row, well.tables["strings"],
            len(plugs), None, False, samples.origin,
        )  # fmt: skip
    is_toe = row.get("kind") in TOE_KINDS
    shallowest = min(plugs.values(), default=0.0) - 2.0 * COUNTER_FT
    stops = [] if is_toe else find_stops(record, path, shallowest if plugs else (heel or 0.0))
    assigned = assign(stops, plugs, path)
    trips = find_wiper_trips(path, heel)
    stations, cut = find_stations(record, path)
    cement = cement_spans(path) if is_toe else []
    stalls = {number: find_stalls(record, path, stop) for number, stop in assigned.stops.items()}
    milling = [_span(stop, path) for stop in (*assigned.stops.values(), *assigned.other)]
    milling += [(start, end) for start, end, _ in cement]
    stalled: list[Span] = [span for spans in stalls.values() for span in spans or []]
    jetting = [(station.start_s, station.end_s) for station in stations]
    states = find_states(path, milling, stalled, trips, jetting)
    reversed_weight = weight_is_reversed(record, path)
    if reversed_weight and record.weight_lbf is not None:
        record = replace(record, weight_lbf=-record.weight_lbf)
    locked = None
    if record.weight_lbf is not None and heel is not None and not is_toe:
        locked = lock_up_ft(path, record.weight_lbf, stops, heel)
    return RunView(
        record, path, assigned, dict(assigned.plugs), stalls, trips, wiper_pick(trips, path, heel), cut, stations,
        cement, states, row, well.tables["strings"], len(plugs), locked, reversed_weight, samples.origin,
    )  # fmt: skip


def _span(stop: Stop, path: CoilPath) -> Span:
    return stop.tag_s, stop.done_s if stop.done_s is not None else float(path.time_s[-1]) + 1.0
