"""Guesses of a proposed map, how sure they are, and the columns that they are made from."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from pipeline.ingest.behaviour import is_total, numbers
from pipeline.ingest.sniff import Table

SURE, LIKELY, ASKED = "sure", "likely", "asked"
BRACKETED = re.compile(r"[\[({<]([^\])}>]+)[\])}>]")
CHECK = "# check:"
"""Marks an unconfirmed guess in a written map."""


@dataclass(frozen=True)
class Guess:
    """What one column of the lake is taken from.

    Attributes
    ----------
    lake : str
    place : int
        Position in the file, counted from 0; -1 if it has no column.
    heading : str
    text : str
        The channel as a map writes it.
    confidence : {"sure", "likely", "asked"}
    why : str
    candidates : tuple of str
        Other headings, units or formats that are possible.
    setting : str
        A line of the map that it needs above its columns.
    date : int, optional
        Position of a second column that it reads: the date of a time of day.
    """

    lake: str
    place: int
    heading: str
    text: str
    confidence: str
    why: str
    candidates: tuple[str, ...] = ()
    against_units_row: bool = False
    setting: str = ""
    date: int | None = None


def weaker(one: str, other: str) -> str:
    """Return the less sure of two confidences."""
    return max(one, other, key=(SURE, LIKELY, ASKED).index)


@dataclass(frozen=True)
class Look:
    """A table and its cells by column; values and totals are computed once."""

    table: Table
    cells: list[list[str]]
    _values: dict[int, NDArray[np.float64]] = field(default_factory=dict)
    _totals: dict[int, bool] = field(default_factory=dict)

    def values(self, place: int) -> NDArray[np.float64]:
        """Values of a column; NaN where a cell is no number."""
        if place not in self._values:
            kept = ["" if cell in self.table.voids else cell for cell in self.cells[place]]
            self._values[place] = numbers(kept, self.table.decimal, self.table.thousands)
        return self._values[place]

    def total(self, place: int) -> bool:
        """Whether a column is a cumulative total."""
        if place not in self._totals:
            self._totals[place] = is_total(self.values(place))
        return self._totals[place]

    def said(self, place: int) -> str:
        """All that the heading lines say of a column."""
        return self.table.said[place] if place < len(self.table.said) else self.table.names[place]

    def about(self, place: int) -> str:
        """Heading and unit of a column."""
        unit = self.table.units[place] if place < len(self.table.units) else ""
        return f"{self.said(place)} {unit}"

    def units_said(self, place: int) -> list[str]:
        """Return the units that the file gives for a column: below it, in brackets, as words of its heading."""
        heading = self.table.names[place]
        below = self.table.units[place] if place < len(self.table.units) else ""
        bracketed = BRACKETED.findall(f"{heading} {self.said(place)}")
        words = [word for word in re.split(r"[\s,;:_]+", heading) if len(word) > 1 or word in "%"][1:]
        ends = [heading[at + 1 :] for at in (heading.rfind("_"), heading.rfind(",")) if 0 < at < len(heading) - 1]
        return [unit for unit in dict.fromkeys([below.strip(), *bracketed, *ends, *reversed(words)]) if unit]

    def column(self, place: int) -> str:
        """How a map names the column: its heading, or its position where that is empty or repeats."""
        name = self.table.names[place]
        if name and self.table.names.count(name) == 1:
            return f"column = {json.dumps(name, ensure_ascii=False)}"
        return f"place = {place + 1}"

    def heading(self, place: int) -> str:
        """Heading of a column, as a message names it."""
        return self.table.names[place] or self.said(place) or f"column {place + 1}"
