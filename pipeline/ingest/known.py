"""Entries of `sources` for known files, indexed by path, by content, and by stages or runs."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from typing import Any

Row = dict[str, Any]
Key = tuple[str, str]


class SourceIndex:
    """Rows of `sources`, updated while an ingest lands more files."""

    def __init__(self, rows: Iterable[Row]) -> None:
        self._rows: dict[Key, Row] = {}
        self._by_content: dict[Key, set[Key]] = defaultdict(set)
        self._by_claim: dict[tuple[Any, ...], set[Key]] = defaultdict(set)
        self._by_path: dict[str, set[Key]] = defaultdict(set)
        self._sources: set[str] = set()
        for row in rows:
            self.put(row)

    def get(self, key: Key) -> Row | None:
        """Return the entry of a path with a map."""
        return self._rows.get(key)

    def of_path(self, path: str) -> list[Row]:
        """Return the entries of a path, with whatever map."""
        return [self._rows[key] for key in sorted(self._by_path.get(path, ()))]

    def put(self, row: Row) -> None:
        """Add a row; it replaces the earlier entry of its path and map."""
        key = (row["path"], row["map"])
        before = self._rows.get(key)
        if before is not None and before["state"] == "landed":
            self._leave(key, before)
        self._rows[key] = row
        self._by_path[row["path"]].add(key)
        if row["state"] == "landed":
            self._by_content[_content(row)].add(key)
            self._by_claim[_claim(row)].add(key)
            self._sources.add(row["source_id"])

    def twin(self, key: Key, content_hash: str) -> Row | None:
        """Return the entry of another landed file with the same content and map."""
        others = self._by_content[(content_hash, key[1])] - {key}
        return self._rows[min(others)] if others else None

    def claiming(self, lands: str, wells: set[str], numbers: set[int], *, signal: bool) -> list[Row]:
        """Return the landed files that may have rows of the same stages or runs, otherwise of the same table."""
        claims: set[tuple[Any, ...]] = {(lands,)}
        if signal:
            claims |= {(lands, well, number) for well in wells for number in numbers}
        return [self._rows[key] for key in sorted(set().union(*(self._by_claim[claim] for claim in claims)))]

    def suspend(self, key: Key) -> None:
        """Release a file's content and rows: the file is read again in this run, or superseded, or missing."""
        row = self._rows.get(key)
        if row is not None:
            self._leave(key, row)

    def holds(self, source: str) -> bool:
        """Whether a source is landed and its file has not changed in this run."""
        return source in self._sources

    def _leave(self, key: Key, row: Row) -> None:
        self._by_content[_content(row)].discard(key)
        self._by_claim[_claim(row)].discard(key)
        self._sources.discard(row["source_id"])

    def rows(self) -> list[Row]:
        """Return all rows."""
        return list(self._rows.values())

    def drop(self, row: Row) -> None:
        """Remove a file: it is treated as unknown."""
        key = (row["path"], row["map"])
        self._rows.pop(key, None)
        self._by_path[row["path"]].discard(key)
        self._leave(key, row)


def _content(row: Row) -> Key:
    return row["content_hash"], row["map"]


def _claim(row: Row) -> tuple[Any, ...]:
    """Return the claim of a file: one stage or run; for several, only its table."""
    if row["time_from"] is None or row["well_id"] is None or row["number"] is None:
        return (row["lands"],)
    return row["lands"], row["well_id"], row["number"]
