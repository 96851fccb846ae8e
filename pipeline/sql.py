"""SQL files with a header that describes their purpose, their rows and the columns that they create."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import duckdb

from pipeline.errors import HeelwardError

_FIELD = re.compile(r"^-- (title|reader|grain|key|follows|chart|parameters|columns):\s*(.*)$")
_ITEM = re.compile(r"^--\s{3}(\w+)(?: \[([^\]]+)\])?: (.+)$")


@dataclass(frozen=True)
class Described:
    """A column or parameter: name, unit (empty if it has none), meaning."""

    name: str
    unit: str
    meaning: str


Catalogue = Mapping[str, Mapping[str, Described]]
"""Descriptions of the columns of each table and mart, by name."""


@dataclass(frozen=True)
class Statement:
    """A SQL file.

    Attributes
    ----------
    name : str
        Name of the file.
    title, reader, grain : str
        Its purpose, its reader, and the meaning of a row.
    key : tuple of str
        For a mart: the columns that identify a row.
    follows : tuple of str
        Tables whose column descriptions take precedence over the other tables it reads, in order.
    parameters : tuple of Described
        Named parameters, always bound and never inserted as text.
    made : dict of str to Described
        Columns that it creates; the others are described by the tables that it reads.
    sql : str
    chart : str
        For a title: the query whose rows it reads as the view ``chart``; empty if it reads none.
    """

    name: str
    title: str
    reader: str
    grain: str
    key: tuple[str, ...]
    follows: tuple[str, ...]
    parameters: tuple[Described, ...]
    made: Mapping[str, Described]
    sql: str
    chart: str = ""


def read_statement(path: Path) -> Statement:
    """Read a SQL file and its header.

    Raises
    ------
    HeelwardError
        If the header has no title or grain.
    """
    text = path.read_text(encoding="utf-8")
    fields: dict[str, str] = {}
    items: dict[str, list[Described]] = {"parameters": [], "columns": []}
    section = ""
    for line in text.splitlines():
        if match := _FIELD.match(line):
            section = match[1]
            fields[section] = match[2].strip()
        elif (match := _ITEM.match(line)) and section in items:
            items[section].append(Described(match[1], match[2] or "", match[3].strip()))
        elif not line.startswith("--"):
            break
        elif section in items and line.strip("- "):
            raise HeelwardError(f"{path}: unreadable line of the header: {line}\nexpected: --   name [unit]: meaning")
    missing = [key for key in ("title", "grain") if key not in fields]
    if missing:
        raise HeelwardError(f"{path}: the header is missing: {', '.join(missing)}")
    key, follows = (
        tuple(part.strip() for part in fields.get(field, "").split(",") if part.strip()) for field in ("key", "follows")
    )
    made = {item.name: item for item in items["columns"]}
    return Statement(
        path.stem, fields["title"], fields.get("reader", ""), fields["grain"], key, follows,
        tuple(items["parameters"]), made, text, fields.get("chart", ""),
    )  # fmt: skip


def tables_read(connection: duckdb.DuckDBPyConnection, sql: str) -> set[str]:
    """Return the tables and views that a query reads, from DuckDB's parse tree."""
    ((tree,),) = connection.execute("SELECT json_serialize_sql(?)", [sql]).fetchall()
    tables: set[str] = set()
    shared: set[str] = set()
    waiting: list[Any] = [json.loads(tree)]
    while waiting:
        node = waiting.pop()
        if isinstance(node, dict):
            if node.get("type") == "BASE_TABLE":
                tables.add(node["table_name"])
            shared |= {entry["key"] for entry in node.get("cte_map", {}).get("map", [])}
            waiting += node.values()
        elif isinstance(node, list):
            waiting += node
    return tables - shared


def describe(statement: Statement, columns: Iterable[str], read: Iterable[str], known: Catalogue) -> list[Described]:
    """Return the descriptions of a statement's columns: from its header, otherwise from the tables it reads.

    Parameters
    ----------
    statement : Statement
    columns : iterable of str
        Its columns, in order.
    read : iterable of str
        The tables and marts that it reads.
    known : Catalogue

    Raises
    ------
    HeelwardError
        If a column has no description, or has different descriptions in two of its possible source tables.
    """
    found = []
    for column in columns:
        first = next((table for table in statement.follows if column in known.get(table, {})), None)
        described = {known[table][column] for table in read if column in known.get(table, {})}
        if column in statement.made:
            found.append(statement.made[column])
        elif first is not None:
            found.append(known[first][column])
        elif len(described) == 1:
            found.append(described.pop())
        else:
            why = "has no description" if not described else "has different descriptions in the tables read"
            raise HeelwardError(f"{statement.name}.sql: column {column} {why}: describe it in the header")
    return found
