"""A large file is read and written a piece at a time, and gives what it gives whole."""

from __future__ import annotations

import gzip
from pathlib import Path

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st
from polars.testing import assert_frame_equal

from pipeline.errors import SetAside
from pipeline.ingest import content
from pipeline.ingest.land import land
from pipeline.ingest.lines import records
from pipeline.lake import Lake, store
from pipeline.schemas.lineage import FINDINGS, SOURCES
from pipeline.schemas.records import TREATMENT
from tests.builders import TREATMENT_MAP, WELLS, WELLS_MAP, record_csv, workspace

DENVER = TREATMENT_MAP.replace('zone = "UTC"', 'zone = "America/Denver"')


def landed(folder: Path, text: str | bytes, source: str = TREATMENT_MAP, name: str = "Saltgrass 3H stage 1.csv") -> tuple[
    pl.DataFrame, pl.DataFrame, list[tuple[str, SetAside]]
]:  # fmt: skip
    space = workspace(folder, {"records": source, "wells": WELLS_MAP}, {"tables/wells.csv": WELLS, name: text})
    lake = Lake(space.lake)
    report = land(space, lake)
    assert not (space.state / "spool").exists() or not list((space.state / "spool").iterdir())
    rows = lake.scan(TREATMENT).sort("time").collect().drop("source_id")
    found = lake.scan(FINDINGS).select("kind", "message", "row", "rows").sort("kind", "message").collect()
    sources = lake.scan(SOURCES).filter(lands="treatment").collect()
    assert sources.filter(state="landed")["rows_landed"].sum() == rows.height
    return rows, found, report.set_aside


def in_pieces(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(content, "PART_BYTES", 3000)
    monkeypatch.setattr(store, "ROWS_PER_COMMIT", 150)


def spoiled() -> str:
    """A record with what tells pieces apart: bad cells, rows out of order, repeated, of another width, quoted."""
    lines = record_csv(900).splitlines()
    lines[100] = lines[100].replace("5098.0", "n/a")
    lines[300], lines[500] = lines[500], lines[300]
    lines.insert(700, lines[650])
    lines[400] = lines[400] + ",more"
    lines[600] = lines[600].replace("5598.0", '"5598.0"')
    return "\n".join(lines) + "\n"


@pytest.mark.parametrize(
    ("text", "source"),
    [
        (record_csv(900), TREATMENT_MAP),
        (spoiled(), TREATMENT_MAP),
        (record_csv(900).replace("\n", "\r"), TREATMENT_MAP),
        (record_csv(900)[:-5], TREATMENT_MAP),
        (record_csv(7200, "2023-11-05 00:30:00"), DENVER),
        (record_csv(7200, "2023-03-12 01:00:00"), DENVER),
    ],
    ids=["plain", "spoiled", "returns", "cut off", "autumn night", "spring night"],
)
def test_pieces_give_what_the_whole_gives(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, text: str, source: str
) -> None:
    whole = landed(tmp_path / "whole", text, source)
    in_pieces(monkeypatch)
    pieces = landed(tmp_path / "pieces", text, source)
    assert_frame_equal(pieces[0], whole[0])
    assert_frame_equal(pieces[1], whole[1])
    assert not pieces[2]


def test_gzip_in_pieces_and_of_several_members(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    text = record_csv(900).encode()
    packed = gzip.compress(text[:20_000]) + gzip.compress(text[20_000:])
    source = TREATMENT_MAP.replace('"*.csv"', '"*.gz"')
    whole = landed(tmp_path / "whole", packed, source, "Saltgrass 3H stage 1.csv.gz")
    in_pieces(monkeypatch)
    pieces = landed(tmp_path / "pieces", packed, source, "Saltgrass 3H stage 1.csv.gz")
    assert whole[0].height == 900
    assert_frame_equal(pieces[0], whole[0])


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        (",4", ",x", "is not a number in"),
        (",40.0", "", "do not match the heading"),
        ("2025-03-01", "01.03.2025", "is not a time"),
        ("5", "9999999", "is out of range"),
    ],
)
def test_a_large_file_is_judged_as_a_whole(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, old: str, new: str, words: str
) -> None:
    in_pieces(monkeypatch)
    head, units, *rows = record_csv(900).splitlines()
    if old == "5":
        rows = [line.replace(",5", ",9999999") for line in rows]
    else:
        rows = [line.replace(old, new) for line in rows]
    _, _, asides = landed(tmp_path, "\n".join([head, units, *rows]) + "\n")
    assert words in asides[0][1].reason


def test_a_file_that_changes_while_it_is_read_is_set_aside(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    in_pieces(monkeypatch)
    original = content.content_of

    def growing(path: Path) -> content.Content:
        found = original(path)
        if "stage" in path.name:
            with path.open("a", encoding="utf-8") as file:
                file.write("2025-03-01 13:00:00,5000.0,40.0,1.0\n")
        return found

    monkeypatch.setattr("pipeline.ingest.prepare.content_of", growing)
    rows, _, asides = landed(tmp_path, record_csv(900))
    assert rows.is_empty()
    assert "changed while it was read" in asides[0][1].reason


@given(
    st.lists(st.lists(st.text('ab1". ', max_size=5), min_size=1, max_size=5), min_size=1, max_size=12),
    st.integers(1, 60),
)
def test_records_are_divided_alike_wherever_the_text_is_cut(table: list[list[str]], size: int) -> None:
    text = "\n".join(",".join(row) for row in table).encode() + b"\n"
    whole = records(text, ",", 1, 9, last=True)
    out, lines, waiting, line = b"", [], b"", 0
    for start in range(0, len(text), size):
        piece = waiting + text[start : start + size]
        found = records(piece, ",", 1, 9, last=start + size >= len(text), width=whole.width)
        waiting = piece[found.used :]
        out += found.text
        lines += (found.line + line).tolist()
        line += found.lines
    assert lines == whole.line.tolist()
    assert b"".join(out.split()) == b"".join(whole.text.split()) or whole.quoted


@given(st.lists(st.lists(st.text('ab1"\n', max_size=4), min_size=3, max_size=3), min_size=1, max_size=10))
def test_what_a_csv_writer_quotes_is_read_back(table: list[list[str]]) -> None:
    import csv
    import io

    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows([[f"x{cell}" for cell in row] for row in table])
    found = records(out.getvalue().encode(), ",", 3, 3, last=True)
    assert found.line.size == len(table)
    assert found.bad_line.size == 0
    again = list(csv.reader(io.StringIO(found.text.decode(), newline="")))
    assert again == [[f"x{cell}" for cell in row] for row in table]
