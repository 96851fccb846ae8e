"""Large files of other formats than text: read in pieces, with the same rows as a small one, in little memory."""

from __future__ import annotations

from pathlib import Path
from random import Random
from typing import Any

import polars as pl
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
import xlsxwriter

from pipeline.errors import SetAside
from pipeline.ingest import columnar, content, witsml, witsml_logs, workbook
from pipeline.ingest.columnar import Columns, read_las, read_parquet
from pipeline.ingest.content import content_of
from pipeline.ingest.witsml import read_witsml
from pipeline.ingest.workbook import read_sheet

ROWS = 2_000
LAS = """~Version
VERS. 2.0 : CWLS log ASCII standard 2.0
WRAP. {wrap} : lines per record
~Well
NULL. -999.25 : no value
WELL. Heron Gate 3H : well
~Curve
TIME.S : elapsed time
PRES.PSI : treating pressure
STEP. : step
~ASCII
"""
LOG = """<log><nameWell>Heron Gate 3H</nameWell><name>stage 1</name><nullValue>-1</nullValue>
<logCurveInfo><mnemonic>TIME</mnemonic><unit>s</unit></logCurveInfo>
<logCurveInfo><mnemonic>PRES</mnemonic><unit>psi</unit></logCurveInfo>
<logData><mnemonicList>TIME,PRES</mnemonicList><unitList>s,{unit}</unitList>
{rows}</logData></log>"""


@pytest.fixture
def small_pieces(monkeypatch: pytest.MonkeyPatch) -> None:
    """Files of some kilobytes are large."""
    monkeypatch.setattr(content, "PART_BYTES", 10_000)
    monkeypatch.setattr(columnar, "ROWS_PER_PIECE", 300)
    monkeypatch.setattr(witsml_logs, "ROWS_PER_PIECE", 300)
    monkeypatch.setattr(witsml, "LARGEST_BYTES", 10_000)


def las(path: Path, *, wrap: str = "NO", odd: str = "", first: int = 0) -> Path:
    values = [
        f" {i:6d}  {'-999.2500' if i % 7 == 0 else f'{5000 + 0.25 * i:9.2f}'}\tpad_{i % 3}" for i in range(first, ROWS)
    ]
    values[900:900] = ["# a comment", "", *([odd] if odd else [])]
    path.write_text(LAS.format(wrap=wrap) + "\r\n".join(values) + "\n", encoding="utf-8")
    return path


def rows(found: Columns) -> tuple[int, pl.DataFrame]:
    frames = list(found.frames)
    return len(frames), pl.concat(frames)


def test_a_large_las_file_has_the_rows_that_a_small_one_has(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = las(tmp_path / "a.las")
    small = read_las(content_of(path))
    monkeypatch.setattr(content, "PART_BYTES", 10_000)
    large = read_las(content_of(path))
    pieces, found = rows(large)
    assert pieces > 3
    assert (large.names, large.units, large.head, large.said) == (small.names, small.units, small.head, small.said)
    assert found.equals(rows(small)[1])
    assert found["1"][7] == "-999.25" and found["2"][7] == "pad_1"


@pytest.mark.usefixtures("small_pieces")
@pytest.mark.parametrize("odd", ["  900 5500-999.25", "  900 5500,5 pad_1", '  900 5500.5 "pad one"'])
def test_what_a_large_las_file_needs_corrected_far_below_is_read_as_a_whole(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, odd: str
) -> None:
    path = las(tmp_path / "a.las", odd=odd)
    pieces, found = rows(read_las(content_of(path)))
    assert (pieces, found.height) == (1, ROWS + 1)
    monkeypatch.setattr(columnar, "LARGEST_BYTES", 10_000)
    with pytest.raises(SetAside, match="too large"):
        read_las(content_of(path))


@pytest.mark.usefixtures("small_pieces")
def test_a_large_las_file_with_wrapped_lines_is_read_as_a_whole(tmp_path: Path) -> None:
    path = tmp_path / "a.las"
    path.write_text(LAS.format(wrap="YES") + "\n".join(f"{i}\n{5000 + i} 1" for i in range(ROWS)) + "\n", "utf-8")
    pieces, found = rows(read_las(content_of(path)))
    assert (pieces, found.height) == (1, ROWS)


@pytest.mark.usefixtures("small_pieces")
def test_a_code_is_written_alike_in_all_pieces(tmp_path: Path) -> None:
    path = tmp_path / "a.las"
    codes = ["A07" if i % 400 == 399 else "007" for i in range(ROWS)]
    path.write_text(
        LAS.format(wrap="NO") + "\n".join(f"{i} 5000 {code}" for i, code in enumerate(codes)) + "\n", "utf-8"
    )
    _, found = rows(read_las(content_of(path)))
    assert set(found["2"]) == {"7.0", "A07"}


@pytest.mark.usefixtures("small_pieces")
def test_a_line_without_end_does_not_fill_the_memory(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(columnar, "LARGEST_BYTES", 10_000)
    monkeypatch.setattr(content, "LONGEST_RECORD", 10_000)
    path = las(tmp_path / "a.las")
    with path.open("ab") as file:
        file.write(b"\0" * 100_000)
    with pytest.raises(SetAside, match="too large"):
        read_las(content_of(path))


@pytest.mark.parametrize("kind", ["parquet", "arrow"])
def test_parquet_and_arrow_come_in_pieces(tmp_path: Path, kind: str, small_pieces: None) -> None:
    path = tmp_path / f"a.{kind}"
    frame = pl.DataFrame({"t": range(ROWS), "p": [None if i % 5 == 0 else i / 8 for i in range(ROWS)]})
    frame.write_parquet(path) if kind == "parquet" else frame.write_ipc(path)
    found = read_parquet(content_of(path))
    pieces, held = rows(found)
    assert found.names == ["t", "p"] and pieces == 7
    assert held.equals(frame.select(pl.all().cast(pl.String)).rename({"t": "0", "p": "1"}))


@pytest.mark.parametrize("kind", ["parquet", "arrow"])
def test_a_small_file_of_very_many_rows_is_set_aside_unread(
    tmp_path: Path, kind: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(columnar, "MOST_CELLS", 1_000_000)
    monkeypatch.setattr(columnar, "MOST_HELD_CELLS", 1_000_000)
    path = tmp_path / f"a.{kind}"
    frame = pl.DataFrame({"a": pl.repeat(1.0, 2_000_000, eager=True)})
    frame.write_parquet(path) if kind == "parquet" else frame.write_ipc(path, compression="zstd")
    assert path.stat().st_size < 200_000
    with pytest.raises(SetAside, match="too many cells"):
        read_parquet(content_of(path))


@pytest.mark.parametrize(
    "kind",
    [pa.string(), pa.large_string(), pa.string_view(), pa.binary(), pa.dictionary(pa.int32(), pa.string())],
    ids=str,
)
def test_one_long_text_in_many_rows_is_set_aside(
    tmp_path: Path, kind: pa.DataType, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It is in the file once, and would unpack to 20 MB."""
    monkeypatch.setattr(columnar, "MOST_TEXT_BYTES", 10_000_000)
    path = tmp_path / "a.parquet"
    pq.write_table(pa.table({"t": pa.array(["x" * 2_000] * 10_000).cast(kind)}), path)
    assert path.stat().st_size < 50_000
    with pytest.raises(SetAside, match="the file's texts are too long"):
        rows(read_parquet(content_of(path)))


@pytest.mark.parametrize("kind", ["parquet", "arrow"])
def test_a_file_without_rows_has_one_piece_without_rows(tmp_path: Path, kind: str) -> None:
    path = tmp_path / f"a.{kind}"
    frame = pl.DataFrame(schema={"t": pl.Int64, "p": pl.String})
    frame.write_parquet(path) if kind == "parquet" else frame.write_ipc(path)
    assert rows(read_parquet(content_of(path)))[1].shape == (0, 2)
    assert read_parquet(content_of(path)).first.width == 2


def test_long_texts_come_in_smaller_pieces(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(columnar, "PIECE_BYTES", 100_000)
    path = tmp_path / "a.parquet"
    table = pa.table({"t": [f"{row:05d}" + "x" * 995 for row in range(1000)], "n": range(1000)})
    pq.write_table(table, path, use_dictionary=False, compression="zstd")
    pieces, held = rows(read_parquet(content_of(path)))
    assert 10 <= pieces <= 12
    assert held["0"].to_list() == table["t"].to_pylist() and held["1"].to_list() == [str(row) for row in range(1000)]


def test_an_arrow_file_that_unpacks_beyond_the_memory_stops_only_its_reader(tmp_path: Path) -> None:
    path = tmp_path / "a.arrow"
    table = pa.table({"t": pa.array([b"x" * 200_000_000], pa.large_binary())})
    with (
        pa.OSFile(str(path), "wb") as file,
        pa.ipc.new_file(file, table.schema, options=pa.ipc.IpcWriteOptions(compression="zstd")) as writer,
    ):
        for _ in range(20):
            writer.write_table(table)
    assert path.stat().st_size < 2_000_000
    with pytest.raises(SetAside) as refused:
        rows(read_parquet(content_of(path)))
    assert "more than 3 GiB of memory" in refused.value.found


@pytest.mark.parametrize("packed", ["uncompressed", "lz4", "zstd"])
def test_a_damaged_arrow_file_is_set_aside_or_read(tmp_path: Path, packed: Any) -> None:
    path, random = tmp_path / "a.arrow", Random(packed)
    pl.DataFrame({"t": [i**0.5 for i in range(ROWS)], "p": ["x"] * ROWS}).write_ipc(path, compression=packed)
    whole, set_aside = path.read_bytes(), 0
    for _ in range(20):
        damaged = bytearray(whole)
        for _ in range(random.choice([1, 5, 50])):
            damaged[len(whole) - 1 - random.randrange(len(whole) - 8)] = random.randrange(256)
        path.write_bytes(bytes(damaged[: random.randrange(8, len(whole)) if random.random() < 0.3 else None]))
        try:
            rows(read_parquet(content_of(path)))
        except SetAside as aside:
            assert aside.reason == "the file is not Parquet or Arrow"
            set_aside += 1
    assert set_aside > 5


def test_a_file_that_changes_while_its_pieces_are_read_is_set_aside(tmp_path: Path, small_pieces: None) -> None:
    path = tmp_path / "a.parquet"
    pl.DataFrame({"a": [i**0.5 for i in range(ROWS)]}).write_parquet(path)
    found = read_parquet(content_of(path))
    assert path.stat().st_size > content.PART_BYTES
    with path.open("ab") as file:
        file.write(b" ")
    with pytest.raises(SetAside, match=r"changed while it was read|not Parquet"):
        rows(found)


def test_an_empty_parquet_file_has_no_rows(tmp_path: Path) -> None:
    path = tmp_path / "a.parquet"
    pl.DataFrame(schema={"a": pl.Float64}).write_parquet(path)
    pieces, found = rows(read_parquet(content_of(path)))
    assert (pieces, found.height, found.columns) == (1, 0, ["0"])


def witsml_log(path: Path, *, unit: str = "psi", odd: str = "") -> Path:
    data = "\n".join(f"<data>{i},{-1 if i % 9 == 0 else 5000 + i}</data>" for i in range(ROWS))
    text = LOG.format(rows=data + odd, unit="psi") + LOG.format(rows="<data>7000,1</data>", unit=unit)
    path.write_text(f'<logs xmlns="http://www.witsml.org/schemas/1series" version="1.4.1.1">{text}</logs>', "utf-8")
    return path


def test_a_large_log_has_the_rows_that_a_small_one_has(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = witsml_log(tmp_path / "a.xml")
    small = read_witsml(content_of(path))
    monkeypatch.setattr(content, "PART_BYTES", 10_000)
    monkeypatch.setattr(witsml_logs, "ROWS_PER_PIECE", 300)
    monkeypatch.setattr(witsml, "LARGEST_BYTES", 10_000)
    large = read_witsml(content_of(path))
    assert (large.names, large.units, large.head) == (small.names, small.units, small.head)
    pieces, found = rows(large)
    assert pieces == 8 and found.equals(rows(small)[1])
    assert found["1"][9] is None and found.height == ROWS + 1


def test_what_a_large_log_says_below_its_data_counts(tmp_path: Path, small_pieces: None) -> None:
    """Its curves, its value for none, its well; and all of its data."""
    path = tmp_path / "a.xml"
    halves = ["".join(f"<data>{i},{i % 7}</data>" for i in range(part, ROWS, 2)) for part in (0, 1)]
    path.write_text(
        '<logs xmlns="http://www.witsml.org/schemas/1series"><log>'
        + "".join(f"<logData>{half}</logData>" for half in halves)
        + "<logCurveInfo><mnemonic>T</mnemonic><unit>s</unit></logCurveInfo>"
        "<logCurveInfo><mnemonic>P</mnemonic><unit>psi</unit></logCurveInfo>"
        "<nullValue>3</nullValue><nameWell>Heron Gate 3H</nameWell><name>n</name></log></logs>",
        "utf-8",
    )
    large = read_witsml(content_of(path))
    pieces, found = rows(large)
    assert large.names == ["T", "P"] and large.head == ["name: n", "well: Heron Gate 3H"]
    assert found.height == ROWS and pieces > 3
    assert found["1"].null_count() == sum(i % 7 == 3 for i in range(ROWS))


@pytest.mark.usefixtures("small_pieces")
@pytest.mark.parametrize(
    ("unit", "odd", "told"),
    [("kPa", "", "2 logs of different jobs"), ("psi", "<data>1,2,3</data>", f"row {ROWS + 1} of the data"),
     ("psi", "<data>", "not complete XML")],
)  # fmt: skip
def test_what_is_wrong_with_a_large_log_is_told(tmp_path: Path, unit: str, odd: str, told: str) -> None:
    with pytest.raises(SetAside, match=told):
        rows(read_witsml(content_of(witsml_log(tmp_path / "a.xml", unit=unit, odd=odd))))


@pytest.mark.usefixtures("small_pieces")
def test_a_large_document_that_declares_entities_is_set_aside(tmp_path: Path) -> None:
    path = witsml_log(tmp_path / "a.xml")
    entities = '<!DOCTYPE x [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;">]>'
    path.write_text(entities + path.read_text("utf-8"), "utf-8")
    with pytest.raises(SetAside, match="declares entities"):
        rows(read_witsml(content_of(path)))


def test_a_large_document_without_logs_is_refused_before_it_is_parsed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(witsml, "LARGEST_BYTES", 1_000)
    path = tmp_path / "a.xml"
    stages = "".join(f"<StimJobStage><Number>{i}</Number></StimJobStage>" for i in range(100))
    path.write_text(f'<StimJob xmlns="http://www.energistics.org/energyml/data/witsmlv2">{stages}</StimJob>', "utf-8")
    with pytest.raises(SetAside, match="too large"):
        read_witsml(content_of(path))


def test_parts_are_read_as_one_file() -> None:
    reading = witsml_logs._Reading(iter([b"abc", b"", b"defg"]))
    assert [reading.read(2), reading.read(2), reading.read(9), reading.read(9)] == [b"ab", b"c", b"defg", b""]


def test_a_large_sheet_is_read_in_pieces(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Failed formulas are in their places."""
    path = tmp_path / "large.xlsx"
    with xlsxwriter.Workbook(path) as book:
        sheet = book.add_worksheet("data")
        for row in range(700):
            sheet.write_row(row, 0, [row, f"remark {row}", None if row % 3 else row / 7])
        for row in (299, 300, 699):
            sheet.write_formula(row, 1, "=1/0", value="#DIV/0!")
    (whole,) = read_sheet(content_of(path), "data")
    assert whole.shape == (700, 3) and whole.row(10) == ("10", "remark 10", None)
    assert [row for row in range(700) if whole[row, 1] == "#DIV/0!"] == [299, 300, 699]
    monkeypatch.setattr(workbook, "ROWS_PER_PIECE", 300)
    pieces = list(read_sheet(content_of(path), "data"))
    assert [piece.height for piece in pieces] == [300, 300, 100]
    assert pl.concat(pieces).equals(whole)
    first = next(read_sheet(content_of(path), "data"))  # its process ends with who reads no more
    assert first.height == 300


def test_an_empty_sheet_has_no_rows(tmp_path: Path) -> None:
    path = tmp_path / "empty.xlsx"
    with xlsxwriter.Workbook(path) as book:
        book.add_worksheet("data")
    assert [piece.height for piece in read_sheet(content_of(path), "data")] == [0]


def test_a_workbook_that_changes_while_it_is_read_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "large.xlsx"
    with xlsxwriter.Workbook(path) as book:
        book.add_worksheet("data").write_row(0, 0, [f"remark {place}" for place in range(16_000)])
    monkeypatch.setattr(content, "PART_BYTES", 10_000)
    found = content_of(path)
    assert found.whole is None and next(read_sheet(found, "data")).width == 16_000
    path.write_bytes(path.read_bytes() + bytes(400_000))
    with pytest.raises(SetAside, match="the file changed while it was read"):
        next(read_sheet(found, "data"))
