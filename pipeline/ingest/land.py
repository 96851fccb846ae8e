"""Land what is new: one commit a table and batch, `sources` last, so that a reader never sees half a file."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field
from typing import Any

import polars as pl

from pipeline.errors import SetAside
from pipeline.ingest import amend
from pipeline.ingest.cells import Finding
from pipeline.ingest.discover import NO_MAP, Item, discover, item_of, unchanged
from pipeline.ingest.known import Known
from pipeline.ingest.maps import load_maps
from pipeline.ingest.names import Names
from pipeline.ingest.prepare import LINEAGE, Context, Ready, read, settle
from pipeline.ingest.shape import name_groups
from pipeline.lake import Lake
from pipeline.schemas import FINDINGS, LANDED, SOURCES, WELLS, Table
from pipeline.workspace import Workspace

Progress = Callable[[int, int, str], None]
READERS = 2
"""Files of a batch that are read beside each other; each read is itself spread over the cores."""


@dataclass
class Landed:
    """What an ingest did.

    Attributes
    ----------
    landed, unchanged, copies, superseded : int
        Numbers of files.
    set_aside : list of (path, SetAside)
        Files set aside in this run.
    still_aside : int
        Files set aside before that nothing has changed about.
    findings : int
    """

    landed: int = 0
    unchanged: int = 0
    copies: int = 0
    superseded: int = 0
    set_aside: list[tuple[str, SetAside]] = field(default_factory=list)
    still_aside: int = 0
    findings: int = 0

    @property
    def changed(self) -> bool:
        """Whether the lake was changed."""
        return bool(self.landed or self.copies or self.superseded or self.set_aside)


def land(workspace: Workspace, lake: Lake, progress: Progress | None = None) -> Landed:
    """Land all new and changed files of a workspace.

    Parameters
    ----------
    workspace : Workspace
    lake : Lake
    progress : callable, optional
        Told (files done, files to do, path).

    Returns
    -------
    Landed

    Raises
    ------
    HeelwardError
        If a source map is wrong.
    """
    maps = load_maps(workspace.maps)
    names = Names()
    names.learn(lake.scan(WELLS).collect())
    known = Known(lake.scan(SOURCES).collect().iter_rows(named=True))
    marker = workspace.root / ".heelward" / "ingest.running"
    if marker.exists():
        _sweep(lake)
    items = discover(workspace.root, workspace.landing, maps)
    if (workspace.root / amend.FILE).is_file():
        items.append(item_of(workspace.root, workspace.root / amend.FILE, amend.MAP))
    superseded = {item.key for item in items if item.superseded_by is not None}
    report = Landed()
    done, total = 0, len(items)
    for lands in (*LANDED, NO_MAP):
        context = Context(workspace, lake, names, known, superseded, names.fingerprint())
        stage = [item for item in items if (item.loaded.source.lands if item.loaded else NO_MAP) == lands]
        fresh = []
        for item in stage:
            row = known.get(item.key)
            if unchanged(item, row, context.tried_with):
                done += 1
                report.unchanged += 1
                report.still_aside += row is not None and row["state"] == "set aside"
            else:
                fresh.append(item)
        if fresh and not marker.exists():
            marker.parent.mkdir(parents=True, exist_ok=True)
            marker.touch()
        for batch in _read_ahead(context, _batches(fresh, names)):
            _land_batch(context, batch, report)
            done += len(batch)
            if progress is not None:
                progress(done, total, batch[-1].item.path)
    marker.unlink(missing_ok=True)
    return report


def _sweep(lake: Lake) -> None:
    """Remove what an ingest that was killed left behind: rows that no source names, which no reader sees."""
    visible = set(lake.visible_ids())
    for table in (*LANDED.values(), FINDINGS):
        held = lake.scan_raw(table).select(pl.col("source_id").drop_nulls().unique()).collect().to_series()
        orphans = sorted(set(held.to_list()) - visible)
        if orphans:
            lake.replace(table, table.empty(), {"source_id": orphans})


def _batches(items: Iterable[Item], names: Names) -> list[list[Item]]:
    """Group files by map and, for records, by well."""
    groups: dict[tuple[str, str], list[Item]] = defaultdict(list)
    for item in items:
        well = ""
        if item.loaded is not None and "time" in item.loaded.source.table.key:
            try:
                spelled = name_groups(item.loaded.source, item.file.name).get("well", item.path)
                well = names.find(spelled) or spelled
            except SetAside:
                well = item.path
        groups[(item.key[1], well)].append(item)
    return list(groups.values())


def _read_ahead(context: Context, batches: list[list[Item]]) -> Iterator[list[Ready]]:
    """Read the next batch while the present one is written; never more than two in memory.

    Where a map makes unknown wells, each batch must see the wells that the one before it made, and waits.
    """
    with ThreadPoolExecutor(READERS) as pool:

        def start(batch: list[Item]) -> list[Future[Ready]]:
            return [pool.submit(read, context, item) for item in batch]

        waiting: list[Future[Ready]] = []
        for index, batch in enumerate(batches):
            present = waiting or start(batch)
            ready = [future.result() for future in present]
            waits = any(item.loaded is not None and item.loaded.source.unknown_wells == "create" for item in batch)
            following = batches[index + 1] if index + 1 < len(batches) else []
            waiting = [] if waits else start(following)
            yield ready


def _land_batch(context: Context, batch: list[Ready], report: Landed) -> None:
    ready: list[Ready] = []
    for entry in batch:
        ready.append(settle(context, entry, ready))
    loaded, name = batch[0].item.loaded, batch[0].item.key[1]
    if loaded is not None:
        _write_rows(context, loaded.source.table, ready)
    rows = pl.DataFrame([entry.row for entry in ready], schema=SOURCES.dtypes)
    context.lake.replace(SOURCES, rows, {"map": name, "path": [entry.item.path for entry in ready]})
    if loaded is not None:
        _clear_orphans(context, loaded.source.table, ready)
    for entry in ready:
        context.known.put(entry.row)
        _count(report, entry)


def _count(report: Landed, entry: Ready) -> None:
    state = entry.row["state"]
    if state == "landed" and entry.shaped is not None:
        report.landed += 1
        report.findings += len(entry.shaped.findings)
    elif state == "landed":
        report.unchanged += 1
    elif state == "copy":
        report.copies += 1
    elif state == "superseded":
        report.superseded += 1
    else:
        report.set_aside.append((entry.item.path, SetAside(**{key: entry.row[key] for key in LINEAGE})))


def _write_rows(context: Context, table: Table, ready: list[Ready]) -> None:
    fresh = [entry for entry in ready if entry.shaped is not None]
    if not fresh:
        return
    frames, stubs, findings = [], [], []
    for entry in fresh:
        assert entry.shaped is not None
        source = pl.lit(entry.row["source_id"]).alias("source_id")
        frames.append(entry.shaped.frame.with_columns(source))
        stubs.append(_stubs(context, entry).with_columns(source))
        findings += [_finding_row(entry, finding) for finding in entry.shaped.findings]
    ids = [entry.row["source_id"] for entry in fresh]
    rows = pl.concat(frames)
    made = pl.concat(stubs).unique("well_id", keep="first")
    where: dict[str, Any] = {"source_id": ids}
    if table.partition_by:
        where = {"well_id": rows["well_id"].unique().to_list(), **where}
    context.lake.replace(table, rows, where)
    if made.height:
        context.lake.replace(WELLS, made, {"source_id": ids})
        context.names.learn(made)
    if findings:
        context.lake.replace(FINDINGS, pl.DataFrame(findings, schema=FINDINGS.dtypes), {"source_id": ids})
    if table is WELLS:
        context.names.learn(rows)


def _stubs(context: Context, entry: Ready) -> pl.DataFrame:
    """Wells made for this file, with those that its former content made."""
    assert entry.shaped is not None
    before = context.known.get(entry.item.key)
    if before is None:
        return entry.shaped.stubs
    held = context.lake.scan_raw(WELLS).filter(pl.col("stub") & (pl.col("source_id") == before["source_id"]))
    return pl.concat([entry.shaped.stubs, held.drop("source_id").collect().select(entry.shaped.stubs.columns)])


def _finding_row(entry: Ready, finding: Finding) -> dict[str, Any]:
    return {
        "step": "ingest", "source_id": entry.row["source_id"], "path": entry.item.path,
        "well_id": entry.row["well_id"], "level": "file", "number": entry.row["number"], "kind": finding.kind,
        "message": finding.message, "row": finding.row, "rows": finding.rows,
    }  # fmt: skip


def _clear_orphans(context: Context, table: Table, ready: list[Ready]) -> None:
    """Remove rows that no source names any more; readers have not seen them since `sources` was written."""
    now = {entry.row["source_id"] for entry in ready if entry.row["state"] == "landed"}
    before = {
        row["source_id"]
        for entry in ready
        if (row := context.known.get(entry.item.key)) is not None and row["state"] == "landed"
    }
    old = sorted(before - now)
    if old:
        for each in (table, FINDINGS, WELLS):
            context.lake.replace(each, each.empty(), {"source_id": old})
    described = [entry.shaped.frame for entry in ready if entry.shaped is not None] if table is WELLS else []
    if described:
        wells = pl.concat(described)["well_id"].to_list()
        stubs = context.lake.scan_raw(WELLS).filter(pl.col("stub") & pl.col("well_id").is_in(wells))
        if stubs.collect().height:
            context.lake.replace(WELLS, WELLS.empty(), {"stub": True, "well_id": wells})
