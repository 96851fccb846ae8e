"""All steps on a cluster: a real scheduler and two worker processes on this machine give the same lake."""

from __future__ import annotations

import os
import shutil
import signal
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from pipeline import parallel, steps
from pipeline.demo.build import SMALL, lay_out
from pipeline.errors import HeelwardError
from pipeline.workspace import Workspace, open_workspace
from tests.builders import rows_of
from tests.command import heelward

pytestmark = [pytest.mark.turn, pytest.mark.filterwarnings("default")]


@pytest.fixture(scope="module")
def alone(tmp_path_factory: pytest.TempPathFactory) -> Workspace:
    """A small campaign, refreshed by one process."""
    folder = tmp_path_factory.mktemp("alone") / "team"
    lay_out(folder, SMALL)
    steps.refresh(open_workspace(folder))
    return open_workspace(folder)


@pytest.fixture
def workers() -> Iterator[tuple[str, list[int]]]:
    """A scheduler and two workers with one thread each: its address, and the workers' processes."""
    from distributed import LocalCluster

    with LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, silence_logs=50
    ) as cluster:
        yield cluster.scheduler_address, [worker.pid for worker in cluster.workers.values()]


def same_files(alone: Workspace, folder: Path) -> Workspace:
    """A workspace with the same files, and nothing landed."""
    shutil.copytree(alone.root, folder, ignore=shutil.ignore_patterns("lake", "out", ".heelward"))
    return open_workspace(folder)


def assert_equal(one: Workspace, other: Workspace) -> None:
    expected, found = rows_of(steps.open_lake(one)), rows_of(steps.open_lake(other))
    for name, frame in expected.items():
        assert frame.equals(found[name]), name
    pages = {path.relative_to(one.out) for path in (one.out / "audit").rglob("*.html")}
    assert pages == {path.relative_to(other.out) for path in (other.out / "audit").rglob("*.html")}
    assert len(pages) > 20


def test_a_cluster_gives_the_same_lake_and_pages(
    alone: Workspace, workers: tuple[str, list[int]], tmp_path: Path
) -> None:
    spread = same_files(alone, tmp_path / "team")
    done = heelward("refresh", "--cluster", workers[0], "-w", str(spread.root))
    assert done.returncode == 0, done.stderr
    assert_equal(alone, spread)


def test_a_lost_worker_loses_nothing(
    alone: Workspace, workers: tuple[str, list[int]], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    spread = same_files(alone, tmp_path / "team").on(workers[0])
    monkeypatch.setattr("pipeline.metrics.measure.WELLS_PER_TASK", 1)
    steps.run_ingest(spread)
    killed = threading.Timer(1.0, os.kill, (workers[1][0], signal.SIGKILL))
    killed.start()
    steps.run_measure(spread)
    killed.join()
    steps.run_fit(spread)
    steps.run_report(spread)
    assert_equal(alone, spread)


def test_what_is_wrong_with_a_cluster_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(parallel, "ANSWER_S", "1s")
    began = time.monotonic()
    told = pytest.raises(HeelwardError, match=r"no scheduler of a Dask cluster answers at tcp://127\.0\.0\.1:1")
    with told, parallel.cluster("tcp://127.0.0.1:1"):
        pass
    assert time.monotonic() - began < 10.0
    with pytest.raises(
        HeelwardError, match=r"1 worker\(s\) of the cluster at here have another version .*: 0.0.1 on a"
    ):
        parallel._refuse_other_versions({"a": "0.0.1", "b": parallel.__version__}, "here")
