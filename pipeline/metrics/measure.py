"""Measure the wells that are stale: the well is the unit of reading, of commit and of recomputation."""

from __future__ import annotations

import itertools
from collections import defaultdict
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

import numpy as np
import polars as pl

from pipeline.lake import Lake
from pipeline.metrics.coil import PLUG, RUN, PlugView, RunView
from pipeline.metrics.declare import fingerprint
from pipeline.metrics.findings import coil_findings, stage_findings
from pipeline.metrics.stage import STAGE
from pipeline.metrics.view import StageView
from pipeline.physics.fluids import absolute_volume_gal_per_lbm
from pipeline.physics.hydraulics import pipe_capacity_bbl
from pipeline.picks import coil as coil_picks
from pipeline.picks import stage as stage_picks
from pipeline.picks.coil import CoilRecord, PlugPicks
from pipeline.picks.record import Pick, StageDesign, StageRecord
from pipeline.picks.stage import pick_stage
from pipeline.schemas import (
    COIL,
    COIL_RUNS,
    FINDINGS,
    PICKS,
    PLUGS,
    SOURCES,
    STAGES,
    STRINGS,
    TREATMENT,
    WELLS,
    Table,
)

STAGE_METRICS = STAGE.table()
PLUG_METRICS = PLUG.table()
COIL_RUN_METRICS = RUN.table()
_DESCRIBED = (WELLS, STRINGS, STAGES, PLUGS, COIL_RUNS)
_WRITTEN = (STAGE_METRICS, PLUG_METRICS, COIL_RUN_METRICS)
WELLS_A_COMMIT = 12
"""Wells whose rows are written together; a kill in between costs measuring them again, nothing else."""
Rows = list[dict[str, Any]]


@dataclass
class Measured:
    """What a measure did: wells measured and left as they were, rows written."""

    wells: int = 0
    unchanged: int = 0
    stages: int = 0
    plugs: int = 0
    runs: int = 0
    findings: int = 0

    @property
    def changed(self) -> bool:
        """Whether the lake was changed."""
        return self.wells > 0


@dataclass
class WellInput:
    """All that one well's rows follow from."""

    well_id: str
    print: str
    zone: str
    tables: dict[str, Rows]
    treatment: pl.DataFrame
    coil: pl.DataFrame


@dataclass
class WellRows:
    """What one well's measuring gives."""

    stages: Rows = field(default_factory=list)
    plugs: Rows = field(default_factory=list)
    runs: Rows = field(default_factory=list)
    picks: Rows = field(default_factory=list)
    findings: Rows = field(default_factory=list)


def measure(lake: Lake, default_zone: str, progress: Callable[[int, int, str], None] | None = None) -> Measured:
    """Measure every well whose sources, tables or methods changed.

    Parameters
    ----------
    lake : Lake
    default_zone : str
        Time zone of pads that state none.
    progress : callable, optional
        Told (wells done, wells to do, well).

    Returns
    -------
    Measured
    """
    report = Measured()
    plan = _plan(lake, default_zone)
    report.unchanged = len(plan.prints) - len(plan.stale)
    waiting: list[tuple[WellInput, WellRows]] = []
    for done, well in enumerate(_read_ahead(lake, plan), start=1):
        rows = measure_well(well)
        waiting.append((well, rows))
        if len(waiting) == WELLS_A_COMMIT or done == len(plan.stale):
            _write(lake, waiting)
            waiting = []
        report.wells += 1
        report.stages += len(rows.stages)
        report.plugs += len(rows.plugs)
        report.runs += len(rows.runs)
        report.findings += len(rows.findings)
        if progress is not None:
            progress(done, len(plan.stale), well.well_id)
    _forget(lake, plan.gone)
    return report


def stale_wells(lake: Lake, default_zone: str) -> list[str]:
    """Return the wells whose rows no longer follow from their inputs."""
    return _plan(lake, default_zone).stale


@dataclass(frozen=True)
class _Plan:
    tables: dict[str, dict[str, Rows]]
    signals: dict[str, list[str]]
    zones: dict[str, str]
    prints: dict[str, str]
    stale: list[str]
    gone: list[str]


def _plan(lake: Lake, default_zone: str) -> _Plan:
    """Compare each well's fingerprint with the one stored beside its picks."""
    tables = {table.name: _by_well(lake, table) for table in _DESCRIBED}
    signals = _signal_sources(lake)
    zones = {well: _zone(tables["wells"].get(well, []), default_zone) for well in signals}
    prints = {
        well: fingerprint([_methods(), sources, zones[well], [tables[t.name].get(well, []) for t in _DESCRIBED]])
        for well, sources in signals.items()
    }
    before = dict(lake.scan(PICKS).select("well_id", "fingerprint").unique().collect().iter_rows())
    stale = [well for well in sorted(signals) if before.get(well) != prints[well]]
    return _Plan(tables, signals, zones, prints, stale, [well for well in before if well not in signals])


def _zone(wells: Rows, default: str) -> str:
    """Time zone of a well's pad."""
    return (wells[0]["time_zone"] if wells else None) or default


def _methods() -> list[Any]:
    """Names and versions of all methods that rows follow from."""
    picks = [(method.name, method.version) for method in (*stage_picks.METHODS, *coil_picks.METHODS)]
    return [picks, STAGE.versions(), PLUG.versions(), RUN.versions()]


def _by_well(lake: Lake, table: Table) -> dict[str, Rows]:
    grouped: dict[str, Rows] = defaultdict(list)
    frame = lake.scan(table).drop("source_id", "source_row").sort(table.key).collect()
    for row in frame.iter_rows(named=True):
        grouped[row["well_id"]].append(row)
    return grouped


def _signal_sources(lake: Lake) -> dict[str, list[str]]:
    landed = pl.col("state") == "landed"
    signals = lake.scan(SOURCES).filter(landed & pl.col("lands").is_in([TREATMENT.name, COIL.name]))
    grouped: dict[str, list[str]] = defaultdict(list)
    for well, source in signals.select("well_id", "source_id").sort("source_id").collect().iter_rows():
        grouped[well].append(source)
    return grouped


def _read_ahead(lake: Lake, plan: _Plan) -> Iterator[WellInput]:
    """Read the next well while the present one is measured; never more than two in memory."""
    treatment, coil = lake.scan_raw(TREATMENT), lake.scan_raw(COIL)
    wells = plan.stale

    def read(well: str) -> WellInput:
        mine = (pl.col("well_id") == well) & pl.col("source_id").is_in(plan.signals[well])
        described = {name: rows.get(well, []) for name, rows in plan.tables.items()}
        return WellInput(
            well, plan.prints[well], plan.zones[well], described,
            treatment.filter(mine).drop("well_id", "source_id", "source_row").collect(),
            coil.filter(mine).drop("well_id", "source_id", "source_row").collect(),
        )  # fmt: skip

    with ThreadPoolExecutor(1) as pool:
        waiting = pool.submit(read, wells[0]) if wells else None
        for index in range(len(wells)):
            assert waiting is not None
            ready = waiting.result()
            waiting = pool.submit(read, wells[index + 1]) if index + 1 < len(wells) else None
            yield ready


def measure_well(well: WellInput) -> WellRows:
    """Measure all stages, plugs and coil runs of one well."""
    rows = WellRows()
    designs = {row["stage"]: row for row in well.tables["stages"]}
    for stage, frame in _parts(well.treatment, "stage"):
        _measure_stage(well, stage, frame, designs.get(stage, {}), rows)
    runs = {row["run"]: row for row in well.tables["coil_runs"]}
    done: set[int] = set()
    for run, frame in _parts(well.coil, "run"):
        done |= _measure_run(well, run, frame, runs.get(run, {}), done, rows)
    return rows


def _parts(frame: pl.DataFrame, key: str) -> list[tuple[int, pl.DataFrame]]:
    """Cut a well's samples into stages or runs, each in order of time."""
    if frame.is_empty():
        return []
    number, moment = frame[key].to_numpy(), frame["time"].to_physical().to_numpy()
    step = np.diff(number)
    if (step < 0).any() or (np.diff(moment)[step == 0] < 0).any():  # several files, written one after the other
        return _parts(frame.sort(key, "time"), key)
    edges = [0, *(np.flatnonzero(step) + 1).tolist(), frame.height]
    return [(int(number[a]), frame[a:b]) for a, b in itertools.pairwise(edges)]


def _measure_stage(well: WellInput, stage: int, frame: pl.DataFrame, row: dict[str, Any], rows: WellRows) -> None:
    origin, record = stage_record(frame)
    picks = pick_stage(record, stage_design(row, well.tables["strings"]))
    view = StageView(picks, stage_design(row, well.tables["strings"]), row, origin, well.zone)
    key = {"well_id": well.well_id, "stage": stage}
    measured = STAGE.measure(key, view)
    rows.stages.append(measured)
    rows.picks += [_pick_row(well, "stage", stage, pick, origin) for pick in picks.automatic.values()]
    rows.findings += stage_findings(well.well_id, stage, view, measured)


def stage_record(frame: pl.DataFrame) -> tuple[datetime, StageRecord]:
    """Return the first moment and the samples of a stage, from its treatment rows in order of time."""
    origin = frame["time"][0]
    micro = frame["time"].to_physical().to_numpy()
    channels = {
        name: None if frame[name].null_count() == frame.height else frame[name].to_numpy()
        for name in ("treating_pressure_psi", "slurry_rate_bpm", "clean_rate_bpm", "proppant_conc_ppa")
    }
    void = np.full(frame.height, np.nan)
    pressure, rate = channels["treating_pressure_psi"], channels["slurry_rate_bpm"]
    return origin, StageRecord(
        (micro - micro[0]) / 1e6,
        void if pressure is None else pressure,
        void if rate is None else rate,
        channels["clean_rate_bpm"],
        channels["proppant_conc_ppa"],
    )


def stage_design(row: dict[str, Any], strings: Rows) -> StageDesign:
    """Return what the tables say of a stage before it is pumped."""
    capacity = casing_volume_bbl(strings, row.get("bottom_perf_ft"))
    gravity = row.get("proppant_specific_gravity")
    design = StageDesign(
        row.get("designed_rate_bpm"), capacity, row.get("pressure_limit_psi"), row.get("designed_proppant_lbm")
    )
    if gravity:
        volume = float(absolute_volume_gal_per_lbm(gravity))
        design = StageDesign(
            design.rate_bpm, design.capacity_bbl, design.pressure_limit_psi, design.proppant_lbm, volume
        )
    return design


def casing_volume_bbl(strings: Rows, depth_ft: float | None) -> float | None:
    """Volume of the casing from surface to a depth, section by section. [bbl]

    None where depth or diameter of any part of the way is not known.
    """
    casing = sorted((row for row in strings if row["string"] == "casing"), key=lambda row: row["top_md_ft"] or 0.0)
    if depth_ft is None or not casing:
        return None
    volume, reached = 0.0, 0.0
    for row in casing:
        top, bottom, inside = row["top_md_ft"], row["bottom_md_ft"], row["inside_diameter_in"]
        if None in (top, bottom, inside) or top > reached + 1.0:
            return None
        length = min(bottom, depth_ft) - reached
        if length > 0.0:
            volume += float(pipe_capacity_bbl(inside, length))
            reached += length
    return volume if reached >= depth_ft - 1.0 else None


def _pick_row(well: WellInput, level: str, number: int, pick: Pick, origin: datetime) -> dict[str, Any]:
    return {
        "well_id": well.well_id, "level": level, "number": number, "pick": pick.name, "value": pick.value,
        "unit": pick.unit, "time": None if pick.time_s is None else origin + timedelta(seconds=pick.time_s),
        "standard_error": pick.standard_error, "method": pick.method, "version": pick.version,
        "confidence": pick.confidence, "reason": pick.reason, "fingerprint": well.print,
    }  # fmt: skip


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
    view.plugs = milled
    key = {"well_id": well.well_id, "run": run}
    rows.runs.append(RUN.measure(key, view))
    rows.picks.append(_pick_row(well, "run", run, view.trip_pick, view.origin))
    previous: float | None = None
    by_number = {plug["plug"]: plug for plug in plugs}
    measured = []
    for number, picks in milled.items():
        plug_view = PlugView(picks, by_number[number], run, view, previous)
        measured.append(PLUG.measure({"well_id": well.well_id, "plug": number}, plug_view))
        rows.picks += [_pick_row(well, "plug", number, pick, view.origin) for pick in (picks.tag, picks.mill)]
        if picks.mill.time_s is not None:
            previous = picks.mill.time_s
    rows.plugs += measured
    rows.findings += coil_findings(well.well_id, run, measured)
    return {number for number, picks in milled.items() if picks.mill.value is not None}


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


def _write(lake: Lake, measured: list[tuple[WellInput, WellRows]]) -> None:
    """Write some wells' rows; `picks` last, whose fingerprint says that all of them are new."""
    where = {"well_id": [well.well_id for well, _ in measured]}
    prints = {well.well_id: well.print for well, _ in measured}
    mark = pl.col("well_id").replace_strict(prints, return_dtype=pl.String).alias("fingerprint")
    for table, name in zip(_WRITTEN, ("stages", "plugs", "runs"), strict=True):
        dtypes = {column: dtype for column, dtype in table.dtypes.items() if column != "fingerprint"}
        rows = [row for _, result in measured for row in getattr(result, name)]
        frame = pl.DataFrame(rows, schema=dtypes, infer_schema_length=None)
        # a plug met again in a later run is the later run's
        lake.replace(table, frame.unique(table.key, keep="last", maintain_order=True).with_columns(mark), where)
    findings = pl.DataFrame([row for _, result in measured for row in result.findings], schema=FINDINGS.dtypes)
    lake.replace(FINDINGS, findings, {"step": "measure", **where})
    picks = pl.DataFrame([row for _, result in measured for row in result.picks], schema=PICKS.dtypes)
    lake.replace(PICKS, picks.unique(PICKS.key, keep="last", maintain_order=True), where)


def _forget(lake: Lake, wells: list[str]) -> None:
    """Remove rows of wells that no source speaks of any more."""
    for well in wells:
        for table in (*_WRITTEN, PICKS):
            lake.replace(table, table.empty(), {"well_id": well})
        lake.replace(FINDINGS, FINDINGS.empty(), {"step": "measure", "well_id": well})


__all__ = ["COIL_RUN_METRICS", "PLUG_METRICS", "STAGE_METRICS", "Measured", "measure"]
