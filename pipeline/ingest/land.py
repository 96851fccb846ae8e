"""Land new files: one commit per table and batch, `sources` last, so that a reader never sees part of a file."""

from __future__ import annotations

import shutil
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import nullcontext
from dataclasses import dataclass, field
from typing import Any

import polars as pl

from pipeline.errors import SetAside
from pipeline.events import event
from pipeline.ingest import amend
from pipeline.ingest.discover import NO_MAP, SourceFile, discover, item_of, unchanged
from pipeline.ingest.folder import gone_from, readable, refuse_no_maps, retired_rows, tell_skipped
from pipeline.ingest.growing import settled_items
from pipeline.ingest.known import SourceIndex
from pipeline.ingest.maps import read_maps
from pipeline.ingest.names import WellRegistry
from pipeline.ingest.prepare import LINEAGE, IngestContext, PreparedFile, read, settle, spool
from pipeline.ingest.shape import name_groups
from pipeline.ingest.tally import Finding
from pipeline.ingest.verify import restore_tables, settled, verify
from pipeline.lake import Condition, Lake
from pipeline.parallel import Workers
from pipeline.schemas import LANDED
from pipeline.schemas.base import Table
from pipeline.schemas.lineage import FINDINGS, SOURCES
from pipeline.schemas.wells import WELLS
from pipeline.workspace import Workspace

Progress = Callable[[int, int, str], None]
BATCH_BYTES = 256 * 1024**2
"""Limit for files of a well that are held in memory and landed in one commit; a larger file is landed alone. [bytes]"""
_LOST: dict[str, Any] = {
    "reason": "rows are missing from the lake, and the file no longer exists", "line": None, "expected": "the file",
    "found": "no such file", "fix": "put the file back into the landing folder",
}  # fmt: skip
BATCH_FILES, LIGHT_BYTES = 48, 64 * 1024**2
"""Wells with few files are landed together up to about so many files and bytes: each commit takes time. [1, bytes]"""
READERS = 2
"""Number of files of a batch that are read in parallel; each read also uses several cores."""


@dataclass
class KindOfFinding:
    """Findings of one kind: their number, that of their files, and one of them with its file."""

    path: str
    message: str
    count: int = 0
    files: int = 0

    @property
    def where(self) -> str:
        """How many there are, and where."""
        places = f"in {self.files} files, such as" if self.files > 1 else "in"
        return f"{self.count} finding(s) {places} {self.path}"


@dataclass
class Landed:
    """What an ingest did.

    Attributes
    ----------
    landed, unchanged, copies, superseded, waiting : int
        Numbers of files; those that wait may still grow.
    set_aside : list of (path, SetAside)
        Files set aside in this run.
    still_aside : int
        Unchanged files that were set aside before.
    findings : int
    kinds : dict of str to KindOfFinding
        The findings of the files that were landed in this run, by kind.
    skipped : list of (path, why)
        Entries not read in the landing folders: pipes, broken or outside links, folders without read permission.
    incomplete : list of str
        Files recorded as landed with missing rows; files that still exist are landed again.
    broken_maps : list of str
        Maps that cannot be used, with all their errors. Their files wait unchanged.
    restored : list of str
        Damaged tables of the lake: the remaining rows are readable again, lost rows are landed again.
    tidied : bool
        Whether rows were removed, or findings of the landing folders changed.
    """

    landed: int = 0
    unchanged: int = 0
    copies: int = 0
    superseded: int = 0
    waiting: int = 0
    set_aside: list[tuple[str, SetAside]] = field(default_factory=list)
    still_aside: int = 0
    findings: int = 0
    kinds: dict[str, KindOfFinding] = field(default_factory=dict)
    skipped: list[tuple[str, str]] = field(default_factory=list)
    incomplete: list[str] = field(default_factory=list)
    broken_maps: list[str] = field(default_factory=list)
    restored: list[str] = field(default_factory=list)
    tidied: bool = False

    @property
    def changed(self) -> bool:
        """Whether the lake was changed."""
        counted = self.landed or self.copies or self.superseded or self.set_aside or self.incomplete
        return bool(counted) or self.tidied


def land(
    workspace: Workspace,
    lake: Lake,
    progress: Progress | None = None,
    workers: Workers | None = None,
    *,
    only_settled: bool = False,
    begin: Callable[[int], object] = lambda _files: None,
) -> Landed:
    """Land all new and changed files of a workspace.

    Parameters
    ----------
    workspace : Workspace
    lake : Lake
    progress : callable, optional
        Called with (files done, files to do, path).
    workers : Workers, optional
        Where files are read; default: on this machine.
    only_settled : bool
        Whether files that may still grow wait for a later run.
    begin : callable, optional
        Called with the number of all files before new ones of a kind are read.

    Returns
    -------
    Landed

    Raises
    ------
    HeelwardError
        If there are no source maps.
    """
    maps, broken = read_maps(workspace.maps)
    restored, conditions = restore_tables(lake)
    names = WellRegistry()
    names.relearn(lake.scan(WELLS).collect())
    report = Landed(broken_maps=[str(item) for item in broken], restored=restored, tidied=bool(restored))
    known = SourceIndex(lake.scan(SOURCES).collect().iter_rows(named=True))
    refuse_no_maps(workspace, maps, broken, known)
    found = discover(workspace, maps)
    items = readable(found.items, maps, broken, known, workspace)
    if only_settled:
        items, report.waiting = settled_items(workspace, items, known)
    if (workspace.root / amend.FILE).is_file():
        items.append(item_of(workspace.root, workspace.root / amend.FILE, amend.MAP))
    report.skipped = [(item.path, item.message) for item in found.skipped]
    report.tidied = tell_skipped(lake, found.skipped) or report.tidied
    superseded = {item.key for item in items if item.superseded_by is not None}
    gone = gone_from(known, found, items)
    for key in superseded | gone:
        known.suspend(key)
    retired = retired_rows(known, items, maps, all_maps=not broken)
    _repair(lake, conditions, known, items, retired, report)
    done, total = 0, len(items)
    shutil.rmtree(spool(workspace), ignore_errors=True)
    for lands in (*LANDED, NO_MAP):
        context = IngestContext(workspace, lake, names, known, superseded, gone)
        stage = [item for item in items if (item.loaded.source.lands if item.loaded else NO_MAP) == lands]
        fresh = []
        for item in stage:
            row = known.get(item.key)
            aside = row is not None and row["state"] == "set aside"
            if unchanged(item, row, context.expects(item, row)) and context.still_holds(row):
                done += 1
                report.unchanged += 1
                report.still_aside += aside
            else:
                fresh.append(item)
                known.suspend(item.key)
        if fresh:
            begin(total)
        for batch in _read_ahead(context, _batches(fresh, names), workers):
            _land_batch(context, batch, retired, report)
            for entry in batch:
                shutil.rmtree(context.spool_of(entry.row["source_id"]), ignore_errors=True)
            done += len(batch)
            if progress is not None:
                progress(done, total, batch[-1].item.path)
    left = [row for rows in retired.values() for row in rows]
    report.tidied = _replace_sources(lake, [], left) or report.tidied
    return report


def _repair(
    lake: Lake,
    conditions: dict[Table, Condition],
    known: SourceIndex,
    items: list[SourceFile],
    retired: dict[str, list[dict[str, Any]]],
    report: Landed,
) -> None:
    """Remove the leftovers of a killed run, and mark files with missing rows to be landed again.

    Only if the lake has changed since the last step: counting all rows takes time.
    """
    if settled(lake, conditions):
        return
    found = verify(lake)
    for table, ids in found.orphans.items():
        lake.replace(table, table.empty(), {"source_id": ids})
        report.tidied = True
    there = {item.key for item in items}
    lost = []
    for row in found.incomplete:
        known.drop(row)
        report.incomplete.append(row["path"])
        if (row["path"], row["map"]) in there:
            retired[row["path"]].append(row)
        else:
            lost.append(row | {"state": "set aside", **_LOST})
    if lost:
        _replace_sources(lake, lost, lost)
        for row in lost:
            known.put(row)


def _batches(items: Iterable[SourceFile], names: WellRegistry) -> list[list[SourceFile]]:
    """Group files by map and, for records, by well: several small wells, if the map creates none of them."""
    groups: dict[tuple[str, str], list[SourceFile]] = defaultdict(list)
    for item in items:
        well = ""
        if item.loaded is not None and "time" in item.loaded.source.table.key:
            try:
                spelled = name_groups(item.loaded.source, item.file.name).get("well", item.path)
                well = names.find(spelled) or spelled
            except SetAside:
                well = item.path
        groups[(item.key[1], well)].append(item)
    joined: list[list[SourceFile]] = []
    for group in groups.values():
        if joined and _together(joined[-1], group):
            joined[-1] += group
        else:
            joined.append(group)
    return [part for group in joined for part in _of_bounded_size(group)]


def _together(before: list[SourceFile], group: list[SourceFile]) -> bool:
    """Whether two groups of files are landed together."""
    one, other = before[-1].loaded, group[0].loaded
    if one is None or one is not other or one.source.unknown_wells == "create":
        return False
    size = sum(item.size for item in (*before, *group))
    return len(before) + len(group) <= BATCH_FILES and size <= LIGHT_BYTES


def _of_bounded_size(items: list[SourceFile]) -> Iterator[list[SourceFile]]:
    batch: list[SourceFile] = []
    for item in items:
        if batch and sum(each.size for each in batch) + item.size > BATCH_BYTES:
            yield batch
            batch = []
        batch.append(item)
    yield batch


def _read_ahead(
    context: IngestContext, batches: list[list[SourceFile]], workers: Workers | None
) -> Iterator[list[PreparedFile]]:
    """Read the next batch while the current one is written; never more than two in memory.

    If a map creates unknown wells, each batch needs the wells created by the previous batch, and waits for it.
    """
    with ThreadPoolExecutor(READERS) if workers is None else nullcontext(workers.executor) as pool:

        def start(batch: list[SourceFile]) -> list[Future[PreparedFile]]:
            given = context if workers is None else context.apart(batch)
            return [pool.submit(read, given, item) for item in batch]

        waiting: list[Future[PreparedFile]] = []
        for index, batch in enumerate(batches):
            present = waiting or start(batch)
            ready = [future.result() for future in present]
            waits = any(item.loaded is not None and item.loaded.source.unknown_wells == "create" for item in batch)
            following = batches[index + 1] if index + 1 < len(batches) else []
            waiting = [] if waits else start(following)
            yield ready


def _land_batch(
    context: IngestContext, batch: list[PreparedFile], retired: dict[str, list[dict[str, Any]]], report: Landed
) -> None:
    ready: list[PreparedFile] = []
    for entry in batch:
        ready.append(settle(context, entry, ready))
    loaded = batch[0].item.loaded
    if loaded is not None:
        _write_rows(context, loaded.source.table, ready)
    for entry in ready:
        if entry.shaped is not None:  # the wells that it created are known now
            entry.row["tried_with"] = context.read_with(entry.item, aside=False)
    before = [row for entry in ready if (row := context.known.get(entry.item.key)) is not None]
    before += [row for entry in ready for row in retired.pop(entry.item.path, [])]
    before += [row for entry in ready for row in entry.replaces]
    for row in before:
        context.known.drop(row)
    _replace_sources(context.lake, [entry.row for entry in ready], before)
    if loaded is not None and loaded.source.table is WELLS:
        _clear_stubs(context, ready)
        context.names.relearn(context.lake.scan(WELLS).collect())
    for entry in ready:
        context.known.put(entry.row)
        _count(report, entry)


def _count(report: Landed, entry: PreparedFile) -> None:
    state, row = entry.row["state"], entry.row
    findings = None if entry.shaped is None else len(entry.shaped.findings)
    event(
        state, file=entry.item.path, map=row["map"], well=row["well_id"], number=row["number"], rows=row["rows_landed"],
        findings=findings, reason=row["reason"], line=row["line"],
    )  # fmt: skip
    if state == "landed" and entry.shaped is not None:
        report.landed += 1
        report.findings += len(entry.shaped.findings)
        for finding in entry.shaped.findings:
            kind = report.kinds.setdefault(finding.kind, KindOfFinding(entry.item.path, finding.message))
            kind.count += 1
        for name in {finding.kind for finding in entry.shaped.findings}:
            report.kinds[name].files += 1
    elif state == "landed":
        report.unchanged += 1
    elif state == "copy":
        report.copies += 1
    elif state == "superseded":
        report.superseded += 1
    else:
        report.set_aside.append((entry.item.path, SetAside(**{key: entry.row[key] for key in LINEAGE})))


def _write_rows(context: IngestContext, table: Table, ready: list[PreparedFile]) -> None:
    fresh = [entry for entry in ready if entry.shaped is not None]
    if not fresh:
        return
    stubs, findings = [], []
    wells: set[str] = set()
    told = False
    for entry in fresh:
        assert entry.shaped is not None
        wells |= entry.shaped.rows.wells
        before = context.known.get(entry.item.key)
        if before is not None:  # the same content may have belonged to another well, and may have had findings
            wells |= {before["well_id"]} - {None}
            told |= bool(before["findings"])
        stubs.append(_stubs(context, entry).with_columns(pl.lit(entry.row["source_id"]).alias("source_id")))
        findings += [_finding_row(entry, finding) for finding in entry.shaped.findings]
    ids = [entry.row["source_id"] for entry in fresh]
    where: dict[str, Any] = {"well_id": sorted(wells)} if table.partition_by else {}
    large = any(entry.shaped is not None and entry.shaped.rows.large for entry in fresh)
    rows = _frames(fresh)
    context.lake.replace(table, rows if large else pl.concat(rows), {**where, "source_id": ids})
    made = pl.concat(stubs).unique("well_id", keep="first")
    if made.height:
        context.lake.replace(WELLS, made, {"source_id": ids})
        context.names.learn(made)
    if findings or told:
        context.lake.replace(FINDINGS, pl.DataFrame(findings, schema=FINDINGS.dtypes), {"source_id": ids})


def _frames(fresh: list[PreparedFile]) -> Iterator[pl.DataFrame]:
    """Yield the rows of some files, each with the file's id."""
    for entry in fresh:
        if entry.shaped is not None:
            for frame in entry.shaped.rows.frames():
                yield frame.with_columns(pl.lit(entry.row["source_id"]).alias("source_id"))


def _stubs(context: IngestContext, entry: PreparedFile) -> pl.DataFrame:
    """Wells created for this file, and those created for its former content."""
    assert entry.shaped is not None
    before = context.known.get(entry.item.key)
    if before is None:
        return entry.shaped.stubs
    held = context.lake.scan_raw(WELLS).filter(pl.col("stub") & (pl.col("source_id") == before["source_id"]))
    return pl.concat([entry.shaped.stubs, held.drop("source_id").collect().select(entry.shaped.stubs.columns)])


def _finding_row(entry: PreparedFile, finding: Finding) -> dict[str, Any]:
    return {
        "step": "ingest", "source_id": entry.row["source_id"], "path": entry.item.path,
        "well_id": entry.row["well_id"], "level": "file", "number": entry.row["number"], "kind": finding.kind,
        "message": finding.message, "row": finding.row, "rows": finding.rows,
    }  # fmt: skip


def _replace_sources(lake: Lake, rows: list[dict[str, Any]], before: list[dict[str, Any]]) -> bool:
    """Replace the entries of files in `sources` in one commit, then remove the rows that it no longer lists."""
    ids = sorted({row["source_id"] for row in (*rows, *before)})
    if not ids:
        return False
    lake.replace(SOURCES, pl.DataFrame(rows, schema=SOURCES.dtypes), {"source_id": ids})
    now = {row["source_id"] for row in rows if row["state"] == "landed"}
    old: dict[Table, set[str]] = defaultdict(set)
    for row in before:
        if row["lands"] in LANDED and row["source_id"] not in now:
            for table in (LANDED[row["lands"]], FINDINGS, WELLS):
                old[table].add(row["source_id"])
    for table, gone in old.items():
        lake.replace(table, table.empty(), {"source_id": sorted(gone)})
    return True


def _clear_stubs(context: IngestContext, ready: list[PreparedFile]) -> None:
    """Remove wells created by landing that are now described in a wells table."""
    wells = sorted({well for entry in ready if entry.shaped is not None for well in entry.shaped.rows.wells})
    stubs = context.lake.scan_raw(WELLS).filter(pl.col("stub") & pl.col("well_id").is_in(wells))
    if wells and stubs.collect().height:
        context.lake.replace(WELLS, WELLS.empty(), {"stub": True, "well_id": wells})
