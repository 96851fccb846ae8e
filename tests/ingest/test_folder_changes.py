"""Whatever is done to the files between two ingests, the lake becomes what a clean ingest of the folder gives."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import polars as pl
import pytest
from polars.testing import assert_frame_equal

from pipeline import steps
from pipeline.commands import status
from pipeline.ingest.land import land
from pipeline.lake import Lake
from pipeline.schemas.base import Table
from pipeline.schemas.ledger import COST
from pipeline.schemas.lineage import FINDINGS, SNAPSHOTS, SOURCES
from pipeline.schemas.records import TREATMENT
from pipeline.schemas.wells import WELLS as WELLS_TABLE
from pipeline.workspace import Workspace, open_workspace
from tests.builders import TREATMENT_MAP, WELLS, WELLS_MAP, put, record_csv, workspace
from tests.ingest.test_door import COST_HEAD, COST_MAP

X, Y, Z = (record_csv(n, f"2025-03-0{n // 10} 12:00:00", 4000.0 + n) for n in (40, 50, 60))
A = "Saltgrass 3H stage {}.csv"


def make(folder: Path, files: dict[str, str], **maps: str) -> Workspace:
    space = workspace(
        folder, {"records": TREATMENT_MAP, "wells": WELLS_MAP, **maps}, {"tables/wells.csv": WELLS, **files}
    )
    steps.run_ingest(space)
    return space


def rows(space: Workspace) -> pl.DataFrame:
    frame = Lake(space.lake).scan(TREATMENT).drop("source_id").collect()
    return frame.sort("well_id", "stage", "time")


def settles_as_clean(space: Workspace, tmp_path: Path, runs: int = 1) -> None:
    """After some ingests all rows are those of a clean one, and a further ingest changes nothing."""
    for _ in range(runs):
        steps.run_ingest(space)
    clean = tmp_path / "clean"
    shutil.copytree(space.root, clean, ignore=shutil.ignore_patterns("lake", "out", ".heelward"))
    steps.run_ingest(open_workspace(clean))
    assert_frame_equal(rows(space), rows(open_workspace(clean)))
    assert not steps.run_ingest(space).changed
    lake = Lake(space.lake)
    landed = lake.scan(SOURCES).filter(state="landed", lands="treatment").collect()
    assert landed["path"].is_unique().all()
    assert landed["rows_landed"].sum() == rows(space).height == lake.scan_raw(TREATMENT).collect().height


def swap(space: Workspace) -> None:
    put(space.root, A.format(1), Y)
    put(space.root, A.format(2), X)


def shift(space: Workspace) -> None:
    put(space.root, A.format(1), Y)
    put(space.root, A.format(2), Z)


def rotate(space: Workspace) -> None:
    put(space.root, A.format("1 old"), X)
    put(space.root, A.format(1), Z)


def revise_alike(space: Workspace) -> None:
    put(space.root, A.format("1 rev2"), X)


def rename(space: Workspace) -> None:
    (space.root / "landing" / A.format(1)).rename(space.root / "landing" / A.format("1 final"))


def rename_and_edit(space: Workspace) -> None:
    rename(space)
    put(space.root, A.format("1 final"), X.replace("4050.0", "4051.0"))


def correct_the_stage(space: Workspace) -> None:
    (space.root / "landing" / A.format(1)).rename(space.root / "landing" / A.format(3))


def touch(space: Workspace) -> None:
    put(space.root, A.format(1), X)
    put(space.root, "Saltgrass 3H stage 1 again.csv", X)


CHANGES: list[Callable[[Workspace], None]] = [
    swap, shift, rotate, revise_alike, rename, rename_and_edit, correct_the_stage, touch,
]  # fmt: skip


@pytest.mark.parametrize("change", CHANGES)
def test_files_swapped_shifted_rotated_renamed_or_revised(tmp_path: Path, change: Callable[[Workspace], None]) -> None:
    space = make(tmp_path / "w", {A.format(1): X, A.format(2): Y})
    change(space)
    settles_as_clean(space, tmp_path)


def test_a_revision_that_is_taken_away(tmp_path: Path) -> None:
    space = make(tmp_path / "w", {A.format(1): X, A.format("1 rev2"): X.replace("4050.0", "4051.0")})
    (space.root / "landing" / A.format("1 rev2")).unlink()
    settles_as_clean(space, tmp_path)


def test_a_copy_lands_once_its_twin_holds_something_else(tmp_path: Path) -> None:
    space = make(tmp_path / "w", {A.format(1): X, A.format(2): X})
    put(space.root, A.format(1), Y)
    settles_as_clean(space, tmp_path)
    assert rows(space)["stage"].unique().sort().to_list() == [1, 2]


def test_a_copy_of_a_file_that_was_set_aside_lands(tmp_path: Path) -> None:
    space = make(tmp_path / "w", {A.format(0): X, A.format(1): X})
    assert rows(space).height == 40


def test_the_border_between_two_parts_moves(tmp_path: Path) -> None:
    head, units, *lines = record_csv(60).splitlines()

    def part(first: int, last: int) -> str:
        return "\n".join([head, units, *lines[first:last]]) + "\n"

    space = make(tmp_path / "w", {A.format("1 a"): part(0, 30), A.format("1 b"): part(30, 60)})
    put(space.root, A.format("1 a"), part(0, 40))
    put(space.root, A.format("1 b"), part(40, 60))
    settles_as_clean(space, tmp_path)
    assert rows(space).height == 60


@pytest.mark.parametrize("removed", [True, False])
def test_a_conflict_is_judged_again_when_the_other_file_changes_or_goes(tmp_path: Path, removed: bool) -> None:
    space = make(tmp_path / "w", {A.format("1 a"): X, A.format("1 b"): X.replace("4050.0", "4051.0")})
    assert rows(space).height == 40
    assert not steps.run_ingest(space).changed
    (path,) = Lake(space.lake).scan(SOURCES).filter(state="landed", lands="treatment").collect()["path"]
    if removed:
        (space.root / path).unlink()
    else:
        (space.root / path).write_text(Z, encoding="utf-8")
    settles_as_clean(space, tmp_path)
    assert rows(space).height == (40 if removed else 100)


def test_a_table_under_another_name_corrects_what_landed(tmp_path: Path) -> None:
    pad_zone = TREATMENT_MAP.replace('zone = "UTC"', 'zone = "pad"')
    space = make(tmp_path / "w", {A.format(1): X}, records=pad_zone)
    (space.root / "landing" / "tables" / "wells.csv").unlink()
    maps = space.root / "maps" / "wells.toml"
    maps.write_text(maps.read_text(encoding="utf-8").replace("wells.csv", "wells*.csv"), encoding="utf-8")
    put(space.root, "tables/wells_v2.csv", WELLS.replace("America/Denver", "America/Chicago"))
    steps.run_ingest(space)
    assert Lake(space.lake).scan(WELLS_TABLE).collect()["time_zone"].to_list() == ["America/Chicago"]
    assert rows(space)["time"][0] == datetime(2025, 3, 4, 18, tzinfo=UTC)
    assert not steps.run_ingest(space).changed


@pytest.mark.parametrize("table", [TREATMENT, WELLS_TABLE, SOURCES, FINDINGS, SNAPSHOTS])
@pytest.mark.parametrize("harm", ["file gone", "file cut off", "log emptied"])
def test_a_damaged_lake_is_told_and_made_whole(tmp_path: Path, table: Table, harm: str) -> None:
    space = make(tmp_path / "w", {A.format(1): X, A.format(2): Y.replace("4060.0", "n/a")})
    before = rows(space)
    folder = Path(Lake(space.lake).uri(table))
    if harm == "log emptied":
        for path in (folder / "_delta_log").glob("*.json"):
            path.write_text("", encoding="utf-8")
    for path in folder.rglob("*.parquet") if harm != "log emptied" else ():
        path.unlink() if harm == "file gone" else path.write_bytes(path.read_bytes()[:50])
    assert f"'{table.name}'" in status.describe(space)
    report = steps.run_ingest(space)
    assert table.name in report.restored
    assert_frame_equal(rows(space), before)
    assert Lake(space.lake).scan(FINDINGS).collect().height == 1
    assert "damaged" not in status.describe(space)
    assert not steps.run_ingest(space).changed


def test_a_file_that_is_changed_while_its_rows_are_gone_is_on_record_once(tmp_path: Path) -> None:
    space = make(tmp_path / "w", {A.format(1): X})
    for path in Path(Lake(space.lake).uri(TREATMENT)).rglob("*.parquet"):
        path.unlink()
    put(space.root, A.format(1), Y)
    settles_as_clean(space, tmp_path)


def test_an_offset_in_the_start_time_counts(tmp_path: Path) -> None:
    start = 'start = { pattern = \'^start (?P<start>.+)$\', format = "%Y-%m-%d %H:%M:%S %z", zone = "UTC" }'
    elapsed = TREATMENT_MAP.replace('format = "%Y-%m-%d %H:%M:%S", zone = "UTC" }', f'unit = "s", {start} }}').replace(
        "units_row = 2", "header_row = 2"
    )
    text = "start 2025-03-01 12:00:00 -0600\nTime,Pressure,Rate,Conc\n0,5000,40,1\n1,5001,40,1\n"
    space = make(tmp_path / "w", {A.format(1): text}, records=elapsed)
    assert rows(space)["time"][0] == datetime(2025, 3, 1, 18, tzinfo=UTC)


def test_an_offset_in_each_time_counts_once(tmp_path: Path) -> None:
    offset = TREATMENT_MAP.replace('%S"', '%S%z"').replace('zone = "UTC"', 'zone = "America/Denver"')
    lines = record_csv(20).splitlines()
    text = "\n".join([*lines[:2], *(line.replace(",", "-0700,", 1) for line in lines[2:])]) + "\n"
    space = make(tmp_path / "w", {A.format(1): text}, records=offset)
    assert rows(space)["time"][0] == datetime(2025, 3, 1, 19, tzinfo=UTC)


def test_two_wells_in_one_file_each_have_their_own_autumn_night(tmp_path: Path) -> None:
    both = TREATMENT_MAP.replace("name_pattern = '^(?P<well>.+?) stage (?P<stage>\\d+)'\n", "").replace(
        "[columns]", '[columns]\nwell_id = { column = "Well" }\nstage = { column = "Stage" }'
    ).replace('"set aside"', '"create"').replace('zone = "UTC"', 'zone = "America/Denver"')  # fmt: skip
    night = pl.datetime_range(
        datetime(2023, 11, 5, 6, 30), datetime(2023, 11, 5, 9, 30), "1m", time_zone="UTC", eager=True, closed="left"
    ).dt.convert_time_zone("America/Denver").dt.strftime("%Y-%m-%d %H:%M:%S")  # fmt: skip
    lines = [f"{time},5000,40,1,{well},1" for well in ("a", "b") for time in night]
    text = "Time,Pressure,Rate,Conc,Well,Stage\n,psi,bpm,ppa,,\n" + "\n".join(lines) + "\n"
    space = make(tmp_path / "w", {"both.csv": text}, records=both)
    for well in ("a", "b"):
        times = rows(space).filter(well_id=well)["time"]
        assert len(times) == 180
        assert (times[0], times[-1]) == (
            datetime(2023, 11, 5, 6, 30, tzinfo=UTC), datetime(2023, 11, 5, 9, 29, tzinfo=UTC),
        )  # fmt: skip


@pytest.mark.parametrize(
    ("void", "cell"), [('"-999.25"', "-999.250"), ("-99999.25", "-99999.25"), ("-999.25", "-9.9925e2")]
)
def test_a_void_number_is_void_however_it_is_written(tmp_path: Path, void: str, cell: str) -> None:
    source = COST_MAP.replace("[columns]", f"void_values = [{void}]\n[columns]", 1)
    text = COST_HEAD + f"Saltgrass 3H,1,2025-03-01,plugs,accrued,{cell}\nSaltgrass 3H,2,2025-03-01,plugs,accrued,5\n"
    space = workspace(
        tmp_path, {"cost": source, "wells": WELLS_MAP}, {"tables/wells.csv": WELLS, "tables/cost.csv": text}
    )
    assert not land(space, Lake(space.lake)).set_aside
    assert Lake(space.lake).scan(COST).sort("line").collect()["amount"].to_list() == [None, 5.0]
    assert Lake(space.lake).scan(FINDINGS).collect().is_empty()
