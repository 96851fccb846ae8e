"""Saved queries: SQL over the lake, with a header that says what they answer and what each column is."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import duckdb
import polars as pl

from pipeline import resources
from pipeline.errors import HeelwardError
from pipeline.lake import Lake
from pipeline.models.trend import trend_p, trend_slope
from pipeline.schemas import Table
from pipeline.units import shown, shown_units

_FIELD = re.compile(r"^-- (title|reader|grain|chart|parameters|columns):\s*(.*)$")
_ITEM = re.compile(r"^--\s{3}(\w+)(?: \[([^\]]+)\])?: (.+)$")


@dataclass(frozen=True)
class QueryColumn:
    """A column of a query: name, unit (empty where it has none), meaning."""

    name: str
    unit: str
    meaning: str


@dataclass(frozen=True)
class Query:
    """A saved query.

    Attributes
    ----------
    name : str
        Name of its file.
    title, reader, grain : str
        The question, who asks it, and what a row is.
    parameters : tuple of QueryColumn
        Named parameters, bound and never pasted in.
    columns : tuple of QueryColumn
    sql : str
    chart : str
        Of a title: the query whose rows it reads as the view ``chart``; empty where it reads none.
    """

    name: str
    title: str
    reader: str
    grain: str
    parameters: tuple[QueryColumn, ...]
    columns: tuple[QueryColumn, ...]
    sql: str
    chart: str = ""

    def unit(self, column: str) -> str:
        """Unit of a column."""
        return next((item.unit for item in self.columns if item.name == column), "")


def folder() -> Path:
    """Where the saved queries lie."""
    return resources.folder("queries")


def names() -> list[str]:
    """Names of the saved queries."""
    return sorted(path.stem for path in folder().glob("*.sql"))


def load(name: str, within: Path | None = None) -> Query:
    """Read a saved query.

    Raises
    ------
    HeelwardError
        If there is none of that name, or its header is incomplete.
    """
    known = names()
    if within is None and name not in known:
        raise HeelwardError(f"there is no query '{name}'; known: {', '.join(known)}")
    path = (within or folder()) / f"{name}.sql"
    text = path.read_text(encoding="utf-8")
    fields: dict[str, str] = {}
    items: dict[str, list[QueryColumn]] = {"parameters": [], "columns": []}
    section = ""
    for line in text.splitlines():
        if match := _FIELD.match(line):
            section = match[1]
            fields[section] = match[2].strip()
        elif (match := _ITEM.match(line)) and section in items:
            items[section].append(QueryColumn(match[1], match[2] or "", match[3].strip()))
        elif not line.startswith("--"):
            break
    missing = [key for key in ("title", "reader", "grain", "columns") if key not in fields]
    if missing:
        raise HeelwardError(f"{path}: the header lacks {', '.join(missing)}")
    return Query(
        name, fields["title"], fields["reader"], fields["grain"], tuple(items["parameters"]),
        tuple(items["columns"]), text, fields.get("chart", ""),
    )  # fmt: skip


def connect(
    lake: Lake, tables: Sequence[Table], system: str = "field",
    seen: Callable[[Table, pl.LazyFrame], pl.LazyFrame] | None = None,
) -> duckdb.DuckDBPyConnection:  # fmt: skip
    """Open a connection that saved queries run on: the lake's views, and the macros that titles say numbers with.

    Parameters
    ----------
    lake : Lake
    tables : sequence of Table
    system : str
        ``field`` or ``metric``.
    seen : callable, optional
        Given a table and its rows, returns the rows that are seen.
    """
    connection = lake.connect(tables, seen)
    speak(connection, system)
    return connection


def speak(connection: duckdb.DuckDBPyConnection, system: str = "field") -> None:
    """Teach a connection the macro that titles say numbers with.

    ``said(amount, unit)`` is the amount in the units shown, in three figures, and the unit's label;
    ``said_change(amount, unit)`` the same with its sign. ``trend_p(values)`` is the p value of Mann and Kendall's test
    of a list in the order of time, null where it is too short to quote one; ``trend_slope(values)`` Theil and Sen's
    slope.
    """
    factors: dict[str, float] = {}
    labels: dict[str, str] = {}
    for unit in shown_units(system):
        line, label = shown(unit, system)
        factors[unit], labels[unit] = line.factor, label
    in_units = f"(amount * coalesce(map_extract_value({_map(factors, 1.0)}, unit), 1))"
    labels["ratio"] = ""
    label = f"coalesce(map_extract_value({_map(labels, '')}, unit), unit)"
    size = (
        f"CASE WHEN abs({in_units}) >= 100 THEN format('{{:,.0f}}', abs({in_units})) "
        f"WHEN abs({in_units}) >= 10 THEN format('{{:.1f}}', abs({in_units})) "
        f"ELSE format('{{:.2f}}', abs({in_units})) END"
    )
    for name, plus in (("said", ""), ("said_change", "+")):
        sign = f"CASE WHEN {in_units} < 0 THEN '−' ELSE '{plus}' END"
        said = f"CASE WHEN isfinite(amount) THEN rtrim({sign} || {size} || ' ' || {label}) END"
        connection.execute(f"CREATE MACRO {name}(amount, unit) AS {said}")
    special: Any = "special"  # a null is an answer
    functions: dict[str, Any] = {"trend_p": trend_p, "trend_slope": trend_slope}
    for name, function in functions.items():
        connection.create_function(name, function, ["DOUBLE[]"], "DOUBLE", null_handling=special)


def _map(values: Mapping[str, float | str], absent: float | str) -> str:
    """Return a literal map; a key that is no unit tells its type where it is empty otherwise."""
    return "MAP {" + ", ".join(f"'{key}': {value!r}" for key, value in {"": absent, **values}.items()) + "}"


def run(
    connection: duckdb.DuckDBPyConnection,
    query: Query,
    given: dict[str, Any] | None = None,
    chart: pl.DataFrame | None = None,
) -> pl.DataFrame:
    """Run a query.

    Parameters
    ----------
    connection : duckdb connection
        With the lake's tables as views.
    query : Query
    given : dict, optional
        Values of its parameters; those not given are null.
    chart : polars.DataFrame, optional
        Of a title: the rows of its chart, where they are at hand; else its chart's query is run for them.

    Raises
    ------
    HeelwardError
        If a parameter is not known.
    """
    wanted = [item.name for item in query.parameters]
    unknown = sorted(set(given or {}) - set(wanted))
    if unknown:
        known = ", ".join(wanted) or "none"
        raise HeelwardError(f"query '{query.name}' has no parameter {', '.join(unknown)}; it has: {known}")
    bound = {name: (given or {}).get(name) for name in wanted}
    if query.chart:
        connection.register("chart", run(connection, load(query.chart), given) if chart is None else chart)
    rows: pl.DataFrame = connection.sql(query.sql, params=bound or None).pl()
    return rows
