"""Two workers of a Dask cluster with one thread each, against one, on this machine: `python -m tests.benchmarks.workers`."""

from __future__ import annotations

import argparse
import shutil
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from unittest.mock import patch

import pipeline.metrics.measure as measuring_step
from pipeline.lake import Lake
from pipeline.parallel import cluster
from tests.benchmarks.run import long_lake


def measuring(lake: Lake, count: int, repeats: int = 3) -> tuple[float, float]:
    """Return the shortest time in which a number of warm workers measures a lake: the step, and its tasks alone. [s]

    Polars has one thread in each worker: else a single one would use both cores to read.
    """
    from distributed import LocalCluster

    steps, tasks = [], []
    whole = measuring_step.map_unordered

    def timed(*given: Any, **named: Any) -> Iterator[Any]:
        begin = time.perf_counter()
        results = list(whole(*given, **named))
        tasks.append(time.perf_counter() - begin)
        yield from results

    with (
        patch.object(measuring_step, "map_unordered", timed),
        LocalCluster(
            n_workers=count, threads_per_worker=1, processes=True, dashboard_address=None, silence_logs=50,
            env={"POLARS_MAX_THREADS": "1"},
        ) as made,
    ):  # fmt: skip
        for _ in range(repeats + 1):
            for table in ("picks", "stage_metrics", "findings"):
                shutil.rmtree(Path(lake.root) / table, ignore_errors=True)
            with cluster(made.scheduler_address) as workers:
                begin = time.perf_counter()
                measuring_step.measure(lake, "UTC", workers=workers)
                steps.append(time.perf_counter() - begin)
    return min(steps[1:]), min(tasks[1:])


def main() -> None:
    """Print times and ratio."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--stages", type=int, default=1000)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        lake = Lake(long_lake(Path(folder) / "lake", given.stages).lake)
        for what, one, two in zip(("step", "tasks alone"), measuring(lake, 1), measuring(lake, 2), strict=True):
            print(
                f"measuring {given.stages:,} stages, {what}: one worker {one:.2f} s, two {two:.2f} s: {one / two:.2f} x"
            )
        print("goal 1.7 x for the tasks")


if __name__ == "__main__":
    main()
