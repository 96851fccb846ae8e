"""The data dictionary: every column of tables, marts and saved queries, with meaning, unit, source and use."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import duckdb

from pipeline import queries
from pipeline.files import replace_text
from pipeline.lake.marts import marts
from pipeline.metrics.tables import TABLES, columns_known
from pipeline.report.theme import render
from pipeline.resources import product_digest
from pipeline.schemas.base import meta
from pipeline.sql import Statement, tables_read


@dataclass(frozen=True)
class Entry:
    """A column: name, unit, meaning, source, and the marts and queries that use it."""

    column: str
    unit: str
    meaning: str
    source: str
    used_by: tuple[str, ...]


@dataclass(frozen=True)
class Section:
    """A table, mart or query: name, kind, what a row is, its columns."""

    name: str
    kind: str
    grain: str
    entries: tuple[Entry, ...]


@cache
def dictionary() -> tuple[Section, ...]:
    """Return all sections: tables, marts, saved queries."""
    statements = {**marts(), **{name: queries.load(name) for name in queries.names()}}
    with duckdb.connect(":memory:") as parser:
        reads = {name: tables_read(parser, one.sql) for name, one in statements.items()}
    words = {name: set(re.findall(r"\w+", one.sql)) for name, one in statements.items()}
    known = columns_known()

    def used(table: str, column: str) -> tuple[str, ...]:
        return tuple(sorted(name for name in statements if table in reads[name] and column in words[name]))

    sections = []
    for name, table in sorted(TABLES.items()):
        entries = []
        for column, declared in table.columns.items():
            described = known[name][column]
            source = meta(declared).get("source") or ""
            entries.append(Entry(column, _unit(described.unit), described.meaning, source, used(name, column)))
        sections.append(Section(name, "table", f"a row is {table.grain}", tuple(entries)))
    for name, mart in sorted(marts().items()):
        entries = [
            Entry(column.name, _unit(column.unit), column.meaning, "", used(name, column.name))
            for column in known[name].values()
        ]
        sections.append(Section(name, "mart", f"a row is {mart.grain}", tuple(entries)))
    sections += [_of_query(name, statements[name]) for name in sorted(queries.names()) if not name.endswith("_title")]
    return tuple(sections)


def _of_query(name: str, query: Statement) -> Section:
    made = tuple(Entry(one.name, _unit(one.unit), one.meaning, "", ()) for one in query.made.values())
    return Section(name, "query", f"{query.title}; a row is {query.grain}", made)


def _unit(unit: str) -> str:
    return "" if unit == "ratio" else unit


def as_markdown() -> str:
    """Return the dictionary as Markdown."""
    lines = ["# Data dictionary", ""]
    for section in dictionary():
        lines += [f"## {section.name} ({section.kind})", ""]
        if section.grain:
            lines += [f"{section.grain[:1].upper()}{section.grain[1:]}.", ""]
        if section.entries:
            lines += ["| column | unit | meaning | source | used by |", "|---|---|---|---|---|"]
            lines += [
                "| " + " | ".join(_cell(text) for text in (
                    entry.column, entry.unit, entry.meaning, entry.source, ", ".join(entry.used_by)
                )) + " |"
                for entry in section.entries
            ]  # fmt: skip
            lines.append("")
    return "\n".join(lines)


def _cell(text: str) -> str:
    return text.replace("|", "\\|").replace("\n", " ")


def write_dictionary(folder: Path) -> list[Path]:
    """Write the dictionary as a page and as Markdown into a folder, unless those of this version are there."""
    folder.mkdir(parents=True, exist_ok=True)
    page, plain = paths = [folder / "dictionary.html", folder / "dictionary.md"]
    if plain.is_file() and page.is_file() and product_digest().encode() in page.read_bytes():
        return paths
    replace_text(plain, as_markdown())
    replace_text(page, render("dictionary.html", sections=dictionary(), mark=product_digest()))
    return paths
