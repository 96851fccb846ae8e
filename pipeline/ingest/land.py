"""Land what is new: one commit a table and batch, `sources` last, so that a reader never sees half a file."""

from __future__ import annotations

import shutil
from collections import defaultdict
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import polars as pl

from pipeline.errors import SetAside
from pipeline.ingest.cells import Finding
from pipeline.ingest.discover import NO_MAP, Item, content_hash, discover, source_id, unchanged
from pipeline.ingest.maps import READER_VERSION, LoadedMap, load_maps
from pipeline.ingest.names import Names
from pipeline.ingest.read import content_of, read_raw
from pipeline.ingest.shape import Shaped, name_groups, shape
from pipeline.ingest.suggest import no_map_fits
from pipeline.lake import Lake
from pipeline.schemas import FINDINGS, LANDED, SOURCES, WELLS, Table
from pipeline.workspace import Workspace

Progress = Callable[[int, int, str], None]
_LINEAGE = ("reason", "line", "expected", "found", "mend")


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


@dataclass
class _Ready:
    """A file that is read and waits for its batch's commit."""

    item: Item
    row: dict[str, Any]
    shaped: Shaped | None = None


@dataclass
class _Run:
    workspace: Workspace
    lake: Lake
    names: Names
    known: dict[tuple[str, str], dict[str, Any]]
    report: Landed
    superseded: set[tuple[str, str]]
    tried_with: str = ""


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
    known = {(row["path"], row["map"]): row for row in lake.scan(SOURCES).collect().iter_rows(named=True)}
    marker = workspace.root / ".heelward" / "ingest.running"
    if marker.exists():
        _sweep(lake)
    items = discover(workspace.root, workspace.landing, maps)
    superseded = {item.key for item in items if item.superseded_by is not None}
    run = _Run(workspace, lake, names, known, Landed(), superseded)
    done, total = 0, len(items)
    for lands in (*LANDED, NO_MAP):
        run.tried_with = names.fingerprint()
        stage = [item for item in items if (item.loaded.source.lands if item.loaded else NO_MAP) == lands]
        fresh = []
        for item in stage:
            row = known.get(item.key)
            if unchanged(item, row, run.tried_with):
                done += 1
                run.report.unchanged += 1
                run.report.still_aside += row is not None and row["state"] == "set aside"
            else:
                fresh.append(item)
        for batch in _batches(fresh, names):
            if not marker.exists():
                marker.parent.mkdir(parents=True, exist_ok=True)
                marker.touch()
            _land_batch(run, batch)
            done += len(batch)
            if progress is not None:
                progress(done, total, batch[-1].path)
    marker.unlink(missing_ok=True)
    return run.report


def _sweep(lake: Lake) -> None:
    """Remove what an ingest that was killed left behind: rows that no source names, which no reader sees."""
    visible = set(lake.visible_ids())
    for table in (*LANDED.values(), FINDINGS):
        held = lake.scan_raw(table).select(pl.col("source_id").drop_nulls().unique()).collect().to_series()
        orphans = sorted(set(held.to_list()) - visible)
        if orphans:
            lake.replace(table, table.empty(), {"source_id": orphans})


def _batches(items: Iterable[Item], names: Names) -> Iterable[list[Item]]:
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
    return groups.values()


def _land_batch(run: _Run, batch: list[Item]) -> None:
    ready: list[_Ready] = []
    for item in batch:
        ready.append(_prepare(run, item, ready))
    loaded = batch[0].loaded
    if loaded is not None:
        _write_rows(run, loaded.source.table, ready)
    name = batch[0].key[1]
    rows = pl.DataFrame([entry.row for entry in ready], schema=SOURCES.dtypes)
    run.lake.replace(SOURCES, rows, {"map": name, "path": [entry.item.path for entry in ready]})
    if loaded is not None:
        _clear_orphans(run, loaded.source.table, ready)
    for entry in ready:
        run.known[entry.item.key] = entry.row
        _count(run.report, entry)


def _count(report: Landed, entry: _Ready) -> None:
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
        report.set_aside.append((entry.item.path, SetAside(**{key: entry.row[key] for key in _LINEAGE})))


def _prepare(run: _Run, item: Item, batch: list[_Ready]) -> _Ready:
    """Read, shape and check one file; whatever is wrong with it becomes its row in `sources`."""
    row: dict[str, Any] = dict.fromkeys(SOURCES.dtypes)
    row |= {
        "path": item.path, "map": item.key[1], "lands": item.loaded.source.lands if item.loaded else None,
        "map_hash": item.map_hash, "reader_version": READER_VERSION, "size_bytes": item.size,
        "modified_us": item.modified_us, "tried_with": run.tried_with, "landed_at": datetime.now(UTC),
        "content_hash": "", "source_id": source_id("", item),
    }  # fmt: skip
    entry = _Ready(item, row)
    try:
        if item.superseded_by is not None:
            row |= {"state": "superseded", "reason": f"a later revision is {item.superseded_by}"}
            return entry
        data = content_of(item.file)
        row["content_hash"] = content_hash(data)
        row["source_id"] = source_id(row["content_hash"], item)
        before = run.known.get(item.key)
        if before is not None and before["state"] == "landed" and before["source_id"] == row["source_id"]:
            entry.row = before | {"size_bytes": item.size, "modified_us": item.modified_us}
            return entry
        twin = _twin(run, item, row["content_hash"], batch)
        if twin is not None:
            row |= {"state": "copy", "reason": f"the same content is landed from {twin}"}
            return entry
        if item.loaded is None:
            raise no_map_fits(item.path, data, run.workspace.maps)
        entry.shaped = _shaped(run, item.loaded, item, data)
        _describe(entry)
        _refuse_conflicts(run, entry, batch)
        row["state"] = "landed"
    except SetAside as aside:
        row |= {"state": "set aside", **{key: getattr(aside, key) for key in _LINEAGE}}
        entry.shaped = None
        _keep_copy(run.workspace, item, row["source_id"], aside)
    except OSError as error:
        unread = SetAside("the file cannot be read", "a readable file", str(error.strerror), "check its permissions")
        row |= {"state": "set aside", **{key: getattr(unread, key) for key in _LINEAGE}}
    return entry


def _shaped(run: _Run, loaded: LoadedMap, item: Item, data: bytes) -> Shaped:
    try:
        return shape(read_raw(data, loaded.source), loaded.source, run.names, item.file.name)
    except pl.exceptions.PolarsError as error:
        text = str(error).splitlines()[0] if str(error) else "no reason given"
        raise SetAside(
            "the file cannot be read by its map", f"what the map '{loaded.source.name}' describes", text[:200],
            "open the file and compare it with the map; `heelward inspect FILE` shows what was understood",
        ) from error  # fmt: skip


def _describe(entry: _Ready) -> None:
    assert entry.shaped is not None and entry.item.loaded is not None
    frame, row = entry.shaped.frame, entry.row
    row |= {"rows_in": entry.shaped.rows_in, "rows_landed": frame.height}
    if "well_id" in frame.columns and frame["well_id"].n_unique() == 1:
        row["well_id"] = frame["well_id"][0]
    if "time" in entry.item.loaded.source.table.key:
        row |= {"time_from": frame["time"][0], "time_to": frame["time"][-1]}
        row["number"] = frame["stage" if "stage" in frame.columns else "run"][0]


def _twin(run: _Run, item: Item, content: str, batch: list[_Ready]) -> str | None:
    """Path of a landed file with the same content under the same map."""
    rows = [*run.known.values(), *(entry.row for entry in batch)]
    for row in rows:
        same = row["content_hash"] == content and row["map"] == item.key[1] and row["state"] == "landed"
        if same and row["path"] != item.path and item.loaded is not None:
            return str(row["path"])
    return None


def _refuse_conflicts(run: _Run, entry: _Ready, batch: list[_Ready]) -> None:
    """Set a file aside that claims rows which another landed file already holds."""
    assert entry.shaped is not None and entry.item.loaded is not None
    table = entry.item.loaded.source.table
    frame = entry.shaped.frame
    for other in batch:
        if other.shaped is not None and other.row["number"] == entry.row["number"]:
            _clash(table, frame, other.shaped.frame, other.item.path)
    handled = {other.item.key for other in batch} | {entry.item.key}
    signal = "time" in table.key
    for key, row in run.known.items():
        if key in handled or key in run.superseded or row["state"] != "landed" or row["lands"] != table.name:
            continue
        if signal:
            apart = row["well_id"] != entry.row["well_id"] or row["number"] != entry.row["number"]
            if apart or row["time_from"] > entry.row["time_to"] or row["time_to"] < entry.row["time_from"]:
                continue
        held = run.lake.scan_raw(table).filter(pl.col("source_id") == row["source_id"])
        if table is WELLS:
            held = held.filter(~pl.col("stub"))
        _clash(table, frame, held.select(*table.key, "source_row").collect(), row["path"])


def _clash(table: Table, frame: pl.DataFrame, other: pl.DataFrame, path: str) -> None:
    common = frame.join(other.select(table.key), on=table.key, how="semi")
    if common.is_empty():
        return
    first = common.row(0, named=True)
    what = "samples of the same seconds" if "time" in table.key else f"rows of the same {' and '.join(table.key)}"
    raise SetAside(
        f"another file holds {common.height} {what}", "each once", f"both here and in {path}",
        "remove the wrong file from the landing folder, or declare revisions with 'revision_pattern' in the map",
        first["source_row"],
    )  # fmt: skip


def _write_rows(run: _Run, table: Table, ready: list[_Ready]) -> None:
    fresh = [entry for entry in ready if entry.shaped is not None]
    if not fresh:
        return
    frames, stubs, findings = [], [], []
    for entry in fresh:
        assert entry.shaped is not None
        source = pl.lit(entry.row["source_id"]).alias("source_id")
        frames.append(entry.shaped.frame.with_columns(source))
        stubs.append(_stubs(run, entry).with_columns(source))
        findings += [_finding_row(entry, finding) for finding in entry.shaped.findings]
    ids = [entry.row["source_id"] for entry in fresh]
    rows = pl.concat(frames)
    made = pl.concat(stubs).unique("well_id", keep="first")
    where: dict[str, Any] = {"source_id": ids}
    if table.partition_by:
        where = {"well_id": rows["well_id"].unique().to_list(), **where}
    run.lake.replace(table, rows, where)
    if made.height:
        run.lake.replace(WELLS, made, {"source_id": ids})
        run.names.learn(made)
    if findings:
        run.lake.replace(FINDINGS, pl.DataFrame(findings, schema=FINDINGS.dtypes), {"source_id": ids})
    if table is WELLS:
        run.names.learn(rows)


def _stubs(run: _Run, entry: _Ready) -> pl.DataFrame:
    """Wells made for this file, with those that its former content made."""
    assert entry.shaped is not None
    before = run.known.get(entry.item.key)
    if before is None:
        return entry.shaped.stubs
    held = run.lake.scan_raw(WELLS).filter(pl.col("stub") & (pl.col("source_id") == before["source_id"]))
    return pl.concat([entry.shaped.stubs, held.drop("source_id").collect().select(entry.shaped.stubs.columns)])


def _finding_row(entry: _Ready, finding: Finding) -> dict[str, Any]:
    return {
        "step": "ingest", "source_id": entry.row["source_id"], "path": entry.item.path,
        "well_id": entry.row["well_id"], "level": "file", "number": entry.row["number"], "kind": finding.kind,
        "message": finding.message, "row": finding.row, "rows": finding.rows,
    }  # fmt: skip


def _clear_orphans(run: _Run, table: Table, ready: list[_Ready]) -> None:
    """Remove rows that no source names any more; readers have not seen them since `sources` was written."""
    now = {entry.row["source_id"] for entry in ready if entry.row["state"] == "landed"}
    before = {
        row["source_id"]
        for entry in ready
        if (row := run.known.get(entry.item.key)) is not None and row["state"] == "landed"
    }
    old = sorted(before - now)
    if old:
        for each in (table, FINDINGS, WELLS):
            run.lake.replace(each, each.empty(), {"source_id": old})
    described = [entry.shaped.frame for entry in ready if entry.shaped is not None] if table is WELLS else []
    if described:
        wells = pl.concat(described)["well_id"].to_list()
        stubs = run.lake.scan_raw(WELLS).filter(pl.col("stub") & pl.col("well_id").is_in(wells))
        if stubs.collect().height:
            run.lake.replace(WELLS, WELLS.empty(), {"stub": True, "well_id": wells})


def _keep_copy(workspace: Workspace, item: Item, source: str, aside: SetAside) -> None:
    """Copy a file set aside, with its reason, under a name of our own."""
    folder = workspace.out / "set_aside"
    folder.mkdir(parents=True, exist_ok=True)
    target = folder / f"{source}.file"
    if not target.exists():
        part = folder / f".{source}.part"
        shutil.copyfile(item.file, part)
        part.replace(target)
    note = folder / f".{source}.note"
    note.write_text(f"{item.path}\n{aside}\n", encoding="utf-8")
    note.replace(Path(folder / f"{source}.reason.txt"))
