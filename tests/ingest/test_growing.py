"""A scheduled run lands a file only when it has stopped growing."""

from __future__ import annotations

import os
import time
from pathlib import Path

import pytest

from pipeline import steps
from pipeline.ingest import growing
from pipeline.schemas.records import TREATMENT
from pipeline.workspace import Workspace
from tests.builders import TREATMENT_MAP, record_csv, workspace

MAP = TREATMENT_MAP.replace('"set aside"', '"create"')


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> list[float]:
    """Seconds that have passed since the test began; the test adds to them."""
    passed, began = [0.0], time.time()
    monkeypatch.setattr(growing.time, "time", lambda: began + passed[0])
    return passed


def landed(space: Workspace) -> tuple[int, int, int]:
    """Land what is settled: files landed, files that wait, samples in the lake."""
    report = steps.run_ingest(space, only_settled=True)
    return report.landed, report.waiting, steps.open_lake(space).scan(TREATMENT).collect().height


def test_a_file_waits_until_it_keeps_its_size(tmp_path: Path, clock: list[float]) -> None:
    space = workspace(tmp_path, {"records": MAP}, {"Teal 1H stage 1.csv": record_csv(10)})
    file = space.landing[0] / "Teal 1H stage 1.csv"
    assert landed(space) == (0, 1, 0)
    clock[0] += 20.0
    assert landed(space) == (0, 1, 0), "not for long enough"
    file.write_text(record_csv(20), encoding="utf-8")
    clock[0] += 20.0
    assert landed(space) == (0, 1, 0), "it has grown: its time begins again"
    clock[0] += 31.0
    assert landed(space) == (1, 0, 20)
    assert landed(space) == (0, 0, 20)
    file.write_text(record_csv(30), encoding="utf-8")
    clock[0] += 5.0
    assert landed(space) == (0, 1, 20), "what is on record stays while the file grows"
    clock[0] += 31.0
    assert landed(space) == (1, 0, 30)


def test_a_clock_that_is_set_back_only_makes_a_file_wait_longer(tmp_path: Path, clock: list[float]) -> None:
    space = workspace(tmp_path, {"records": MAP}, {"Teal 1H stage 1.csv": record_csv(10)})
    assert landed(space)[1] == 1
    clock[0] -= 86_400.0
    assert landed(space)[1] == 1
    clock[0] += 31.0
    assert landed(space) == (1, 0, 10)


def test_old_files_and_those_that_a_person_lands_do_not_wait(tmp_path: Path) -> None:
    names = ("Teal 1H stage 1.csv", "Teal 1H stage 2.csv")
    files: dict[str, str | bytes] = {names[0]: record_csv(10), names[1]: record_csv(10, "2025-03-02 12:00:00")}
    space = workspace(tmp_path, {"records": MAP}, files)
    before = time.time() - 2.0 * growing.OLD_S
    os.utime(space.landing[0] / names[0], (before, before))
    assert landed(space) == (1, 1, 10)
    assert steps.run_ingest(space).landed == 1


def test_a_revision_that_still_grows_replaces_nothing(tmp_path: Path, clock: list[float]) -> None:
    space = workspace(tmp_path, {"records": MAP}, {"Teal 1H stage 1.csv": record_csv(10)})
    steps.run_ingest(space)
    (space.landing[0] / "Teal 1H stage 1 rev2.csv").write_text(record_csv(12), encoding="utf-8")
    assert landed(space) == (0, 1, 10)
    clock[0] += 31.0
    assert landed(space) == (1, 0, 12)
