"""Landing: what the same, corrected, continued, conflicting and misspelled files do."""

from __future__ import annotations

import gzip
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from pipeline import steps
from pipeline.ingest.land import Landed, land
from pipeline.ingest.verify import verify
from pipeline.lake import Lake
from pipeline.schemas.lineage import FINDINGS, SOURCES
from pipeline.schemas.records import TREATMENT
from pipeline.schemas.wells import WELLS as WELLS_TABLE
from pipeline.workspace import Workspace
from tests.builders import TREATMENT_MAP, WELLS, WELLS_MAP, put, record_csv, workspace

STAGE = "Saltgrass 3H stage 1.csv"


@pytest.fixture
def space(tmp_path: Path) -> Workspace:
    maps = {"records": TREATMENT_MAP, "wells": WELLS_MAP}
    return workspace(tmp_path, maps, {"tables/wells.csv": WELLS, STAGE: record_csv()})


def run(space: Workspace) -> tuple[Landed, Lake]:
    lake = Lake(space.lake)
    return land(space, lake), lake


def samples(lake: Lake) -> pl.DataFrame:
    return lake.scan(TREATMENT).sort("stage", "time").collect()


def state(lake: Lake, name: str) -> dict[str, Any]:
    return lake.scan(SOURCES).filter(pl.col("path") == f"landing/{name}").collect().row(0, named=True)


def test_rows_carry_the_file_and_line_they_came_from(space: Workspace) -> None:
    report, lake = run(space)
    assert report.landed == 2
    rows = samples(lake)
    source = state(lake, STAGE)
    assert rows["source_id"].unique().to_list() == [source["source_id"]]
    assert rows["source_row"][0] == 3  # heading, units, then the first sample
    assert (source["rows_in"], source["rows_landed"]) == (60, 60)
    assert rows["well_id"][0] == "saltgrass-3h"


def test_the_same_file_again_changes_nothing(space: Workspace) -> None:
    _, lake = run(space)
    before = {table.name: lake.version(table) for table in (TREATMENT, SOURCES, FINDINGS)}
    report, lake = run(space)
    assert (report.landed, report.unchanged, report.changed) == (0, 2, False)
    assert {table.name: lake.version(table) for table in (TREATMENT, SOURCES, FINDINGS)} == before


def test_a_touched_file_is_not_landed_again(space: Workspace) -> None:
    run(space)
    file = space.root / "landing" / STAGE
    file.touch()
    report, lake = run(space)
    assert report.landed == 0
    assert samples(lake).height == 60


def test_corrected_content_replaces_the_rows_of_that_path_and_nothing_else(space: Workspace) -> None:
    put(space.root, "Saltgrass 3H stage 2.csv", record_csv(30, "2025-03-01 15:00:00"))
    run(space)
    put(space.root, STAGE, record_csv(50, pressure=7000.0))
    report, lake = run(space)
    assert report.landed == 1
    rows = samples(lake)
    assert rows.filter(pl.col("stage") == 1).height == 50
    assert rows.filter(pl.col("stage") == 1)["treating_pressure_psi"].min() == 7000.0
    assert rows.filter(pl.col("stage") == 2).height == 30
    assert lake.scan_raw(TREATMENT).collect().height == 80  # no orphan is left


def test_a_later_revision_replaces_the_earlier_file(space: Workspace) -> None:
    run(space)
    put(space.root, "Saltgrass 3H stage 1 rev2.csv", record_csv(70, pressure=6000.0))
    report, lake = run(space)
    assert (report.landed, report.superseded) == (1, 1)
    assert samples(lake).height == 70
    assert state(lake, STAGE)["state"] == "superseded"
    report, lake = run(space)
    assert not report.changed


def test_a_record_that_went_on_in_a_second_file_is_one_stage(space: Workspace) -> None:
    put(space.root, "Saltgrass 3H stage 1 part 2.csv", record_csv(40, "2025-03-01 12:01:00"))
    report, lake = run(space)
    assert not report.set_aside
    assert samples(lake).filter(pl.col("stage") == 1).height == 100


def test_two_files_of_the_same_seconds_conflict_and_the_later_names_the_other(space: Workspace) -> None:
    run(space)
    put(space.root, "Saltgrass 3H stage 1 copy by hand.csv", record_csv(40, "2025-03-01 12:00:30", pressure=5100.0))
    report, lake = run(space)
    (path, aside) = report.set_aside[0]
    assert path.endswith("copy by hand.csv")
    assert STAGE in aside.found
    assert aside.line is not None
    assert samples(lake).height == 60


def test_the_same_content_under_another_name_is_a_copy_and_lands_once(space: Workspace) -> None:
    run(space)
    put(space.root, "Saltgrass 3H stage 01.csv", record_csv())
    report, lake = run(space)
    assert (report.copies, report.set_aside) == (1, [])
    assert samples(lake).height == 60


def test_a_record_with_the_content_of_another_stage_is_no_copy_but_set_aside(space: Workspace) -> None:
    run(space)
    put(space.root, "Saltgrass 3H stage 2.csv", record_csv(40, "2025-03-01 15:00:00"))
    assert run(space)[0].landed == 1
    put(space.root, "Saltgrass 3H stage 2.csv", record_csv())  # overwritten with the record of stage 1
    report, _ = run(space)
    ((path, aside),) = report.set_aside
    assert path.endswith("stage 2.csv")
    assert (aside.reason, aside.expected) == (
        "the same content is already landed as stage 1 of saltgrass-3h", "another record, of stage 2 of saltgrass-3h",
    )  # fmt: skip
    assert not run(space)[0].changed
    put(space.root, "Saltgrass 3H stage 1.csv", record_csv(50, "2025-03-01 18:00:00"))  # the twin has gone: read again
    report, lake = run(space)
    assert (report.landed, report.set_aside) == (2, [])
    assert dict(samples(lake).group_by("stage").len().iter_rows()) == {1: 50, 2: 60}


def test_findings_of_a_file_go_when_what_they_tell_is_put_right(tmp_path: Path) -> None:
    loose = TREATMENT_MAP.replace('unknown_wells = "set aside"', 'unknown_wells = "create"')
    space = workspace(tmp_path, {"records": loose}, {STAGE: record_csv()})
    _, lake = run(space)
    told = lake.scan(FINDINGS).filter(pl.col("step") == "ingest")
    assert told.collect().height
    put(space.root, "tables/wells.csv", WELLS)
    (space.maps / "wells.toml").write_text(WELLS_MAP, encoding="utf-8")
    _, lake = run(space)
    assert lake.scan(FINDINGS).filter(pl.col("step") == "ingest").collect().is_empty()
    problems = verify(lake)
    assert (problems.orphans, problems.incomplete, problems.missing) == ({}, [], {})
    assert not run(space)[0].changed


def test_findings_that_do_not_fit_their_files_are_made_again(space: Workspace) -> None:
    put(space.root, "Saltgrass 3H stage 2.csv", record_csv(40, "2025-03-01 15:00:00").replace("5000", "-999.25"))
    steps.run_ingest(space)
    lake = Lake(space.lake)
    told = lake.scan(FINDINGS).filter(pl.col("step") == "ingest").collect()
    assert told.height
    lake.replace(FINDINGS, pl.concat([told, told]), {"step": "ingest"})
    assert verify(lake).incomplete
    steps.run_ingest(space)
    assert not verify(lake).incomplete
    assert lake.scan(FINDINGS).filter(pl.col("step") == "ingest").collect().height == told.height


def test_spellings_and_numbers_of_a_well_are_one_well(space: Workspace) -> None:
    put(space.root, "SALTGRASS #3H stage 2.csv", record_csv(10, "2025-03-01 15:00:00"))
    put(space.root, "99-100-20002 stage 3.csv", record_csv(10, "2025-03-01 18:00:00"))
    _, lake = run(space)
    assert samples(lake)["well_id"].unique().to_list() == ["saltgrass-3h"]


def test_an_unknown_well_sets_the_file_aside_with_the_nearest_and_lands_once_known(space: Workspace) -> None:
    put(space.root, "Saltgras 4H stage 1.csv", record_csv(10))
    report, _ = run(space)
    aside = report.set_aside[0][1]
    assert "Saltgrass 3H" in aside.found
    assert "aliases" in aside.fix
    again, _ = run(space)
    assert (again.set_aside, again.still_aside) == ([], 1)  # nothing changed: not tried again
    put(space.root, "tables/wells.csv", WELLS + "Saltgrass 4H,Saltgras 4H,Saltgrass,America/Denver,12,26\n")
    report, lake = run(space)
    assert not report.set_aside
    assert set(samples(lake)["well_id"]) == {"saltgrass-3h", "saltgrass-4h"}


def test_a_map_may_make_unknown_wells_and_the_wells_table_takes_them_over(tmp_path: Path) -> None:
    maps = {"records": TREATMENT_MAP.replace('"set aside"', '"create"')}
    space = workspace(tmp_path, maps, {STAGE: record_csv()})
    report, lake = run(space)
    assert report.landed == 1
    assert lake.scan(WELLS_TABLE).collect()["stub"].to_list() == [True]
    assert "well_created" in lake.scan(FINDINGS).collect()["kind"].to_list()
    put(space.root, STAGE, record_csv(50))  # a correction keeps the well
    _, lake = run(space)
    assert lake.scan(WELLS_TABLE).collect()["well_id"].to_list() == ["saltgrass-3h"]
    (space.maps / "wells.toml").write_text(WELLS_MAP, encoding="utf-8")
    put(space.root, "tables/wells.csv", WELLS)
    report, lake = run(space)
    assert not report.set_aside
    wells = lake.scan(WELLS_TABLE).collect()
    assert wells["stub"].to_list() == [False]
    assert wells["pad"].to_list() == ["Saltgrass"]


def test_stages_numbered_from_the_heel_are_turned(tmp_path: Path) -> None:
    maps = {"records": 'stages_numbered_from = "heel"\n' + TREATMENT_MAP, "wells": WELLS_MAP}
    space = workspace(tmp_path, maps, {"tables/wells.csv": WELLS, STAGE: record_csv()})
    _, lake = run(space)
    assert samples(lake)["stage"].unique().to_list() == [12]


def test_depths_from_the_ground_are_shifted_to_the_rotary_table(tmp_path: Path) -> None:
    plugs = """
name = "plugs"
lands = "plugs"
files = "tables/plugs.csv"
depth_reference = "ground"
[columns]
well_id = { column = "well" }
plug = { column = "plug" }
set_depth_ft = { column = "depth_m", unit = "m" }
"""
    files = {"tables/wells.csv": WELLS, "tables/plugs.csv": "well,plug,depth_m\nSaltgrass 3H,2,3048\n"}
    space = workspace(tmp_path, {"plugs": plugs, "wells": WELLS_MAP}, files)
    _, lake = run(space)
    from pipeline.schemas.wells import PLUGS

    assert lake.scan(PLUGS).collect()["set_depth_ft"][0] == pytest.approx(10000.0 + 26.0)


def test_repeated_and_unordered_seconds_are_sorted_and_found(space: Workspace) -> None:
    head, units, *rows = record_csv(20).splitlines()
    shuffled = [*rows[5:], *rows[:5], rows[7].replace("5007", "5999")]
    put(space.root, STAGE, "\n".join([head, units, *shuffled]) + "\n")
    report, lake = run(space)
    stage = samples(lake)
    assert stage.height == 20
    assert stage["time"].is_sorted()
    assert stage["treating_pressure_psi"][7] == 5999.0  # the last of a repeated second is kept
    kinds = set(lake.scan(FINDINGS).collect()["kind"])
    assert {"repeated_times", "out_of_order"} <= kinds
    assert report.findings >= 2


def test_void_values_and_values_out_of_range_are_null_and_found(space: Workspace) -> None:
    text = record_csv(100).replace("5005.0", "-999.25").replace("5006.0", "99999")
    put(space.root, STAGE, text)
    _, lake = run(space)
    rows = samples(lake)
    assert rows["treating_pressure_psi"].null_count() == 2
    findings = lake.scan(FINDINGS).filter(pl.col("kind") == "void_samples").collect()
    assert "1 value(s) outside {-250 psi} to {20000 psi}" in findings["message"][0]


def test_gzip_records_land(space: Workspace) -> None:
    text = TREATMENT_MAP.replace('"*.csv"', '"*.csv.gz"').replace('"records"', '"packed"')
    (space.maps / "packed.toml").write_text(text, encoding="utf-8")
    put(space.root, "Saltgrass 3H stage 5.csv.gz", gzip.compress(record_csv(25, "2025-03-02 01:00:00").encode()))
    report, lake = run(space)
    assert not report.set_aside
    assert samples(lake).filter(pl.col("stage") == 5).height == 25


def test_originals_are_never_touched(space: Workspace) -> None:
    put(space.root, "broken stage 9.csv", b"\x00\x01\x02")
    files = {path: path.read_bytes() for path in (space.root / "landing").rglob("*") if path.is_file()}
    run(space)
    assert {path: path.read_bytes() for path in (space.root / "landing").rglob("*") if path.is_file()} == files
