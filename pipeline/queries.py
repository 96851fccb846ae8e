"""Saved queries on the marts of the lake."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import duckdb
import polars as pl

from pipeline import resources
from pipeline.errors import HeelwardError
from pipeline.lake import Lake
from pipeline.lake import connect as connect_lake
from pipeline.lake.marts import marts
from pipeline.metrics.tables import TABLES, columns_known
from pipeline.models.trend import trend_p, trend_p_serial, trend_slope
from pipeline.schemas.base import Table, meta
from pipeline.sql import Described, Statement, describe, read_statement, tables_read
from pipeline.text import inert_lines
from pipeline.units import format_quantities, shown, shown_units, with_unit, without_unit


def folder() -> Path:
    """Folder of the saved queries."""
    return resources.folder("queries")


def names() -> list[str]:
    """Names of the saved queries."""
    return sorted(path.stem for path in folder().glob("*.sql"))


def load(name: str, within: Path | None = None) -> Statement:
    """Read a saved query.

    Raises
    ------
    HeelwardError
        If no query has that name, or its header is incomplete.
    """
    known = names()
    if within is None and name not in known:
        raise HeelwardError(f"there is no query '{name}'; known: {', '.join(known)}")
    return read_statement((within or folder()) / f"{name}.sql")


@dataclass(frozen=True)
class Answer:
    """Result of a query: its rows, and the description of each column."""

    query: Statement
    frame: pl.DataFrame
    columns: list[Described]

    def unit(self, column: str) -> str:
        """Unit of a column, empty if it has none."""
        return next((item.unit for item in self.columns if item.name == column), "")


def connect(
    lake: Lake,
    system: str = "field",
    seen: Callable[[Table, pl.LazyFrame], pl.LazyFrame] | None = None,
    *,
    zone: str = "UTC",
    quarter: str | None = None,
    tables: Iterable[str] = TABLES,
) -> duckdb.DuckDBPyConnection:
    """Open a connection for queries: tables, marts, and the macros that format numbers in titles.

    Parameters
    ----------
    lake : Lake
    system : str
        ``field`` or ``metric``.
    seen, zone, quarter
        As in `pipeline.lake.connect`.
    tables : iterable of str
        Names of the tables.
    """

    def rows_shown(table: Table, rows: pl.LazyFrame) -> pl.LazyFrame:
        shown_rows: pl.LazyFrame = sentences_shown(table, rows if seen is None else seen(table, rows), system)
        return shown_rows

    return connect_lake(
        lake,
        [TABLES[name] for name in tables],
        rows_shown,
        zone=zone,
        quarter=quarter,
        begin=partial(speak, system=system),
        same=system if seen is None else None,
    )


def sentences_shown(table: Table, rows: Any, system: str) -> Any:
    """Return rows of a table (frame or lazy frame) with the amounts in its texts converted to the units of a system."""

    def written(texts: pl.Series) -> pl.Series:
        named = texts.filter(texts.str.contains("{", literal=True)).unique()
        if named.is_empty():
            return texts
        new = pl.Series([format_quantities(text, system) for text in named], dtype=pl.String)
        return texts.replace(named, new)

    sentences = [name for name, column in table.columns.items() if meta(column).get("amounts")]
    return rows.with_columns(pl.col(name).map_batches(written, return_dtype=pl.String) for name in sentences)


def speak(connection: duckdb.DuckDBPyConnection, system: str = "field") -> None:
    """Add to a connection the macros that format numbers in titles.

    ``said(amount, unit)`` is the amount in display units, to three significant figures, with the unit's label;
    ``said_change(amount, unit)`` the same with its sign. ``shown_amount(amount, unit)`` and ``shown_unit(unit)`` are
    amount and label apart; ``said_chance(share)`` is a probability or share in per cent. ``trend_p(values)`` is the p
    value of the Mann-Kendall test of a list in time order, null if the list is too short for a p value, and
    ``trend_p_serial(values)`` the same if a value may resemble the one before it; ``trend_slope(values)`` is the
    Theil-Sen slope.
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
    per_cent = (
        "CASE WHEN share < 0.001 THEN '< 0.1 %' WHEN share > 0.999 AND share < 1 THEN '> 99.9 %' "
        "ELSE format('{:.1f} %', 100 * share) END"
    )
    connection.execute(f"CREATE MACRO shown_amount(amount, unit) AS {in_units}")
    connection.execute(f"CREATE MACRO shown_unit(unit) AS {label}")
    connection.execute(f"CREATE MACRO said_chance(share) AS CASE WHEN share IS NOT NULL THEN {per_cent} END")
    special: Any = "special"  # null is a valid result
    functions: dict[str, Any] = {
        "trend_p": trend_p, "trend_p_serial": trend_p_serial, "trend_slope": trend_slope,
    }  # fmt: skip
    for name, function in functions.items():
        connection.create_function(name, function, ["DOUBLE[]"], "DOUBLE", null_handling=special)


def _map(values: Mapping[str, float | str], absent: float | str) -> str:
    """Return a literal map; the empty key, which is not a unit, sets its type if there are no other keys."""
    return "MAP {" + ", ".join(f"'{key}': {value!r}" for key, value in {"": absent, **values}.items()) + "}"


def run(
    connection: duckdb.DuckDBPyConnection,
    query: Statement,
    given: dict[str, Any] | None = None,
    chart: pl.DataFrame | None = None,
) -> Answer:
    """Run a query.

    Parameters
    ----------
    connection : duckdb connection
        With the lake's tables and marts as views.
    query : Statement
    given : dict, optional
        Values of its parameters.
    chart : polars.DataFrame, optional
        For a title: the rows of its chart, if available; otherwise the chart's query is run.

    Raises
    ------
    HeelwardError
        If a parameter is missing or unknown, or a column has no description.
    """
    wanted = [item.name for item in query.parameters]
    unknown = sorted(set(given or {}) - set(wanted))
    if unknown:
        known = ", ".join(wanted) or "none"
        raise HeelwardError(f"query '{query.name}' has no parameter {', '.join(unknown)}; it has: {known}")
    absent = [item for item in query.parameters if item.name not in (given or {})]
    if absent:
        needed = "; ".join(f"{item.name}: {item.meaning}" for item in absent)
        raise HeelwardError(f"query '{query.name}' needs {needed}\nfix: add --set {absent[0].name}=VALUE")
    bound = {name: (given or {}).get(name) for name in wanted}
    if query.chart:
        if chart is None:
            of = load(query.chart)
            own = {name: value for name, value in bound.items() if name in {item.name for item in of.parameters}}
            chart = run(connection, of, own).frame
        connection.register("chart", chart)
    used = {name: value for name, value in bound.items() if f"${name}" in query.sql}  # a title may only pass one on
    frame: pl.DataFrame = connection.sql(query.sql, params=used or None).pl()
    if query.made.keys() >= set(frame.columns):  # its header says it all
        return Answer(query, frame, [query.made[name] for name in frame.columns])
    return Answer(query, frame, describe(query, frame.columns, tables_read(connection, query.sql), columns_known()))


def run_sql(connection: duckdb.DuckDBPyConnection, text: str) -> Answer:
    """Run a query written by a user on the marts and tables of a connection; its columns are in the lake's units.

    Parameters
    ----------
    connection : duckdb connection
        From `connect`: it has no access to files and cannot write.
    text : str
        One SELECT statement of DuckDB's SQL.

    Raises
    ------
    HeelwardError
        If it is anything else, or DuckDB cannot run it; gives the reason and the available tables.
    """
    try:
        statements = connection.extract_statements(text)
        if len(statements) != 1 or statements[0].type != duckdb.StatementType.SELECT:
            found = "no statement" if not statements else ", ".join(str(each.type.name) for each in statements)
            raise HeelwardError(
                f"only one SELECT statement is allowed (PIVOT: name its values with IN); found: {found}"
            )
        frame: pl.DataFrame = connection.sql(text).pl()
    except HeelwardError:
        raise
    except duckdb.Error as error:
        raise HeelwardError(f"{inert_lines(str(error))}\n{_there(connection)}") from None
    except (KeyboardInterrupt, SystemExit, MemoryError):
        raise
    except BaseException as error:  # a panic of a library is no Exception
        told = inert_lines(str(error)).splitlines()
        raise HeelwardError(
            f"the result cannot be read: {told[0] if told else type(error).__name__}\n"
            "fix: write intervals as minutes (epoch(b - a) / 60), and cast unusual types to VARCHAR"
        ) from None
    columns = [Described(name, "", "") for name in frame.columns]
    return Answer(Statement("sql", "Rows of the statement", "", "a row of it", (), (), (), {}, text), frame, columns)


def _there(connection: duckdb.DuckDBPyConnection) -> str:
    """Return the marts and tables that a query can read."""
    names = {name for (name,) in connection.sql("SELECT table_name FROM duckdb_tables()").fetchall()}
    there = {"marts": names & marts().keys(), "tables": TABLES.keys()}
    lines = [f"{kind}: {', '.join(sorted(of_it))}" for kind, of_it in there.items()]
    return "\n".join([*lines, "to list the columns of one: `heelward query --about NAME`"])


def about(name: str) -> Answer:
    """Return the columns of a mart or table: name, unit, meaning.

    Raises
    ------
    HeelwardError
        If no mart or table has that name; lists the known names.
    """
    known = columns_known()
    if name not in known:
        raise HeelwardError(f"there is no mart or table '{name}'; known: {', '.join(sorted(known))}")
    rows = [(item.name, item.unit, item.meaning) for item in known[name].values()]
    frame = pl.DataFrame(rows, schema=["column", "unit", "meaning"], orient="row")
    grain = marts()[name].grain if name in marts() else TABLES[name].grain
    query = Statement(name, f"{name}: one row per {_per(grain)}", "", "a column", (), (), (), {}, "")
    return Answer(query, frame, [Described(column, "", "") for column in frame.columns])


def _per(grain: str) -> str:
    return grain.removeprefix("an ").removeprefix("a ")


def listing() -> list[str]:
    """Return the saved queries, and the marts and tables that SQL can read, one line each."""
    saved = [f"  {name:24} {load(name).title}" for name in names() if not name.endswith("_title")]
    read = [f"  {name:24} one row per {_per(mart.grain)}" for name, mart in marts().items()]
    return [
        "saved queries (`heelward query NAME`):", *saved, "",
        "marts (`heelward query --sql \"SELECT ... FROM stage\"`, list columns with `--about stage`):", *read, "",
        "tables: " + ", ".join(sorted(TABLES)),
    ]  # fmt: skip


def in_units_shown(answer: Answer, system: str) -> tuple[pl.DataFrame, dict[str, str]]:
    """Return the rows of an answer in the units of a system, and the unit labels.

    Parameters
    ----------
    answer : Answer
    system : str
        ``field`` or ``metric``.
    """
    frame, units = answer.frame, {}
    for column in answer.columns:
        if not column.unit:
            continue
        line, label = shown(column.unit, system)
        units[column.name] = "" if label == "ratio" else label
        if (line.factor, line.offset) != (1.0, 0.0):
            frame = frame.with_columns(pl.col(column.name) * line.factor + line.offset)
    return frame, units


def heading(column: str, unit: str, label: str) -> str:
    """Return the heading of a column: its name in words, with the label of the display unit instead of its suffix."""
    bare = without_unit(column, unit) if label else column
    return with_unit(bare.replace("_", " "), label)
