"""Read and write lake tables.

Delta has no transaction across tables. What keeps readers right all the same: rows that came from files carry
``source_id`` and count only once `sources` names it, and `sources` is written last.
"""

from __future__ import annotations

import random
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import duckdb
import polars as pl
import pyarrow as pa
from deltalake import CommitProperties, DeltaTable, WriterProperties, write_deltalake
from deltalake.exceptions import CommitFailedError, DeltaError, TableNotFoundError

from pipeline.schemas import SOURCES, Table

Stream = Callable[[], Iterator[pl.DataFrame]]
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
VISIBLE_STATE = "landed"


class InputsChanged(RuntimeError):
    """What a write was computed from changed while it waited for its turn."""


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
        try:
            return DeltaTable(self.uri(table), version=version, storage_options=dict(self.storage_options) or None)
        except TableNotFoundError:
            return None

    def version(self, table: Table) -> int | None:
        """Return the version of a table, or None where it does not exist."""
        delta = self.open(table)
        return None if delta is None else int(delta.version())

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

    def scan(self, table: Table) -> pl.LazyFrame:
        """Return the rows of a table that count: those whose file is landed."""
        rows = self.scan_raw(table)
        if not table.follows_sources:
            return rows
        source = pl.col("source_id")
        # imploded, the ids are one value; as a list, polars tests each against the files' statistics at length
        visible = source.is_in(pl.Series(self.visible_ids(), dtype=pl.String).implode())
        return rows.filter(visible if table.landed else source.is_null() | visible)

    def visible_ids(self) -> list[str]:
        """Return the ids of all landed files."""
        landed = self.scan_raw(SOURCES).filter(pl.col("state") == VISIBLE_STATE)
        return landed.select("source_id").unique().collect().to_series().to_list()

    def replace(
        self,
        table: Table,
        rows: pl.DataFrame | Stream,
        where: Where,
        *,
        still_valid: Callable[[], bool] | None = None,
    ) -> int:
        """Replace the rows that ``where`` selects by ``rows``, in one atomic commit: the only way to write.

        Parameters
        ----------
        table : Table
        rows : polars.DataFrame, or callable
            New rows, with the table's columns; each must satisfy ``where``. May be empty. A callable yields them in
            frames, anew at each call: they are written one after the other, never all in memory.
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
        ValueError
            If the lake is pinned to past versions.
        """
        if self.versions is not None:
            raise ValueError("a lake opened at past versions cannot be written")
        frame = _formed(table, rows) if isinstance(rows, pl.DataFrame) else rows
        predicate = _predicate(where)
        for attempt in range(_TRIES):
            if self.guard is not None:
                self.guard()
            try:
                return self._write(table, frame, predicate)
            except DeltaError as error:
                if attempt == _TRIES - 1 or not _conflict(error):
                    raise
                time.sleep(random.uniform(0.05, 0.2) * 2**attempt)
                if still_valid is not None and not still_valid():
                    raise InputsChanged(f"the inputs of table '{table.name}' changed during the write") from None
        raise AssertionError("unreachable")

    def _write(self, table: Table, rows: pl.DataFrame | Stream, predicate: str | None) -> int:
        frame: Any = rows if isinstance(rows, pl.DataFrame) else _arrow_stream(table, rows)
        nothing = isinstance(rows, pl.DataFrame) and rows.is_empty()
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
        if nothing and not delta.file_uris():
            return int(delta.version())
        if nothing:
            if predicate is None:
                delta.delete()
            else:
                delta.delete(predicate, commit_properties=_NO_RETRY)
        else:
            write_deltalake(
                delta, frame, mode="overwrite", predicate=predicate,
                schema_mode="merge" if set(table.dtypes) - _columns(delta) else None, writer_properties=_WRITER,
                commit_properties=_NO_RETRY,
            )  # fmt: skip
        return int(delta.version())

    def connect(
        self, tables: Sequence[Table], seen: Callable[[Table, pl.LazyFrame], pl.LazyFrame] | None = None
    ) -> duckdb.DuckDBPyConnection:
        """Open an in-memory DuckDB whose views are the given tables' visible rows, in UTC.

        Files and extensions are out of its reach: a query can read the lake's views and nothing else.

        Parameters
        ----------
        tables : sequence of Table
        seen : callable, optional
            Given a table and its rows, returns the rows that the views show.
        """
        connection = duckdb.connect(":memory:")
        connection.execute("SET TimeZone = 'UTC'")
        for table in tables:
            rows = self.scan(table)
            connection.register(table.name, rows if seen is None else seen(table, rows))
        connection.execute("SET enable_external_access = false")
        connection.execute("SET lock_configuration = true")
        return connection


def _formed(table: Table, rows: pl.DataFrame) -> pl.DataFrame:
    frame = rows.select(list(table.dtypes)).cast(pl.Schema(table.dtypes))
    return frame.sort(table.sort_by) if table.sort_by else frame


def _arrow_stream(table: Table, rows: Stream) -> pa.RecordBatchReader:
    schema = table.empty().to_arrow(compat_level=pl.CompatLevel.oldest()).schema
    batches = (
        batch
        for frame in rows()
        for batch in _formed(table, frame).to_arrow(compat_level=pl.CompatLevel.oldest()).to_batches()
    )
    return pa.RecordBatchReader.from_batches(schema, batches)


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
