"""A run at scale: many stages as files, through every step. Run with `python -m tests.benchmarks.scale`.

The campaign of the sample workspace is copied under other pads' names until it has as many stages; each step runs in a
process of its own, whose time and memory (with that of its workers) are printed. Not a test, and not part of
`tests.benchmarks.run`: 10,000 stages need 30 GB of disk.
"""

from __future__ import annotations

import argparse
import re
import shutil
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path

import polars as pl
import psutil
import xlsxwriter

from pipeline.demo.basin import PADS
from pipeline.demo.build import FULL, lay_out
from pipeline.lake import Lake
from pipeline.schemas.records import TREATMENT
from pipeline.workspace import Workspace, open_workspace
from tests.benchmarks.run import broad_lake

STEPS = ("ingest", "measure", "fit", "report")
_NAMES = re.compile(
    "|".join(re.escape(name) for pad in PADS for name in (pad, pad.upper(), pad.lower().replace(" ", "-")))
)
_NUMBERS = re.compile(r"\b99-(?=\d{3}-\d{5})")


def renamed(text: str, copy: int) -> str:
    """Return a text in which pads, and so their wells, have the names of a copy."""

    def tagged(found: re.Match[str]) -> str:
        name = found[0]
        return f"{name}-c{copy:03d}" if name.islower() else f"{name} {'C' if name.isupper() else 'c'}{copy:03d}"

    return _NUMBERS.sub(f"99-{copy:03d}", _NAMES.sub(tagged, text))


def multiply(folder: Path, stages: int) -> Workspace:
    """Lay out copies of the campaign until there are that many stages; coil records only those of the first copy."""
    lay_out(folder / "one", FULL)
    space = folder / "many"
    shutil.copytree(folder / "one", space, ignore=shutil.ignore_patterns("landing"))
    given, target = folder / "one" / "landing", space / "landing"
    records = sorted(path for path in (given / "treatment").rglob("*") if path.is_file())
    shutil.copytree(given / "coil", target / "coil")
    (target / "tables").mkdir(parents=True)
    copies = -(-stages // 355)
    for path in sorted((given / "tables").glob("*.csv")):
        head, *rows = path.read_text(encoding="utf-8").splitlines(keepends=True)
        parts = (renamed("".join(rows), copy) if copy else "".join(rows) for copy in range(copies))
        (target / "tables" / path.name).write_text(head + "".join(parts), encoding="utf-8")
    _designs(given / "tables" / "designs.xlsx", target / "tables" / "designs.xlsx", copies)
    for path in records:
        text = path.read_text(encoding="utf-8")
        place = target / path.relative_to(given).parent
        place.mkdir(parents=True, exist_ok=True)
        for copy in range(copies):
            name = renamed(path.name, copy) if copy else path.name
            # no two files have the same content: it names them
            (place / name).write_text(renamed(text, copy) + "\n" * copy if copy else text, encoding="utf-8")
    shutil.rmtree(folder / "one")
    return open_workspace(space)


def _designs(path: Path, target: Path, copies: int) -> None:
    with xlsxwriter.Workbook(target) as book:
        for name, frame in pl.read_excel(path, sheet_id=0).items():
            parts = [
                frame.with_columns(pl.col("well").map_elements(lambda well, c=copy: renamed(well, c), pl.String))
                for copy in range(1, copies)
            ]
            pl.concat([frame, *parts]).write_excel(book, name, autofit=False)


def watched(folder: Path, step: str) -> tuple[float, float]:
    """Run a step in a process of its own; return its time [s] and the peak of the memory of it and its workers [MB].

    Memory that belongs to a process alone: pages of the lake's files that several map are the system's.
    """
    command = [sys.executable, "-m", "pipeline.cli", "--quiet", step, "--workspace", str(folder)]
    begin, peak, done = time.perf_counter(), 0, threading.Event()
    with subprocess.Popen(command) as run:

        def watch() -> None:
            nonlocal peak
            while not done.wait(0.2):
                peak = max(peak, _held(psutil.Process(run.pid)))

        thread = threading.Thread(target=watch)
        thread.start()
        status = run.wait()
        done.set()
        thread.join()
    if status:
        raise SystemExit(f"{step} ended with {status}")
    return time.perf_counter() - begin, peak / 1e6


def _held(process: psutil.Process) -> int:
    total = 0
    try:
        for one in (process, *process.children(recursive=True)):
            total += one.memory_full_info().uss
    except psutil.Error:  # it has ended
        pass
    return total


def _size(folder: Path) -> float:
    return sum(path.stat().st_size for path in folder.rglob("*") if path.is_file()) / 1e6


def timed_steps(space: Workspace, named: str, steps: tuple[str, ...] = STEPS) -> None:
    """Run steps and print a line each."""
    for step in steps:
        took, peak = watched(space.root, step)
        print(f"{named}: {step:8} {took:8.1f} s, {peak:7,.0f} MB at the most", flush=True)


def by_files(folder: Path, stages: int) -> None:
    """Take files through every step, then one more stage."""
    space = multiply(folder, stages)
    raw = _size(space.root / "landing")
    named = f"{stages:,} stages"
    print(f"{named}: {raw:,.0f} MB of files", flush=True)
    timed_steps(space, named)
    rows = Lake(space.lake).condition(TREATMENT).rows
    print(
        f"{named}: {rows:,} samples; lake {_size(Path(space.lake)):,.0f} MB, out {_size(space.out):,.0f} MB", flush=True
    )
    _add_stage(space, 60)
    timed_steps(space, f"{named} and one more")
    for stage in (61, 62, 63):
        _add_stage(space, stage)
        timed_steps(space, f"{named} and one more", ("refresh",))
    timed_steps(space, f"{named}, nothing new", ("refresh",))


def _add_stage(space: Workspace, stage: int) -> None:
    """Add one more stage of the first well: the record of another one, as many weeks later as there are more than 59."""
    source = sorted((space.root / "landing" / "treatment" / "larkspoke").glob("*stage 01.csv"))[0]
    text = source.read_text(encoding="utf-8").splitlines(keepends=True)

    def later(found: re.Match[str]) -> str:
        day = datetime.strptime(found[0], "%d/%m/%Y") + timedelta(weeks=stage - 59)
        return f"{day:%d/%m/%Y}"

    moved = "".join(re.sub(r"^\d\d/\d\d/\d{4}", later, line) for line in text)
    source.with_name(re.sub(r"stage \d+", f"stage {stage}", source.name)).write_text(moved, encoding="utf-8")


def by_rows(folder: Path, stages: int) -> None:
    """Take measured rows, without samples, through fit and report."""
    space = broad_lake(folder, stages)
    named = f"{stages:,} stages of metrics"
    print(f"{named}: lake {_size(Path(space.lake)):,.0f} MB", flush=True)
    for table in ("comparisons", "model_cards", "predictions"):
        shutil.rmtree(Path(space.lake) / table, ignore_errors=True)
    timed_steps(space, named, ("fit", "report"))


def main() -> None:
    """Run what is asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--stages", type=int, nargs="*", default=[1000, 10_000], help="stages that are landed as files")
    parser.add_argument("--rows", type=int, nargs="*", default=[100_000], help="stages of measured rows")
    parser.add_argument("--folder", type=Path, help="a folder with room enough; default: a temporary one")
    given = parser.parse_args()
    runs: list[tuple[Callable[[Path, int], None], int]] = [(by_files, stages) for stages in given.stages]
    runs += [(by_rows, stages) for stages in given.rows]
    for run, stages in runs:
        with tempfile.TemporaryDirectory(dir=given.folder) as folder:
            run(Path(folder), stages)


if __name__ == "__main__":
    main()
