"""Tables of the page: texts and links of a query's rows."""

from __future__ import annotations

import base64
import gzip
import json
import os
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any
from urllib.parse import quote

from pipeline.report.audit import FILES, file_of
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
    wells = frame["well_id"].to_list()
    files = {well: _files_in(out / "audit" / well) for well in set(wells) - {None}}
    found: dict[str, list[str | None]] = {
        "well": [None if well is None else f"{to_out}audit/{quote(well)}/index.html" for well in wells]
    }
    used = [name for name in ("level", "stage", "number", "run", "plug", "pump_down_min") if name in frame.columns]
    for index, (well, values) in enumerate(
        zip(wells, frame.select("well_id", *used).iter_rows(named=True), strict=True)
    ):
        for column, level, number in () if well is None else _records_of(values):
            file = next((name for name in _names(level, number) if name in files[well]), None)
            if file is not None:
                found.setdefault(column, [None] * frame.height)[index] = f"{to_out}audit/{quote(well)}/{file}"
    return found


def _files_in(folder: Path) -> set[str]:
    return {path.name for path in folder.iterdir()} if folder.is_dir() else set()


def _names(level: str, number: int) -> Iterator[str]:
    return (file_of(level, number, kind) for kind in ("html", "svg"))


def _records_of(values: Mapping[str, Any]) -> list[tuple[str, str, int]]:
    """Return the columns of a row to link, with level and number of their record."""
    if values.get("stage") is not None:
        return [("stage", "stage", values["stage"])]
    if values.get("level") == "plug" and values.get("run") is not None:
        return [("number", "run", values["run"])]
    if values.get("run") is not None:
        level = "wireline" if "pump_down_min" in values else "run"
        return [(column, level, values["run"]) for column in ("plug", "run") if column in values]
    if values.get("number") is not None and values.get("level") in FILES:
        return [("number", values["level"], values["number"])]
    return []


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
