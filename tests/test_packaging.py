"""An installed wheel works as a checkout does and puts nothing else into site-packages."""

from __future__ import annotations

import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("wheel")
    subprocess.run(
        [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(folder)],
        cwd=ROOT,
        check=True,
        capture_output=True,
    )
    return next(folder.glob("*.whl"))


def test_wheel_holds_every_committed_file_of_the_product_and_no_other_top_level_name(wheel: Path) -> None:
    names = set(zipfile.ZipFile(wheel).namelist())
    assert {name.split("/")[0] for name in names} == {
        "pipeline",
        next(n.split("/")[0] for n in names if ".dist-info" in n),
    }
    listed = subprocess.run(
        ["git", "ls-files", "-z", "pipeline", "queries", "reports", "sample_lake"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    if listed.returncode != 0:
        pytest.skip("not a git checkout: the list of committed files is not known")
    wanted = {
        name if name.startswith("pipeline/") else f"pipeline/_assets/{name}"
        for name in listed.stdout.split("\0")
        if name
    }
    assert wanted <= names
    extra = {name for name in names - wanted if name.startswith("pipeline/")}
    assert not extra, extra


@pytest.mark.turn
def test_installed_wheel_builds_a_small_demo(wheel: Path, tmp_path: Path) -> None:
    site = tmp_path / "site"
    with zipfile.ZipFile(wheel) as archive:
        archive.extractall(site)
    environment = {**os.environ, "PYTHONPATH": str(site)}
    code = "import pipeline, sys; print(pipeline.__file__); from pipeline.cli import main; sys.argv = ['heelward', 'demo', '--small', 'demo']; main()"
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=tmp_path, env=environment, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    assert str(site) in done.stdout.splitlines()[0]
    assert (tmp_path / "demo" / "out" / "report.html").stat().st_size > 500_000


def test_wheel_declares_the_command(wheel: Path) -> None:
    archive = zipfile.ZipFile(wheel)
    entry = next(name for name in archive.namelist() if name.endswith("entry_points.txt"))
    assert "heelward = pipeline.cli:main" in archive.read(entry).decode()
