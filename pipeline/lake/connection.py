"""A DuckDB with the visible rows of a lake's tables, and their marts."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field

import duckdb
import polars as pl

from pipeline.lake.marts import create_macros, create_marts, drop_marts
from pipeline.lake.store import Lake, at_once
from pipeline.schemas.base import Table
from pipeline.schemas.lineage import SOURCES

Seen = Callable[[Table, pl.LazyFrame], pl.LazyFrame]


@dataclass
class _Open:
    """A connection, the state of the landed files that it shows, and the states of its tables."""

    connection: duckdb.DuckDBPyConnection
    sources: Hashable
    states: dict[str, Hashable] = field(default_factory=dict)


_kept: ContextVar[dict[Hashable, _Open] | None] = ContextVar("kept", default=None)
"""Of this thread: two that refresh workspaces at the same time share nothing."""


@contextmanager
def kept_connections() -> Iterator[None]:
    """Let a connection that is asked for again be brought up to date until the outermost block ends, not made anew."""
    if _kept.get() is not None:
        yield
        return
    kept: dict[Hashable, _Open] = {}
    token = _kept.set(kept)
    try:
        yield
    finally:
        _kept.reset(token)
        for one in kept.values():
            one.connection.close()


def connect(
    lake: Lake,
    tables: Iterable[Table],
    seen: Seen | None = None,
    *,
    zone: str = "UTC",
    quarter: str | None = None,
    begin: Callable[[duckdb.DuckDBPyConnection], None] | None = None,
    same: Hashable = None,
) -> duckdb.DuckDBPyConnection:
    """Open an in-memory DuckDB with views of the given tables' visible rows, and their marts, in UTC.

    It has no access to files and extensions: a query can read only the lake's views.

    Parameters
    ----------
    lake : Lake
    tables : iterable of Table
        A mart is created if all tables that it reads are given.
    seen : callable, optional
        Takes a table and its rows and returns the rows for the views.
    zone : str
        Time zone for pads without one.
    quarter : str, optional
        As in `create_marts`.
    begin : callable, optional
        Called with a new connection.
    same : hashable, optional
        What `seen` and `begin` do, if the connection may be one that is kept: it can have more tables than those given,
        and is not to be closed.
    """
    sources = lake.state(SOURCES)
    key = (lake.root, *sorted(lake.storage_options.items()), zone, quarter, same)
    kept = None if same is None else _kept.get()
    one = None if kept is None else kept.get(key)
    if one is None or one.sources != sources:
        one = _Open(_closed_in(zone, quarter), sources)
        if begin is not None:
            begin(one.connection)
        if kept is not None:
            kept[key] = one
    _bring_up(one, lake, tables, seen, quarter)
    return one.connection


def _closed_in(zone: str, quarter: str | None) -> duckdb.DuckDBPyConnection:
    """Open a DuckDB that reaches nothing outside."""
    connection = duckdb.connect(":memory:")
    connection.execute("SET TimeZone = 'UTC'")
    create_macros(connection, zone, quarter)
    connection.execute("SET python_enable_replacements = false")
    connection.execute("SET temp_directory = ''")  # queries may read it, and nothing is to be spilled
    connection.execute("SET enable_external_access = false")
    connection.execute("SET lock_configuration = true")
    return connection


def _bring_up(one: _Open, lake: Lake, tables: Iterable[Table], seen: Seen | None, quarter: str | None) -> None:
    """Register the tables that a connection lacks or has in another version, and make the marts that read them."""
    asked = list(tables)
    states = dict(zip(asked, at_once(lake.state, asked), strict=True))
    new = [table for table in asked if table.name not in one.states or one.states[table.name] != states[table]]
    lake.refuse_damaged(new)
    here = lake.still()
    rows = {table: here.scan(table) if seen is None else seen(table, here.scan(table)) for table in new}
    read = [table for table in new if not table.of_samples]
    # DuckDB reads a frame several times as fast as the files of a table one after the other
    frames = dict(zip(read, pl.collect_all([rows[table] for table in read]), strict=True))
    drop_marts(one.connection, [table.name for table in new])
    for table in new:
        one.connection.register(table.name, frames.get(table, rows[table]))
        one.states[table.name] = states[table]
    create_marts(one.connection, one.states, quarter=quarter)
