"""Measure the coil runs, plugs and toe preparation of one well."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

import numpy as np

from pipeline.metrics.coil import plugs, runs, toe, weight
from pipeline.metrics.coil.findings import plug_findings, run_findings
from pipeline.metrics.coil.view import PLUG, RUN, TOE, PlugView, RunView, Span, ToeView
from pipeline.metrics.findings import finding
from pipeline.metrics.well import Samples, WellInput, WellRows, parts, settle
from pipeline.picks.arrays import usual_step_s
from pipeline.picks.coil_plugs import COUNTER_FT, MILL_MIN, TAG, Assigned, PlugPicks, assign
from pipeline.picks.coil_record import CoilRecord, trace
from pipeline.picks.coil_states import (
    HEEL_FT,
    STALLS,
    SURGE_S,
    WIPER_TRIPS,
    find_stalls,
    find_states,
    find_trips,
    lock_up_ft,
    weight_is_reversed,
    wiper_pick,
)
from pipeline.picks.coil_stops import find_stops
from pipeline.picks.toe import STATIONS, cement_spans, find_stations
from pipeline.picks.types import Confidence, Doubts, Pick

METRICS = (plugs, runs, toe, weight)
"""Importing these modules declares the metrics."""
MILL_OUT = "mill-out"
TOE_KINDS = ("toe preparation", "toe milling", "toe perforating")
_CHANNELS = (
    "circulating_pressure_psi", "pump_rate_bpm", "return_rate_bpm", "weight_lbf", "sand_conc_ppa", "bypass_open",
    "wellhead_pressure_psi",
)  # fmt: skip


@dataclass
class _Plug:
    """A plug over the runs that met it: each run with its view, first one first."""

    number: int
    row: dict[str, Any]
    visits: list[tuple[int, RunView]]

    @property
    def origin(self) -> datetime:
        return self.visits[0][1].origin

    def since(self, view: RunView) -> float:
        """Seconds from the start of the plug's first run to that of another run."""
        return (view.origin - self.origin).total_seconds()

    @property
    def longest(self) -> RunView:
        return max((view for _, view in self.visits), key=lambda view: view.minutes_on(self.number))


def measure_runs(well: WellInput, rows: WellRows) -> dict[int, RunView]:
    """Add the rows of a well's coil runs, plugs and toe preparation.

    Returns
    -------
    dict of int to RunView
        What each run was measured from, with the effective picks.
    """
    described = {row["run"]: row for row in well.tables["coil_runs"]}
    listed = {row["plug"]: row for row in well.tables["plugs"]}
    open_plugs = {number: float(row["set_depth_ft"]) for number, row in listed.items() if row["set_depth_ft"]}
    unmet = set(open_plugs)
    views: dict[int, RunView] = {}
    for samples in parts(well.coil, "run"):
        row = described.get(samples.number, {})
        view = _run_view(well, samples, row, open_plugs if row.get("kind") in (None, MILL_OUT) else {})
        views[samples.number] = view
        unmet -= view.assigned.stops.keys()
        view.left = len(unmet)
        passed = {
            number for number, stop in view.assigned.stops.items() if stop.ending == "passed" and stop.gap_s == 0.0
        }
        open_plugs = {number: depth for number, depth in open_plugs.items() if number not in passed}
    plugs = _plugs(views, listed)
    picked = {plug.number: _pick_plug(well, plug, rows) for plug in plugs}
    for plug in plugs:
        _show_in_runs(plug, picked[plug.number][0])
    for run, view in views.items():
        _measure_run(well, run, view, rows)
    measured = {plug.number: _measure_plug(well, plug, *picked[plug.number]) for plug in plugs}
    rows.plugs += measured.values()
    for run in views:
        own = [measured[plug.number] for plug in plugs if plug.visits[0][0] == run]
        rows.findings += plug_findings(well.well_id, own, listed)
    _after_runs(well, rows, views, described)
    return views


def _after_runs(well: WellInput, rows: WellRows, views: dict[int, RunView], described: dict[int, Any]) -> None:
    """Add the finding on plugs that no run met, and the toe preparation."""
    toe_runs = {run: view for run, view in views.items() if described.get(run, {}).get("kind") in TOE_KINDS}
    last = max((run for run in views if run not in toe_runs), default=None)
    if last is not None and views[last].left:
        text = f"{views[last].left} listed plug(s) not met by any run"
        rows.findings.append(finding(well.well_id, "run", last, "plugs_left", text))
    if toe_runs:
        tests = well.tables["toe_tests"]
        first = next((row for row in rows.stages if (row["well_id"], row["stage"]) == (well.well_id, 1)), {})
        given = ToeView(list(toe_runs.values()), tests[0] if tests else {}, first)
        rows.toes.append(TOE.measure({"well_id": well.well_id}, given))


def _plugs(views: dict[int, RunView], listed: dict[int, dict[str, Any]]) -> list[_Plug]:
    """Plugs with the runs that stopped on them; for one that no run stopped on, the first run that passed it."""
    met: dict[int, list[tuple[int, RunView]]] = {}
    passed: dict[int, tuple[int, RunView]] = {}
    for run, view in views.items():
        for number in view.plugs:
            if number in view.assigned.stops:
                met.setdefault(number, []).append((run, view))
            else:
                passed.setdefault(number, (run, view))
    order = sorted(met.keys() | passed.keys(), key=lambda number: (listed[number]["set_depth_ft"], number))
    return [_Plug(number, listed[number], met.get(number) or [passed[number]]) for number in order]


def _pick_plug(well: WellInput, plug: _Plug, rows: WellRows) -> tuple[PlugPicks, Pick]:
    """Picks of a plug over all of its runs, as effective; their rows are added."""
    first = plug.visits[0][1].plugs[plug.number]
    mill = _over_runs(plug, [view.plugs[plug.number].mill for _, view in plug.visits])
    tag, mill, stalls = settle(
        well, rows, "plug", plug.number, plug.origin, first.tag, mill, _stall_pick(plug)
    )  # fmt: skip
    return PlugPicks(tag, mill), stalls


def _over_runs(plug: _Plug, mills: list[Pick]) -> Pick:
    """Mill time of a plug over its runs: the sum, until the mill left it in the last one."""
    absent = next((mill for mill in mills if mill.value is None), None)
    if absent is not None or len(mills) == 1:
        return mills[0] if absent is None else absent
    parts_min = [mill.value for mill in mills if mill.value is not None]
    last = plug.visits[-1][1]
    assert mills[-1].time_s is not None
    worst: Confidence = "low" if any(mill.confidence == "low" for mill in mills) else "medium"
    done_s = mills[-1].time_s + plug.since(last)
    words = "milled over " + " and ".join(f"run {run} ({value:.1f} min)" for (run, _), value in zip(
        plug.visits, parts_min, strict=True
    ))  # fmt: skip
    error = float(np.sqrt(sum((mill.standard_error or 0.0) ** 2 for mill in mills)))
    return replace(
        mills[-1], value=float(sum(parts_min)), time_s=done_s, confidence=worst, reason=words, standard_error=error
    )


def _stall_pick(plug: _Plug) -> Pick:
    """Number of stalls on a plug over its runs, as a pick."""
    counted, doubts = 0, Doubts()
    for _, view in plug.visits:
        stop = view.assigned.stops.get(plug.number)
        if stop is None:
            return STALLS.missing(view.plugs[plug.number].tag.reason)
        found = view.stalls.get(plug.number)
        if found is None:
            return STALLS.missing("no circulating pressure in the record")
        counted += len(found)
        if stop.gap_s > 0.0 or stop.ending == "record ends":
            doubts.add("the record does not cover all milling", grave=True)
        step = usual_step_s(view.record.time_s)
        if step >= SURGE_S:
            doubts.add(f"one sample every {step:.0f} s can miss a surge", grave=True)
    return STALLS.at(float(counted), None, doubts.confidence, doubts.words("surges with a pick-up"))


def _show_in_runs(plug: _Plug, picks: PlugPicks) -> None:
    """Put the effective picks of a plug into its runs: the tag into the first one, the mill time into the last one."""
    for place, (_, view) in enumerate(plug.visits):
        shift = plug.since(view)
        tag, mill = (
            pick if pick.time_s is None else replace(pick, time_s=pick.time_s - shift)
            for pick in (picks.tag, picks.mill)
        )
        if place < len(plug.visits) - 1:
            mill = MILL_MIN.missing("milled on in a later run")
        view.plugs[plug.number] = PlugPicks(tag if place == 0 else TAG.missing("tagged in an earlier run"), mill)


def _measure_plug(well: WellInput, plug: _Plug, picks: PlugPicks, stalls: Pick) -> dict[str, Any]:
    run, first = plug.visits[0]
    last = plug.visits[-1][1]
    view = PlugView(
        plug.number, picks, stalls, plug.row, run, plug.origin, plug.longest, last, _done_before(last, plug.number),
        _since_wiper(first, picks),
    )  # fmt: skip
    return PLUG.measure({"well_id": well.well_id, "plug": plug.number}, view)


def _measure_run(well: WellInput, run: int, view: RunView, rows: WellRows) -> None:
    view.trip_pick, view.station_pick = settle(
        well, rows, "run", run, view.origin, view.trip_pick, view.station_pick
    )  # fmt: skip
    measured = RUN.measure({"well_id": well.well_id, "run": run}, view)
    rows.runs.append(measured)
    rows.findings += run_findings(well.well_id, run, view, measured)


def _done_before(view: RunView, number: int) -> float | None:
    """When a run left the plug before another one. [s]"""
    own = view.plugs[number].mill.time_s
    others = [picks.mill.time_s for plug, picks in view.plugs.items() if plug != number]
    return max((moment for moment in others if moment is not None and own is not None and moment < own), default=None)


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
            len(plugs), None, False, samples.origin, well.planning.debris_velocity_ft_min, heel,
        )  # fmt: skip
    is_toe = row.get("kind") in TOE_KINDS
    shallowest = min(plugs.values(), default=0.0) - 2.0 * COUNTER_FT
    stops = [] if is_toe else find_stops(record, path, shallowest if plugs else (heel or 0.0))
    assigned = assign(stops, plugs, path)
    trips = find_trips(path, heel, shallowest if plugs else (heel or 0.0) - HEEL_FT)
    wiper = [trip for trip in trips if trip.wiper]
    stations, cut = find_stations(record, path)
    cement = cement_spans(path) if is_toe else []
    stalls = {number: find_stalls(record, path, stop) for number, stop in assigned.stops.items()}
    milling = [span for stop in assigned.stops.values() for span in stop.spans]
    milling += [span for stop in assigned.other for span in stop.working]
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
        record, path, assigned, dict(assigned.plugs), stalls, wiper, wiper_pick(wiper, path, heel), cut, stations,
        cement, states, row, well.tables["strings"], len(plugs), locked, reversed_weight, samples.origin,
        well.planning.debris_velocity_ft_min, heel,
    )  # fmt: skip
