"""Whatever is wrong with one file is its own failure: the rest lands, and what is not read is said."""

from __future__ import annotations

import errno
import io
import os
import shutil
import socket
import zipfile
from pathlib import Path

import polars as pl
import pytest

from pipeline import steps
from pipeline.commands import status
from pipeline.errors import SetAside
from pipeline.ingest import apart, prepare, workbook
from pipeline.ingest import discover as discovering
from pipeline.ingest.land import Landed, land
from pipeline.lake import Lake
from pipeline.schemas.lineage import FINDINGS, SOURCES
from pipeline.schemas.records import TREATMENT
from pipeline.workspace import SETTINGS_FILE, Workspace, open_workspace
from tests.builders import TREATMENT_MAP, WELLS, WELLS_MAP, put, record_csv, workspace

BOOK_MAP = """
name = "designs"
lands = "stages"
kind = "workbook"
sheet = "designs"
files = "*.xlsx"
[columns]
well_id = { column = "well" }
stage = { column = "stage" }
clusters = { column = "clusters" }
"""


def space_with(folder: Path, files: dict[str, str | bytes], **maps: str) -> Workspace:
    """A workspace with a good record beside the files given."""
    good: dict[str, str | bytes] = {"tables/wells.csv": WELLS, "Saltgrass 3H stage 7.csv": record_csv(20)}
    return workspace(folder, {"records": TREATMENT_MAP, "wells": WELLS_MAP, **maps}, good | files)


def only_the_good_one_landed(space: Workspace, report: Landed) -> list[SetAside]:
    assert Lake(space.lake).scan(TREATMENT).collect()["stage"].unique().to_list() == [7]
    return [aside for _, aside in report.set_aside]


@pytest.mark.parametrize("year", ["9999", "10000", "-2029", "0001", "99999"])
def test_impossible_years(tmp_path: Path, year: str) -> None:
    bad = record_csv(30).replace("2025-", f"{year}-")
    space = space_with(tmp_path, {"Saltgrass 3H stage 1.csv": bad})
    (aside,) = only_the_good_one_landed(space, land(space, Lake(space.lake)))
    assert "is not a time in the format %Y-%m-%d %H:%M:%S, from 1950-01-01" in aside.reason


def test_lines_ended_by_a_carriage_return_alone_are_read(tmp_path: Path) -> None:
    space = space_with(tmp_path, {"Saltgrass 3H stage 1.csv": record_csv(30).replace("\n", "\r")})
    assert not land(space, Lake(space.lake)).set_aside
    kept = Lake(space.lake).scan(TREATMENT).filter(pl.col("stage") == 1).collect().sort("time")
    assert kept["treating_pressure_psi"].to_list() == [5000.0 + i for i in range(30)]
    assert kept["source_row"].to_list() == list(range(3, 33))


def test_a_file_that_vanishes_while_it_is_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    space = space_with(tmp_path, {"Saltgrass 3H stage 1.csv": record_csv(30)})
    original = prepare.content_of

    def vanishing(path: Path) -> object:
        if "stage 1" in path.name:
            path.unlink()
        return original(path)

    monkeypatch.setattr(prepare, "content_of", vanishing)
    (aside,) = only_the_good_one_landed(space, land(space, Lake(space.lake)))
    assert aside.reason == "the file cannot be read"
    put(space.root, "Saltgrass 3H stage 1.csv", record_csv(30))
    monkeypatch.setattr(prepare, "content_of", original)
    assert land(space, Lake(space.lake)).landed == 1  # tried again without being changed


def test_a_file_without_rights(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    space = space_with(tmp_path, {"Saltgrass 3H stage 1.csv": record_csv(30)})
    original = prepare.content_of

    def refused(path: Path) -> object:
        if "stage 1" in path.name:
            raise PermissionError(errno.EACCES, "Permission denied", str(path))
        return original(path)

    monkeypatch.setattr(prepare, "content_of", refused)
    (aside,) = only_the_good_one_landed(space, land(space, Lake(space.lake)))
    assert aside.found == "Permission denied"


@pytest.mark.parametrize("error", [ValueError("odd"), MemoryError(), RecursionError("deep"), OverflowError("large")])
def test_whatever_reading_raises(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, error: Exception) -> None:
    space = space_with(tmp_path, {"Saltgrass 3H stage 1.csv": record_csv(30)})
    original = prepare.shape

    def failing(raw: object, source: object, names: object, file_name: str, folder: Path) -> object:
        if "stage 1" in file_name:
            raise error
        return original(raw, source, names, file_name, folder)  # type: ignore[arg-type]

    monkeypatch.setattr(prepare, "shape", failing)
    (aside,) = only_the_good_one_landed(space, land(space, Lake(space.lake)))
    assert aside.fix


def test_a_copy_that_cannot_be_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def full(*_given: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    space = space_with(tmp_path, {"Saltgrass 3H stage 1.csv": "Time,Pressure\n"})
    monkeypatch.setattr(shutil, "copyfile", full)
    (aside,) = only_the_good_one_landed(space, land(space, Lake(space.lake)))
    assert aside.reason
    assert "could not copy landing/Saltgrass 3H stage 1.csv" in caplog.text
    assert not list((space.out / "set_aside").glob(".*"))


def test_a_name_that_is_no_text(tmp_path: Path) -> None:
    space = space_with(tmp_path, {})
    folder = os.fsencode(space.root / "landing")
    with open(folder + b"/Saltgrass 3H stage 1 caf\xe9.csv", "wb") as file:
        file.write(record_csv(30).encode())
    report = land(space, Lake(space.lake))
    (aside,) = only_the_good_one_landed(space, report)
    assert aside.reason == "the file's name is not UTF-8"
    assert report.set_aside[0][0].startswith("landing/Saltgrass 3H stage 1 caf\\xe9.csv (bytes ")
    assert not land(space, Lake(space.lake)).changed


def test_a_field_that_is_too_long_for_its_reader(tmp_path: Path) -> None:
    tabs = TREATMENT_MAP.replace("[columns]", 'delimiter = "\\t"\n[columns]')
    markup = "<log>" + "<row>1,2,3</row>" * 40_000 + "</log>"
    space = space_with(tmp_path, {"Saltgrass 3H stage 1.xml": markup}, xml=tabs.replace('"*.csv"', '"*.xml"')
                       .replace('"records"', '"xml"'))  # fmt: skip
    (aside,) = only_the_good_one_landed(space, land(space, Lake(space.lake)))
    assert aside.fix


def xlsx(sheet: str, name: str = "designs") -> bytes:
    """A workbook whose one sheet is the XML given."""
    parts = {
        "[Content_Types].xml": '<?xml version="1.0"?><Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types"><Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/><Default Extension="xml" ContentType="application/xml"/><Override PartName="/xl/workbook.xml" ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.sheet.main+xml"/><Override PartName="/xl/worksheets/sheet1.xml" ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.worksheet+xml"/></Types>',
        "_rels/.rels": '<?xml version="1.0"?><Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="rId1" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/officeDocument" Target="xl/workbook.xml"/></Relationships>',
        "xl/workbook.xml": f'<?xml version="1.0"?><workbook xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main" xmlns:r="http://schemas.openxmlformats.org/officeDocument/2006/relationships"><sheets><sheet name="{name}" sheetId="1" r:id="rId1"/></sheets></workbook>',
        "xl/_rels/workbook.xml.rels": '<?xml version="1.0"?><Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="rId1" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/worksheet" Target="worksheets/sheet1.xml"/></Relationships>',
        "xl/worksheets/sheet1.xml": sheet,
    }
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as book:
        for path, text in parts.items():
            book.writestr(path, text)
    return out.getvalue()


MAIN = 'xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"'


def cells(*rows: str) -> str:
    return f'<?xml version="1.0"?><worksheet {MAIN}><sheetData>{"".join(rows)}</sheetData></worksheet>'


def row(number: int, *values: str) -> str:
    inside = "".join(
        f'<c r="{chr(65 + i)}{number}" t="inlineStr"><is><t>{value}</t></is></c>' for i, value in enumerate(values)
    )
    return f'<row r="{number}">{inside}</row>'


GOOD_SHEET = cells(row(1, "well", "stage", "clusters"), row(2, "Saltgrass 3H", "1", "8"))
FAR = '<row r="1048576"><c r="XFD1048576" t="inlineStr"><is><t>far</t></is></c></row>'


def test_a_good_workbook_is_read_in_its_own_process(tmp_path: Path) -> None:
    space = space_with(tmp_path, {"designs.xlsx": xlsx(GOOD_SHEET)}, designs=BOOK_MAP)
    assert not land(space, Lake(space.lake)).set_aside


@pytest.mark.parametrize(
    "content",
    [
        xlsx(cells(row(1, "well", "stage", "clusters"), FAR)),
        xlsx(GOOD_SHEET[:-40]),
        xlsx("<not a sheet>"),
        xlsx(GOOD_SHEET, "another"),
        xlsx(GOOD_SHEET)[:600],
        b"PK\x03\x04" + bytes(2000),
        b"no workbook at all",
    ],
    ids=["enormous grid", "cut XML", "no XML", "other sheet", "cut zip", "junk zip", "text"],
)
def test_a_workbook_that_breaks_its_reader_is_set_aside(tmp_path: Path, content: bytes) -> None:
    space = space_with(tmp_path, {"designs.xlsx": content}, designs=BOOK_MAP)
    (aside,) = only_the_good_one_landed(space, land(space, Lake(space.lake)))
    assert aside.fix


def test_a_workbook_without_end_is_stopped(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(workbook, "_READ", "import time; time.sleep(60)")
    monkeypatch.setattr(apart, "LEAST_S", 0.3)
    space = space_with(tmp_path, {"designs.xlsx": xlsx(GOOD_SHEET)}, designs=BOOK_MAP)
    (aside,) = only_the_good_one_landed(space, land(space, Lake(space.lake)))
    assert aside.found == "not finished after 0 s"


def test_what_is_no_file_is_passed_over_and_said(tmp_path: Path) -> None:
    space = space_with(tmp_path, {})
    landing, outside = space.root / "landing", tmp_path / "outside.csv"
    outside.write_text("secret,Pressure\n1,2\n", encoding="utf-8")
    os.mkfifo(landing / "pipe stage 1.csv")
    (landing / "nowhere stage 2.csv").symlink_to(landing / "gone.csv")
    (landing / "round stage 3.csv").symlink_to(landing / "round stage 3.csv")
    (landing / "loop").symlink_to(landing, target_is_directory=True)
    (landing / "outside stage 4.csv").symlink_to(outside)
    (landing / "Saltgrass 3H stage 07.csv").symlink_to(landing / "Saltgrass 3H stage 7.csv")  # inside: a copy
    with socket.socket(socket.AF_UNIX) as door:
        door.bind(str(landing / "s"))
    report = steps.run_ingest(space)
    kinds = Lake(space.lake).scan(FINDINGS).filter(pl.col("step") == "discover").collect()
    assert dict(kinds.select("path", "kind").iter_rows()) == {
        "landing/pipe stage 1.csv": "not_a_file", "landing/nowhere stage 2.csv": "broken_link",
        "landing/round stage 3.csv": "link_loop", "landing/loop": "read_already",
        "landing/outside stage 4.csv": "link_outside", "landing/s": "not_a_file",
    }  # fmt: skip
    assert len(report.skipped) == 6
    assert report.copies == 1
    said = status.describe(space)
    assert "not read: landing/pipe stage 1.csv: this is not a file but a pipe" in said
    assert "secret" not in said
    assert not steps.run_ingest(space).changed
    for path in landing.iterdir():
        if not path.is_file():
            path.unlink() if not path.is_dir() or path.is_symlink() else None
    (landing / "outside stage 4.csv").unlink()
    steps.run_ingest(space)
    assert "not read" not in status.describe(space)


def test_links_outside_are_followed_where_the_settings_say_so(tmp_path: Path) -> None:
    space = space_with(tmp_path / "w", {})
    outside = tmp_path / "elsewhere.csv"
    outside.write_text(record_csv(25, "2025-03-04 12:00:00"), encoding="utf-8")
    (space.root / "landing" / "Saltgrass 3H stage 4.csv").symlink_to(outside)
    (space.root / SETTINGS_FILE).write_text('title = "Test"\nfollow_links_outside = true\n', encoding="utf-8")
    assert steps.run_ingest(open_workspace(space.root)).landed == 3


def test_a_folder_without_rights_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    space = space_with(tmp_path, {"locked/Saltgrass 3H stage 1.csv": record_csv(20)})
    original = os.scandir

    def refusing(path: Path) -> object:
        if str(path).endswith("locked"):
            raise PermissionError(errno.EACCES, "Permission denied", str(path))
        return original(path)

    monkeypatch.setattr(discovering.os, "scandir", refusing)
    report = land(space, Lake(space.lake))
    assert report.skipped == [("landing/locked", "cannot read the folder (Permission denied): check its permissions")]
    only_the_good_one_landed(space, report)


def test_a_missing_landing_folder_is_said(tmp_path: Path) -> None:
    space = space_with(tmp_path, {})
    shutil.rmtree(space.root / "landing")
    report = land(space, Lake(space.lake))
    assert "the folder does not exist" in report.skipped[0][1]


def test_a_broken_map_keeps_nothing_else_from_landing_and_its_files_wait(tmp_path: Path) -> None:
    space = space_with(tmp_path, {"Saltgrass 3H stage 1.txt": record_csv(20, "2025-03-02 12:00:00")},
                       other=TREATMENT_MAP.replace('"*.csv"', '"*.txt"').replace('"records"', '"other"'))  # fmt: skip
    assert steps.run_ingest(space).landed == 3
    path = space.root / "maps" / "other.toml"
    good = path.read_text(encoding="utf-8")
    path.write_text(
        good.replace('unit = "psi"', 'unit = "ft"').replace("units_row = 2", "units_rwo = 2"), encoding="utf-8"
    )
    put(space.root, "Saltgrass 3H stage 2.csv", record_csv(20, "2025-03-03 12:00:00"))
    put(space.root, "Saltgrass 3H stage 3.txt", record_csv(20, "2025-03-05 12:00:00"))
    report = steps.run_ingest(space)
    assert report.landed == 1
    assert not report.set_aside
    (problem,) = report.broken_maps
    assert "units_rwo: unknown key; known keys: columns, " in problem
    assert "; nearest: units_row" in problem
    assert "columns.treating_pressure_psi: 'ft' cannot be converted to 'psi'" in problem
    stages = Lake(space.lake).scan(TREATMENT).collect()["stage"].unique().sort().to_list()
    assert stages == [1, 2, 7]  # what landed by it before stays
    assert "this map cannot be used" in status.describe(space)
    path.write_text(good, encoding="utf-8")
    assert steps.run_ingest(space).landed == 1


def test_a_file_under_another_map_than_before_is_counted_once(tmp_path: Path) -> None:
    odd = {f"odd {n}.dat": record_csv(20, f"2025-03-1{n} 12:00:00") for n in range(4)}
    space = space_with(tmp_path, dict(odd))
    assert len(steps.run_ingest(space).set_aside) == 4
    wrong = TREATMENT_MAP.replace('"*.csv"', '"*.dat"').replace('"records"', '"odd"')
    (space.root / "maps" / "odd.toml").write_text(wrong, encoding="utf-8")
    assert len(steps.run_ingest(space).set_aside) == 4
    sources = Lake(space.lake).scan(SOURCES).filter(pl.col("state") == "set aside").collect()
    assert sources.height == 4
    told = status.describe(space)  # one message for all that have the same reason
    assert told.count("set aside: ") == 1 and all(told.count(f"landing/{name}") == 1 for name in odd)
    right = wrong.replace("(?P<well>.+?) stage (?P<stage>\\d+)", "(?P<well>odd) (?P<stage>\\d+)")
    right = right.replace('unknown_wells = "set aside"', 'unknown_wells = "create"').replace('"odd"', '"renamed"')
    (space.root / "maps" / "odd.toml").write_text(right, encoding="utf-8")
    report = steps.run_ingest(space)
    assert len(report.set_aside) == 1  # stage 0 is no stage
    assert report.landed == 3
    assert Lake(space.lake).scan(SOURCES).collect().height == 6


def test_a_renamed_map_takes_its_landed_files_with_it(tmp_path: Path) -> None:
    space = space_with(tmp_path, {})
    steps.run_ingest(space)
    path = space.root / "maps" / "records.toml"
    path.write_text(path.read_text(encoding="utf-8").replace('"records"', '"recorder"'), encoding="utf-8")
    report = steps.run_ingest(space)
    assert (report.landed, report.set_aside) == (1, [])
    rows = Lake(space.lake).scan_raw(TREATMENT).collect()
    assert rows.height == 20
    assert rows["source_id"].n_unique() == 1
