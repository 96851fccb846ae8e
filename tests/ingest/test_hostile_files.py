"""Bad and hostile files: each ends set aside or as a finding, with a message that a newcomer can act on."""

from __future__ import annotations

import gzip
import re
from pathlib import Path

import polars as pl
import pytest

from pipeline.errors import SetAside
from pipeline.ingest.inspect import inspect_file
from pipeline.ingest.land import land
from pipeline.lake import Lake
from pipeline.schemas.lineage import FINDINGS, SOURCES
from pipeline.schemas.records import TREATMENT
from pipeline.schemas.wells import STAGES
from pipeline.workspace import Workspace
from tests.builders import TREATMENT_MAP, WELLS, WELLS_MAP, put, record_csv, workspace

GOOD = record_csv(60)
HEAD = "Time,Pressure,Rate,Conc\n,psi,bpm,ppa\n"


def landed(
    folder: Path, content: str | bytes, name: str = "Saltgrass 3H stage 1.csv"
) -> tuple[Workspace, Lake, list[SetAside]]:
    space = workspace(
        folder, {"records": TREATMENT_MAP, "wells": WELLS_MAP}, {"tables/wells.csv": WELLS, name: content}
    )
    put(space.root, "Saltgrass 3H stage 7.csv", record_csv(20, "2025-03-05 00:00:00"))
    lake = Lake(space.lake)
    report = land(space, lake)
    return space, lake, [aside for _, aside in report.set_aside]


CASES: dict[str, tuple[str | bytes, str, str, int | None]] = {
    # name: content, words of the reason, words of the fix, line
    "empty": ("", "empty", "send it again", None),
    "blank lines only": ("\n\n\n", "empty", "send it again", None),
    "header only": (HEAD, "no rows", "send it again", 3),
    "one line": ("Time,Pressure", "Time,Pressure", "", None),
    "binary": (b"\x00\x01\x02\x03" * 50, "not text", "export it as UTF-8", 1),
    "not utf-8": (GOOD.encode().replace(b"5005.0", b"5005\xb0"), "not utf-8", "encoding", 8),
    "wrong delimiter": (GOOD.replace(",", ";"), "delimiter differs", "delimiter", 1),
    "twice the same heading": (
        GOOD.replace("Time,Pressure,Rate,Conc", "Time,Pressure,Pressure,Conc"),
        "occurs twice",
        "rename",
        1,
    ),
    "missing heading": (GOOD.replace("Pressure", "Presure"), "no column has the heading 'Pressure'", "map", 1),
    "wrong unit in the units row": (GOOD.replace("psi", "bar"), "unit of 'Pressure'", "unit", 2),
    "unknown unit in the units row": (GOOD.replace("psi", "furlong"), "unit of 'Pressure'", "unit", 2),
    "wrong unit in the numbers": (record_csv(60, pressure=5_000_000.0), "out of range", "unit", 3),
    "words for numbers": (GOOD.replace("50", "abc"), "not a number", "void_values", 3),
    "times in another order": (GOOD.replace("2025-03-01", "01/03/2025"), "not a time", "format", 3),
    "cut-off gzip": (gzip.compress(GOOD.encode())[:-20], "not text", "export it as UTF-8", 1),
}


@pytest.mark.parametrize("name", [name for name in CASES if name != "one line"])
def test_unusable_file_is_set_aside_with_line_and_mend_and_the_rest_lands(tmp_path: Path, name: str) -> None:
    content, reason, fix, line = CASES[name]
    space, lake, asides = landed(tmp_path, content)
    assert len(asides) == 1, asides
    aside = asides[0]
    assert reason in aside.reason
    assert fix in aside.fix
    assert aside.expected
    assert aside.found
    if line is not None:
        assert aside.line == line
    assert lake.scan(TREATMENT).collect()["stage"].unique().to_list() == [7]
    copies = list((space.out / "set_aside").glob("*.file"))
    assert len(copies) == 1
    reason_file = copies[0].with_suffix(".reason.txt")
    assert aside.reason in reason_file.read_text(encoding="utf-8")


def test_a_single_line_without_the_headings_is_set_aside(tmp_path: Path) -> None:
    _, _, asides = landed(tmp_path, "Time,Pressure")
    assert len(asides) == 1


def test_cut_off_gzip_is_said_to_be_cut_off(tmp_path: Path) -> None:
    maps = {"records": TREATMENT_MAP.replace('"*.csv"', '"*.gz"'), "wells": WELLS_MAP}
    cut = gzip.compress(GOOD.encode())[:-20]
    space = workspace(tmp_path, maps, {"tables/wells.csv": WELLS, "Saltgrass 3H stage 1.gz": cut})
    report = land(space, Lake(space.lake))
    assert "truncated" in report.set_aside[0][1].reason


def test_a_record_cut_inside_its_last_line_loses_that_sample_and_says_so(tmp_path: Path) -> None:
    _, lake, asides = landed(tmp_path, GOOD[:-3])
    assert not asides
    assert lake.scan(TREATMENT).filter(pl.col("stage") == 1).collect().height == 59
    found = lake.scan(FINDINGS).filter(pl.col("kind") == "cut_off").collect()
    assert found["row"].to_list() == [62]


def test_a_table_cut_inside_its_last_line_is_set_aside(tmp_path: Path) -> None:
    space = workspace(tmp_path, {"wells": WELLS_MAP}, {"tables/wells.csv": WELLS + "Pipit Draw 1H,x"})
    report = land(space, Lake(space.lake))
    assert report.set_aside[0][1].line == 3
    assert "truncated" in report.set_aside[0][1].reason


def test_a_table_whose_last_line_holds_a_quoted_comma_is_whole(tmp_path: Path) -> None:
    """Fewer commas than fields prove nothing where a field is quoted."""
    last = '"Pipit Draw 1H"'
    space = workspace(tmp_path, {"wells": WELLS_MAP}, {"tables/wells.csv": WELLS + last})
    report = land(space, Lake(space.lake))
    assert not any("truncated" in aside.reason for _, aside in report.set_aside)


def test_inspect_says_the_times_and_findings_of_a_record_and_no_times_of_a_table(tmp_path: Path) -> None:
    space = workspace(
        tmp_path, {"records": TREATMENT_MAP, "wells": WELLS_MAP},
        {"tables/wells.csv": WELLS, "Saltgrass 3H stage 1.csv": GOOD, "Saltgrass 3H stage 2.csv": GOOD[:-3]},
    )  # fmt: skip
    land(space, Lake(space.lake))
    folder = space.root / "landing"
    good, _ = inspect_file(space, folder / "Saltgrass 3H stage 1.csv")
    assert "  no findings" in good
    assert re.search(r"  time: \d{4}-\d\d-\d\d \d\d:\d\d:\d\d to \d{4}-\d\d-\d\d \d\d:\d\d:\d\d UTC", good)
    cut, _ = inspect_file(space, folder / "Saltgrass 3H stage 2.csv")
    assert "  no findings" not in cut
    assert "  finding: the last line of the file is incomplete" in cut
    table, _ = inspect_file(space, folder / "tables" / "wells.csv")
    assert "  time: " not in table
    assert "  stage: " not in table


def test_a_few_bad_cells_are_void_and_a_finding_with_the_line(tmp_path: Path) -> None:
    _, lake, asides = landed(tmp_path, record_csv(400).replace("5100.0", "n/a"))
    assert not asides
    found = lake.scan(FINDINGS).filter(pl.col("kind") == "not_a_value").collect().row(0, named=True)
    assert "'n/a'" in found["message"]
    assert found["row"] == 103
    stage = lake.scan(TREATMENT).filter(pl.col("stage") == 1).sort("time").collect()
    assert stage["treating_pressure_psi"][100] is None
    assert stage["treating_pressure_psi"][101] == 5101.0


def test_infinite_and_nan_numbers_are_void(tmp_path: Path) -> None:
    _, lake, asides = landed(tmp_path, record_csv(400).replace("5100.0", "inf").replace("5101.0", "NaN"))
    assert not asides
    values = lake.scan(TREATMENT).filter(pl.col("stage") == 1).sort("time").collect()["treating_pressure_psi"]
    assert values.null_count() == 2
    assert values.is_finite().drop_nulls().all()


STAGES_MAP = """
name = "stages"
lands = "stages"
files = "tables/stages.csv"
[columns]
well_id = { column = "well" }
stage = { column = "stage" }
frac_crew = { column = "crew" }
clusters = { column = "clusters" }
"""
EVIL = [
    "=cmd()|' /C calc'!A0",
    "<script>alert(1)</script>",
    "../../etc/passwd",
    "a'; DROP TABLE stages; --",
    "\u202egnp.exe",
]


@pytest.mark.parametrize("text", EVIL)
def test_hostile_values_land_as_plain_text(tmp_path: Path, text: str) -> None:
    quoted = '"' + text.replace('"', '""') + '"'
    files = {"tables/wells.csv": WELLS, "tables/stages.csv": f"well,stage,crew,clusters\nSaltgrass 3H,1,{quoted},8\n"}
    space = workspace(tmp_path, {"stages": STAGES_MAP, "wells": WELLS_MAP}, files)
    report = land(space, Lake(space.lake))
    assert not report.set_aside
    assert Lake(space.lake).scan(STAGES).collect()["frac_crew"].to_list() == [text]


@pytest.mark.parametrize(
    "name",
    [
        "=cmd() stage 1.csv",
        "a'b\" stage 2.csv",
        "<b>x<b> stage 3.csv",
        "a..%2f.. stage 4.csv",
        "井 stage 5.csv",
        "x" * 200 + " stage 6.csv",
    ],
)
def test_hostile_file_names_make_wells_whose_ids_are_safe_in_paths(tmp_path: Path, name: str) -> None:
    maps = {"records": TREATMENT_MAP.replace('"set aside"', '"create"')}
    space = workspace(tmp_path, maps, {name: GOOD})
    lake = Lake(space.lake)
    report = land(space, lake)
    assert not report.set_aside
    well = lake.scan(TREATMENT).collect()["well_id"][0]
    assert well.replace("-", "").isalnum()
    assert well.isascii()
    assert len(well) <= 60
    assert all(path.resolve().is_relative_to(space.root) for path in Path(space.lake).rglob("*"))


def test_unlike_names_never_share_an_id() -> None:
    from pipeline.ingest.names import new_id

    names = ["井1", "泉1", "Well 1", "Wéll 1", "=1", "1"]
    assert len({new_id(name) for name in names if name not in ("Wéll 1",)}) >= 4
    assert new_id("井1") != new_id("泉1")


def test_a_key_given_twice_in_a_table_is_named_with_both_lines(tmp_path: Path) -> None:
    text = "well,stage,crew,clusters\nSaltgrass 3H,1,A,8\nSaltgrass 3H,2,A,8\nSALTGRASS #3H,1,B,9\n"
    space = workspace(
        tmp_path, {"stages": STAGES_MAP, "wells": WELLS_MAP}, {"tables/wells.csv": WELLS, "tables/stages.csv": text}
    )
    aside = land(space, Lake(space.lake)).set_aside[0][1]
    assert "2, 4" in aside.found
    assert aside.line == 2


def test_an_impossible_count_breaks_a_named_rule(tmp_path: Path) -> None:
    text = "well,stage,crew,clusters\nSaltgrass 3H,1,A,-8\n"
    space = workspace(
        tmp_path, {"stages": STAGES_MAP, "wells": WELLS_MAP}, {"tables/wells.csv": WELLS, "tables/stages.csv": text}
    )
    aside = land(space, Lake(space.lake)).set_aside[0][1]
    assert "clusters" in aside.reason
    assert aside.line == 2


def test_a_workbook_that_is_none_and_a_missing_sheet(tmp_path: Path) -> None:
    text = STAGES_MAP.replace("stages.csv", "stages.xlsx")
    text = text.replace('lands = "stages"', 'lands = "stages"\nkind = "workbook"\nsheet = "designs"')
    files = {"tables/wells.csv": WELLS, "tables/stages.xlsx": "well,stage\n"}
    space = workspace(tmp_path, {"stages": text, "wells": WELLS_MAP}, files)
    assert "not a workbook" in land(space, Lake(space.lake)).set_aside[0][1].reason
    import xlsxwriter

    with xlsxwriter.Workbook(space.root / "landing" / "tables" / "stages.xlsx") as book:
        book.add_worksheet("other").write_row(0, 0, ["well", "stage"])
    aside = land(space, Lake(space.lake)).set_aside[0][1]
    assert "no sheet 'designs'" in aside.reason
    assert "other" in aside.found


def test_a_file_that_no_map_claims_is_set_aside_with_its_headings(tmp_path: Path) -> None:
    space = workspace(
        tmp_path,
        {"records": TREATMENT_MAP, "wells": WELLS_MAP},
        {"tables/wells.csv": WELLS, "x.dat": "Zeit;Druck\n1;2\n"},
    )
    report = land(space, Lake(space.lake))
    path, aside = report.set_aside[0]
    assert path == "landing/x.dat"
    assert "Zeit, Druck" in aside.found
    assert "heelward inspect" in aside.fix
    sources = Lake(space.lake).scan(SOURCES).filter(pl.col("state") == "set aside").collect()
    assert sources["path"].to_list() == ["landing/x.dat"]
