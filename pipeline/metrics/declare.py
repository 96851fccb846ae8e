"""Declare a metric: one function with its name, unit, level, meaning, source and version.

The lake column, the dictionary, the fingerprint and the documentation are all derived from it.
"""

from __future__ import annotations

import functools
import hashlib
import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

import polars as pl

from pipeline.schemas.base import Schema, Table, day, flag, instant, integer, quantity, text

View = TypeVar("View")
Value = TypeVar("Value")


class Missing(Exception):
    """Raised by a metric that has no value; its text is the reason."""


def known(value: Value | None, why: str) -> Value:
    """Return a value that is there.

    Raises
    ------
    Missing
        If it is None.
    """
    if value is None:
        raise Missing(why)
    return value


def known_or(function: Callable[[View], Value], view: View, otherwise: Value) -> Value:
    """Return a metric of a view, or another value where it is missing."""
    try:
        return function(view)
    except Missing:
        return otherwise


@dataclass(frozen=True)
class Metric(Generic[View]):
    """A declared metric.

    Attributes
    ----------
    name : str
        Column name, with the unit as suffix.
    unit : str
        Unit name from ``units.txt``; empty for counts, flags and texts.
    kind : str
        ``number``, ``count``, ``flag``, ``text``, ``time`` or ``day``.
    meaning, source : str
        One sentence each, shown in the dictionary.
    version : int
        Increased when the function's results change.
    function : callable
        Takes the level's view and returns a value.
    """

    name: str
    unit: str
    kind: str
    meaning: str
    source: str
    version: int
    function: Callable[[View], Any]


def once(function: Callable[[View], Value]) -> Callable[[View], Value]:
    """Keep a metric's value, or why it is missing, with its view: metrics read each other."""
    key = f"_{function.__name__}"

    @functools.wraps(function)
    def read(view: View) -> Value:
        kept = vars(view)
        if key not in kept:
            try:
                value = function(view)
                finite = not isinstance(value, float) or math.isfinite(value)
                kept[key] = value if finite else Missing("not enough samples")
            except Missing as missing:
                kept[key] = Missing(str(missing))  # the one that was raised holds the view, and with it the samples
        found: Value | Missing = kept[key]
        if isinstance(found, Missing):
            raise Missing(str(found))
        return found

    return read


class Level(Generic[View]):
    """The metrics of one level (stage, plug, coil run) and their table."""

    def __init__(self, table: str, grain: str, keys: dict[str, str]) -> None:
        self.name = table
        self.grain = grain
        self.keys = keys
        self.metrics: dict[str, Metric[View]] = {}

    def metric(
        self, unit: str, meaning: str, *, source: str = "", version: int = 1, kind: str = "number"
    ) -> Callable[[Callable[[View], Value]], Callable[[View], Value]]:
        """Declare the decorated function as a metric of the same name."""

        def register(function: Callable[[View], Value]) -> Callable[[View], Value]:
            name = function.__name__
            if name in self.metrics:
                raise ValueError(f"{self.name} has two metrics named {name}")
            kept = once(function)
            self.metrics[name] = Metric(name, unit, kind, meaning, source, version, kept)
            return kept

        return register

    def measure(self, key: dict[str, Any], view: View) -> dict[str, Any]:
        """Return one row: every metric's value, and the reasons for missing values."""
        row, reasons = dict(key), []
        for metric in self.metrics.values():
            try:
                row[metric.name] = metric.function(view)
            except Missing as missing:
                row[metric.name] = None
                reasons.append(f"{metric.name}: {missing}")
        row["missing_because"] = "; ".join(reasons) or None
        return row

    def versions(self) -> list[tuple[str, int]]:
        """Return names and versions of the metrics."""
        return [(metric.name, metric.version) for metric in self.metrics.values()]

    @functools.cached_property
    def table(self) -> Table:
        """Return the lake table generated from the declarations."""
        makers: dict[str, Callable[[Metric[View]], Any]] = {
            "number": lambda m: quantity(m.unit, m.meaning, source=m.source),
            "count": lambda m: integer(m.meaning),
            "flag": lambda m: flag(m.meaning),
            "text": lambda m: text(m.meaning, amounts=True),
            "time": lambda m: instant(m.meaning),
            "day": lambda m: day(m.meaning),
        }
        columns: dict[str, Any] = {"well_id": text("id of the well in the lake", key=True)}
        columns |= {name: integer(meaning, key=True) for name, meaning in self.keys.items()}
        columns |= {metric.name: makers[metric.kind](metric) for metric in self.metrics.values()}
        columns["missing_because"] = text("for each metric without a value, the reason", amounts=True)
        columns["fingerprint"] = text("hash of all inputs of the well's rows", required=True)
        title = "".join(part.title() for part in self.name.split("_"))
        make: Callable[..., type[Schema]] = type(Schema)
        schema = make(title, (Schema,), {"__doc__": self.grain, **columns})
        return Table(self.name, schema, self.grain)


def marked(parts: Iterable[Any]) -> str:
    """Return a fingerprint of several parts, of which `changed` tells the differences; it stands in every row."""
    return "-".join(fingerprint([part])[:8] for part in parts)


def changed(before: str, now: str) -> list[int] | None:
    """Return the places of the parts in which two fingerprints differ; None if they are not of the same parts."""
    one, other = before.split("-"), now.split("-")
    if len(one) != len(other):
        return None
    return [place for place, (a, b) in enumerate(zip(one, other, strict=True)) if a != b]


def fingerprint(parts: Iterable[Any]) -> str:
    """Return a short hash of anything that has a stable ``repr``."""
    return hashlib.sha256(repr(list(parts)).encode()).hexdigest()[:16]


def texts_by(frame: pl.DataFrame, column: str) -> dict[str, str]:
    """Return the rows of each value of a column as one text, for a fingerprint."""
    rows = frame.select(column, row=pl.struct(pl.all()).struct.json_encode())
    return dict(rows.group_by(column).agg(pl.col("row").str.join("\n")).iter_rows())
