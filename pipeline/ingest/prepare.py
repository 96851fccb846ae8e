"""One file on its way into the lake: read, shaped, checked against what is landed; or set aside with the reason."""

from __future__ import annotations

import shutil
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import polars as pl

from pipeline.errors import SetAside
from pipeline.ingest.discover import Item, content_hash, source_id
from pipeline.ingest.known import Key, Known
from pipeline.ingest.maps import READER_VERSION, LoadedMap
from pipeline.ingest.names import Names
from pipeline.ingest.read import content_of, read_raw
from pipeline.ingest.shape import Shaped, shape
from pipeline.ingest.suggest import no_map_fits
from pipeline.lake import Lake
from pipeline.schemas import SOURCES, WELLS, Table
from pipeline.workspace import Workspace

LINEAGE = ("reason", "line", "expected", "found", "mend")
"""What a set-aside file's row says."""


@dataclass
class Ready:
    """A file that is read, with its row of `sources`; without rows where it is not landed in this run."""

    item: Item
    row: dict[str, Any]
    shaped: Shaped | None = None


@dataclass(frozen=True)
class Context:
    """What a file is checked against.

    Attributes
    ----------
    workspace : Workspace
    lake : Lake
    names : Names
    known : Known
    superseded : set of (path, map)
        Files that a later revision replaces.
    tried_with : str
        Fingerprint of the known wells.
    """

    workspace: Workspace
    lake: Lake
    names: Names
    known: Known
    superseded: set[Key]
    tried_with: str


def read(context: Context, item: Item) -> Ready:
    """Read and shape one file; safe to run beside others. What is wrong with it becomes its row."""
    row: dict[str, Any] = dict.fromkeys(SOURCES.dtypes)
    row |= {
        "path": item.path, "map": item.key[1], "lands": item.loaded.source.lands if item.loaded else None,
        "map_hash": item.map_hash, "reader_version": READER_VERSION, "size_bytes": item.size,
        "modified_us": item.modified_us, "tried_with": context.tried_with, "landed_at": datetime.now(UTC),
        "content_hash": "", "source_id": source_id("", item), "state": "landed",
    }  # fmt: skip
    entry = Ready(item, row)
    if item.superseded_by is not None:
        row |= {"state": "superseded", "reason": f"a later revision is {item.superseded_by}"}
        return entry
    try:
        data = content_of(item.file)
        row["content_hash"] = content_hash(data)
        row["source_id"] = source_id(row["content_hash"], item)
        before = context.known.get(item.key)
        if before is not None and before["state"] == "landed" and before["source_id"] == row["source_id"]:
            entry.row = before | {"size_bytes": item.size, "modified_us": item.modified_us}
        elif item.loaded is None:
            raise no_map_fits(item.path, data, context.workspace.maps)
        elif context.known.twin(item.key, row["content_hash"]) is None:
            entry.shaped = _shaped(context, item.loaded, item, data)
            _describe(entry)
    except SetAside as aside:
        _set_aside(context, entry, aside)
    except OSError as error:
        _set_aside(
            context, entry,
            SetAside("the file cannot be read", "a readable file", str(error.strerror), "check its permissions"),
        )  # fmt: skip
    return entry


def settle(context: Context, entry: Ready, batch: Sequence[Ready]) -> Ready:
    """Check a read file against the landed ones and those before it in its batch: copies and conflicts."""
    row = entry.row
    if row["state"] != "landed" or row["map"] == "":
        return entry
    twin = context.known.twin(entry.item.key, row["content_hash"])
    same = [other.item.path for other in batch if other.row["content_hash"] == row["content_hash"]]
    if twin is not None or same:
        row |= {"state": "copy", "reason": f"the same content is landed from {twin or same[0]}"}
        entry.shaped = None
    elif entry.shaped is not None:
        try:
            _refuse_conflicts(context, entry, batch)
        except SetAside as aside:
            _set_aside(context, entry, aside)
    return entry


def _set_aside(context: Context, entry: Ready, aside: SetAside) -> None:
    entry.row |= {"state": "set aside", **{key: getattr(aside, key) for key in LINEAGE}}
    entry.shaped = None
    _keep_copy(context.workspace, entry.item, entry.row["source_id"], aside)


def _shaped(context: Context, loaded: LoadedMap, item: Item, data: bytes) -> Shaped:
    try:
        return shape(read_raw(data, loaded.source), loaded.source, context.names, item.file.name)
    except pl.exceptions.PolarsError as error:
        text = str(error).splitlines()[0] if str(error) else "no reason given"
        raise SetAside(
            "the file cannot be read by its map", f"what the map '{loaded.source.name}' describes", text[:200],
            "open the file and compare it with the map; `heelward inspect FILE` shows what was understood",
        ) from error  # fmt: skip


def _describe(entry: Ready) -> None:
    assert entry.shaped is not None and entry.item.loaded is not None
    frame, row = entry.shaped.frame, entry.row
    row |= {"rows_in": entry.shaped.rows_in, "rows_landed": frame.height, "findings": len(entry.shaped.findings)}
    if "well_id" in frame.columns and frame["well_id"].n_unique() == 1:
        row["well_id"] = frame["well_id"][0]
    if "time" in entry.item.loaded.source.table.key:
        row |= {"time_from": frame["time"][0], "time_to": frame["time"][-1]}
        row["number"] = frame["stage" if "stage" in frame.columns else "run"][0]


def _refuse_conflicts(context: Context, entry: Ready, batch: Sequence[Ready]) -> None:
    """Set a file aside that claims rows which another landed file already holds."""
    assert entry.shaped is not None and entry.item.loaded is not None
    table, frame, row = entry.item.loaded.source.table, entry.shaped.frame, entry.row
    for other in batch:
        if other.shaped is not None and other.row["number"] == row["number"]:
            _clash(table, frame, other.shaped.frame, other.item.path)
    handled = {other.item.key for other in batch} | {entry.item.key} | context.superseded
    signal = "time" in table.key
    for held in context.known.claiming(table.name, row["well_id"], row["number"], signal=signal):
        if (held["path"], held["map"]) in handled:
            continue
        if signal and (held["time_from"] > row["time_to"] or held["time_to"] < row["time_from"]):
            continue
        rows = context.lake.scan_raw(table).filter(pl.col("source_id") == held["source_id"])
        if table is WELLS:
            rows = rows.filter(~pl.col("stub"))
        _clash(table, frame, rows.select(table.key).collect(), held["path"])


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
    note.replace(folder / f"{source}.reason.txt")
