"""Two workers of a Dask cluster with one thread each, against one, on this machine: `python -m tests.benchmarks.workers`."""

from __future__ import annotations

import argparse
import shutil
import tempfile
import time
from pathlib import Path

from pipeline.lake import Lake
from pipeline.metrics.measure import measure
from pipeline.parallel import cluster
from tests.benchmarks.run import long_lake


def measuring(lake: Lake, count: int, repeats: int = 3) -> float:
    """Return the shortest time in which a number of workers measures a lake, when they are warm. [s]"""
    from distributed import LocalCluster

    times = []
    with LocalCluster(
        n_workers=count, threads_per_worker=1, processes=True, dashboard_address=None, silence_logs=50
    ) as made:
        for _ in range(repeats + 1):
            for table in ("picks", "stage_metrics", "findings"):
                shutil.rmtree(Path(lake.root) / table, ignore_errors=True)
            with cluster(made.scheduler_address) as workers:
                begin = time.perf_counter()
                measure(lake, "UTC", workers=workers)
                times.append(time.perf_counter() - begin)
    return min(times[1:])


def main() -> None:
    """Print times and ratio."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--stages", type=int, default=1000)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        lake = Lake(long_lake(Path(folder) / "lake", given.stages).lake)
        one, two = measuring(lake, 1), measuring(lake, 2)
        print(
            f"measuring {given.stages:,} stages: one worker {one:.2f} s, two {two:.2f} s: {one / two:.2f} x (goal 1.7 x)"
        )


if __name__ == "__main__":
    main()
