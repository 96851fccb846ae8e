"""One run at a time: the second waits or is told who holds the workspace; a killed one holds nothing."""

from __future__ import annotations

import logging
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from pipeline import steps
from pipeline.errors import HeelwardError
from pipeline.lake import Lake, Lease
from pipeline.locks import held
from pipeline.schemas.lineage import SOURCES
from pipeline.schemas.records import TREATMENT
from pipeline.workspace import SETTINGS_FILE, open_workspace
from tests.builders import TREATMENT_MAP, WELLS, WELLS_MAP, record_csv, workspace

HOLD = """
import sys, time
from pathlib import Path
from pipeline.locks import held
with held(Path(sys.argv[1]), "measure", 0.0):
    print("held", flush=True)
    time.sleep(60)
"""


@contextmanager
def holder(path: Path) -> Iterator[subprocess.Popen[str]]:
    with subprocess.Popen([sys.executable, "-c", HOLD, str(path)], stdout=subprocess.PIPE, text=True) as child:
        assert child.stdout is not None
        assert child.stdout.readline() == "held\n"
        yield child
        child.kill()


def test_the_second_run_is_told_who_holds_the_workspace(tmp_path: Path) -> None:
    path = tmp_path / "run.lock"
    with holder(path) as child, pytest.raises(HeelwardError) as caught, held(path, "ingest", 0.2):
        pass
    assert f"`measure` (process {child.pid} on " in str(caught.value)
    assert "fix: run the command again when that run has ended" in str(caught.value)


def test_a_killed_run_leaves_no_lock_behind(tmp_path: Path) -> None:
    path = tmp_path / "run.lock"
    with holder(path) as child:
        os.kill(child.pid, signal.SIGKILL)
    with held(path, "ingest", 0.0):
        pass


def test_a_run_waits_and_says_so(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    path = tmp_path / "run.lock"
    with holder(path) as child:
        threading.Timer(1.2, child.kill).start()
        with caplog.at_level(logging.WARNING, logger="heelward"), held(path, "ingest", 30.0):
            pass
    assert "is in use by `measure`" in caplog.text


@pytest.mark.parametrize("step", ["ingest", "measure", "fit", "report"])
def test_every_step_holds_the_workspace(tmp_path: Path, step: str) -> None:
    space = workspace(tmp_path, {"wells": WELLS_MAP}, {"tables/wells.csv": WELLS})
    (tmp_path / SETTINGS_FILE).write_text('title = "Test"\nwait_s = 0.1\n', encoding="utf-8")
    with holder(space.state / "run.lock"), pytest.raises(HeelwardError, match="in use by `measure`"):
        getattr(steps, f"run_{step}")(open_workspace(tmp_path))


def test_two_workspaces_that_share_a_lake_take_turns(tmp_path: Path) -> None:
    space = workspace(tmp_path / "a", {"wells": WELLS_MAP}, {"tables/wells.csv": WELLS})
    shared = f'title = "Test"\nlake = "{tmp_path / "shared"}"\nwait_s = 0.1\n'
    (space.root / SETTINGS_FILE).write_text(shared, encoding="utf-8")
    (tmp_path / "shared").mkdir()
    with holder(tmp_path / "shared" / "run.lock"), pytest.raises(HeelwardError, match="the lake /"):
        steps.run_ingest(open_workspace(space.root))
    assert steps.run_ingest(open_workspace(space.root)).landed == 1


@pytest.mark.turn
def test_two_ingests_at_once_land_everything_once(tmp_path: Path) -> None:
    files: dict[str, str | bytes] = {"tables/wells.csv": WELLS}
    files |= {f"Saltgrass 3H stage {n}.csv": record_csv(30, f"2025-03-{n:02} 12:00:00") for n in range(1, 7)}
    space = workspace(tmp_path, {"records": TREATMENT_MAP, "wells": WELLS_MAP}, files)
    command = [sys.executable, "-m", "pipeline.cli", "refresh", "-w", str(space.root)]
    runs = [subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) for _ in range(2)]
    said = [run.communicate() for run in runs]
    assert [run.returncode for run in runs] == [0, 0], said
    assert sorted("6 landed" in out or "7 landed" in out for out, _ in said) == [False, True]
    assert Lake(space.lake).scan(TREATMENT).collect().height == 180


def test_a_lake_in_an_object_store_is_written_by_one_at_a_time(tmp_path: Path) -> None:
    uri, inside, most = f"file://{tmp_path}/lease", 0, 0
    gate = threading.Lock()

    def work() -> None:
        nonlocal inside, most
        with Lease(uri, {}, "ingest").held(60.0):
            with gate:
                inside += 1
                most = max(most, inside)
            time.sleep(0.05)
            with gate:
                inside -= 1

    threads = [threading.Thread(target=work) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert most == 1


def test_a_lease_that_gives_no_sign_ends(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    uri = f"file://{tmp_path}/lease"
    dead = Lease(uri, {}, "measure", expires_s=1.0)
    assert dead._take()
    with pytest.raises(HeelwardError, match="`measure`"), Lease(uri, {}, "fit").held(0.2):
        pass
    with Lease(uri, {}, "fit", expires_s=1.0).held(10.0) as taken:
        taken.check()
        time.sleep(1.0)
        with pytest.raises(HeelwardError, match="could not be renewed"):
            dead.check()  # what the other one would still have written is refused
    assert "without renewal for" in caplog.text


def test_ingest_into_a_url_takes_the_lease(tmp_path: Path) -> None:
    space = workspace(tmp_path / "a", {"wells": WELLS_MAP}, {"tables/wells.csv": WELLS})
    url = f"file://{tmp_path}/lake"
    (space.root / SETTINGS_FILE).write_text(f'title = "Test"\nlake = "{url}"\nwait_s = 0.1\n', encoding="utf-8")
    assert steps.run_ingest(open_workspace(space.root)).landed == 1
    other = Lease(f"{url}/lease", {}, "measure")
    with other.held(1.0), pytest.raises(HeelwardError, match="`measure`"):
        steps.run_ingest(open_workspace(space.root))
    assert Lake(url).scan(SOURCES).collect().height == 1
