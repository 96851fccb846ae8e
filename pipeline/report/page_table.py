"""Tables of the page: texts and links of a query's rows."""

from __future__ import annotations

import base64
import gzip
import json
import os
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any
from urllib.parse import quote

import polars as pl

from pipeline.report.audit import FILES
from pipeline.report.content import Rows
from pipeline.report.text import texts

Cell = str | tuple[str, str]
"""A text, or a text and the address that it links to."""


def anchor_of(rows: Rows) -> str:
    """Return the name of a table's place on the page."""
    return rows.query.name.replace("_", "-")


def table_of(rows: Rows, place: Path, root: Path | None, out: Path) -> dict[str, Any]:
    """Return a table for a template, with links relative to the folder ``place``.

    Parameters
    ----------
    rows : Rows
    place : Path
        The folder of the page.
    root : Path, optional
        The workspace, as base of file paths; None if files are not linked.
    out : Path
        The folder of the report, which holds the pages of records.
    """
    frame = rows.frame
    to_out = "" if place == out else os.path.relpath(out, place) + "/"
    links = _to_records(rows, out, to_out) | ({} if root is None else _to_files(rows, place, root))
    cells = [_linked(texts(column), links.get(column.name)) for column in frame]
    columns = [
        {"name": column.name, "label": rows.label(column.name), "meaning": column.meaning, "number": dtype.is_numeric()}
        for column, dtype in zip(rows.answer.columns, frame.dtypes, strict=True)
    ]
    return {
        "title": rows.query.title, "anchor": anchor_of(rows), "columns": columns, "query": rows.query.name,
        "rows": list(zip(*cells, strict=True)), "count": frame.height,
    }  # fmt: skip


def packed(table: Mapping[str, Any]) -> str:
    """Return a table's rows in compressed form: a long table is large in HTML, and very repetitive."""
    said = {"numbers": [column["number"] for column in table["columns"]], "rows": table["rows"]}
    return base64.b64encode(gzip.compress(json.dumps(said, ensure_ascii=False).encode(), 6, mtime=0)).decode()


def _linked(said: list[str], links: Iterable[str | None] | None) -> list[Cell]:
    if links is None:
        return list(said)
    return [text if link is None else (text, link) for text, link in zip(said, links, strict=True)]


def _to_records(rows: Rows, out: Path, to_out: str) -> dict[str, list[str | None]]:
    """Return, by column, links of wells to their records, and of measurements to the page or picture of theirs."""
    frame = rows.frame
    if not {"well", "well_id"} <= set(frame.columns):
        return {}
    wells: dict[str, str] = {}
    records: dict[str, str] = {}
    for well in frame["well_id"].drop_nulls().unique():
        folder = f"{to_out}audit/{quote(well)}"
        wells[well] = f"{folder}/index.html"
        for name in sorted(_files_in(out / "audit" / well), reverse=True):  # the page, if there is one, not the picture
            records[f"{well}/{name.rpartition('.')[0]}"] = f"{folder}/{name}"
    found = {"well": [wells.get(well) for well in frame["well_id"]]}
    for column, record in _records_of(frame.columns).items():
        keys = frame.select(pl.format("{}/{}", "well_id", record)).to_series()
        found[column] = [records.get(key) for key in keys]
    return found


def _records_of(columns: Sequence[str]) -> dict[str, pl.Expr]:
    """Return, for each column to link, the name of the record's file without its ending; null without a record."""

    def record(level: str, number: str) -> pl.Expr:
        return pl.format(FILES[level], pl.col(number))

    found = {"stage": record("stage", "stage")} if "stage" in columns else {}
    if "level" in columns and "number" in columns:
        levels = [pl.when(pl.col("level") == level).then(record(level, "number")) for level in FILES]
        milled = [pl.when(pl.col("level") == "plug").then(record("run", "run"))] if "run" in columns else []
        found["number"] = pl.coalesce(*levels, *milled)
    elif "run" in columns:
        of_run = record("wireline" if "pump_down_min" in columns else "run", "run")
        found |= {column: of_run for column in ("plug", "run") if column in columns}
    return found


def _files_in(folder: Path) -> list[str]:
    return [entry.name for entry in os.scandir(folder)] if folder.is_dir() else []


def _to_files(rows: Rows, place: Path, root: Path) -> dict[str, list[str | None]]:
    """Return links of every row to its source file."""
    column = next((name for name in rows.frame.columns if name in ("files", "path")), None)
    if column is None:
        return {}
    first = [paths.split(" | ")[0] if paths else "" for paths in rows.frame[column]]
    base = os.path.relpath(root, place)
    links = {path: quote(os.path.normpath(f"{base}/{path}")) for path in set(first) if path and "://" not in path}
    links |= {path: quote(os.path.relpath(path, place)) for path in links if path.startswith("/")}
    return {column: [links.get(path) for path in first]}
