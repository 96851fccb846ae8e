"""Small parts of the door by hand: spellings, order of amendments, samples that step back, what waits for a map."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import polars as pl
import pytest

from pipeline.ingest.amend import _next_moment
from pipeline.ingest.draft import _patterns
from pipeline.ingest.inspect import inspect_file
from pipeline.ingest.land import land
from pipeline.ingest.names import claimed_twice, new_id
from pipeline.ingest.propose import pattern_of
from pipeline.ingest.propose.measured import goes_against
from pipeline.ingest.sniff import _said
from pipeline.lake import Lake
from pipeline.schemas.lineage import FINDINGS, SOURCES
from tests.builders import TREATMENT_MAP, WELLS, WELLS_MAP, put, record_csv, workspace

RECORD = "Saltgrass 3H stage 1.csv"


def test_a_spelling_of_two_wells_is_told_once_with_both() -> None:
    wells = pl.DataFrame(
        {"well_id": ["a", "b", "c"], "well_name": ["Tern 1H", "TERN #1H", None], "aliases": ["x|y", "z|Y|y", ""]}
    )
    assert claimed_twice(wells) == [("TERN #1H", "a", "b"), ("Y", "a", "b"), ("y", "a", "b")]


def test_ids_of_names_that_a_path_cannot_hold_are_marked_and_differ() -> None:
    assert new_id("Tern 1H") == "tern-1h"
    assert re.fullmatch(r"well-[0-9a-f]{8}", new_id("井"))
    assert new_id("井") != new_id("泉")


def test_an_amendment_within_the_second_of_the_last_one_comes_after_it() -> None:
    later = (datetime.now(UTC) + timedelta(hours=1)).replace(microsecond=0, tzinfo=None)
    said = f"well,at\na,{later:%Y-%m-%d %H:%M:%S}\n"
    assert _next_moment(said) == f"{later + timedelta(seconds=1):%Y-%m-%d %H:%M:%S}"


def test_what_inspect_tells_of_a_record(tmp_path: Path) -> None:
    space = workspace(
        tmp_path, {"records": TREATMENT_MAP, "wells": WELLS_MAP}, {"tables/wells.csv": WELLS, RECORD: record_csv(60)}
    )
    land(space, Lake(space.lake))
    told, fits = inspect_file(space, space.root / "landing" / RECORD)
    assert fits
    assert told.split("map records", 1)[1].splitlines()[1:] == [
        "  60 rows read, 60 would land",
        "  wells: saltgrass-3h",
        "  stage: 1",
        "  time: 2025-03-01 12:00:00 to 2025-03-01 12:00:59 UTC",
        "  treating_pressure_psi: 'Pressure' in psi; 5,000 psi to 5,059 psi",
        "  slurry_rate_bpm: 'Rate' in bpm; 40 bpm to 40 bpm",
        "  proppant_conc_ppa: 'Conc' in ppa; 1 ppa to 1 ppa",
        "  no findings",
    ]


def test_a_well_that_a_record_created_is_not_landed_again(tmp_path: Path) -> None:
    create = TREATMENT_MAP.replace('"set aside"', '"create"')
    space = workspace(tmp_path, {"records": create}, {RECORD: record_csv(60)})
    lake = Lake(space.lake)
    assert land(space, lake).landed == 1
    again = land(space, lake)
    assert (again.landed, again.unchanged) == (0, 1)


def test_a_landed_file_whose_map_is_broken_waits_and_others_do_not(tmp_path: Path) -> None:
    space = workspace(
        tmp_path, {"records": TREATMENT_MAP, "wells": WELLS_MAP}, {"tables/wells.csv": WELLS, RECORD: record_csv(60)}
    )
    lake = Lake(space.lake)
    land(space, lake)
    (space.maps / "records.toml").write_text("name = ", encoding="utf-8")
    put(space.root, "Saltgrass 3H stage 2.csv", record_csv(60, "2025-03-02 12:00:00"))
    put(space.root, "tables/wells.csv", WELLS.replace("Saltgrass,America", "Saltgrass West,America"))
    report = land(space, lake)
    assert report.landed == 1  # the wells table
    states = dict(lake.scan(SOURCES).select("path", "state").collect().iter_rows())
    assert states[f"landing/{RECORD}"] == "landed"


def test_samples_that_step_back_are_counted_across_pieces(tmp_path: Path) -> None:
    shuffled = record_csv(60).splitlines()
    shuffled[30], shuffled[31] = shuffled[31], shuffled[30]
    space = workspace(
        tmp_path, {"records": TREATMENT_MAP, "wells": WELLS_MAP},
        {"tables/wells.csv": WELLS, RECORD: "\n".join(shuffled) + "\n"},
    )  # fmt: skip
    lake = Lake(space.lake)
    land(space, lake)
    (message,) = lake.scan(FINDINGS).filter(kind="out_of_order").collect()["message"].to_list()
    assert re.search(r"\b1\b", message)


def test_patterns_claim_no_file_of_another_layout(tmp_path: Path) -> None:
    """One pattern for an ending that all share, one per folder, or one per kind of name."""
    a, b = tmp_path / "a", tmp_path / "b"
    alone = _patterns(tmp_path, [a / "1.csv", b / "2.csv"], [a / "1.txt"])
    assert [group.patterns for group in alone] == [("**/*.csv",)]
    apart = _patterns(tmp_path, [a / "1.csv", a / "2.csv"], [b / "3.csv"])
    assert [group.patterns for group in apart] == [("a/*.csv",)]
    mixed = _patterns(tmp_path, [a / "stage 1.csv"], [a / "run 1.csv"])
    assert [group.patterns for group in mixed] == [(pattern_of("stage 1.csv"),)]


@pytest.mark.parametrize(
    ("below", "unit", "against"),
    [("kPa", "psi", True), ("PSI", "psi", False), ("", "psi", False), ("bbl", "psi", True), ("kPa", "kPa", False)],
)
def test_a_unit_that_is_not_that_of_the_units_row_goes_against_it(below: str, unit: str, against: bool) -> None:
    look: Any = SimpleNamespace(table=SimpleNamespace(units=[below]))
    assert goes_against(look, 0, "treating_pressure_psi", unit) is against


def test_a_merged_heading_speaks_for_the_columns_right_of_it() -> None:
    rows = [["Time", "Pressure", ""], ["", "Surface", "Bottom"], ["0", "1", "2"]]
    assert _said(rows, 1, None, 0, 3) == ["", "Surface", "Bottom"]
    assert _said(rows, 1, None, 1, 3) == ["Time", "Pressure Surface", "Pressure Bottom"]
