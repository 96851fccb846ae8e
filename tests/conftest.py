"""Workspaces that several tests share; nothing depends on the working directory."""

from __future__ import annotations

import shutil
from dataclasses import dataclass
from pathlib import Path

import pytest

from pipeline import resources, steps
from pipeline.demo import FULL, lay_out
from pipeline.lake import Lake
from pipeline.synthetic.campaign import Truth
from pipeline.workspace import Workspace, open_workspace


@dataclass(frozen=True)
class Campaign:
    """The full sample campaign, landed, measured, fitted and reported, with what was planted."""

    workspace: Workspace
    lake: Lake
    truth: Truth
    refreshed: steps.Refreshed


@pytest.fixture(scope="session")
def campaign(tmp_path_factory: pytest.TempPathFactory) -> Campaign:
    folder = tmp_path_factory.mktemp("campaign")
    truth = lay_out(folder, FULL)
    workspace = open_workspace(folder)
    refreshed = steps.refresh(workspace)
    return Campaign(workspace, steps.open_lake(workspace), truth, refreshed)


@pytest.fixture
def slice_workspace(tmp_path: Path) -> Workspace:
    """A copy of the committed sample workspace: one well, three stages, one coil run."""
    sample = resources.folder("sample_lake")
    folder = tmp_path / "slice"
    shutil.copytree(sample, folder, ignore=shutil.ignore_patterns("lake", "out", ".heelward"))
    return open_workspace(folder)
