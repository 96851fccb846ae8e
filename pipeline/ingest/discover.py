"""Find the files, the maps that read them, and the new files."""

from __future__ import annotations

import hashlib
import os
import re
import stat
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from pipeline.ingest.maps import READER_VERSION, LoadedMap, claimer
from pipeline.workspace import Workspace

NO_MAP = ""


@dataclass(frozen=True)
class SourceFile:
    """A file with one map (None if no map matches).

    Attributes
    ----------
    file : Path
    path : str
        Path of the file in the workspace, with forward slashes.
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
        """Path and map: the key of the file in `sources`."""
        return self.path, self.loaded.source.name if self.loaded else NO_MAP

    @property
    def map_hash(self) -> str:
        """Hash of the map, empty without one."""
        return self.loaded.hash if self.loaded else ""


@dataclass(frozen=True)
class Skipped:
    """An entry of a landing folder that is not read.

    Attributes
    ----------
    path : str
        Relative to the workspace.
    kind : str
        Short name of the finding.
    message : str
        Reason and fix.
    """

    path: str
    kind: str
    message: str


@dataclass(frozen=True)
class Discovered:
    """Content of the landing folders: files with their maps in the order of landing, and entries that are not read."""

    items: list[SourceFile]
    skipped: list[Skipped]


def discover(workspace: Workspace, maps: Sequence[LoadedMap]) -> Discovered:
    """List the files of the landing folders with the maps that claim them.

    Parameters
    ----------
    workspace : Workspace
        Its settings say whether links that point outside the landing folders are followed.
    maps : sequence of LoadedMap
        In the order in which their tables are landed.

    Returns
    -------
    Discovered
        A workbook is listed once per map (each reads a sheet). Files that begin with a dot or with ``~$`` are ignored.
    """
    by_map: dict[str, list[SourceFile]] = defaultdict(list)
    skipped: list[Skipped] = []
    root, folders = workspace.root, workspace.landing
    inside = None if workspace.settings.follow_links_outside else [folder.resolve() for folder in folders]
    walk = _Walk(root, inside, skipped)
    claimers = [(item, claimer(item.source.files)) for item in maps]
    for folder in folders:
        place = _place(root, folder)
        for below, found in sorted(walk.files(folder), key=lambda entry: entry[0].split("/")):
            shown = _shown(below)
            claims: Sequence[LoadedMap | None] = [item for item, claims in claimers if claims(shown)] or [None]
            for loaded in claims:
                name = loaded.source.name if loaded else NO_MAP
                path = _shown(f"{place}/{below}" if place else below)
                by_map[name].append(_item(folder / below, path, loaded, found))
    ordered = [_revisions(by_map[item.source.name], item) for item in maps]
    return Discovered([item for group in ordered for item in group] + by_map[NO_MAP], skipped)


def item_of(root: Path, file: Path, loaded: LoadedMap | None) -> SourceFile:
    """Return a file with a map, in its current state."""
    return _item(file, _below(root, file), loaded, file.stat())


def _item(file: Path, path: str, loaded: LoadedMap | None, found: os.stat_result) -> SourceFile:
    return SourceFile(file, path, loaded, found.st_size, found.st_mtime_ns // 1000)


def shown_path(path: Path) -> str:
    """Return a path as text with forward slashes; bytes that are not UTF-8 are written as escapes."""
    return _shown(path.as_posix())


def _shown(path: str) -> str:
    written = os.fsencode(path)
    try:
        return written.decode()
    except UnicodeDecodeError:  # the mark distinguishes it from a file whose name is the escaped text
        mark = hashlib.sha256(written).hexdigest()[:6]
        return f"{written.decode('utf-8', 'backslashreplace')} (bytes {mark})"


def _place(root: Path, file: Path) -> str:
    """Return a path relative to the workspace, if it lies below it; empty for the workspace itself."""
    place = (file.relative_to(root) if file.is_relative_to(root) else file).as_posix()
    return "" if place == "." else place


def _below(root: Path, file: Path) -> str:
    return _shown(_place(root, file))


@dataclass
class _Walk:
    """A walk through landing folders: allowed link targets, folders already read, and skipped entries."""

    root: Path
    inside: list[Path] | None
    skipped: list[Skipped]
    read: set[tuple[int, int]] = field(default_factory=set)
    links: list[str] = field(default_factory=list)

    def skip(self, path: Path, kind: str, message: str) -> None:
        self.skipped.append(Skipped(_below(self.root, path), kind, message))

    def files(self, folder: Path) -> Iterator[tuple[str, os.stat_result]]:
        """Yield the files in a folder, by path below it; link targets come last, and each folder is read once."""
        yield from self._within(folder, "")
        while self.links:
            below = self.links.pop(0)
            link = folder / below
            if not self._may_follow(link):
                continue
            if link.is_dir():
                yield from self._within(folder, f"{below}/")
            else:
                yield from self._file(folder, below)

    def _within(self, folder: Path, below: str) -> Iterator[tuple[str, os.stat_result]]:
        waiting = [below]
        while waiting:
            here = waiting.pop()
            folders = []
            for entry in self._entries(folder / here):
                below = f"{here}{entry.name}"
                if entry.name.startswith((".", "~$")):
                    continue
                if entry.is_symlink():
                    self.links.append(below)
                elif entry.is_dir(follow_symlinks=False):
                    folders.append(f"{below}/")
                else:
                    yield from self._file(folder, below, entry)
            waiting += reversed(folders)

    def _entries(self, folder: Path) -> list[os.DirEntry[str]]:
        try:
            place = folder.stat()
            if (place.st_dev, place.st_ino) in self.read:
                self.skip(folder, "read_already", "the link points to a folder that is already read: remove it")
                return []
            self.read.add((place.st_dev, place.st_ino))
            return sorted(os.scandir(folder), key=lambda entry: entry.name)
        except FileNotFoundError:
            self.skip(folder, "no_folder", "the folder does not exist: create it, or correct 'landing' in the settings")
        except OSError as error:
            self.skip(folder, "unreadable_folder", f"cannot read the folder ({error.strerror}): check its permissions")
        return []

    def _file(
        self, folder: Path, below: str, entry: os.DirEntry[str] | None = None
    ) -> Iterator[tuple[str, os.stat_result]]:
        try:
            found = (folder / below).stat() if entry is None else entry.stat()
        except FileNotFoundError:
            self.skip(folder / below, "vanished", "the file disappeared before it could be read")
        except OSError as error:
            message = f"cannot read the file ({error.strerror}): check its permissions"
            self.skip(folder / below, "unreadable_file", message)
        else:
            if stat.S_ISREG(found.st_mode):
                yield below, found
            else:
                self.skip(folder / below, "not_a_file", "this is not a file but a pipe, socket or device: remove it")

    def _may_follow(self, link: Path) -> bool:
        """Whether a link is followed; if not, the reason is recorded."""
        try:
            target = link.resolve(strict=True)
        except FileNotFoundError:
            self.skip(link, "broken_link", "the link is broken: remove it, or restore its target")
            return False
        except (OSError, RuntimeError):
            self.skip(link, "link_loop", "the link points to itself: remove it")
            return False
        if self.inside is None or any(target.is_relative_to(folder) for folder in self.inside):
            return True
        text = "the link points outside the landing folders: put the file itself there, or set "
        self.skip(link, "link_outside", text + "'follow_links_outside = true' in the settings")
        return False


def _revisions(items: list[SourceFile], loaded: LoadedMap) -> list[SourceFile]:
    """Mark the files that are superseded by a later revision of the same document."""
    if loaded.source.revision_pattern is None:
        return items
    pattern = re.compile(loaded.source.revision_pattern)
    documents: dict[str, list[tuple[tuple[int, str], SourceFile]]] = defaultdict(list)
    for item in items:
        match = pattern.search(item.path)
        number = match.groupdict().get("rev", "") if match else ""
        rank = (int(number) if number.isdecimal() else (1 if match else 0), number or "")
        document = item.path[: match.start()] + item.path[match.end() :] if match else item.path
        documents[document].append((rank, item))
    marked = []
    for versions in documents.values():
        newest = max(versions, key=lambda pair: pair[0])[1]
        for _, item in versions:
            marked.append(item if item is newest else replace(item, superseded_by=newest.path))
    return sorted(marked, key=lambda item: item.path)


def as_recorded(item: SourceFile, row: Mapping[str, Any] | None) -> bool:
    """Whether a file has the size and time stamp of its entry in `sources`."""
    return row is not None and (row["size_bytes"], row["modified_us"]) == (item.size, item.modified_us)


def unchanged(item: SourceFile, row: Mapping[str, Any] | None, tried_with: str) -> bool:
    """Whether a file is unchanged since its last entry in `sources`."""
    if row is None or not as_recorded(item, row):
        return False
    same = (
        row["map_hash"] == item.map_hash
        and row["reader_version"] == READER_VERSION
        and (row["state"] == "superseded") == (item.superseded_by is not None)
    )
    return bool(same) and (row["state"] not in ("set aside", "landed") or row["tried_with"] == tried_with)


def source_id(content: str, item: SourceFile) -> str:
    """Return the id of a source: content, map, reader version and path, so that two files never share rows."""
    text = f"{content}:{item.map_hash}:{READER_VERSION}:{item.path}"
    return hashlib.sha256(text.encode()).hexdigest()[:16]
