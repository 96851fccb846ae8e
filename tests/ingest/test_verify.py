"""What is on record as landed is in the lake: what is lost is found and landed again, what is left over is swept."""

from __future__ import annotations

from pathlib import Path

import polars as pl

from pipeline import steps
from pipeline.commands import status
from pipeline.ingest import verify as verifying
from pipeline.lake import Lake
from pipeline.schemas.lineage import FINDINGS, SOURCES
from pipeline.schemas.records import TREATMENT
from pipeline.workspace import Workspace
from tests.builders import TREATMENT_MAP, WELLS, WELLS_MAP, record_csv, workspace


def landed(folder: Path) -> tuple[Workspace, Lake]:
    files: dict[str, str | bytes] = {"tables/wells.csv": WELLS}
    files |= {f"Saltgrass 3H stage {n}.csv": record_csv(400, f"2025-03-0{n} 12:00:00") for n in (1, 2, 3)}
    files["Saltgrass 3H stage 2.csv"] = record_csv(400, "2025-03-02 12:00:00").replace("5100.0", "n/a")
    space = workspace(folder, {"records": TREATMENT_MAP, "wells": WELLS_MAP}, files)
    steps.run_ingest(space)
    return space, Lake(space.lake)


def source_of(lake: Lake, stage: int) -> str:
    return str(lake.scan(SOURCES).filter(lands="treatment", number=stage).collect()["source_id"][0])


def test_lost_rows_are_found_by_status_and_landed_again(tmp_path: Path) -> None:
    space, lake = landed(tmp_path)
    before = lake.scan(TREATMENT).collect().sort("stage", "time")
    lake.replace(TREATMENT, TREATMENT.empty(), {"source_id": source_of(lake, 2)})
    said = status.describe(space)
    assert "incomplete: landing/Saltgrass 3H stage 2.csv" in said
    report = steps.run_ingest(space)
    assert report.incomplete == ["landing/Saltgrass 3H stage 2.csv"]
    assert report.landed == 1
    assert lake.scan(TREATMENT).collect().sort("stage", "time").equals(before)
    assert "incomplete" not in status.describe(space)


def test_a_lost_finding_brings_its_file_back_too(tmp_path: Path) -> None:
    space, lake = landed(tmp_path)
    assert lake.scan(FINDINGS).collect().height == 1
    lake.replace(FINDINGS, FINDINGS.empty(), {"source_id": source_of(lake, 2)})
    assert steps.run_ingest(space).incomplete == ["landing/Saltgrass 3H stage 2.csv"]
    assert lake.scan(FINDINGS).collect().height == 1


def test_a_lost_file_that_is_gone_is_set_aside_and_shows_no_half_rows(tmp_path: Path) -> None:
    space, lake = landed(tmp_path)
    rows = lake.scan(TREATMENT).filter(pl.col("stage") == 2).collect()
    lake.replace(TREATMENT, rows[:10], {"source_id": source_of(lake, 2)})
    (space.root / "landing" / "Saltgrass 3H stage 2.csv").unlink()
    steps.run_ingest(space)
    assert lake.scan(TREATMENT).collect()["stage"].unique().sort().to_list() == [1, 3]
    assert "put the file back" in status.describe(space)


def test_rows_that_no_source_names_are_swept(tmp_path: Path) -> None:
    space, lake = landed(tmp_path)
    stray = lake.scan(TREATMENT).filter(pl.col("stage") == 1).collect().with_columns(source_id=pl.lit("stray"))
    lake.replace(TREATMENT, stray, {"source_id": "stray"})
    assert lake.scan(TREATMENT).collect().height == 1200  # no reader sees them
    steps.run_ingest(space)
    assert lake.scan_raw(TREATMENT).collect().height == 1200


def test_a_lake_that_is_as_the_last_step_left_it_is_not_counted_again(tmp_path: Path) -> None:
    space, lake = landed(tmp_path)
    assert verifying.settled(lake, verifying.restore_tables(lake)[1])
    before = steps.versions(lake)
    assert not steps.run_ingest(space).changed
    assert steps.versions(lake) == before
    lake.replace(TREATMENT, TREATMENT.empty(), {"source_id": source_of(lake, 3)})
    assert not verifying.settled(lake, verifying.restore_tables(lake)[1])
