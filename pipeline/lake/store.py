"""Read and write lake tables.

Delta has no transaction across tables. What keeps readers right all the same: rows that came from files carry
``source_id`` and count only once `sources` names it, and `sources` is written last.
"""

from __future__ import annotations

import random
import time
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any
from urllib.parse import unquote

import duckdb
import polars as pl
from deltalake import CommitProperties, DeltaTable, WriterProperties, write_deltalake
from deltalake.exceptions import CommitFailedError, DeltaError, TableNotFoundError

from pipeline.errors import HeelwardError
from pipeline.lake.marts import create_marts
from pipeline.schemas.base import Table
from pipeline.schemas.lineage import SOURCES

Where = Mapping[str, "str | int | bool | Sequence[str] | Sequence[int]"]

# Old versions must stay readable for as-of reports; Delta's own default drops them after 30 days.
_RETENTION = {
    "delta.logRetentionDuration": "interval 3650 days",
    "delta.deletedFileRetentionDuration": "interval 3650 days",
}
_WRITER = WriterProperties(compression="ZSTD")
_NO_RETRY = CommitProperties(max_commit_retries=0)
"""A conflict comes back to `replace`, which asks again whether what it writes is still right."""
_TRIES = 8
ROWS_PER_COMMIT = 200_000
"""Rows of a large file that are written at once: the writer holds what it is given in memory. [rows]"""
VISIBLE_STATE = "landed"


class InputsChanged(RuntimeError):
    """What a write was computed from changed while it waited for its turn."""


class _LocalTable(DeltaTable):  # type: ignore[misc]
    """A table in a folder of this machine, whose name may hold spaces and other letters that a URL escapes."""

    def file_uris(self, *given: Any, **named: Any) -> list[str]:
        """Return the table's files as paths: Polars takes them for paths, the Delta library writes them as URLs."""
        return [unquote(path) for path in super().file_uris(*given, **named)]


@dataclass(frozen=True)
class Condition:
    """What a table's log says: its version (None: no table), its rows, and its files that are gone or cut off."""

    version: int | None
    rows: int
    missing: list[str]


@dataclass(frozen=True)
class Lake:
    """A folder or object-store prefix of Delta tables, now or as it was.

    Attributes
    ----------
    root : str
        Local path or object-store URL.
    storage_options : mapping
        Credentials and endpoints for an object store.
    versions : mapping of str to int, optional
        Table versions to read; the newest where absent. A pinned lake cannot be written.
    guard : callable, optional
        Asked before each write; raises where this process may not write any more.
    """

    root: str
    storage_options: Mapping[str, str] = field(default_factory=dict)
    versions: Mapping[str, int] | None = None
    guard: Callable[[], None] | None = field(default=None, compare=False, repr=False)

    def uri(self, table: Table) -> str:
        """Where a table lies."""
        return f"{self.root.rstrip('/')}/{table.name}"

    def open(self, table: Table) -> DeltaTable | None:
        """Return the Delta table at its pinned or newest version, or None where it does not exist."""
        version = None
        if self.versions is not None:
            if table.name not in self.versions:
                return None
            version = self.versions[table.name]
        place = Path(self.uri(table))
        if "://" not in self.root and place.exists() and not place.is_dir():
            raise HeelwardError(f"a file stands where a table of the lake belongs: {place}\nfix: move it away")
        kind = DeltaTable if "://" in self.root else _LocalTable
        try:
            return kind(self.uri(table), version=version, storage_options=dict(self.storage_options) or None)
        except TableNotFoundError:
            return None

    def version(self, table: Table) -> int | None:
        """Return the version of a table, or None where it does not exist."""
        delta = self.open(table)
        return None if delta is None else int(delta.version())

    def condition(self, table: Table) -> Condition:
        """Return a table's condition by its log; of files in an object store it is not asked whether they are there."""
        delta = self.open(table)
        if delta is None:
            return Condition(None, 0, [])
        added = pl.DataFrame(delta.get_add_actions(flatten=True))
        sizes = {} if "://" in self.root else dict(zip(added["path"], added["size_bytes"], strict=True))
        folder = Path(self.uri(table))
        missing = [path for name, size in sizes.items() if _size(path := str(folder / unquote(name))) != size]
        return Condition(int(delta.version()), int(added["num_records"].sum()), missing)

    def drop_missing_files(self, table: Table) -> None:
        """Take files that are gone or cut off out of a table's log, so that what is left can be read."""
        delta = self.open(table)
        if delta is not None:
            for path in self.condition(table).missing:
                if Path(path).exists():
                    Path(path).rename(f"{path}.damaged")
            delta.repair()

    def move_away(self, table: Table) -> None:
        """Move a table whose log cannot be read out of the way, so that it can be made again; on this machine only."""
        if "://" in self.root:
            raise HeelwardError(f"the log of {self.uri(table)} cannot be read.\nfix: restore it from a backup")
        Path(self.uri(table)).rename(f"{self.uri(table)}.damaged-{time.time_ns()}")

    def at(self, versions: Mapping[str, int]) -> Lake:
        """Return the same lake as it was at the given table versions."""
        return replace(self, versions=dict(versions))

    def reader(self) -> Lake:
        """Return the same lake for other processes, which only read."""
        return replace(self, guard=None)

    def scan_raw(self, table: Table) -> pl.LazyFrame:
        """Return all rows of a table, those that no reader may see included.

        Columns that a table written by an older version lacks read as null.
        """
        delta = self.open(table)
        if delta is None:
            return table.empty().lazy()
        absent = set(table.dtypes) - _columns(delta)
        return pl.scan_delta(delta).with_columns(
            pl.lit(None, dtype=table.dtypes[name]).alias(name) for name in sorted(absent)
        ).select(list(table.dtypes))  # fmt: skip

    def scan(self, table: Table, visible_ids: Sequence[str] | None = None) -> pl.LazyFrame:
        """Return the rows of a table that count: those whose file is landed.

        Parameters
        ----------
        table : Table
        visible_ids : sequence of str, optional
            What `visible_ids` returns, where many tables are scanned at once.
        """
        rows = self.scan_raw(table)
        if not table.follows_sources:
            return rows
        source = pl.col("source_id")
        # imploded, the ids are one value; as a list, polars tests each against the files' statistics at length
        visible = source.is_in(
            pl.Series(self.visible_ids() if visible_ids is None else visible_ids, dtype=pl.String).implode()
        )
        return rows.filter(visible if table.landed else source.is_null() | visible)

    def visible_ids(self) -> list[str]:
        """Return the ids of all landed files."""
        landed = self.scan_raw(SOURCES).filter(pl.col("state") == VISIBLE_STATE)
        return landed.select("source_id").unique().collect().to_series().to_list()

    def replace(
        self,
        table: Table,
        rows: pl.DataFrame | Iterator[pl.DataFrame],
        where: Where,
        *,
        still_valid: Callable[[], bool] | None = None,
    ) -> int:
        """Replace the rows that ``where`` selects by ``rows``, in one atomic commit: the only way to write.

        Parameters
        ----------
        table : Table
        rows : polars.DataFrame, or iterator of them
            New rows, with the table's columns; each must satisfy ``where``. May be empty. Those that do not come from
            files are held to the table's schema: its key, ranges and required columns. Frames of an iterator are
            written in several commits and are never all in memory: for rows of a file that `sources` does not name
            yet, which no reader sees before all are there.
        where : mapping
            Column to value or values; an empty mapping selects the whole table.
        still_valid : callable, optional
            Asked again before each try after a conflict; False gives up.

        Returns
        -------
        int
            The version written (the present one where there was nothing to do).

        Raises
        ------
        InputsChanged
            If ``still_valid`` says no.
        dataframely.exc.ValidationError
            If a row breaks the table's schema.
        ValueError
            If the lake is pinned to past versions.
        """
        if self.versions is not None:
            raise ValueError("a lake opened at past versions cannot be written")
        if isinstance(rows, pl.DataFrame):
            return self._commit(table, rows, _predicate(where), still_valid)
        batches = _batched(rows)
        version = self._commit(table, next(batches, table.empty()), _predicate(where), still_valid)
        for frame in batches:
            version = self._commit(table, frame, None, still_valid, append=True)
        return version

    def _commit(
        self,
        table: Table,
        rows: pl.DataFrame,
        predicate: str | None,
        still_valid: Callable[[], bool] | None,
        *,
        append: bool = False,
    ) -> int:
        frame = rows.select(list(table.dtypes)).cast(pl.Schema(table.dtypes))
        if not table.landed:  # rows from files are checked at the door, where each can be named
            table.schema.validate(frame, cast=False)
        if table.sort_by:
            frame = frame.sort(table.sort_by)
        for attempt in range(_TRIES):
            if self.guard is not None:
                self.guard()
            try:
                return self._write(table, frame, predicate, append=append)
            except DeltaError as error:
                if attempt == _TRIES - 1 or not _conflict(error):
                    raise
                time.sleep(random.uniform(0.05, 0.2) * 2**attempt)
                if still_valid is not None and not still_valid():
                    raise InputsChanged(f"the inputs of table '{table.name}' changed during the write") from None
        raise AssertionError("unreachable")

    def _write(self, table: Table, frame: pl.DataFrame, predicate: str | None, *, append: bool) -> int:
        options = dict(self.storage_options) or None
        delta = self.open(table)
        if delta is None:
            if "://" not in self.root:
                Path(self.root).mkdir(parents=True, exist_ok=True)
            write_deltalake(
                self.uri(table), frame, mode="error", partition_by=list(table.partition_by) or None,
                configuration=_RETENTION, writer_properties=_WRITER, storage_options=options,
                description=table.grain, commit_properties=_NO_RETRY,
            )  # fmt: skip
            return 0
        if frame.is_empty() and not delta.file_uris():
            return int(delta.version())
        if frame.is_empty():
            if predicate is None:
                delta.delete()
            else:
                delta.delete(predicate, commit_properties=_NO_RETRY)
        else:
            write_deltalake(
                delta, frame, mode="append" if append else "overwrite", predicate=predicate,
                schema_mode="merge" if set(table.dtypes) - _columns(delta) else None, writer_properties=_WRITER,
                commit_properties=_NO_RETRY,
            )  # fmt: skip
        return int(delta.version())

    def connect(
        self,
        tables: Iterable[Table],
        seen: Callable[[Table, pl.LazyFrame], pl.LazyFrame] | None = None,
        *,
        zone: str = "UTC",
        quarter: str | None = None,
    ) -> duckdb.DuckDBPyConnection:
        """Open an in-memory DuckDB whose views are the given tables' visible rows, and the marts over them, in UTC.

        Files and extensions are out of its reach: a query can read the lake's views and nothing else.

        Parameters
        ----------
        tables : iterable of Table
            A mart is there where all tables that it reads are.
        seen : callable, optional
            Given a table and its rows, returns the rows that the views show.
        zone, quarter
            As `create_marts` takes them.
        """
        tables = list(tables)
        connection = duckdb.connect(":memory:")
        connection.execute("SET TimeZone = 'UTC'")
        visible = self.visible_ids()
        for table in tables:
            rows = self.scan(table, visible)
            connection.register(table.name, rows if seen is None else seen(table, rows))
        create_marts(connection, [table.name for table in tables], zone, quarter=quarter)
        connection.execute("SET python_enable_replacements = false")
        connection.execute("SET enable_external_access = false")
        connection.execute("SET lock_configuration = true")
        return connection


def _batched(frames: Iterator[pl.DataFrame]) -> Iterator[pl.DataFrame]:
    """Join frames until they are worth a commit."""
    waiting: list[pl.DataFrame] = []
    for frame in frames:
        waiting.append(frame)
        if sum(each.height for each in waiting) >= ROWS_PER_COMMIT:
            yield pl.concat(waiting)
            waiting = []
    if waiting:
        yield pl.concat(waiting)


def _size(path: str) -> int | None:
    return Path(path).stat().st_size if Path(path).exists() else None


def _conflict(error: DeltaError) -> bool:
    """Whether another process wrote in between, the table's creation included."""
    return isinstance(error, CommitFailedError) or "already exists" in str(error)


def _columns(delta: DeltaTable) -> set[str]:
    return {field.name for field in delta.schema().fields}


def _predicate(where: Where) -> str | None:
    parts = []
    for column, value in where.items():
        if isinstance(value, str | int):
            parts.append(f"{column} = {_literal(value)}")
        else:
            values = list(value)
            if not values:
                return "false"
            parts.append(f"{column} IN ({', '.join(_literal(item) for item in values)})")
    return " AND ".join(parts) or None


def _literal(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int):
        return str(value)
    return "'" + str(value).replace("'", "''") + "'"
