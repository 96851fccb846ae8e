"""The sample workspace, built and run."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

from pipeline import resources, steps
from pipeline.demo.basin import CampaignSize
from pipeline.demo.campaign import Truth, generate
from pipeline.errors import HeelwardError
from pipeline.workspace import SETTINGS_FILE, open_workspace

FULL = CampaignSize()
PLAN_FILE = "next_pad.toml"
"""Candidate designs for the sample workspace's next pad."""
SLICE = CampaignSize(pads=1, stages=(3, 3), wells_per_pad=1, coil_step_s=5, toe_preparation=False)
"""The slice of raw files that is committed in ``sample_lake/landing``."""
SMALL = CampaignSize(pads=3, stages=(3, 4), wells_per_pad=2, coil_step_s=2)


def lay_out(folder: Path, plan: CampaignSize, progress: Callable[[str], None] | None = None) -> Truth:
    """Create the sample workspace's settings, maps and files in a folder; return the true values used."""
    sample = resources.folder("sample_lake")
    folder.mkdir(parents=True, exist_ok=True)
    shutil.copyfile(sample / SETTINGS_FILE, folder / SETTINGS_FILE)
    shutil.copyfile(sample / PLAN_FILE, folder / PLAN_FILE)
    (folder / "maps").mkdir(exist_ok=True)
    for path in sorted((sample / "maps").glob("*.toml")):
        shutil.copyfile(path, folder / "maps" / path.name)
    return generate(folder / "landing", plan, progress)


def build_demo(
    folder: Path, *, small: bool = False, progress: Callable[[int, int, str], None] | None = None
) -> steps.Refreshed:
    """Build the sample workspace and run all steps on it.

    Parameters
    ----------
    folder : Path
        A new or empty folder, or one created by an earlier demo.
    small : bool
        Three pads with short wells only.
    progress : callable, optional
        Called with (done, to do, what) for each step.

    Raises
    ------
    HeelwardError
        If the folder contains anything else.
    """
    marker = folder / ".heelward-demo"
    if folder.exists() and any(folder.iterdir()) and not marker.exists():
        raise HeelwardError(f"{folder} is not empty and not a demo folder: give another one, `heelward demo FOLDER`")
    if marker.exists():
        for name in ("landing", "lake", "out", "maps", ".heelward"):
            shutil.rmtree(folder / name, ignore_errors=True)
    folder.mkdir(parents=True, exist_ok=True)
    marker.touch()
    lay_out(folder, SMALL if small else FULL)
    return steps.refresh(open_workspace(folder), None if progress is None else lambda _step: progress)
