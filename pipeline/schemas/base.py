"""Declarations of columns and tables, with type, unit, meaning and plausible ranges."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import polars as pl


@contextmanager
def _without(name: str) -> Iterator[None]:
    """Import what follows as if a package, which it supports and which is not used here, were not installed.

    That holds for this whole process, unless the package is there already.
    """
    if name in sys.modules:
        yield
        return
    sys.modules[name] = None  # type: ignore[assignment]
    try:
        yield
    finally:
        del sys.modules[name]


with _without("sqlalchemy"):  # a sixth of a second of every command
    import dataframely as dy

Schema = dy.Schema

Range = tuple[float, float]
DEPTH_FT: Range = (-50.0, 40000.0)
"""Hard range of a measured depth: deeper than any well."""
MOST_NUMBER = 1000
"""Largest number of a stage, plug or run."""


def quantity(
    unit: str,
    meaning: str,
    *,
    soft: Range | None = None,
    hard: Range | None = None,
    depth: bool = False,
    required: bool = False,
    source: str = "",
) -> dy.Float64:
    """Declare a measured or designed quantity.

    Parameters
    ----------
    unit : str
        Unit of the stored values, as named in ``units.txt``; ``"ratio"`` for shares and factors.
    meaning : str
        One sentence for the dictionary.
    soft : tuple of float, optional
        A sample outside this range raises a quality finding.
    hard : tuple of float, optional
        A sample outside this range is void.
    depth : bool
        True for measured depths, which are shifted if a map reads them from ground level.
    required : bool
        True if a row without it cannot be used.
    source : str
        Source of the definition.
    """
    return dy.Float64(
        nullable=not required,
        description=meaning,
        metadata={"unit": unit, "soft": soft, "hard": hard, "depth": depth, "source": source},
    )


def integer(
    meaning: str, *, key: bool = False, required: bool = False, lowest: int | None = None, highest: int | None = None
) -> dy.Int32:
    """Declare a whole number; a cell outside its range is not a value."""
    return dy.Int32(nullable=not (key or required), primary_key=key, min=lowest, max=highest, description=meaning)


def large(meaning: str) -> dy.Int64:
    """Declare a whole number that can be beyond two thousand millions."""
    return dy.Int64(nullable=True, description=meaning)


def text(
    meaning: str,
    *,
    key: bool = False,
    required: bool = False,
    one_of: tuple[str, ...] = (),
    zone: bool = False,
    code: bool = False,
    private: bool = False,
    amounts: bool = False,
) -> dy.String:
    """Declare a text: free text, one of a closed list of words, a time zone name, or an internal code (no name).

    A ``private`` text can quote files or people; a masked report withholds the whole text.
    A text with ``amounts`` is a generated sentence with amounts written as ``{450 psi}`` until display.
    """
    return dy.String(
        nullable=not (key or required), primary_key=key, description=meaning,
        metadata={"one_of": one_of or None, "zone": zone, "code": code or zone or bool(one_of), "private": private,
                  "amounts": amounts},
    )  # fmt: skip


def flag(meaning: str, *, required: bool = False) -> dy.Bool:
    """Declare a yes/no column."""
    return dy.Bool(nullable=not required, description=meaning)


def instant(meaning: str, *, key: bool = False, required: bool = False) -> dy.Datetime:
    """Declare a time, in UTC."""
    return dy.Datetime(
        nullable=not (key or required), primary_key=key, time_unit="us", time_zone="UTC", description=meaning
    )


def day(meaning: str, *, key: bool = False, ahead: bool = False, month: bool = False) -> dy.Date:
    """Declare a calendar day in the pad's time zone; ``ahead`` if it can be in the future.

    With ``month`` any day stands for the first one of its month.
    """
    return dy.Date(nullable=not key, primary_key=key, description=meaning, metadata={"ahead": ahead, "month": month})


class Landed(Schema):
    """Columns of every row that came from a file."""

    source_id = text("the landed file (key of `sources`)", required=True, code=True)
    source_row = integer("line number in that file, from 1")


@dataclass(frozen=True)
class Table:
    """One lake table: name, columns and file layout.

    Attributes
    ----------
    name : str
        Name in the lake, in queries and in source maps.
    schema : type of dataframely.Schema
        The columns; the primary key is declared there.
    grain : str
        Meaning of a row.
    partition_by : tuple of str
        Columns that split the table into folders.
    sort_by : tuple of str
        Sort order of rows in a file.
    """

    name: str
    schema: type[Schema]
    grain: str
    partition_by: tuple[str, ...] = ()
    sort_by: tuple[str, ...] = ()

    @property
    def landed(self) -> bool:
        """Whether rows come directly from files."""
        return issubclass(self.schema, Landed)

    @property
    def of_samples(self) -> bool:
        """Whether its rows are the samples of records, too many to be held in memory."""
        return self.landed and bool(self.partition_by)

    @property
    def follows_sources(self) -> bool:
        """Whether rows are valid only while their source file is landed (or they have no source file)."""
        return "source_id" in self.columns and self.name != "sources"

    @cached_property
    def columns(self) -> dict[str, dy.Column]:
        """Names of the declared columns, in order."""
        return self.schema.columns()

    @cached_property
    def dtypes(self) -> dict[str, pl.DataType]:
        """Type of each column, in order."""
        return {name: column.dtype for name, column in self.columns.items()}

    def empty(self) -> pl.DataFrame:
        """Return the table without rows."""
        return pl.DataFrame(schema=self.dtypes)

    @cached_property
    def key(self) -> list[str]:
        """Key columns of a row."""
        return list(self.schema.primary_key())

    def unit(self, column: str) -> str:
        """Unit of a column, or an empty text if it has none."""
        return str(meta(self.columns[column]).get("unit", ""))


def meta(column: Any) -> dict[str, Any]:
    """Return a column's declared extras (unit, ranges, source)."""
    return column.metadata or {}
