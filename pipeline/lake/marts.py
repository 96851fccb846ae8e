"""Marts: tables of a DuckDB connection with a stated grain, where every join and shared definition is written once."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from functools import cache
from graphlib import TopologicalSorter

import duckdb
import polars as pl

from pipeline import resources
from pipeline.physics.constants import DIESEL_CO2_KG_PER_MMBTU, DIESEL_MMBTU_PER_GAL, HP_HOUR_BTU
from pipeline.schemas.base import Table
from pipeline.sql import Described, Statement, describe, read_statement, tables_read


@cache
def marts() -> dict[str, Statement]:
    """Return the marts, by name."""
    folder = resources.folder("queries") / "marts"
    return {path.stem: read_statement(path) for path in sorted(folder.glob("*.sql"))}


@cache
def _reads() -> dict[str, set[str]]:
    """Tables that each mart reads, in an order in which the marts can be created; kept until a source changes."""
    path = resources.kept_at(f"marts-{resources.product_digest()}.json")
    made = resources.kept(path, lambda held: {name: set(read) for name, read in held.items()})
    if made is None:
        made = _ordered()
        resources.keep(path, {name: sorted(read) for name, read in made.items()})
    return made


def _ordered() -> dict[str, set[str]]:
    with duckdb.connect(":memory:") as parser:
        reads = {name: tables_read(parser, mart.sql) for name, mart in marts().items()}
    order = TopologicalSorter({name: read & reads.keys() for name, read in reads.items()}).static_order()
    return {name: reads[name] for name in order}


def tables_below(names: Iterable[str]) -> set[str]:
    """Return the tables that marts read, through other marts too."""
    waiting, tables = list(names), set()
    while waiting:
        name = waiting.pop()
        if name in marts():
            waiting += _reads()[name]
        else:
            tables.add(name)
    return tables


def create_macros(connection: duckdb.DuckDBPyConnection, zone: str = "UTC", quarter: str | None = None) -> None:
    """Create the macros that marts and queries share.

    Parameters
    ----------
    connection : duckdb connection
    zone : str
        Time zone for pads without one.
    quarter : str, optional
        As in `create_marts`.
    """
    quoted = zone.replace("'", "''")
    for macro in (
        f"default_zone() AS '{quoted}'",
        "quarter_of(day) AS year(day) || 'Q' || quarter(day)",
        f"in_edition(quarter) AS quarter IS NULL OR quarter <= '{quarter or '9999Q4'}'",
        "minutes_between(earlier, later) AS (epoch_us(later) - epoch_us(earlier)) / 6e7",
        f"diesel_co2_kg(gal) AS gal * {DIESEL_MMBTU_PER_GAL * DIESEL_CO2_KG_PER_MMBTU!r}",
        f"diesel_hp_hours(gal) AS gal * {DIESEL_MMBTU_PER_GAL * 1e6 / HP_HOUR_BTU!r}",
        "money(amount) AS CAST(amount AS DECIMAL(18, 4))",  # exact sums, independent of the order of the lines
    ):
        connection.execute(f"CREATE MACRO {macro}")


def create_marts(connection: duckdb.DuckDBPyConnection, tables: Iterable[str], *, quarter: str | None = None) -> None:
    """Compute the marts whose tables exist and that are not there yet, once for all queries of a connection.

    Parameters
    ----------
    connection : duckdb connection
        With the tables as views, and the macros.
    tables : iterable of str
        Names of the tables.
    quarter : str, optional
        Such as ``2025Q2``: rows of later quarters are excluded from every mart that has a quarter.
    """
    made = _made(connection)
    there = {*tables, *made}
    for name, reads in _reads().items():
        if name in made or not reads <= there:
            continue
        sql = marts()[name].sql
        if quarter is not None and "quarter" in connection.sql(sql).columns:
            sql = f"SELECT * FROM (\n{sql}\n) WHERE in_edition(quarter)"
        connection.execute(f'CREATE TABLE "{name}" AS {sql}')
        there.add(name)


def drop_marts(connection: duckdb.DuckDBPyConnection, tables: Iterable[str]) -> None:
    """Drop the marts that read tables, through other marts too."""
    changed = set(tables)
    for name, reads in _reads().items():
        if reads & changed:
            changed.add(name)
    for name in changed & _made(connection):
        connection.execute(f'DROP TABLE "{name}"')


def _made(connection: duckdb.DuckDBPyConnection) -> set[str]:
    return {name for (name,) in connection.execute("SELECT table_name FROM duckdb_tables()").fetchall()}


def catalogue(tables: Sequence[Table]) -> Mapping[str, Mapping[str, Described]]:
    """Return the descriptions of all columns of the tables and their marts."""
    known = {
        table.name: {
            name: Described(name, table.unit(name), column.description or "") for name, column in table.columns.items()
        }
        for table in tables
    }
    with duckdb.connect(":memory:") as connection:
        connection.execute("SET TimeZone = 'UTC'")
        for table in tables:
            connection.register(table.name, pl.DataFrame(schema=table.dtypes))
        create_macros(connection)
        create_marts(connection, known)
        for name, reads in _reads().items():
            if reads <= known.keys():
                columns = connection.sql(f'SELECT * FROM "{name}"').columns
                known[name] = {item.name: item for item in describe(marts()[name], columns, reads, known)}
    return known
