"""Two runs at once, with kills in either: at the end the lake is the one of a clean run."""

from __future__ import annotations

import random
import shutil
import time
from pathlib import Path

import pytest
from polars.testing import assert_frame_equal

from pipeline import steps
from pipeline.lake import Lake
from pipeline.schemas.lineage import SOURCES
from pipeline.schemas.records import TREATMENT
from pipeline.workspace import open_workspace
from tests.builders import forked, record_csv
from tests.ingest.test_kill import ingest_killed, rows, start


def ingest(folder: Path) -> None:
    steps.run_ingest(open_workspace(folder))


def clean(folder: Path, waiting: Path) -> dict[str, object]:
    shutil.copytree(waiting, folder)
    steps.run_ingest(open_workspace(folder))
    return dict(rows(Lake(open_workspace(folder).lake)))


def assert_as_clean(folder: Path, wanted: dict[str, object]) -> None:
    space = open_workspace(folder)
    steps.run_ingest(space)
    lake = Lake(space.lake)
    for name, frame in rows(lake).items():
        assert_frame_equal(frame, wanted[name])  # type: ignore[arg-type]
    counts = dict(lake.scan_raw(TREATMENT).group_by("source_id").len().collect().iter_rows())
    landed = lake.scan(SOURCES).filter(lands="treatment", state="landed").collect()
    assert counts == dict(landed.select("source_id", "rows_landed").iter_rows())
    assert not steps.run_ingest(space).changed


@pytest.mark.turn
def test_two_runs_one_killed_within_its_writes(tmp_path: Path) -> None:
    """The first is killed at a write, while the second waits for it."""
    waiting = tmp_path / "waiting"
    start(waiting)
    wanted = clean(tmp_path / "clean", waiting)
    for n, when in ((2, "after"), (4, "after"), (5, "before"), (7, "after")):
        folder = tmp_path / f"{n}{when}"
        shutil.copytree(waiting, folder)
        first, second = forked(ingest_killed, folder, n, when), forked(ingest, folder)
        first.join()
        second.join()
        assert first.exitcode in (137, 0)  # 0: the second was first, and left nothing to write
        assert second.exitcode == 0
        assert_as_clean(folder, wanted)


@pytest.mark.parametrize("rounds", [3, pytest.param(60, marks=pytest.mark.long)])
def test_two_runs_killed_at_random(tmp_path: Path, rounds: int) -> None:
    waiting = tmp_path / "waiting"
    start(waiting)
    for n in range(10, 20):
        path = waiting / "landing" / f"Saltgrass 3H stage {n}.csv"
        path.write_text(record_csv(30, f"2025-04-{n} 12:00:00"), encoding="utf-8")
    wanted = clean(tmp_path / "clean", waiting)
    rng = random.Random(11)
    for index in range(rounds):
        folder = tmp_path / str(index)
        shutil.copytree(waiting, folder)
        runs = [forked(ingest, folder) for _ in "ab"]
        time.sleep(rng.uniform(0.1, 2.0))
        for run in rng.sample(runs, rng.choice((1, 2))):
            run.kill()
            time.sleep(rng.uniform(0.0, 0.5))
        for run in runs:
            run.join()
        assert_as_clean(folder, wanted)
        shutil.rmtree(folder)


def test_an_amendment_during_a_run_waits_for_nothing(tmp_path: Path) -> None:
    from pipeline.ingest.amend import FILE, Amendment, write
    from pipeline.locks import held

    space = start(tmp_path / "w")
    with held(space.state / "run.lock", "refresh", 0.0):
        begun = time.monotonic()
        write(space.root, Amendment("saltgrass-3h", "stage", 1, "isip", 4000.0, None, "A", "looked", False), 0.0)
        assert time.monotonic() - begun < 5.0
    assert (space.root / FILE).read_text(encoding="utf-8").count("\n") == 2
