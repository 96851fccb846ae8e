"""Kill the process before and after every write of an ingest: readers never see half a file, a re-run completes it."""

from __future__ import annotations

import os
import shutil
import time
from pathlib import Path
from typing import Any

import polars as pl
import pytest
from polars.testing import assert_frame_equal

from pipeline import steps
from pipeline.lake import Lake
from pipeline.schemas.lineage import FINDINGS, SOURCES
from pipeline.schemas.records import TREATMENT
from pipeline.schemas.wells import STAGES
from pipeline.schemas.wells import WELLS as WELLS_TABLE
from pipeline.workspace import Workspace, open_workspace
from tests.builders import TREATMENT_MAP, WELLS, WELLS_MAP, forked, put, record_csv, workspace
from tests.ingest.test_hostile_files import STAGES_MAP


def ingest_killed(folder: Path, n: int, when: str) -> None:
    """Run an ingest whose process ends, without any clean-up, before or after the n-th write; 0 lets it end."""
    original, count = Lake.replace, 0

    def replace(self: Lake, *given: Any, **named: Any) -> int:
        nonlocal count
        count += 1
        if when == "before" and count == n:
            os._exit(137)
        result = original(self, *given, **named)
        if when == "after" and count == n:
            os._exit(137)
        return result

    Lake.replace = replace  # type: ignore[method-assign]
    steps.run_ingest(open_workspace(folder))
    if when == "never":
        (folder / "writes").write_text(str(count), encoding="utf-8")


TABLES = (WELLS_TABLE, STAGES, TREATMENT, FINDINGS)


def start(folder: Path) -> Workspace:
    """A workspace with one landed state, and a second state that waits: new, corrected, revised, set-aside files."""
    maps = {"records": TREATMENT_MAP.replace('"set aside"', '"create"'), "wells": WELLS_MAP, "stages": STAGES_MAP}
    stages = "well,stage,crew,clusters\nSaltgrass 3H,1,A,8\n"
    files: dict[str, str | bytes] = {
        "tables/wells.csv": WELLS, "tables/stages.csv": stages,
        "Saltgrass 3H stage 1.csv": record_csv(40), "Saltgrass 3H stage 2.csv": record_csv(40, "2025-03-01 15:00:00"),
        "Heron 1H stage 1.csv": record_csv(30),
    }  # fmt: skip
    space = workspace(folder, maps, files)
    steps.run_ingest(space)
    put(folder, "tables/stages.csv", stages + "Saltgrass 3H,2,B,9\n")
    put(folder, "Saltgrass 3H stage 1.csv", record_csv(55, pressure=6000.0).replace("6005.0", "77777"))
    put(folder, "Saltgrass 3H stage 2 rev2.csv", record_csv(45, "2025-03-01 15:00:00", pressure=6100.0))
    put(folder, "Saltgrass 3H stage 3.csv", record_csv(20, "2025-03-01 18:00:00"))
    put(folder, "Otter 2H stage 1.csv", record_csv(25))
    put(folder, "Heron 1H stage 1.csv", record_csv(35, pressure=6200.0))
    put(folder, "broken stage 1.csv", "Time;Pressure\n")
    return space


def rows(lake: Lake) -> dict[str, pl.DataFrame]:
    found = {}
    for table in TABLES:
        frame = lake.scan(table).collect()
        found[table.name] = frame.sort([name for name in frame.columns if name != "source_id"], nulls_last=True)
    return found


def assert_whole(lake: Lake, before: pl.DataFrame, after: pl.DataFrame) -> None:
    """Every stage that a reader sees is wholly the old or wholly the new one, and every source is all there."""
    seen = lake.scan(TREATMENT).collect()
    sources = lake.scan(SOURCES).filter(pl.col("lands") == "treatment", pl.col("state") == "landed").collect()
    counts = dict(seen.group_by("source_id").len().iter_rows())
    assert counts == dict(sources.select("source_id", "rows_landed").iter_rows())
    for (well, stage), frame in seen.group_by("well_id", "stage"):
        this = (pl.col("well_id") == well) & (pl.col("stage") == stage)
        values = frame.sort("time")["treating_pressure_psi"].to_list()
        states = [state.filter(this).sort("time")["treating_pressure_psi"].to_list() for state in (before, after)]
        assert values in states, (well, stage)
    for well, stage in before.select("well_id", "stage").unique().iter_rows():
        assert seen.filter(well_id=well, stage=stage).height, f"{well} stage {stage} vanished"


@pytest.fixture(scope="module")
def states(
    tmp_path_factory: pytest.TempPathFactory,
) -> tuple[Path, dict[str, pl.DataFrame], dict[str, pl.DataFrame], int]:
    """The waiting workspace, its rows before and after an undisturbed ingest, and how many writes that takes."""
    folder = tmp_path_factory.mktemp("states") / "waiting"
    space = start(folder)
    before = rows(Lake(space.lake))
    undisturbed = folder.parent / "undisturbed"
    shutil.copytree(folder, undisturbed)
    done = forked(ingest_killed, undisturbed, 0, "never")
    done.join()
    assert done.exitcode == 0
    writes = int((undisturbed / "writes").read_text(encoding="utf-8"))
    return folder, before, rows(Lake(open_workspace(undisturbed).lake)), writes


@pytest.mark.turn
def test_a_kill_at_any_write_leaves_a_whole_lake_and_a_re_run_completes_it(
    states: tuple[Path, dict[str, pl.DataFrame], dict[str, pl.DataFrame], int], tmp_path: Path
) -> None:
    folder, before, after, writes = states
    assert writes >= 10
    moments = [(n, "before") for n in range(1, writes + 1)] + [(writes, "after")]  # after a write is before the next
    for n, when in moments:
        copy = tmp_path / f"{n}{when}"
        shutil.copytree(folder, copy)
        killed = forked(ingest_killed, copy, n, when)
        killed.join()
        assert killed.exitcode == 137
        lake = Lake(open_workspace(copy).lake)
        assert_whole(lake, before["treatment"], after["treatment"])
        steps.run_ingest(open_workspace(copy))
        for name, frame in rows(lake).items():
            assert_frame_equal(frame, after[name])
        assert lake.scan_raw(TREATMENT).collect().height == after["treatment"].height  # no orphan row is left


@pytest.mark.turn
def test_a_kill_at_any_moment_leaves_a_whole_lake(
    states: tuple[Path, dict[str, pl.DataFrame], dict[str, pl.DataFrame], int], tmp_path: Path
) -> None:
    """Inside a write too: the process is killed by the clock, wherever it is."""
    folder, before, after, _ = states
    for index in range(6):
        copy = tmp_path / str(index)
        shutil.copytree(folder, copy)
        child = forked(ingest_killed, copy, 0, "never")
        deadline = time.monotonic() + 30.0
        log = Path(open_workspace(copy).lake) / "stages" / "_delta_log"
        known = len(list(log.glob("*.json")))
        while len(list(log.glob("*.json"))) == known and child.is_alive() and time.monotonic() < deadline:
            time.sleep(0.002)
        time.sleep(0.03 * index)
        child.kill()
        child.join()
        lake = Lake(open_workspace(copy).lake)
        assert_whole(lake, before["treatment"], after["treatment"])
        steps.run_ingest(open_workspace(copy))
        for name, frame in rows(lake).items():
            assert_frame_equal(frame, after[name])
