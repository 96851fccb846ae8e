"""The tables of a report as a spreadsheet: typed cells, units in the headings, nothing that a spreadsheet would run."""

from __future__ import annotations

from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import polars as pl
import xlsxwriter

from pipeline import __version__
from pipeline.report.gather import Content, Rows
from pipeline.report.html import CAUTION, Sheet
from pipeline.workspace import replacing

LONGEST_NAME = 31
"""Of a sheet (the format's limit). [characters]"""
MOST_TEXT = 32_767
"""In a cell (the format's limit). [characters]"""
MOST_ROWS = 1_048_575
_OPTIONS = {
    "constant_memory": True, "strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False,
    "nan_inf_to_errors": False, "remove_timezone": True,
}  # fmt: skip


def write_xlsx(content: Content, sheet: Sheet, path: Path) -> Path:
    """Write every table of the ledger and of the parts to one spreadsheet, each on its own sheet.

    Texts are written as texts: what begins like a formula stays the text it is. Times are UTC.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    tables = {rows.query.name: rows for rows in (*(r for one in content.parts for r in one.tables), *content.ledger)}
    drawn = {one.rows.query.name: one.rows for each in content.parts for one in each.charts if not one.chart.given}
    with replacing(path) as part, xlsxwriter.Workbook(part, _OPTIONS) as book:
        book.set_properties({"title": sheet.title, "created": datetime.now(UTC).replace(tzinfo=None)})
        formats = {
            "head": book.add_format({"bold": True, "text_wrap": True, "valign": "top", "bottom": 1}),
            "time": book.add_format({"num_format": "yyyy-mm-dd hh:mm:ss"}),
            "day": book.add_format({"num_format": "yyyy-mm-dd"}),
        }
        _first(book, sheet, tables | drawn, formats)
        for name, rows in (tables | drawn).items():
            _table(book.add_worksheet(name[:LONGEST_NAME]), rows, formats)
    return path


def _first(book: Any, sheet: Sheet, tables: dict[str, Rows], formats: dict[str, Any]) -> None:
    """Say what the sheets are, and what each column means."""
    page = book.add_worksheet("read me")
    page.set_column(0, 2, 28)
    page.set_column(3, 3, 90)
    lines = [sheet.title, sheet.edition, f"Built {sheet.built_at} UTC by heelward {__version__}. {CAUTION}", ""]
    for row, line in enumerate(lines):
        page.write_string(row, 0, line)
    for column, heading in enumerate(("sheet", "column", "unit", "meaning")):
        page.write_string(len(lines), column, heading, formats["head"])
    row = len(lines)
    for name, rows in tables.items():
        for item in rows.answer.columns:
            row += 1
            for column, text in enumerate((name, item.name, rows.units.get(item.name, ""), item.meaning)):
                page.write_string(row, column, text)


def _table(page: Any, rows: Rows, formats: dict[str, Any]) -> None:
    frame = rows.frame.head(MOST_ROWS)
    page.freeze_panes(1, 0)
    for column, name in enumerate(frame.columns):
        at = " [UTC]" if frame.schema[name] == pl.Datetime else ""
        page.set_column(column, column, min(max(len(name) * 0.8, 9.0), 30.0))
        page.write_string(0, column, rows.label(name) + at, formats["head"])
    if frame.height:
        page.autofilter(0, 0, frame.height, frame.width - 1)
    for row, values in enumerate(frame.iter_rows(), start=1):
        for column, value in enumerate(values):
            _write(page, row, column, value, formats)


def _write(page: Any, row: int, column: int, value: Any, formats: dict[str, Any]) -> None:
    """Write one typed cell; unknown stays empty."""
    if value is None:
        return
    if isinstance(value, bool):
        page.write_boolean(row, column, value)
    elif isinstance(value, int | float):
        page.write_number(row, column, value)
    elif isinstance(value, datetime):
        page.write_datetime(row, column, value.replace(tzinfo=None), formats["time"])
    elif isinstance(value, date):
        page.write_datetime(row, column, value, formats["day"])
    else:
        page.write_string(row, column, str(value)[:MOST_TEXT])
