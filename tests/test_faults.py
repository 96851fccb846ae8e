"""Steps killed at their writes and at any moment, or refused to write: nothing is lost, doubled or half-landed; see `tests/faults.py`."""

from __future__ import annotations

import random
import threading
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from pipeline import steps
from pipeline.ingest.amend import FILE
from pipeline.metrics.measure import STAGE_METRICS
from pipeline.schemas.lineage import SNAPSHOTS
from pipeline.workspace import Workspace, open_workspace
from tests import faults
from tests.builders import forked


@pytest.fixture(scope="module")
def base(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return faults.made(tmp_path_factory.mktemp("faults") / "base")


@pytest.mark.turn
@pytest.mark.parametrize("step", faults.ORDER)
def test_a_step_that_is_killed_or_refused_a_write_and_run_again_leaves_what_an_undisturbed_one_does(
    base: Path, step: str, tmp_path: Path
) -> None:
    before, want, writes = faults.undisturbed(base, tmp_path, step)
    assert writes >= 2
    middle = (writes + 1) // 2
    for at in sorted({middle, writes}):
        faults.killed_at(before, want, step, at, "after" if at == writes else "before", tmp_path)
    assert faults.refused_at(before, want, step, 1, random.Random(step).choice(list(faults.REFUSALS)), tmp_path)
    faults.refused_at(before, want, step, faults.LIMITS[0], faults.LIMITED, tmp_path)


@pytest.mark.turn
def test_a_refresh_killed_at_any_moment_is_completed_by_the_next(base: Path, tmp_path: Path) -> None:
    begin = time.monotonic()
    before, want, _ = faults.undisturbed(base, tmp_path, "refresh")
    longest, generator = 0.5 * (time.monotonic() - begin), random.Random(5)
    running = [faults.killed_by_clock(before, want, generator.uniform(0.0, longest), tmp_path) for _ in range(4)]
    assert any(running)


@pytest.mark.turn
def test_an_amendment_during_a_refresh_is_in_the_next_one(base: Path) -> None:
    """It does not wait for the refresh, and none of the two loses what the other writes."""
    space = open_workspace(base)
    child = forked(faults.run_killed, base, "refresh", 0, "never")
    while child.is_alive() and not (space.state / "run.lock").exists():
        time.sleep(0.01)
    began = time.monotonic()
    faults.amended(space)
    assert time.monotonic() - began < space.settings.wait_s
    child.join()
    assert child.exitcode == 0
    steps.refresh(space)
    changed = steps.open_lake(space).scan(STAGE_METRICS).filter(pl.col("isip_confidence") == "amended").collect()
    assert changed["isip_psi"].to_list() == [3456.0] and (base / FILE).read_text(encoding="utf-8").count("fault") == 1


def test_a_clock_that_is_set_back_does_not_change_the_order_of_snapshots(
    slice_workspace: Workspace, monkeypatch: pytest.MonkeyPatch
) -> None:
    steps.run_ingest(slice_workspace)

    class Earlier(datetime):
        @classmethod
        def now(cls, tz: Any = None) -> datetime:
            return datetime.now(tz) - timedelta(days=30)

    monkeypatch.setattr(steps, "datetime", Earlier)
    steps.run_measure(slice_workspace)
    taken = steps.open_lake(slice_workspace).scan(SNAPSHOTS).sort("at").collect()
    assert taken["step"].to_list() == ["ingest", "measure"]
    assert taken["at"][1] <= datetime.now(UTC) + timedelta(seconds=1)


def test_a_lake_that_may_not_be_written_is_told_and_stays_as_it_is(
    slice_workspace: Workspace, monkeypatch: pytest.MonkeyPatch
) -> None:
    import errno

    from pipeline.errors import explained
    from pipeline.lake import store

    steps.run_ingest(slice_workspace)
    before = faults.rows_of(steps.open_lake(slice_workspace))

    def refuse(*_given: Any, **_named: Any) -> None:
        raise OSError(errno.EROFS, "Read-only file system")

    monkeypatch.setattr(store, "write_deltalake", refuse)
    monkeypatch.setattr(store.DeltaTable, "create", refuse)
    with pytest.raises(OSError) as caught:
        steps.run_measure(slice_workspace)
    assert "read-only" in explained(caught.value)
    monkeypatch.undo()
    after = faults.rows_of(steps.open_lake(slice_workspace))
    assert all(frame.equals(after[name]) for name, frame in before.items())
    assert steps.run_measure(slice_workspace).stages == 3
    assert not [thread for thread in threading.enumerate() if thread.name.startswith("heelward")]
