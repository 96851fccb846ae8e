"""Saved queries: SQL over the lake, with a header that says what they answer and what each column is."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import duckdb
import polars as pl

from pipeline import resources
from pipeline.errors import HeelwardError

_FIELD = re.compile(r"^-- (title|reader|grain|parameters|columns):\s*(.*)$")
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
    """

    name: str
    title: str
    reader: str
    grain: str
    parameters: tuple[QueryColumn, ...]
    columns: tuple[QueryColumn, ...]
    sql: str

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
        tuple(items["columns"]), text,
    )  # fmt: skip


def run(connection: duckdb.DuckDBPyConnection, query: Query, given: dict[str, Any] | None = None) -> pl.DataFrame:
    """Run a query.

    Parameters
    ----------
    connection : duckdb connection
        With the lake's tables as views.
    query : Query
    given : dict, optional
        Values of its parameters; those not given are null.

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
    rows: pl.DataFrame = connection.sql(query.sql, params=bound or None).pl()
    return rows
