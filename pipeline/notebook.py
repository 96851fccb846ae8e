"""A workspace opened for queries from Python."""

from __future__ import annotations

from functools import cached_property
from pathlib import Path
from typing import Any

import duckdb
import polars as pl

from pipeline import queries, steps, workspace


class OpenWorkspace:
    """A workspace for reading only. The lake is read in its state at the first query.

    Parameters
    ----------
    folder : Path
        The folder of its ``heelward.toml``.

    Raises
    ------
    HeelwardError
        If there is no workspace.
    """

    def __init__(self, folder: Path) -> None:
        self.workspace = workspace.open_workspace(folder)

    @cached_property
    def _connection(self) -> duckdb.DuckDBPyConnection:
        return steps.connect(self.workspace)

    def query(self, name: str, **parameters: Any) -> pl.DataFrame:
        """Return the rows of a saved query, in the units given at the end of its column names.

        Raises
        ------
        HeelwardError
            If there is no such query or parameter.
        """
        return queries.run(self._connection, queries.load(name), parameters).frame

    def sql(self, text: str) -> pl.DataFrame:
        """Return the rows of a SELECT statement on marts and tables.

        Raises
        ------
        HeelwardError
            If it is not a single SELECT statement, or DuckDB cannot run it.
        """
        return queries.run_sql(self._connection, text).frame

    def about(self, name: str) -> pl.DataFrame:
        """Return the columns of a mart or table: name, unit, meaning."""
        return queries.about(name).frame
