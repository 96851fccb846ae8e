"""Compare the landing folders and maps with the recorded files."""

from __future__ import annotations

from collections import defaultdict
from typing import Any

import polars as pl

from pipeline.errors import HeelwardError
from pipeline.ingest import amend
from pipeline.ingest.discover import NO_MAP, Discovered, Skipped, SourceFile, shown_path
from pipeline.ingest.known import Key, SourceIndex
from pipeline.ingest.maps import BrokenMap, LoadedMap
from pipeline.lake import Lake
from pipeline.schemas.lineage import FINDINGS
from pipeline.workspace import Workspace


def refuse_no_maps(workspace: Workspace, maps: list[LoadedMap], broken: list[BrokenMap], known: SourceIndex) -> None:
    """Stop if all maps are missing: landed files must not be treated as files without a matching map."""
    if maps or broken:
        return
    landed = [row for row in known.rows() if row["state"] == "landed" and row["map"] != amend.MAP.source.name]
    if landed or not workspace.maps.is_dir():
        raise HeelwardError(
            f"{workspace.maps} is not a folder with source maps (*.toml). Nothing was changed.\n"
            "fix: restore the maps, or write a first one (`heelward inspect FILE --write` proposes one)"
        )


def readable(
    items: list[SourceFile], maps: list[LoadedMap], broken: list[BrokenMap], known: SourceIndex, workspace: Workspace
) -> list[SourceFile]:
    """Exclude the files that wait for a broken map to be corrected: their landed rows stay unchanged.

    If a map cannot be read at all, the files it claims are unknown: files landed with a missing map wait.
    """
    if not broken:
        return items
    there = {item.source.name for item in maps} | {NO_MAP, amend.MAP.source.name}
    waiting = {row["path"] for row in known.rows() if row["map"] not in there}

    def waits(item: SourceFile) -> bool:
        below = [item.file.relative_to(folder) for folder in workspace.landing if item.file.is_relative_to(folder)]
        return item.path in waiting or any(each.claims(shown_path(path)) for each in broken for path in below)

    return [item for item in items if item.loaded is not None or not waits(item)]


def retired_rows(
    known: SourceIndex, items: list[SourceFile], maps: list[LoadedMap], *, all_maps: bool
) -> dict[str, list[dict[str, Any]]]:
    """Return, by path, the entries in `sources` of files with maps that no longer claim them.

    While a map is broken, only entries of available maps: the others may belong to the broken map.
    """
    there = {item.source.name for item in maps} | {NO_MAP}
    claims: dict[str, set[str]] = defaultdict(set)
    for item in items:
        claims[item.path].add(item.key[1])
    retired: dict[str, list[dict[str, Any]]] = defaultdict(list)
    for row in known.rows():
        path, name = row["path"], row["map"]
        if path in claims and name not in claims[path] and (all_maps or name in there):
            known.drop(row)
            retired[path].append(row)
    return retired


def gone_from(known: SourceIndex, found: Discovered, items: list[SourceFile]) -> set[Key]:
    """Return the recorded files that are no longer in the landing folders; unreadable ones may still be there."""
    there = {item.path for item in (*found.items, *items)}
    hidden = [item.path for item in found.skipped]

    def seen(path: str) -> bool:
        return path in there or any(path == place or path.startswith(f"{place}/") for place in hidden)

    return {(row["path"], row["map"]) for row in known.rows() if not seen(row["path"])}


def tell_skipped(lake: Lake, skipped: list[Skipped]) -> bool:
    """Store the findings about entries of the landing folders that are not read; return whether they changed."""
    step = pl.col("step") == "discover"
    before = lake.scan(FINDINGS).filter(step).select("path", "kind", "message").sort("path").collect().rows()
    now = sorted((item.path, item.kind, item.message) for item in skipped)
    if before == now:
        return False
    rows = [
        {"step": "discover", "level": "file", "path": path, "kind": kind, "message": text} for path, kind, text in now
    ]
    lake.replace(FINDINGS, pl.DataFrame(rows, schema=FINDINGS.dtypes), {"step": "discover"})
    return True
