"""Measure the wells that are stale: the well is the unit of reading, of commit and of recomputation."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

import polars as pl

from pipeline.lake import Lake
from pipeline.metrics.coil_view import PLUG, RUN, TOE
from pipeline.metrics.declare import fingerprint
from pipeline.metrics.findings import offset_findings
from pipeline.metrics.measure_pads import measure_pads
from pipeline.metrics.measure_runs import measure_runs
from pipeline.metrics.measure_stages import measure_stages
from pipeline.metrics.view import STAGE
from pipeline.metrics.well import Rows, WellInput, WellRows
from pipeline.metrics.wireline import WIRELINE_RUN, measure_wireline
from pipeline.picks import coil_states, coil_stops, toe
from pipeline.picks import stage as stage_picks
from pipeline.schemas import (
    AMENDMENTS,
    COIL,
    COIL_RUNS,
    COST,
    FINDINGS,
    OFFSETS,
    PICKS,
    PLUGS,
    REPORTED,
    SOURCES,
    STAGES,
    STRINGS,
    TOE_TESTS,
    TREATMENT,
    WELLS,
    WIRELINE,
    Table,
)

LEVELS = (STAGE, PLUG, RUN, TOE, WIRELINE_RUN)
STAGE_METRICS = STAGE.table()
PLUG_METRICS = PLUG.table()
COIL_RUN_METRICS = RUN.table()
TOE_PREP_METRICS = TOE.table()
WIRELINE_METRICS = WIRELINE_RUN.table()
_DESCRIBED = (WELLS, STRINGS, STAGES, PLUGS, COIL_RUNS, WIRELINE, TOE_TESTS, COST, OFFSETS, AMENDMENTS, REPORTED)
_WRITTEN = {
    "stages": STAGE_METRICS, "plugs": PLUG_METRICS, "runs": COIL_RUN_METRICS, "toes": TOE_PREP_METRICS,
    "wireline": WIRELINE_METRICS,
}  # fmt: skip
WELLS_A_COMMIT = 24
"""Wells whose rows are written together; a kill in between costs measuring them again, nothing else."""


@dataclass
class Measured:
    """What a measure did: wells measured and left as they were, rows written, pads whose time was booked."""

    wells: int = 0
    unchanged: int = 0
    stages: int = 0
    plugs: int = 0
    runs: int = 0
    findings: int = 0
    pads: int = 0

    @property
    def changed(self) -> bool:
        """Whether the lake was changed."""
        return self.wells + self.pads > 0


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
        rows = WellRows()
        pumped_down = measure_stages(well, rows)
        measure_runs(well, rows)
        measure_wireline(well, pumped_down, rows)
        rows.findings += offset_findings(well.well_id, well.tables["offsets"])
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
    report.pads, odd = measure_pads(lake, default_zone)
    report.findings += odd
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
    picks = [
        (method.name, method.version)
        for method in (*stage_picks.METHODS, *coil_stops.METHODS, *coil_states.METHODS, *toe.METHODS)
    ]
    return [picks, *(level.versions() for level in (STAGE, PLUG, RUN, TOE, WIRELINE_RUN))]


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


def _write(lake: Lake, measured: list[tuple[WellInput, WellRows]]) -> None:
    """Write some wells' rows; `picks` last, whose fingerprint says that all of them are new."""
    where = {"well_id": [well.well_id for well, _ in measured]}
    prints = {well.well_id: well.print for well, _ in measured}
    mark = pl.col("well_id").replace_strict(prints, return_dtype=pl.String).alias("fingerprint")
    for name, table in _WRITTEN.items():
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
        for table in (*_WRITTEN.values(), PICKS):
            lake.replace(table, table.empty(), {"well_id": well})
        lake.replace(FINDINGS, FINDINGS.empty(), {"step": "measure", "well_id": well})


__all__ = [
    "COIL_RUN_METRICS",
    "PLUG_METRICS",
    "STAGE_METRICS",
    "TOE_PREP_METRICS",
    "WIRELINE_METRICS",
    "Measured",
    "measure",
]
