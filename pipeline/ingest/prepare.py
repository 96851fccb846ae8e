"""Prepare one file for the lake: read, shape, check against landed files; or set it aside with the reason."""

from __future__ import annotations

import shutil
import threading
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, nullcontext
from copy import copy
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import polars as pl

from pipeline.errors import SetAside, short
from pipeline.files import replace_text, replacing
from pipeline.ingest.content import PART_BYTES, Content, content_of
from pipeline.ingest.discover import SourceFile, source_id
from pipeline.ingest.known import Key, SourceIndex
from pipeline.ingest.maps import READER_VERSION, LoadedMap
from pipeline.ingest.names import WellRegistry
from pipeline.ingest.read import read_raw
from pipeline.ingest.shape import Shaped, name_groups, shape
from pipeline.ingest.sniff import sniff_text
from pipeline.ingest.spool import Rows
from pipeline.ingest.tally import Finding
from pipeline.lake import Lake
from pipeline.locks import log
from pipeline.schemas.base import Table
from pipeline.schemas.lineage import SOURCES
from pipeline.schemas.records import TREATMENT
from pipeline.schemas.wells import WELLS
from pipeline.workspace import Workspace

LINEAGE = ("reason", "line", "expected", "found", "fix")
"""Fields of a set-aside file's row."""


_LARGE = threading.Lock()
"""Held while a large file is read: one at a time."""
CLASH = "clash with "
"""Prefix in the column `tried_with` for a file with rows of another file; the source id of that file follows."""


@dataclass
class PreparedFile:
    """A file that was read, with its row of `sources`; without rows if it is not landed in this run."""

    item: SourceFile
    row: dict[str, Any]
    shaped: Shaped | None = None
    replaces: list[dict[str, Any]] = field(default_factory=list)


@dataclass(frozen=True)
class IngestContext:
    """Context for checking a file.

    Attributes
    ----------
    workspace : Workspace
    lake : Lake
    names : WellRegistry
    known : SourceIndex
    superseded, gone : set of (path, map)
        Files replaced by a later revision, and recorded files that are no longer in the landing folders.
    """

    workspace: Workspace
    lake: Lake
    names: WellRegistry
    known: SourceIndex
    superseded: set[Key]
    gone: set[Key]

    def apart(self, items: Sequence[SourceFile]) -> IngestContext:
        """Return what reading these files needs, for other processes."""
        rows = [row for item in items for row in self.known.of_path(item.path)]
        return replace(self, lake=self.lake.reader(), known=SourceIndex(rows), superseded=set(), gone=set())

    def expects(self, item: SourceFile, row: Mapping[str, Any] | None) -> str:
        """Return the `tried_with` value expected in an unchanged file's row."""
        if row is not None and _clashed(row):
            return str(row["tried_with"])
        return self.read_with(item, aside=row is not None and row["state"] == "set aside")

    def read_with(self, item: SourceFile, *, aside: bool) -> str:
        """Return a hash of the facts that a file's rows take from the wells table; if they change, it is read again.

        A table that was set aside may need any well that is known now; for a landed table all wells were known.
        """
        source = item.loaded.source if item.loaded is not None else None
        if source is None or source.table is WELLS or "well_id" not in source.table.dtypes:
            return ""
        try:
            spelled = name_groups(source, item.file.name).get("well")
        except SetAside:
            return ""
        return self.names.fingerprint(made=aside) if spelled is None else self.names.facts(self.names.find(spelled))

    def still_holds(self, row: Mapping[str, Any] | None) -> bool:
        """Whether the reason why an unchanged file was not landed still holds: its copy, or the conflicting file."""
        if row is None:
            return False
        if row["state"] == "copy":
            return self.known.twin((row["path"], row["map"]), row["content_hash"]) is not None
        return not _clashed(row) or self.known.holds(row["tried_with"].removeprefix(CLASH))

    def spool_of(self, source: str) -> Path:
        """Folder for a file's rows that are too large for memory."""
        return spool(self.workspace) / source


def _clashed(row: Mapping[str, Any]) -> bool:
    return row["state"] == "set aside" and str(row["tried_with"] or "").startswith(CLASH)


def spool(workspace: Workspace) -> Path:
    """Return the folder of rows that wait to be written; its content belongs to the current run."""
    return workspace.state / "spool"


def read(context: IngestContext, item: SourceFile) -> PreparedFile:
    """Read and shape one file; safe to run in parallel. Errors are stored in its row."""
    row: dict[str, Any] = dict.fromkeys(SOURCES.dtypes)
    row |= {
        "path": item.path, "map": item.key[1], "lands": item.loaded.source.lands if item.loaded else None,
        "map_hash": item.map_hash, "reader_version": READER_VERSION, "size_bytes": item.size,
        "modified_us": item.modified_us, "tried_with": context.read_with(item, aside=True),
        "landed_at": datetime.now(UTC), "content_hash": "", "source_id": source_id("", item), "state": "landed",
    }  # fmt: skip
    entry = PreparedFile(item, row)
    if item.superseded_by is not None:
        row |= {"state": "superseded", "reason": f"a later revision is {item.superseded_by}"}
        return entry
    try:
        with as_set_aside(item.key[1]), nullcontext() if item.size < PART_BYTES else _LARGE:
            _read(context, entry)
    except SetAside as aside:
        _set_aside(context, entry, aside)
    except OSError as error:
        found = error.strerror or type(error).__name__
        fix = "check that the file exists, and its permissions; the next ingest tries again"
        _set_aside(context, entry, SetAside("the file cannot be read", "a readable file", found, fix))
        entry.row["tried_with"] = ""
    return entry


def _read(context: IngestContext, entry: PreparedFile) -> None:
    item, row = entry.item, entry.row
    _refuse_strange_name(item)
    content = content_of(item.file)
    row["content_hash"] = content.digest
    row["source_id"] = source_id(content.digest, item)
    before = context.known.get(item.key)
    if before is not None and _landed_alike(before, row["source_id"], context.read_with(item, aside=False)):
        entry.row = before | {"size_bytes": item.size, "modified_us": item.modified_us}
    elif item.loaded is None:
        raise _no_map(item.path, content.first(), context.workspace.maps)
    else:
        entry.shaped = _shaped(context, item.loaded, item, content, row["source_id"])
        _describe(entry)


def _no_map(path: str, data: bytes, maps: Path) -> SetAside:
    """Return the reason why a file without a matching map is set aside."""
    found = sniff_text(data)
    seen = f"headings {', '.join(short(name) for name in found.names[:8])}" if found else "no table of text"
    return SetAside(
        "no map matches the file", f"a map in {maps.name}/ whose 'files' pattern matches it", seen,
        f'propose one (`heelward inspect "{path}" --write`), or move the file out of the landing folder',
    )  # fmt: skip


@contextmanager
def as_set_aside(map_name: str) -> Iterator[None]:
    """Convert every error of one file into a `SetAside`, so that it never stops the other files."""
    try:
        yield
    except (SetAside, OSError):
        raise
    except MemoryError as error:
        raise SetAside(
            "the file needs more memory than available", "a file that fits in memory", "out of memory", "split the file"
        ) from error
    except BaseException as error:
        if not isinstance(error, Exception) and type(error).__name__ != "PanicException":
            raise  # an interrupt; a reader's panic is also not an Exception
        raise SetAside(
            "the file cannot be read with its map", f"content as described in the map '{map_name}'", _first_line(error),
            "open the file and compare it with the map; `heelward inspect FILE` shows how it is read",
        ) from error  # fmt: skip


def _first_line(error: BaseException) -> str:
    text = str(error).strip()
    return short(text.splitlines()[0], 200) if text else type(error).__name__


def _refuse_strange_name(item: SourceFile) -> None:
    try:
        item.file.name.encode()
    except UnicodeEncodeError as error:
        raise SetAside(
            "the file's name is not UTF-8", "a valid UTF-8 name", short(item.path, 120),
            "rename the file",
        ) from error  # fmt: skip


def _landed_alike(before: Mapping[str, Any], source: str, read_with: str) -> bool:
    """Whether a file is landed with the same content and the same facts about its wells."""
    return bool(before["state"] == "landed" and before["source_id"] == source and before["tried_with"] == read_with)


def settle(context: IngestContext, entry: PreparedFile, batch: Sequence[PreparedFile]) -> PreparedFile:
    """Check a read file against landed files and earlier files of its batch, for copies and conflicts."""
    row = entry.row
    if row["state"] != "landed" or row["map"] == "":
        return entry
    twin = context.known.twin(entry.item.key, row["content_hash"])
    landed = [other for other in batch if other.row["state"] == "landed"]
    twin = twin or next((other.row for other in landed if other.row["content_hash"] == row["content_hash"]), None)
    if twin is not None and (aside := _of_another_job(row, twin)) is not None:
        _set_aside(context, entry, aside)
        entry.row["tried_with"] = f"{CLASH}{twin['source_id']}"
    elif twin is not None:
        row |= {"state": "copy", "reason": f"the same content is already landed from {twin['path']}"}
        entry.shaped = None
    elif entry.shaped is not None:
        try:
            _refuse_conflicts(context, entry, batch)
        except _Clash as clash:
            _set_aside(context, entry, clash.aside)
            entry.row["tried_with"] = f"{CLASH}{clash.source}"
    return entry


def _of_another_job(row: Mapping[str, Any], twin: Mapping[str, Any]) -> SetAside | None:
    """Return why a file is no copy of one with the same content: it is said to be of another stage or run."""
    own, other = (_job(one) for one in (row, twin))
    if own == other:
        return None
    return SetAside(
        f"the same content is already landed as {other}", f"another record, of {own}",
        f"the content of {twin['path']}", "export the file again; if it is a copy, remove it",
    )  # fmt: skip


def _job(row: Mapping[str, Any]) -> str:
    """Return what a file is said to be a record of: ``stage 5 of quill-1``."""
    kind = "stage" if row["lands"] == TREATMENT.name else "run"
    return " of ".join([*([f"{kind} {row['number']}"] if row["number"] is not None else []), str(row["well_id"])])


@dataclass
class _Clash(Exception):
    """Rows that another file already has: the file's source id, and the message for the user."""

    source: str
    aside: SetAside


def _set_aside(context: IngestContext, entry: PreparedFile, aside: SetAside) -> None:
    path, own = entry.item.key
    rows = context.known.of_path(path)
    others = [row["map"] for row in rows if row["map"] != own and context.known.holds(row["source_id"])]
    if others:
        aside = copy(aside)
        aside.fix = (
            f"the map '{others[0]}' reads this file: leave it out of 'files' of the map '{own}'; else {aside.fix}"
        )
    entry.row |= {"state": "set aside", **{key: getattr(aside, key) for key in LINEAGE}}
    entry.shaped = None
    _keep_copy(context.workspace, entry.item, entry.row["source_id"], aside)


def _shaped(context: IngestContext, loaded: LoadedMap, item: SourceFile, content: Content, source: str) -> Shaped:
    raw = read_raw(content, loaded.source)
    return shape(raw, loaded.source, context.names, item.file.name, context.spool_of(source))


def _describe(entry: PreparedFile) -> None:
    assert entry.shaped is not None
    rows, row = entry.shaped.rows, entry.row
    row |= {"rows_in": entry.shaped.rows_in, "rows_landed": rows.height, "findings": len(entry.shaped.findings)}
    row |= {"time_from": rows.first, "time_to": rows.last}
    if len(rows.wells) == 1:
        row["well_id"] = next(iter(rows.wells))
    if rows.first is not None and len(rows.numbers) == 1:
        row["number"] = next(iter(rows.numbers))


def _refuse_conflicts(context: IngestContext, entry: PreparedFile, batch: Sequence[PreparedFile]) -> None:
    """Set a file aside if another landed file already has its rows."""
    assert entry.shaped is not None and entry.item.loaded is not None
    table, rows, row = entry.item.loaded.source.table, entry.shaped.rows, entry.row
    for other in batch:
        if other.shaped is not None and _may_meet(rows, other.shaped.rows):
            for frame in other.shaped.rows.frames():
                _clash(table, rows, frame.lazy(), other.row, entry.item.path)
    handled = {other.item.key for other in batch} | {entry.item.key} | context.superseded
    signal = "time" in table.key
    for held in context.known.claiming(table.name, rows.wells, rows.numbers, signal=signal):
        if (held["path"], held["map"]) in handled:
            continue
        if signal and held["time_from"] is not None and _apart(held, row):
            continue
        found = context.lake.scan_raw(table).filter(pl.col("source_id") == held["source_id"])
        if table is WELLS:
            found = found.filter(~pl.col("stub"))
        _clash(table, rows, found, held, entry.item.path)
    _replace_gone(context, entry, table, rows)


def _apart(held: Mapping[str, Any], row: Mapping[str, Any]) -> bool:
    return bool(held["time_from"] > row["time_to"] or held["time_to"] < row["time_from"])


def _may_meet(rows: Rows, other: Rows) -> bool:
    return (not rows.wells or bool(rows.wells & other.wells)) and (
        not rows.numbers or bool(rows.numbers & other.numbers)
    )


def _replace_gone(context: IngestContext, entry: PreparedFile, table: Table, rows: Rows) -> None:
    """Replace files with the same rows or content that are no longer in the folders."""
    assert entry.shaped is not None
    for key in sorted(context.gone):
        held = context.known.get(key)
        if held is None or held["state"] != "landed" or held["lands"] != table.name:
            continue
        same = held["content_hash"] == entry.row["content_hash"] and key[1] == entry.item.key[1]
        apart = held["time_from"] is not None and entry.row["time_from"] is not None and _apart(held, entry.row)
        if not same and (apart or not _overlap(rows, held)):
            continue
        found = context.lake.scan_raw(table).filter(pl.col("source_id") == held["source_id"])
        try:
            _clash(table, rows, found.filter(~pl.col("stub")) if table is WELLS else found, held)
        except _Clash:
            same = True
        if same:
            entry.replaces.append(held)
            text = f"replaces {held['path']}, which is no longer in the landing folders"
            entry.shaped.findings.append(Finding("replaces", text))
            entry.row["findings"] = len(entry.shaped.findings)


def _overlap(rows: Rows, held: Mapping[str, Any]) -> bool:
    """Whether a recorded file may have rows of the same wells, stages or runs."""
    well = held["well_id"] is None or not rows.wells or held["well_id"] in rows.wells
    return well and (held["number"] is None or not rows.numbers or held["number"] in rows.numbers)


def _clash(table: Table, rows: Rows, other: pl.LazyFrame, held: Mapping[str, Any], path: str = "") -> None:
    """Reject rows whose keys another file has; piece by piece, each compared with the rows in its time span."""
    for frame in rows.frames():
        span = other
        if "time" in table.key:
            span = other.filter(pl.col("time").is_between(frame["time"][0], frame["time"][-1]))
        common = frame.join(span.select(table.key).collect(), on=table.key, how="semi")
        if common.height:
            what = (
                "samples at the same times" if "time" in table.key else f"rows with the same {' and '.join(table.key)}"
            )
            aside = SetAside(
                f"another file already has {common.height} {what}", "each row once", f"rows here and in {held['path']}",
                "remove the wrong file from the landing folder, or declare revisions with 'revision_pattern' in the "
                "map" if held["path"] != path else "only one map may claim the file: correct 'files' in one of them",
                int(common["source_row"][0]),
            )  # fmt: skip
            raise _Clash(held["source_id"], aside)


def _keep_copy(workspace: Workspace, item: SourceFile, source: str, aside: SetAside) -> None:
    """Copy a set-aside file, with its reason, under a generated name; if that fails, log a warning and continue."""
    folder = workspace.out / "set_aside"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        target = folder / f"{source}.file"
        if not target.exists():
            with replacing(target) as part:
                shutil.copyfile(item.file, part)
        replace_text(folder / f"{source}.reason.txt", f"{item.path}\n{aside}\n")
    except OSError as error:
        log.warning("could not copy %s to %s: %s", item.path, folder, error.strerror or error)
