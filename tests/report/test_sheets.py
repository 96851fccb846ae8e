"""Cells of a spreadsheet: each type with its format; texts stay texts; unknown cells are empty."""

from __future__ import annotations

from datetime import UTC, date, datetime, time
from pathlib import Path

import openpyxl
import polars as pl

from pipeline.report.sheets import write_frame


def test_every_type_of_cell_has_its_format(tmp_path: Path) -> None:
    at = datetime(2025, 3, 30, 1, 2, 3, tzinfo=UTC)
    frame = pl.DataFrame(
        {
            "rate": [1.5, float("nan")],
            "stage": pl.Series([3, None], dtype=pl.Int32),
            "day": [date(2025, 3, 30), None],
            "at": [at, None],
            "clock": [time(13, 5, 9), None],
            "sure": [True, None],
            "note": ["=1+1", None],
        }
    )
    write_frame(frame, tmp_path / "a.xlsx")
    rows = openpyxl.load_workbook(tmp_path / "a.xlsx").active
    assert rows is not None
    head, first, *second = list(rows.iter_rows())
    assert [cell.value for cell in head] == ["rate", "stage", "day", "at [UTC]", "clock", "sure", "note"]
    told = [(cell.value, cell.number_format) for cell in first]
    assert told == [
        (1.5, "General"), (3, "0"), (datetime(2025, 3, 30), "yyyy-mm-dd"),
        (at.replace(tzinfo=None), "yyyy-mm-dd hh:mm:ss"), (time(13, 5, 9), "hh:mm:ss"), (True, "General"),
        ("=1+1", "General"),
    ]  # fmt: skip
    assert first[-1].data_type == "s"  # no formula
    assert not any(cell.value for row in second for cell in row)  # not written at all
