"""The benchmarks still run. What they print is not judged here: machines differ."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.benchmarks import run


def test_benchmarks_run_on_a_small_lake(tmp_path: Path) -> None:
    lines = [
        run.landing(tmp_path / "landing", 1), run.large_file(tmp_path / "large", 9), run.modelling(600, 12), run.bounding(200), run.coil_measuring(tmp_path / "coil", 2),
        run.measuring(tmp_path / "measuring", 13), run.helping(),
    ]  # fmt: skip
    assert " x " in lines[0].line()
    assert "peak" in lines[1].line()


@pytest.mark.long
def test_the_benchmark_of_a_refresh_runs(tmp_path: Path) -> None:
    run.measuring(tmp_path / "measuring", 13)
    assert all(result.seconds > 0.0 for result in run.refreshing(tmp_path / "measuring"))
