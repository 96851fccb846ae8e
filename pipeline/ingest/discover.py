"""Which files are there, which map reads them, and which are new."""

from __future__ import annotations

import hashlib
import re
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pipeline.ingest.maps import READER_VERSION, LoadedMap

NO_MAP = ""


@dataclass(frozen=True)
class Item:
    """A file under one map (None where none fits).

    Attributes
    ----------
    file : Path
    path : str
        The file below the workspace, with forward slashes.
    loaded : LoadedMap, optional
    size, modified_us : int
        Size [bytes] and time stamp [us since 1970].
    superseded_by : str, optional
        Path of a later revision of the same document.
    """

    file: Path
    path: str
    loaded: LoadedMap | None
    size: int
    modified_us: int
    superseded_by: str | None = None

    @property
    def key(self) -> tuple[str, str]:
        """Path and map: what names the file in `sources`."""
        return self.path, self.loaded.source.name if self.loaded else NO_MAP

    @property
    def map_hash(self) -> str:
        """Hash of the map, empty without one."""
        return self.loaded.hash if self.loaded else ""


def discover(root: Path, folders: Sequence[Path], maps: Sequence[LoadedMap]) -> list[Item]:
    """List the files of the landing folders under the maps that claim them, in the order of landing.

    Parameters
    ----------
    root : Path
        The workspace.
    folders : sequence of Path
    maps : sequence of LoadedMap
        In the order in which their tables are landed.

    Returns
    -------
    list of Item
        A workbook stands once a map (each reads a sheet). Files that begin with a dot or with ``~$`` are passed over.
    """
    by_map: dict[str, list[Item]] = defaultdict(list)
    for folder in folders:
        for file in _files(folder):
            inside = file.relative_to(folder).as_posix()
            fitting = [item for item in maps if item.source.claims(inside)]
            claims: Sequence[LoadedMap | None] = fitting or [None]
            for loaded in claims:
                name = loaded.source.name if loaded else NO_MAP
                by_map[name].append(item_of(root, file, loaded))
    ordered = [_revisions(by_map[item.source.name], item) for item in maps]
    return [item for group in ordered for item in group] + by_map[NO_MAP]


def item_of(root: Path, file: Path, loaded: LoadedMap | None) -> Item:
    """Return a file under a map, as it lies there now."""
    path = file.relative_to(root).as_posix() if file.is_relative_to(root) else file.as_posix()
    stat = file.stat()
    return Item(file, path, loaded, stat.st_size, stat.st_mtime_ns // 1000)


def _files(folder: Path) -> Iterator[Path]:
    if not folder.is_dir():
        return
    for file in sorted(folder.rglob("*")):
        parts = file.relative_to(folder).parts
        if file.is_file() and not any(part.startswith((".", "~$")) for part in parts):
            yield file


def _revisions(items: list[Item], loaded: LoadedMap) -> list[Item]:
    """Mark the files that a later revision of the same document supersedes."""
    if loaded.source.revision_pattern is None:
        return items
    pattern = re.compile(loaded.source.revision_pattern)
    documents: dict[str, list[tuple[tuple[int, str], Item]]] = defaultdict(list)
    for item in items:
        match = pattern.search(item.path)
        number = match.groupdict().get("rev", "") if match else ""
        rank = (int(number) if number.isdigit() else (1 if match else 0), number or "")
        document = item.path[: match.start()] + item.path[match.end() :] if match else item.path
        documents[document].append((rank, item))
    marked = []
    for versions in documents.values():
        newest = max(versions, key=lambda pair: pair[0])[1]
        for _, item in versions:
            later = newest.path if item is not newest else None
            marked.append(Item(item.file, item.path, item.loaded, item.size, item.modified_us, later))
    return sorted(marked, key=lambda item: item.path)


def unchanged(item: Item, row: Mapping[str, Any] | None, tried_with: str) -> bool:
    """Whether nothing about a file has changed since `sources` last spoke of it."""
    if row is None:
        return False
    same = (
        row["size_bytes"] == item.size
        and row["modified_us"] == item.modified_us
        and row["map_hash"] == item.map_hash
        and row["reader_version"] == READER_VERSION
        and (row["state"] == "superseded") == (item.superseded_by is not None)
    )
    return bool(same) and (row["state"] != "set aside" or row["tried_with"] == tried_with)


def content_hash(data: bytes) -> str:
    """Return the SHA-256 of a content."""
    return hashlib.sha256(data).hexdigest()


def source_id(content: str, item: Item) -> str:
    """Return the id of a source: content, map, reader version; and path, so that no two files share rows."""
    text = f"{content}:{item.map_hash}:{READER_VERSION}:{item.path}"
    return hashlib.sha256(text.encode()).hexdigest()[:16]
