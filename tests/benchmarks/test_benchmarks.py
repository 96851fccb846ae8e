"""The benchmarks still run. What they print is not judged here: machines differ."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.benchmarks import run


@pytest.mark.turn
def test_benchmarks_run_on_a_small_lake(tmp_path: Path) -> None:
    lines = [
        run.landing(tmp_path / "landing", 1),
        run.bounding(200),
        run.coil_measuring(tmp_path / "coil", 2),
        run.helping(),
    ]
    assert " x " in lines[0].line()


@pytest.mark.long
def test_the_slower_benchmarks_run(tmp_path: Path) -> None:
    run.modelling(600, 12)
    assert len(list(run.measuring(tmp_path / "measuring", 13))) == 2
    assert "peak" in run.large_file(tmp_path / "large", 9).line()
    assert all(result.seconds > 0.0 for result in run.refreshing(tmp_path / "measuring"))
