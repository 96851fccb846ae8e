"""Measure stale wells. Reading, commits and recomputation are all per well."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from itertools import chain
from typing import Any

import polars as pl

from pipeline.events import event
from pipeline.lake import Lake, Where, at_once
from pipeline.metrics.coil.measure import measure_runs
from pipeline.metrics.coil.view import PLUG, RUN, TOE
from pipeline.metrics.declare import changed, marked, texts_by
from pipeline.metrics.findings import offset_findings
from pipeline.metrics.pad.measure import measure_pads
from pipeline.metrics.stage.measure import measure_stages
from pipeline.metrics.stage.view import STAGE
from pipeline.metrics.well import PLANNING, Planning, Rows, WellInput, WellRows, amendment_findings
from pipeline.metrics.wireline.measure import measure_wireline
from pipeline.metrics.wireline.metrics import WIRELINE_RUN
from pipeline.parallel import Workers, map_unordered
from pipeline.picks.catalogue import METHODS
from pipeline.resources import source_digest
from pipeline.schemas.base import Table
from pipeline.schemas.lineage import FINDINGS, SOURCES
from pipeline.schemas.picks import PICKS
from pipeline.schemas.records import COIL, TREATMENT
from pipeline.schemas.review import AMENDMENTS, REPORTED
from pipeline.schemas.time import PAD_DAYS, PAD_TIMELINE
from pipeline.schemas.wells import COIL_RUNS, OFFSETS, PLUGS, STAGES, STRINGS, TOE_TESTS, WELLS, WIRELINE

LEVELS = (STAGE, PLUG, RUN, TOE, WIRELINE_RUN)
STAGE_METRICS = STAGE.table
PLUG_METRICS = PLUG.table
COIL_RUN_METRICS = RUN.table
TOE_PREP_METRICS = TOE.table
WIRELINE_METRICS = WIRELINE_RUN.table
_DESCRIBED = (WELLS, STRINGS, STAGES, PLUGS, COIL_RUNS, WIRELINE, TOE_TESTS, OFFSETS, AMENDMENTS, REPORTED)
_MEASURED = {
    STAGE_METRICS: "stages", PLUG_METRICS: "plugs", COIL_RUN_METRICS: "runs", TOE_PREP_METRICS: "toes",
    WIRELINE_METRICS: "wireline",
}  # fmt: skip
MADE = (PICKS, PAD_DAYS, *_MEASURED, PAD_TIMELINE)
"""Tables that measuring makes; the first two have the fingerprints by which wells and pads count as measured."""
UNMEASURED = "downhole_temperature_degf"
"""Channel of a treatment that no pick or metric reads; the page of a stage shows it."""
WELLS_PER_TASK = 8
"""Wells read and measured together on one core."""
TASKS_PER_COMMIT = 16
"""Tasks whose rows are written together; if the process is killed in between, only these are measured again."""
TASKS_PER_CORE = 5
"""Number of tasks that justifies starting a process on another core."""


@dataclass
class Measured:
    """Result of a measure step: wells measured and unchanged, rows written, pads with time booked, tables repaired."""

    wells: int = 0
    unchanged: int = 0
    stages: int = 0
    plugs: int = 0
    runs: int = 0
    findings: int = 0
    pads: int = 0
    restored: list[str] = field(default_factory=list)

    @property
    def changed(self) -> bool:
        """Whether the lake was changed."""
        return self.wells + self.pads > 0

    def add(self, result: _Result) -> None:
        """Add the counts of one result."""
        self.wells += len(result.wells)
        self.stages += result.frames[STAGE_METRICS.name].height
        self.plugs += result.frames[PLUG_METRICS.name].height
        self.runs += result.frames[COIL_RUN_METRICS.name].height
        self.findings += result.frames[FINDINGS.name].height


def measure(
    lake: Lake,
    default_zone: str,
    progress: Callable[[int, int, str], None] | None = None,
    planning: Planning = PLANNING,
    workers: Workers | None = None,
) -> Measured:
    """Measure every well whose sources, tables or methods changed.

    Parameters
    ----------
    lake : Lake
    default_zone : str
        Time zone for pads without one.
    progress : callable, optional
        Called with (wells done, wells to do, well).
    planning : Planning
        Values that the team plans with.
    workers : Workers, optional
        Where wells are measured; default: on this machine.

    Returns
    -------
    Measured
    """
    report, lake = Measured(), lake.still()
    plan = _plan(lake, planning)
    told = lake.scan(FINDINGS).filter(pl.col("step") == "measure")
    if plan.nothing_measured and told.head(1).collect().height:
        lake.replace(FINDINGS, FINDINGS.empty(), {"step": "measure"})  # of wells that may be gone since
    report.unchanged = plan.unchanged
    tasks = [plan.stale[first : first + WELLS_PER_TASK] for first in range(0, len(plan.stale), WELLS_PER_TASK)]
    waiting: list[_Result] = []
    results = map_unordered(partial(_measurer, lake.reader()), tasks, TASKS_PER_CORE, workers)
    for done, result in enumerate(results, start=1):
        waiting.append(result)
        if len(waiting) == TASKS_PER_COMMIT or done == len(tasks):
            _write(lake, waiting)
            waiting = []
        report.add(result)
        for row in result.frames[STAGE_METRICS.name].select("well_id", "stage").iter_rows():
            event("measured", well=row[0], stage=row[1])
        if progress is not None:
            progress(report.wells, len(plan.stale), result.wells[-1])
    _forget(lake, plan.gone)
    report.pads, odd = measure_pads(lake, default_zone)
    report.findings += odd
    return report


def stale_wells(lake: Lake, planning: Planning = PLANNING) -> dict[str, str]:
    """Return the wells whose rows are out of date with their inputs, each with what changed."""
    return {well.well_id: well.why for well in _plan(lake.still(), planning).stale}


@dataclass(frozen=True)
class _Stale:
    """A well to measure: all inputs of its rows except the samples, and the source files of the samples."""

    well_id: str
    fingerprint: str
    tables: dict[str, Rows]
    sources: list[str]
    planning: Planning
    why: str = ""


def read_wells(lake: Lake, wells: Sequence[str], planning: Planning = PLANNING) -> Callable[[str], WellInput]:
    """Read the tables of some wells, and return a function that reads the samples of one of them as well.

    What it returns is all that the well's rows are measured from; its fingerprint is left empty.
    """
    lake, mine = lake.still(), pl.col("well_id").is_in(list(wells))
    tables = {table.name: _by_well(_rows_of(lake, table, mine)) for table in _DESCRIBED}
    signals = _signal_sources(lake, mine)
    treatment, coil = lake.scan_raw(TREATMENT), lake.scan_raw(COIL)

    def read(well: str) -> WellInput:
        described = _described(tables, well)
        stale = [_Stale(well, "", described, signals.get(well, []), planning)]
        return WellInput(well, "", described, _samples(treatment, stale)[well], _samples(coil, stale)[well], planning)

    return read


@dataclass(frozen=True)
class _Plan:
    stale: list[_Stale]
    unchanged: int
    gone: list[str]
    nothing_measured: bool


def _plan(lake: Lake, planning: Planning) -> _Plan:
    """Compare each well's fingerprint with the fingerprint stored with its picks."""
    rows = {table.name: _rows_of(lake, table) for table in _DESCRIBED}
    texts = [texts_by(frame, "well_id") for frame in rows.values()]
    signals = _signal_sources(lake)
    before = dict(lake.scan(PICKS).select("well_id", "fingerprint").unique().collect().iter_rows())
    same_for_all, marks = marked([_methods(), planning]), {}
    for well, sources in sorted(signals.items()):
        mark = f"{same_for_all}-{marked([sources, *(text.get(well) for text in texts)])}"
        if before.get(well) != mark:
            marks[well] = mark
    tables = {name: _by_well(frame.filter(pl.col("well_id").is_in(list(marks)))) for name, frame in rows.items()}
    stale = [
        _Stale(well, mark, _described(tables, well), signals[well], planning, _why(before.get(well), mark))
        for well, mark in marks.items()
    ]
    return _Plan(stale, len(signals) - len(stale), [well for well in before if well not in signals], not before)


def _why(before: str | None, now: str) -> str:
    """Return what changed since a well was measured."""
    if before is None:
        return "not measured yet"
    places = changed(before, now)
    if places is None:
        return "measured by an earlier version"
    parts = ("methods of this version", "settings", "records", *(f"table {table.name}" for table in _DESCRIBED))
    return f"{', '.join(parts[place] for place in places)} changed"


def _methods() -> list[Any]:
    """What rows depend on besides their inputs: method versions, and all code that measuring calls."""
    picks = sorted((method.name, method.version) for method in METHODS.values())
    levels = [level.versions() for level in (STAGE, PLUG, RUN, TOE, WIRELINE_RUN)]
    return [source_digest("physics", "picks", "metrics"), picks, *levels]


_ALL = pl.lit(True)


def _rows_of(lake: Lake, table: Table, mine: pl.Expr = _ALL) -> pl.DataFrame:
    return lake.scan(table).filter(mine).drop("source_id", "source_row").sort(table.key).collect()


def _by_well(frame: pl.DataFrame) -> dict[str, pl.DataFrame]:
    return {str(well): rows for (well,), rows in frame.partition_by("well_id", as_dict=True).items()}


def _described(tables: Mapping[str, Mapping[str, pl.DataFrame]], well: str) -> dict[str, Rows]:
    """Return a well's rows of each table."""
    return {name: rows[well].to_dicts() if well in rows else [] for name, rows in tables.items()}


def _signal_sources(lake: Lake, mine: pl.Expr = _ALL) -> dict[str, list[str]]:
    landed = pl.col("state") == "landed"
    signals = lake.scan(SOURCES).filter(mine & landed & pl.col("lands").is_in([TREATMENT.name, COIL.name]))
    grouped: dict[str, list[str]] = defaultdict(list)
    for well, source in signals.select("well_id", "source_id").sort("source_id").collect().iter_rows():
        grouped[well].append(source)
    return grouped


@dataclass(frozen=True)
class _Result:
    """Result of measuring a group of wells: their ids, and the rows of each table."""

    wells: list[str]
    frames: dict[str, pl.DataFrame]


def _measurer(lake: Lake) -> Callable[[list[_Stale]], _Result]:
    """Open the sample tables and return a function that measures wells from them."""
    return partial(_measure_wells, lake.scan_raw(TREATMENT).drop(UNMEASURED), lake.scan_raw(COIL))


def _measure_wells(treatment: pl.LazyFrame, coil: pl.LazyFrame, wells: list[_Stale]) -> _Result:
    pumped, run = _samples(treatment, wells), _samples(coil, wells)
    results = []
    for well in wells:
        samples = pumped[well.well_id], run[well.well_id]
        given = WellInput(well.well_id, well.fingerprint, well.tables, *samples, well.planning)
        rows = WellRows()
        pumped_down = measure_stages(given, rows)
        measure_runs(given, rows)
        measure_wireline(given, pumped_down, rows)
        rows.findings += offset_findings(given.well_id, given.tables["offsets"])
        rows.findings += amendment_findings(given)
        results.append(rows)
    hashes = {well.well_id: well.fingerprint for well in wells}
    return _Result(list(hashes), _frames(results, hashes))


def _samples(table: pl.LazyFrame, wells: list[_Stale]) -> dict[str, pl.DataFrame]:
    """Read the samples of several wells in one query and split them by well; a well's rows are mostly contiguous."""
    sources = pl.Series([source for well in wells for source in well.sources], dtype=pl.String)
    mine = pl.col("well_id").is_in([well.well_id for well in wells])
    landed = pl.col("source_id").is_in(sources.implode())
    frame = table.filter(mine, landed).drop("source_id", "source_row").collect()
    pieces: dict[str, list[pl.DataFrame]] = {well.well_id: [] for well in wells}
    start = 0
    for length, well in frame["well_id"].rle().struct.unnest().iter_rows():
        pieces[well].append(frame.slice(start, length).drop("well_id"))
        start += length
    return {well: pl.concat(found) if found else frame[:0].drop("well_id") for well, found in pieces.items()}


def _frames(results: list[WellRows], hashes: dict[str, str]) -> dict[str, pl.DataFrame]:
    """Return the rows of each table, by table name."""
    mark = pl.col("well_id").replace_strict(hashes, return_dtype=pl.String).alias("fingerprint")
    frames = {}
    for table, name in _MEASURED.items():
        dtypes = {column: dtype for column, dtype in table.dtypes.items() if column != "fingerprint"}
        rows = list(chain.from_iterable(getattr(result, name) for result in results))
        frames[table.name] = pl.DataFrame(rows, schema=dtypes, infer_schema_length=None).with_columns(mark)
    findings = list(chain.from_iterable(result.findings for result in results))
    picks = pl.DataFrame(list(chain.from_iterable(result.picks for result in results)), schema=PICKS.dtypes)
    frames[FINDINGS.name] = pl.DataFrame(findings, schema=FINDINGS.dtypes)
    frames[PICKS.name] = picks
    return frames


def _write(lake: Lake, measured: list[_Result]) -> None:
    """Write the rows of several wells; `picks` come last, because their fingerprint marks all rows as current."""
    wells = [well for result in measured for well in result.wells]
    _replace(lake, wells, lambda table: pl.concat([result.frames[table.name] for result in measured]))


def _forget(lake: Lake, wells: list[str]) -> None:
    """Remove rows of wells that no longer appear in any source."""
    if wells:
        _replace(lake, wells, Table.empty)


def _replace(lake: Lake, wells: list[str], rows: Callable[[Table], pl.DataFrame]) -> None:
    where: Where = {"well_id": sorted(wells)}

    def write(table: Table) -> None:
        frame = rows(table).sort("well_id", maintain_order=True)
        lake.replace(table, frame, {"step": "measure", **where} if table is FINDINGS else where)

    at_once(write, (*_MEASURED, FINDINGS))
    write(PICKS)


__all__ = [
    "COIL_RUN_METRICS",
    "PLUG_METRICS",
    "STAGE_METRICS",
    "TOE_PREP_METRICS",
    "WIRELINE_METRICS",
    "Measured",
    "measure",
]
