"""Workspaces that several tests share; nothing depends on the working directory."""

from __future__ import annotations

import os
import pickle
import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

import duckdb
import hypothesis
import pytest
from filelock import FileLock
from threadpoolctl import threadpool_limits

from pipeline import queries, resources, steps
from pipeline.demo.build import FULL, lay_out
from pipeline.demo.campaign import Truth
from pipeline.ingest.land import Landed
from pipeline.lake import Lake
from pipeline.report import charts
from pipeline.report.build import Built
from pipeline.workspace import SETTINGS_FILE, Workspace, open_workspace
from tests.forked import READY

# machines differ, and the first call of a compiled function compiles it
hypothesis.settings.register_profile("heelward", deadline=None)
hypothesis.settings.load_profile("heelward")
Made = TypeVar("Made")


SLOWEST = (
    "flows/test_serve.py", "ingest/test_kill.py", "test_cli.py", "report/test_browser.py", "test_terminal.py",
    "report/test_editions.py", "report/test_report.py", "metrics/test_amendments.py", "metrics/test_measure.py",
    "report/test_mask.py", "ingest/test_door.py", "test_packaging.py", "models/test_simulations.py", "lake/test_marts.py",
    "ingest/test_two_runs.py", "test_locks.py", "plan/test_plan.py", "test_sql.py",
)  # fmt: skip
"""Files that take longest, longest first: begun last, one of them would keep one process busy while the others wait."""


def pytest_addoption(parser: pytest.Parser) -> None:
    """Add the option that selects a part of the heavy tests."""
    parser.addoption("--turn", metavar="N/M", help="With -m turn: run every Mth heavy test, from the Nth on.")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Keep the heavy tests whose turn it is; begin with the slowest files where several processes share the tests."""
    if asked := config.getoption("--turn"):
        number, every = map(int, asked.split("/"))
        heavy = sorted(item.nodeid for item in items if item.get_closest_marker("turn"))
        kept = set(heavy[number - 1 :: every])
        items[:] = [item for item in items if item.nodeid in kept]
    if "PYTEST_XDIST_WORKER" not in os.environ:
        return
    here = Path(__file__).parent

    def place(item: pytest.Item) -> int:
        name = item.path.relative_to(here).as_posix() if item.path.is_relative_to(here) else ""
        return SLOWEST.index(name) if name in SLOWEST else len(SLOWEST)

    items.sort(key=place)


@dataclass(frozen=True)
class Fitted:
    """The full sample campaign, landed, measured and fitted, with what was planted."""

    workspace: Workspace
    lake: Lake
    truth: Truth
    landed: Landed


@dataclass(frozen=True)
class Campaign(Fitted):
    """The same with its report."""

    report: Built


@pytest.fixture(scope="session", autouse=True)
def one_thread() -> Iterator[None]:
    """Tests run side by side: the threads of one process would wait for those of the other."""
    with threadpool_limits(1):
        yield


@pytest.fixture(scope="session", autouse=True)
def checked_charts() -> None:
    """Every chart that a test draws is held against the schema."""
    charts.CHECKED = True


def _once(tmp_path_factory: pytest.TempPathFactory, name: str, make: Callable[[Path], Made]) -> Made:
    """Make something once for all processes that tests run in: the first to come makes it, the others wait for it.

    HEELWARD_SHARED_CAMPAIGN names a folder that several runs of the tests share.
    """
    shared = tmp_path_factory.getbasetemp()
    shared = shared.parent if "PYTEST_XDIST_WORKER" in os.environ else shared
    shared = Path(os.environ.get("HEELWARD_SHARED_CAMPAIGN", shared))
    made = shared / f"{name}.pickle"
    with FileLock(shared / f"{name}.lock"):
        if not made.exists():
            part = shared / f"{name}.part"
            part.write_bytes(pickle.dumps(make(shared / "campaign")))
            part.replace(made)
        found: Made = pickle.loads(made.read_bytes())
    return found


def _fit(folder: Path) -> Fitted:
    truth, landed = prepared(folder)
    workspace = open_workspace(folder)
    steps.run_measure(workspace)
    steps.run_fit(workspace)
    return Fitted(workspace, steps.open_lake(workspace), truth, landed)


def prepared(folder: Path) -> tuple[Truth, Landed]:
    """Lay out and land the campaign in a folder, or copy one that is prepared; what is done is not done again."""
    if ready := os.environ.get(READY):
        shutil.copytree(Path(ready) / "campaign", folder)
        found: tuple[Truth, Landed] = pickle.loads((Path(ready) / "truth.pickle").read_bytes())
        return found
    truth = lay_out(folder, FULL)
    return truth, steps.run_ingest(open_workspace(folder))


@pytest.fixture(scope="session")
def fitted(tmp_path_factory: pytest.TempPathFactory) -> Fitted:
    """The campaign without its report."""
    return _once(tmp_path_factory, "fitted", _fit)


@pytest.fixture(scope="session")
def campaign(tmp_path_factory: pytest.TempPathFactory, fitted: Fitted) -> Campaign:
    """The campaign with its report."""
    return _once(
        tmp_path_factory, "campaign", lambda _: Campaign(**vars(fitted), report=steps.run_report(fitted.workspace))
    )


@pytest.fixture(scope="session")
def lake_sql(fitted: Fitted) -> duckdb.DuckDBPyConnection:
    """One connection to the campaign's marts and tables for all tests of a process that only read."""
    return queries.connect(fitted.lake)


def copy_sample(folder: Path) -> Workspace:
    """Copy the committed sample workspace: one well, three stages, one coil run."""
    shutil.copytree(resources.folder("sample_lake"), folder, ignore=shutil.ignore_patterns("lake", "out", ".heelward"))
    settings = folder / SETTINGS_FILE
    lines = settings.read_text(encoding="utf-8").splitlines(keepends=True)
    settings.write_text("".join(line for line in lines if not line.startswith("beside")), encoding="utf-8")
    return open_workspace(folder)


@pytest.fixture
def slice_workspace(tmp_path: Path) -> Workspace:
    """A copy of the sample workspace, with nothing landed."""
    return copy_sample(tmp_path / "slice")


@pytest.fixture(scope="session")
def measured_sample(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The sample workspace, landed and measured; tests copy it."""
    folder = tmp_path_factory.mktemp("measured") / "slice"
    workspace = copy_sample(folder)
    steps.run_ingest(workspace)
    steps.run_measure(workspace)
    return folder


@pytest.fixture
def measured_slice(measured_sample: Path, tmp_path: Path) -> Workspace:
    """A copy of the sample workspace, landed and measured."""
    return open_workspace(shutil.copytree(measured_sample, tmp_path / "slice"))
