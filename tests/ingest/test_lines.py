"""Records with quotes: read as a spreadsheet would write them, whatever stands beside."""

from __future__ import annotations

import io
from datetime import datetime

import polars as pl
import pytest

from pipeline.ingest.lines import records
from pipeline.ingest.times import near_clock_change


def rows(text: str) -> list[list[str]]:
    found = records(text.encode(), ",", 3, 3, last=True)
    assert not found.bad_line.size
    frame = pl.read_csv(
        io.BytesIO(found.text), has_header=False, infer_schema=False, quote_char='"' if found.quoted else None
    )
    return [[field or "" for field in row] for row in frame.iter_rows()]


@pytest.mark.parametrize(
    ("line", "fields"),
    [
        ('a,5 1/2" casing,1', ["a", '5 1/2" casing', "1"]),
        ('"a,b",5 1/2" casing,1', ["a,b", '5 1/2" casing', "1"]),
        ('"say ""yes""",5",2', ['say "yes"', '5"', "2"]),
        ('a",b,"c,d"', ['a"', "b", "c,d"]),
        ('"",7",', ["", '7"', ""]),
        ('x,"y",z', ["x", "y", "z"]),
        ("x,y,z", ["x", "y", "z"]),
    ],
)
def test_a_quote_inside_a_field_is_a_character_and_around_it_a_quotation(line: str, fields: list[str]) -> None:
    assert rows(f"h,i,j\n{line}\nq,r,s\n") == [["h", "i", "j"], fields, ["q", "r", "s"]]


@pytest.mark.parametrize(
    ("moment", "near"),
    [
        (datetime(2024, 3, 10, 2, 30), True),  # the hour that is left out
        (datetime(2024, 3, 9, 16, 0), True),
        (datetime(2024, 3, 9, 12, 0), False),
        (datetime(2024, 11, 3, 12, 0), True),
        (datetime(2024, 6, 1), False),
        (datetime(1901, 3, 10, 2, 30), False),  # before the days that records can have
    ],
)
def test_half_a_day_around_a_change_of_clock_is_near_it(moment: datetime, near: bool) -> None:
    assert near_clock_change(moment, "America/Denver") is near
