"""Read and write lake tables.

Delta has no transaction across tables. Readers still get consistent data: rows from files have a
``source_id`` and count only when `sources` lists it, and `sources` is written last.
"""

from __future__ import annotations

import os
import random
import time
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from pathlib import Path
from threading import Lock
from typing import Any, TypeVar
from urllib.parse import unquote

import polars as pl
from deltalake import CommitProperties, DeltaTable, WriterProperties, write_deltalake
from deltalake.exceptions import CommitFailedError, DeltaError, TableNotFoundError

from pipeline.errors import HeelwardError
from pipeline.schemas.base import Table
from pipeline.schemas.lineage import SOURCES

Result = TypeVar("Result")
Where = Mapping[str, "str | int | bool | Sequence[str] | Sequence[int]"]
State = tuple[int, "tuple[int, int, int] | None"]
"""Version of a table, and the identity of its entry in the log."""

_SETTINGS = {
    # old versions must stay readable for as-of reports; Delta's own default drops them after 30 days
    "delta.logRetentionDuration": "interval 3650 days",
    "delta.deletedFileRetentionDuration": "interval 3650 days",
    # commits that are read one by one to open a table; the library's own default is 100
    "delta.checkpointInterval": "10",
}
_WRITER = WriterProperties(compression="ZSTD")
_NO_RETRY = CommitProperties(max_commit_retries=0)
"""A conflict is returned to `replace`, which checks again whether its rows are still valid."""
_TRIES = 8
ROWS_PER_COMMIT = 200_000
"""Rows of a large file that are written in one commit: the writer keeps them in memory. [rows]"""
FEW_FILES = 8
"""A table with fewer files is not worth a commit that joins them."""
VISIBLE_STATE = "landed"
AT_ONCE = 8
"""Tables that are opened at the same time. [1]"""
KEPT_OPEN = 128
"""Versions of tables that stay open for reading: opening one reads its log. [1]"""


class InputsChanged(RuntimeError):
    """The inputs of a write changed while it waited."""


class _LocalTable(DeltaTable):  # type: ignore[misc]
    """A table in a local folder, whose name may contain spaces and other characters that a URL escapes."""

    def file_uris(self, *given: Any, **named: Any) -> list[str]:
        """Return the table's files as paths: Polars expects paths, the Delta library returns URLs."""
        return [unquote(path) for path in super().file_uris(*given, **named)]


_kept_open: dict[tuple[str, State], DeltaTable] = {}
"""Versions of local tables that were read or written, as long as their entry in the log is the same file."""
_keeping = Lock()


def _keep_open(uri: str, state: State, delta: DeltaTable, *, alone: bool = False) -> DeltaTable:
    """Keep a version for reading; alone, if it takes the place of the table's others."""
    with _keeping:
        for key in [key for key in _kept_open if alone and key[0] == uri]:
            del _kept_open[key]
        while len(_kept_open) >= KEPT_OPEN:
            del _kept_open[next(iter(_kept_open))]
        _kept_open[uri, state] = delta
    return delta


def open_anew() -> None:
    """Let this process read the log of every table again, as after damage that it has not seen."""
    with _keeping:
        _kept_open.clear()


@dataclass(frozen=True)
class Condition:
    """State of a table from its log: version (None: no table), number of rows, missing or truncated files."""

    version: int | None
    rows: int
    missing: list[str]


@dataclass(frozen=True)
class Lake:
    """A folder or object-store prefix of Delta tables, in its current or a past state.

    Attributes
    ----------
    root : str
        Local path or object-store URL.
    storage_options : mapping
        Credentials and endpoints for an object store.
    versions : mapping of str to int, optional
        Table versions to read; default: the newest. A pinned lake cannot be written.
    guard : callable, optional
        Called before each write; raises if this process must not write any more.
    landed : sequence of str, optional
        Ids of the landed files, if they were looked up once for many reads (`still`).
    """

    root: str
    storage_options: Mapping[str, str] = field(default_factory=dict)
    versions: Mapping[str, int] | None = None
    guard: Callable[[], None] | None = field(default=None, compare=False, repr=False)
    landed: Sequence[str] | None = field(default=None, compare=False, repr=False)

    def uri(self, table: Table) -> str:
        """Location of a table."""
        return f"{self.root.rstrip('/')}/{table.name}"

    def open(self, table: Table) -> DeltaTable | None:
        """Return the Delta table at its pinned or newest version, or None if it does not exist."""
        version = None
        if self.versions is not None:
            if table.name not in self.versions:
                return None
            version = self.versions[table.name]
        place = Path(self.uri(table))
        if "://" not in self.root and place.exists() and not place.is_dir():
            raise HeelwardError(f"a file is in the place of a lake table: {place}\nfix: move the file elsewhere")
        kind = DeltaTable if "://" in self.root else _LocalTable
        try:
            return kind(self.uri(table), version=version, storage_options=dict(self.storage_options) or None)
        except TableNotFoundError:
            return None

    def _to_read(self, table: Table) -> DeltaTable | None:
        """Return what `open` returns, to be read only: it may be in use elsewhere."""
        state = None if "://" in self.root else self.state(table)
        if state is None or state[1] is None:
            return self.open(table)
        uri = self.uri(table)
        held = _kept_open.get((uri, state))
        return held if held is not None else _keep_open(uri, state, _LocalTable(uri, version=state[0]))

    def state(self, table: Table) -> State | None:
        """Return a table's version and the identity of its log entry: a table that is made anew has old numbers.

        None without a table; without identity in an object store.
        """
        version = self.version(table)
        return None if version is None else self._state_at(table, version)

    def _state_at(self, table: Table, version: int) -> State:
        try:
            entry = (Path(self.uri(table)) / "_delta_log" / f"{version:020}.json").stat()
        except FileNotFoundError:
            return version, None
        return version, (entry.st_ino, entry.st_mtime_ns, entry.st_size)

    def version(self, table: Table) -> int | None:
        """Return the version of a table, or None if it does not exist."""
        if self.versions is not None:
            return self.versions.get(table.name)
        if "://" in self.root:
            delta = self.open(table)
            return None if delta is None else int(delta.version())
        return max(_commits(Path(self.uri(table)) / "_delta_log"), default=None)

    def condition(self, table: Table) -> Condition:
        """Return a table's condition from its log; the existence of files in an object store is not checked."""
        delta = self._to_read(table)
        if delta is None:
            return Condition(None, 0, [])
        added = pl.DataFrame(delta.get_add_actions(flatten=True))
        missing = [] if "://" in self.root else [path for path, whole in self._files(table, added) if not whole]
        return Condition(int(delta.version()), int(added["num_records"].sum()), missing)

    def _files(self, table: Table, added: pl.DataFrame) -> Iterator[tuple[str, bool]]:
        """Yield the files that the log of a local table names, and whether each is there with the size it had."""
        folder = Path(self.uri(table))
        for name, size in added["path", "size_bytes"].iter_rows():
            path = str(folder / unquote(name))
            yield path, _size(path) == size

    def damaged(self, tables: Iterable[Table]) -> dict[Table, list[str]]:
        """Return the tables that cannot be read, with their missing or truncated files, or their log."""

        def missing(table: Table) -> tuple[Table, list[str]]:
            try:
                return table, self.condition(table).missing
            except DeltaError:
                return table, [f"{self.uri(table)}/_delta_log"]

        return {table: files for table, files in at_once(missing, tables) if files}

    def refuse_damaged(self, tables: Iterable[Table]) -> None:
        """Raise an error that names the first table that cannot be read: reading it ends in a library's panic."""
        for table, files in self.damaged(tables).items():
            fix = "run `heelward refresh`; it makes the table whole again"
            if self.versions is not None and not replace(self, versions=None).damaged([table]):
                fix = "restore this file from a backup: it belongs to a past state, which cannot be made again"
            raise HeelwardError(f"{damage(table, files)}\nfix: {fix}")

    def drop_damaged_checkpoints(self, tables: Iterable[Table]) -> None:
        """Move away the checkpoints of local tables that do not open with them; they only repeat the log's commits."""

        def drop(table: Table) -> None:
            try:
                self._to_read(table)
            except DeltaError:
                log = Path(self.uri(table)) / "_delta_log"
                commits = _commits(log)
                if sorted(commits) == list(range(len(commits))):
                    for path in (*log.glob("*.checkpoint*.parquet"), *log.glob("_last_checkpoint")):
                        path.rename(f"{path}.damaged")

        if "://" not in self.root:
            at_once(drop, tables)

    def drop_missing_files(self, table: Table) -> None:
        """Remove missing or truncated files from a table's log, so that the remaining files can be read."""
        delta = self.open(table)
        if delta is not None:
            for path in self.condition(table).missing:
                if Path(path).exists():
                    Path(path).rename(f"{path}.damaged")
            delta.repair()

    def compact(self, table: Table, fewest: int = FEW_FILES) -> int:
        """Join the small files of a table in one commit; return how many files fewer it has. No row changes.

        A table with fewer files than `fewest` stays as it is.
        """
        held = self._to_read(table)
        if held is None or self.versions is not None or len(held.file_uris()) < fewest:
            return 0
        delta = self.open(table)  # the one that was read may be in use
        assert delta is not None
        if self.guard is not None:
            self.guard()
        done = delta.optimize.compact(writer_properties=_WRITER, commit_properties=_NO_RETRY)
        if done["numFilesRemoved"]:
            delta.create_checkpoint()
        return int(done["numFilesRemoved"] - done["numFilesAdded"])

    def vacuum(self, table: Table, keep: Sequence[int], hours: float) -> int:
        """Delete the files of a table that neither its newest nor a kept version reads; return their number.

        Parameters
        ----------
        table : Table
        keep : sequence of int
            Past versions that stay readable.
        hours : float
            Files that left the table, or were left over by a killed write, less long ago stay for readers of now. [h]
        """
        delta = self.open(table)
        if delta is None:
            return 0
        if self.guard is not None:
            self.guard()
        gone = delta.vacuum(
            retention_hours=int(hours), dry_run=False, enforce_retention_duration=False, full=True,
            keep_versions=sorted({*keep, int(delta.version())}), commit_properties=_NO_RETRY,
        )  # fmt: skip
        return len(gone)

    def move_away(self, table: Table) -> None:
        """Move away a table with an unreadable log, so that it can be created again; only on this machine."""
        if "://" in self.root:
            raise HeelwardError(f"the log of {self.uri(table)} cannot be read.\nfix: restore it from a backup")
        Path(self.uri(table)).rename(f"{self.uri(table)}.damaged-{time.time_ns()}")

    def at(self, versions: Mapping[str, int]) -> Lake:
        """Return the same lake at the given table versions."""
        return replace(self, versions=dict(versions), landed=None)

    def still(self) -> Lake:
        """Return the same lake for many reads in a row: which files are landed is looked up once."""
        return self if self.landed is not None else replace(self, landed=self._landed_files())

    def reader(self) -> Lake:
        """Return the same lake for other processes, for reading only."""
        return replace(self, guard=None)

    def scan_raw(self, table: Table) -> pl.LazyFrame:
        """Return all rows of a table, including those that are not visible to readers.

        Columns that are missing in a table written by an older version are null.
        """
        delta = self._to_read(table)
        if delta is None:
            return table.empty().lazy()
        absent = set(table.dtypes) - _columns(delta)
        return pl.scan_delta(delta).with_columns(
            pl.lit(None, dtype=table.dtypes[name]).alias(name) for name in sorted(absent)
        ).select(list(table.dtypes))  # fmt: skip

    def scan_sound(self, table: Table) -> pl.LazyFrame:
        """Return the rows of a local table that are in files that are there and whole."""
        delta = self._to_read(table)
        if delta is None:
            return table.empty().lazy()
        added = pl.DataFrame(delta.get_add_actions(flatten=True))
        files = [path for path, whole in self._files(table, added) if whole]
        return pl.scan_parquet(files, missing_columns="insert") if files else table.empty().lazy()

    def scan(self, table: Table) -> pl.LazyFrame:
        """Return the visible rows of a table: those whose file is landed."""
        rows = self.scan_raw(table)
        if not table.follows_sources:
            return rows
        source = pl.col("source_id")
        # imploded, the ids are one value; as a list, polars slowly tests each one against the files' statistics
        visible = source.is_in(pl.Series(self.still().landed, dtype=pl.String).implode())
        return rows.filter(visible if table.landed else source.is_null() | visible)

    def _landed_files(self) -> list[str]:
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
        """Replace the rows selected by ``where`` with ``rows``, in one atomic commit: the only way to write.

        Parameters
        ----------
        table : Table
        rows : polars.DataFrame, or iterator of them
            New rows, with the table's columns; each must satisfy ``where``. May be empty. Rows that do not come from
            files are validated with the table's schema: key, ranges and required columns. Frames of an iterator are
            written in several commits and are never all in memory: for rows of a file that `sources` does not list
            yet; readers see them only when all are written.
        where : mapping
            Column to value or values; an empty mapping selects the whole table.
        still_valid : callable, optional
            Called before each retry after a conflict; False stops the write.

        Returns
        -------
        int
            The version written (the current one if there was nothing to write).

        Raises
        ------
        InputsChanged
            If ``still_valid`` returns False.
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
        if not table.landed:  # rows from files are checked during ingest, where each can be reported
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
                configuration=_SETTINGS, writer_properties=_WRITER, storage_options=options,
                description=table.grain, commit_properties=_NO_RETRY,
            )  # fmt: skip
            return 0
        if frame.is_empty() and not delta.file_uris():
            return int(delta.version())
        if not _SETTINGS.items() <= delta.metadata().configuration.items():  # an older version made the table
            delta.alter.set_table_properties(_SETTINGS, commit_properties=_NO_RETRY)
        if frame.is_empty():
            if predicate is None:
                delta.delete()
            else:
                delta.delete(predicate, commit_properties=_NO_RETRY)
        else:
            write_deltalake(
                delta, frame, mode="append" if append else "overwrite", predicate=predicate,
                schema_mode="merge" if set(table.dtypes) != _columns(delta) else None, writer_properties=_WRITER,
                commit_properties=_NO_RETRY,
            )  # fmt: skip
        written = self._state_at(table, int(delta.version()))
        if written[1] is not None:  # it is read next: its log need not be
            _keep_open(self.uri(table), written, delta, alone=True)
        return written[0]


def at_once(function: Callable[[Table], Result], tables: Iterable[Table]) -> list[Result]:
    """Call a function for many tables at the same time: it waits for a disk or a network, not for Python."""
    with ThreadPoolExecutor(AT_ONCE) as threads:
        return list(threads.map(function, tables))


def _commits(log: Path) -> list[int]:
    """Return the versions that a table's log holds: each has a file in it."""
    names = [entry.name for entry in os.scandir(log) if entry.name.endswith(".json")] if log.is_dir() else []
    return [int(name[:-5]) for name in names if name[:-5].isdecimal()]


def damage(table: Table, files: Sequence[str]) -> str:
    """Return what is wrong with a table of which files are damaged."""
    return f"{len(files)} file(s) of the lake's table '{table.name}' are missing or truncated, such as {files[0]}"


def _batched(frames: Iterator[pl.DataFrame]) -> Iterator[pl.DataFrame]:
    """Join frames until they are large enough for a commit."""
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
    """Whether another process wrote in the meantime, including the creation of the table."""
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
