"""Which files are there, which map reads them, and which are new."""

from __future__ import annotations

import hashlib
import os
import re
import stat
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from pipeline.ingest.maps import READER_VERSION, LoadedMap

NO_MAP = ""


@dataclass(frozen=True)
class SourceFile:
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


@dataclass(frozen=True)
class Skipped:
    """Something in a landing folder that is not read.

    Attributes
    ----------
    path : str
        Below the workspace.
    kind : str
        Short name of the finding.
    message : str
        Why, and what to do.
    """

    path: str
    kind: str
    message: str


@dataclass(frozen=True)
class Discovered:
    """What the landing folders hold: files under their maps in the order of landing, and what is not read."""

    items: list[SourceFile]
    skipped: list[Skipped]


def discover(
    root: Path, folders: Sequence[Path], maps: Sequence[LoadedMap], *, follow_outside: bool = False
) -> Discovered:
    """List the files of the landing folders under the maps that claim them.

    Parameters
    ----------
    root : Path
        The workspace.
    folders : sequence of Path
    maps : sequence of LoadedMap
        In the order in which their tables are landed.
    follow_outside : bool
        Whether links that lead out of the landing folders are followed.

    Returns
    -------
    Discovered
        A workbook stands once per map (each reads a sheet). Files that begin with a dot or with ``~$`` are passed over.
    """
    by_map: dict[str, list[SourceFile]] = defaultdict(list)
    skipped: list[Skipped] = []
    walk = _Walk(root, None if follow_outside else [folder.resolve() for folder in folders], skipped)
    for folder in folders:
        for file in sorted(walk.files(folder)):
            below = shown_path(file.relative_to(folder))
            claims: Sequence[LoadedMap | None] = [item for item in maps if item.source.claims(below)] or [None]
            for loaded in claims:
                name = loaded.source.name if loaded else NO_MAP
                try:
                    by_map[name].append(item_of(root, file, loaded))
                except OSError as error:
                    skipped.append(Skipped(_below(root, file), "vanished", f"{error.strerror}: not read in this run"))
    ordered = [_revisions(by_map[item.source.name], item) for item in maps]
    return Discovered([item for group in ordered for item in group] + by_map[NO_MAP], skipped)


def item_of(root: Path, file: Path, loaded: LoadedMap | None) -> SourceFile:
    """Return a file under a map, as it lies there now."""
    found = file.stat()
    return SourceFile(file, _below(root, file), loaded, found.st_size, found.st_mtime_ns // 1000)


def shown_path(path: Path) -> str:
    """Return a path as text with forward slashes; bytes that are no UTF-8 are written as escapes."""
    written = os.fsencode(path.as_posix())
    try:
        return written.decode()
    except UnicodeDecodeError:  # the mark keeps it apart from a file whose name is the escapes themselves
        mark = hashlib.sha256(written).hexdigest()[:6]
        return f"{written.decode('utf-8', 'backslashreplace')} (bytes {mark})"


def _below(root: Path, file: Path) -> str:
    return shown_path(file.relative_to(root) if file.is_relative_to(root) else file)


@dataclass
class _Walk:
    """A walk through landing folders: where links may lead, what was read, and what is passed over."""

    root: Path
    inside: list[Path] | None
    skipped: list[Skipped]
    read: set[tuple[int, int]] = field(default_factory=set)
    links: list[Path] = field(default_factory=list)

    def skip(self, path: Path, kind: str, message: str) -> None:
        self.skipped.append(Skipped(_below(self.root, path), kind, message))

    def files(self, folder: Path) -> Iterator[Path]:
        """Yield the files below a folder; what links lead to comes last, and each folder is read once."""
        yield from self._below(folder)
        while self.links:
            link = self.links.pop(0)
            if not self._may_follow(link):
                continue
            if link.is_dir():
                yield from self._below(link)
            else:
                yield from self._file(link)

    def _below(self, folder: Path) -> Iterator[Path]:
        waiting = [folder]
        while waiting:
            here = waiting.pop()
            entries = self._entries(here)
            folders = []
            for entry in entries:
                path = here / entry.name
                if entry.name.startswith((".", "~$")):
                    continue
                if entry.is_symlink():
                    self.links.append(path)
                elif entry.is_dir(follow_symlinks=False):
                    folders.append(path)
                else:
                    yield from self._file(path)
            waiting += reversed(folders)

    def _entries(self, folder: Path) -> list[os.DirEntry[str]]:
        try:
            place = folder.stat()
            if (place.st_dev, place.st_ino) in self.read:
                self.skip(folder, "read_already", "the link leads to a folder that is read already: remove it")
                return []
            self.read.add((place.st_dev, place.st_ino))
            return sorted(os.scandir(folder), key=lambda entry: entry.name)
        except FileNotFoundError:
            self.skip(folder, "no_folder", "there is no such folder: make it, or correct 'landing' in the settings")
        except OSError as error:
            self.skip(folder, "unreadable_folder", f"the folder cannot be read ({error.strerror}): check its rights")
        return []

    def _file(self, path: Path) -> Iterator[Path]:
        try:
            mode = path.stat().st_mode
        except FileNotFoundError:
            self.skip(path, "vanished", "it was gone before it could be read")
        except OSError as error:
            self.skip(path, "unreadable_file", f"the file cannot be read ({error.strerror}): check its rights")
        else:
            if stat.S_ISREG(mode):
                yield path
            else:
                self.skip(path, "not_a_file", "this is no file but a pipe, socket or device: remove it")

    def _may_follow(self, link: Path) -> bool:
        """Whether a link is followed; says why where it is not."""
        try:
            target = link.resolve(strict=True)
        except FileNotFoundError:
            self.skip(link, "broken_link", "the link leads nowhere: remove it, or restore what it names")
            return False
        except (OSError, RuntimeError):
            self.skip(link, "link_loop", "the link leads back to itself: remove it")
            return False
        if self.inside is None or any(target.is_relative_to(folder) for folder in self.inside):
            return True
        text = "the link leads out of the landing folders: put the file itself there, or set "
        self.skip(link, "link_outside", text + "'follow_links_outside = true' in the settings")
        return False


def _revisions(items: list[SourceFile], loaded: LoadedMap) -> list[SourceFile]:
    """Mark the files that a later revision of the same document supersedes."""
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
            later = newest.path if item is not newest else None
            marked.append(SourceFile(item.file, item.path, item.loaded, item.size, item.modified_us, later))
    return sorted(marked, key=lambda item: item.path)


def unchanged(item: SourceFile, row: Mapping[str, Any] | None, tried_with: str) -> bool:
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
    return bool(same) and (row["state"] not in ("set aside", "landed") or row["tried_with"] == tried_with)


def source_id(content: str, item: SourceFile) -> str:
    """Return the id of a source: content, map, reader version; and path, so that no two files share rows."""
    text = f"{content}:{item.map_hash}:{READER_VERSION}:{item.path}"
    return hashlib.sha256(text.encode()).hexdigest()[:16]
