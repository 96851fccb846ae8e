"""The tables of a report as a spreadsheet: typed cells, units in the headings, no executable content."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import polars as pl
import polars.selectors as cs
import xlsxwriter

from pipeline import __version__
from pipeline.files import replacing
from pipeline.report.content import Content, Rows
from pipeline.report.html import Sheet
from pipeline.report.text import CAUTION

LONGEST_NAME = 31
"""Longest sheet name (limit of the format). [characters]"""
MOST_TEXT = 32_767
"""Longest text in a cell (limit of the format). [characters]"""
MOST_ROWS = 1_048_575
HEAD = {"bold": True, "text_wrap": True, "valign": "top", "bottom": 1}
_OPTIONS = {
    "strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False, "remove_timezone": True,
    "constant_memory": True,
}  # fmt: skip
_FORMATS: dict[Any, str] = {
    pl.Float64: "General", pl.Int32: "0", pl.Int64: "0", pl.Date: "yyyy-mm-dd", pl.Datetime: "yyyy-mm-dd hh:mm:ss",
    pl.Time: "hh:mm:ss",
}  # fmt: skip


def write_xlsx(content: Content, sheet: Sheet, path: Path) -> Path:
    """Write the rows of every number, chart and table of a report to one spreadsheet, each on a separate sheet.

    Texts are written as texts, even if they look like formulas. Times are UTC.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    sheets = _sheets(content)
    with replacing(path) as part, xlsxwriter.Workbook(part, _OPTIONS) as book:
        book.set_properties({"title": sheet.title, "created": datetime.now(UTC).replace(tzinfo=None)})
        head = book.add_format(HEAD)
        _first(book, sheet, sheets, head)
        for name, rows in sheets.items():
            labels = {column: rows.label(column) for column in rows.frame.columns}
            if len(set(labels.values())) < len(labels):
                labels = {column: f"{label} ({column})" for column, label in labels.items()}
            add_sheet(book, name, rows.frame.rename(labels))
    return path


def _sheets(content: Content) -> dict[str, Rows]:
    """Return the rows of each sheet by its name: the query's, with the parameters that a chart gives it."""
    found: dict[str, Rows] = {}
    for part in content.parts:
        charts = [(one.rows, one.chart.given) for one in part.charts]
        numbers = [] if part.numbers_from is None else [part.numbers_from]
        for rows, given in [*((rows, {}) for rows in (*numbers, *part.tables)), *charts]:
            found.setdefault(" ".join([rows.query.name, *given.values()]), rows)
    every = found | {rows.query.name: rows for rows in content.ledger}
    named: dict[str, Rows] = {}
    for name, rows in every.items():
        short, number = name[:LONGEST_NAME], 1
        while short in named:
            number += 1
            short = f"{name[: LONGEST_NAME - len(str(number)) - 1]} {number}"
        named[short] = rows
    return named


def write_frame(frame: pl.DataFrame, path: Path) -> None:
    """Write one frame as a spreadsheet."""
    with xlsxwriter.Workbook(path, _OPTIONS) as book:
        add_sheet(book, "rows", frame)


def add_sheet(book: Any, name: str, frame: pl.DataFrame) -> None:
    """Add a frame as a sheet, row by row: texts stay texts, times are labelled UTC, unknown cells are empty."""
    times = {
        column: f"{column} [UTC]" for column, dtype in frame.schema.items()
        if isinstance(dtype, pl.Datetime) and dtype.time_zone and f"{column} [UTC]" not in frame.columns
    }  # fmt: skip
    rows = frame.head(MOST_ROWS).with_columns(
        cs.string().str.slice(0, MOST_TEXT), cs.datetime().dt.replace_time_zone(None),
        cs.float().replace([float("nan"), float("inf"), float("-inf")], None),
    ).rename(times)  # fmt: skip
    sheet = book.add_worksheet(name[:LONGEST_NAME])
    sheet.freeze_panes(1, 0)
    writers = []
    for place, (column, dtype) in enumerate(rows.schema.items()):
        written = next((style for kind, style in _FORMATS.items() if dtype == kind), None)
        look = None if written is None else book.add_format({"num_format": written})
        sheet.set_column_pixels(place, place, int(min(max(len(column) * 6, 70), 220)), look)
        writers.append((place, _writer(sheet, dtype), look))
    sheet.write_row(0, 0, rows.columns, book.add_format(HEAD))
    if rows.width:
        sheet.autofilter(0, 0, max(rows.height, 1), rows.width - 1)
    for number, row in enumerate(rows.iter_rows(), start=1):
        for (place, write, look), value in zip(writers, row, strict=True):
            if value is not None:
                write(number, place, value, look)


def _writer(sheet: Any, dtype: pl.DataType) -> Callable[..., Any]:
    """Return the function that writes a cell of a type."""
    if dtype.is_numeric():
        return sheet.write_number  # type: ignore[no-any-return]
    if dtype.is_temporal():
        return sheet.write_datetime  # type: ignore[no-any-return]
    if dtype == pl.Boolean:
        return sheet.write_boolean  # type: ignore[no-any-return]
    return lambda row, column, value, look: sheet.write_string(row, column, str(value), look)


def _first(book: Any, sheet: Sheet, tables: dict[str, Rows], head: Any) -> None:
    """Describe the sheets and the meaning of each column."""
    page = book.add_worksheet("read me")
    page.set_column(0, 2, 28)
    page.set_column(3, 3, 90)
    lines = [sheet.title, sheet.edition, f"Built {sheet.built_at} UTC by heelward {__version__}. {CAUTION}", ""]
    for row, line in enumerate(lines):
        page.write_string(row, 0, line)
    for column, heading in enumerate(("sheet", "column", "unit", "meaning")):
        page.write_string(len(lines), column, heading, head)
    row = len(lines)
    for name, rows in tables.items():
        for item in rows.answer.columns:
            row += 1
            for column, text in enumerate((name, item.name, rows.units.get(item.name, ""), item.meaning)):
                page.write_string(row, column, text)
