"""Rows of a file before they are written to the lake: in memory if they are few, otherwise in temporary files."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime
from itertools import pairwise
from pathlib import Path
from typing import Any
from uuid import uuid4

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.errors import SetAside
from pipeline.ingest.tally import Finding
from pipeline.schemas.base import Table, meta

MOST_UNORDERED = 10_000_000
"""Maximum number of rows of one stage or table that are sorted in memory. [rows]"""


@dataclass
class _Piece:
    """A block of rows; for a signal, samples of one stage or run in time order."""

    rows: int
    frame: pl.DataFrame | None
    path: Path | None
    first: datetime | None = None
    last: datetime | None = None

    def read(self) -> pl.DataFrame:
        """Return the rows."""
        return self.frame if self.path is None else pl.read_parquet(self.path)  # type: ignore[return-value]


@dataclass
class Rows:
    """The rows of a file, in order.

    Attributes
    ----------
    height : int
    wells, numbers : set
        Wells, and stages or runs, of the rows; empty if the table has none.
    first, last : datetime, optional
        Times of the first and last sample.
    """

    _pieces: list[_Piece]
    height: int
    wells: set[str]
    numbers: set[int]
    first: datetime | None
    last: datetime | None

    @property
    def large(self) -> bool:
        """Whether the rows are in temporary files."""
        return any(piece.path is not None for piece in self._pieces)

    def frames(self) -> Iterator[pl.DataFrame]:
        """Yield the rows, piece by piece."""
        for piece in self._pieces:
            yield piece.read()


ADDED_UNITS = ("bbl", "gal", "mcf", "lbm", "d", "h", "min")
"""Units of amounts: of rows with one key they can be added, of all other quantities the mean is taken."""
HALF_DAY_S, NEAR_S = 43_200.0, 3_600.0
"""A clock that goes back by about one or two of the first has no AM and PM, or its date stands still. [s]"""
SET_BACK_S, MOST_DIFFER = 30.0, 60
"""A clock set back by more than this, with more times than this twice with other values, spoils a record. [s], [1]"""


@dataclass
class Spool:
    """Collects the pieces of a file.

    Attributes
    ----------
    table : Table
    folder : Path
        Folder for the pieces if there is more than one.
    repeated : str
        What counts of rows with the same key: ``first`` or ``last`` value of each column; with ``set aside`` the file
        is set aside.
    asked : bool
        Whether the map sets it. If not, a record whose clock goes back is set aside.
    """

    table: Table
    folder: Path
    repeated: str = "last"
    asked: bool = False
    _groups: dict[tuple[Any, ...], list[_Piece]] = field(default_factory=dict)
    _arrived: dict[tuple[Any, ...], datetime] = field(default_factory=dict)
    _backward: int = 0
    _set_back: tuple[float, int | None] = (0.0, None)
    _first: dict[tuple[Any, ...], datetime] = field(default_factory=dict)
    _turned: tuple[float, int] | None = None
    _repeated: int = 0
    _differ: int = 0
    _rows: int = 0
    _pieces: int = 0

    def add(self, frame: pl.DataFrame) -> None:
        """Add a piece; from the second piece on, the file counts as large and pieces are stored on disk.

        Raises
        ------
        SetAside
            If a table has more rows than can be sorted.
        """
        if frame.is_empty():
            return
        self._pieces += 1
        self._rows += frame.height
        if not self._signal and self._rows > MOST_UNORDERED:
            raise _too_many()
        if self._pieces == 2:
            for found in self._groups.values():
                found[:] = [self._kept(piece) for piece in found]
        for group, part in self._parted(frame):
            piece = _Piece(part.height, part, None)
            if self._signal:
                self._count_backward(group, part["time"], part["source_row"])
                part = self._in_order(part)
                piece = _Piece(part.height, part, None, part["time"][0], part["time"][-1])
            self._groups.setdefault(group, []).append(piece if self._pieces == 1 else self._kept(piece))

    @property
    def _signal(self) -> bool:
        return "time" in self.table.key

    @property
    def _grouped_by(self) -> list[str]:
        """Columns that identify the stage or run of a sample."""
        return [name for name in self.table.key if name != "time"] if self._signal else []

    def _parted(self, frame: pl.DataFrame) -> Iterator[tuple[tuple[Any, ...], pl.DataFrame]]:
        names = self._grouped_by
        if all(frame[name].n_unique() == 1 for name in names):
            yield tuple(frame[name][0] for name in names), frame
        else:
            yield from frame.partition_by(names, as_dict=True, maintain_order=True).items()

    def _kept(self, piece: _Piece) -> _Piece:
        self.folder.mkdir(parents=True, exist_ok=True)
        path = self.folder / f"{uuid4().hex}.parquet"
        piece.read().write_parquet(path, compression="lz4", statistics=False)
        return _Piece(piece.rows, None, path, piece.first, piece.last)

    def _count_backward(self, group: tuple[Any, ...], times: pl.Series, lines: pl.Series) -> None:
        """Count the samples that are earlier than the previous one in the file; keep the longest step back."""
        before = self._arrived.get(group)
        steps = _steps(times)
        self._backward += int((steps < 0).sum())
        self._backward += before is not None and times[0] < before
        back = [(-float(steps.min()) / 1e6, int(steps.argmin()) + 1)] if steps.size else []
        back += [] if before is None else [((before - times[0]).total_seconds(), 0)]
        longest, place = max(back, default=(0.0, 0))
        if longest > self._set_back[0]:
            self._set_back = (longest, lines[place])
        earliest = self._first.get(group, times[0])
        if _half_days(longest) and times[place] < earliest:
            self._turned = (longest, lines[place])
        self._first[group] = min(earliest, times.min())  # type: ignore[type-var]
        self._arrived[group] = times[-1]

    def _in_order(self, frame: pl.DataFrame) -> pl.DataFrame:
        """Sort samples by time; for repeated times keep one non-empty reading of each channel."""
        if (_steps(frame["time"]) > 0).all():
            return frame
        return self._once(frame.sort("time", maintain_order=True)).sort("time", maintain_order=True)

    def _without_repeats(self, piece: _Piece) -> _Piece:
        frame = piece.read()
        once = self._once(frame)
        return piece if once is frame else _Piece(once.height, once, None)

    def _once(self, frame: pl.DataFrame) -> pl.DataFrame:
        """Join rows with the same key: an empty cell never replaces a value."""
        twice = frame.select(self.table.key).is_duplicated()
        if not twice.any():
            return frame
        if self.repeated == "set aside":
            lines = frame.filter(twice)["source_row"].to_list()
            raise SetAside(
                f"two rows have the same {' and '.join(self.table.key)}", "each once",
                "lines " + ", ".join(str(line) for line in lines[:4]),
                "remove or correct one of them, or say in the map which one counts: duplicates = \"last\" or \"first\"",
                lines[0],
            )  # fmt: skip
        chosen = [self._one(name) for name in frame.columns if name not in self.table.key]
        joined = frame.filter(twice).group_by(self.table.key, maintain_order=True).agg(chosen)
        self._repeated += int(twice.sum()) - joined.height
        if self._signal:
            each = frame.filter(twice).group_by(self.table.key).agg(
                (pl.col(name).drop_nulls().n_unique() > 1).alias(name)
                for name in frame.columns if name not in (*self.table.key, "source_row")
            )  # fmt: skip
            self._differ += int(each.select(pl.any_horizontal(pl.exclude(self.table.key)).sum()).item())
        return pl.concat([frame.filter(~twice), joined.select(frame.columns)])

    def _one(self, name: str) -> pl.Expr:
        """Return what counts of a column's cells in rows with one key; a missing cell is not a value."""
        cells = pl.col(name).drop_nulls()
        if self.repeated == "add" and (unit := meta(self.table.columns[name]).get("unit")) is not None:
            return pl.when(cells.len() > 0).then(cells.sum() if unit in ADDED_UNITS else cells.mean()).alias(name)
        return cells.first() if self.repeated == "first" else cells.last()

    def rows(self, findings: list[Finding]) -> Rows:
        """Return all rows in order, and add findings about wrong order or repeated times.

        Raises
        ------
        SetAside
            If two rows of a table have the same key, or too many rows are out of order to sort in memory.
        """
        pieces: list[_Piece] = []
        for found in self._groups.values():
            pieces += found if self._in_sequence(found) else [self._joined(found)]
        if not self._signal:
            pieces = [self._without_repeats(piece) for piece in pieces]
        back_s, line = self._set_back
        if self._signal and not self.asked and back_s > SET_BACK_S and self._differ > MOST_DIFFER:
            raise SetAside(
                f"the clock goes back by {back_s:.0f} s, and {self._differ} times are there twice with other values",
                "each time once", f"an earlier time in line {line}",
                "split the file there and correct the times of one part; or say in the map which of two rows counts: "
                'duplicates = "last" or "first"', line,
            )  # fmt: skip
        if self._turned is not None and not self.asked:
            raise _turned_clock(*self._turned)
        if self._backward:
            text = f"{self._backward} row(s) are out of time order; sorted"
            findings.append(Finding("out_of_order", text, rows=self._backward))
        if self._repeated:
            what = "a time" if self._signal else " and ".join(self.table.key)
            kept = (
                "amounts are added" if self.repeated == "add" else f"the {self.repeated} value of each column is kept"
            )
            text = f"{self._repeated} row(s) repeat {what}; {kept}"
            findings.append(Finding("repeated_times" if self._signal else "repeated_rows", text, rows=self._repeated))
        height = sum(piece.rows for piece in pieces)
        return Rows(
            pieces, height, self._names(pieces, "well_id"), self._names(pieces, "stage", "run"),
            min((piece.first for piece in pieces if piece.first is not None), default=None),
            max((piece.last for piece in pieces if piece.last is not None), default=None),
        )  # fmt: skip

    def _in_sequence(self, found: list[_Piece]) -> bool:
        """Whether each piece of a group is later than the previous one."""
        if not self._signal:
            return len(found) == 1
        return all(a.last < b.first for a, b in pairwise(found) if a.last and b.first)

    def _joined(self, found: list[_Piece]) -> _Piece:
        if sum(piece.rows for piece in found) > MOST_UNORDERED:
            raise _too_many()
        frame = pl.concat([piece.read() for piece in found])
        if not self._signal:
            return _Piece(frame.height, frame, None)
        frame = self._in_order(frame)
        return self._kept(_Piece(frame.height, frame, None, frame["time"][0], frame["time"][-1]))

    def _names(self, pieces: list[_Piece], *columns: str) -> set[Any]:
        name = next((column for column in columns if column in self.table.dtypes), None)
        if name is None:
            return set()
        if name in self._grouped_by:
            return {group[self._grouped_by.index(name)] for group in self._groups}
        return {value for piece in pieces for value in piece.read()[name].unique()}


def _half_days(back_s: float) -> int:
    """Half days that a clock goes back by, where it has twelve hours or its date stands still; else 0."""
    return next((number for number in (1, 2) if abs(back_s - number * HALF_DAY_S) < NEAR_S), 0)


def _turned_clock(back_s: float, line: int) -> SetAside:
    """Return the error for a record of which the second part would come before the first."""
    if _half_days(back_s) == 1:
        why = "a clock of twelve hours without AM and PM"
        fix = "write the hours from 0 to 23, or ask for the file with AM and PM"
    else:
        why = "a date that does not change at midnight"
        fix = "map the time of day alone, with the day as 'start': midnight is then found"
    return SetAside(
        f"the clock goes back by {back_s / 3600.0:.1f} h, to before the first row", "times that go on",
        f"an earlier time in line {line}, as of {why}", fix, line,
    )  # fmt: skip


def _steps(times: pl.Series) -> NDArray[np.int64]:
    return np.diff(times.to_numpy().view(np.int64))


def _too_many() -> SetAside:
    return SetAside(
        "the file has too many rows to sort", f"at most {MOST_UNORDERED:,} rows per stage or table", "more",
        "split the file, or sort it by time",
    )  # fmt: skip
