"""Workspaces that several tests share; nothing depends on the working directory."""

from __future__ import annotations

import os
import pickle
import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import duckdb
import hypothesis
import pytest
from filelock import FileLock
from threadpoolctl import threadpool_limits

from pipeline import queries, resources, steps
from pipeline.demo.build import FULL, lay_out
from pipeline.demo.campaign import Truth
from pipeline.lake import Lake
from pipeline.workspace import SETTINGS_FILE, Workspace, open_workspace

# machines differ, and the first call of a compiled function compiles it
hypothesis.settings.register_profile("heelward", deadline=None)
hypothesis.settings.load_profile("heelward")


@dataclass(frozen=True)
class Campaign:
    """The full sample campaign, landed, measured, fitted and reported, with what was planted."""

    workspace: Workspace
    lake: Lake
    truth: Truth
    refreshed: steps.Refreshed


@pytest.fixture(scope="session", autouse=True)
def one_thread() -> Iterator[None]:
    """Tests run side by side: the threads of one process would wait for those of the other."""
    with threadpool_limits(1):
        yield


@pytest.fixture(scope="session")
def campaign(tmp_path_factory: pytest.TempPathFactory) -> Campaign:
    """Made once for all processes that tests run in: the first to come makes it, the others wait for it."""
    shared = tmp_path_factory.getbasetemp()
    shared = shared.parent if "PYTEST_XDIST_WORKER" in os.environ else shared
    made = shared / "campaign.pickle"
    with FileLock(shared / "campaign.lock"):
        if not made.exists():
            folder = shared / "campaign"
            truth = lay_out(folder, FULL)
            workspace = open_workspace(folder)
            refreshed = steps.refresh(workspace)
            part = shared / "campaign.part"
            part.write_bytes(pickle.dumps(Campaign(workspace, steps.open_lake(workspace), truth, refreshed)))
            part.replace(made)
        found: Campaign = pickle.loads(made.read_bytes())
    return found


@pytest.fixture(scope="session")
def lake_sql(campaign: Campaign) -> duckdb.DuckDBPyConnection:
    """One connection to the campaign's marts and tables for all tests of a process that only read."""
    return queries.connect(campaign.lake)


@pytest.fixture
def slice_workspace(tmp_path: Path) -> Workspace:
    """A copy of the committed sample workspace: one well, three stages, one coil run."""
    sample = resources.folder("sample_lake")
    folder = tmp_path / "slice"
    shutil.copytree(sample, folder, ignore=shutil.ignore_patterns("lake", "out", ".heelward"))
    settings = folder / SETTINGS_FILE
    lines = settings.read_text(encoding="utf-8").splitlines(keepends=True)
    settings.write_text("".join(line for line in lines if not line.startswith("beside")), encoding="utf-8")
    return open_workspace(folder)
