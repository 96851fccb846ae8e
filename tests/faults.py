"""Faults at any moment of any step: a run is killed, or its writes are refused from some moment on; then it is run
again. What is there equals what an undisturbed run leaves.

`tests/test_faults.py` runs it in short form. All of it: ``python -m tests.faults --kills 200``, which kills before and
after every write of every step, then refuses its writes from each on, then kills refreshes at random moments; it ends
with an error at the first loss.
"""

from __future__ import annotations

import argparse
import errno
import itertools
import os
import random
import re
import resource
import shutil
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import polars as pl
from polars.testing import assert_frame_equal

from pipeline import steps
from pipeline.commands.review import amend
from pipeline.demo.basin import CampaignSize
from pipeline.demo.build import lay_out
from pipeline.errors import explained
from pipeline.ingest import amend as amendments
from pipeline.lake import Lake
from pipeline.schemas.lineage import SOURCES
from pipeline.schemas.picks import PICKS
from pipeline.schemas.records import COIL, TREATMENT
from pipeline.workspace import Workspace, open_workspace
from tests.builders import forked, rows_of

PLAN = CampaignSize(pads=3, stages=(3, 3), wells_per_pad=2, coil_step_s=5, toe_preparation=False)
KILLED, REFUSED = 137, 3
REFUSALS = {
    "disk full": (errno.ENOSPC, "the disk is full"),
    "permission denied": (errno.EACCES, "permission denied"),
    "read-only": (errno.EROFS, "the location is read-only"),
}
"""Error of every write from the n-th on, and what the user is told of it."""
LIMITED = "limit on the size of a file"
LIMITS = (2_000, 20_000)
"""[bytes]"""
State = tuple[dict[str, pl.DataFrame], dict[str, str]]


def amended(space: Workspace) -> None:
    """Amend the first ISIP of the lake, always at the same moment."""
    amendments._next_moment = lambda _before: "2026-01-01 00:00:00"
    first = steps.open_lake(space).scan(PICKS).filter(pick="isip").drop_nulls("value").sort("well_id", "number")
    row = first.collect().row(0, named=True)
    amend(space, row["well_id"], "stage", row["number"], "isip", value=3456.0, time=None, by="A. Reader", why="fault",
          withdraw=False)  # fmt: skip


STEPS: dict[str, Callable[[Workspace], Any]] = {
    "ingest": steps.run_ingest,
    "measure": steps.run_measure,
    "fit": steps.run_fit,
    "report": lambda space: steps.run_report(space, beside=["brief", "xlsx"]),
    "amend": amended,
    "tidy": lambda space: steps.run_tidy(space, keep_days=0.0, hours=0.0),
    "refresh": steps.refresh,
}
ORDER = ("amend", "ingest", "measure", "fit", "report", "tidy")


def made(folder: Path) -> Path:
    """Make a workspace that has been refreshed once and has changes waiting."""
    lay_out(folder, PLAN)
    space = open_workspace(folder)
    steps.refresh(space)
    changed, gone, *_ = sorted((folder / "landing" / "treatment").rglob("*.csv"))
    lines = changed.read_text(encoding="utf-8").splitlines(keepends=True)
    changed.write_text("".join(lines[:-60]), encoding="utf-8")
    gone.unlink()
    (folder / "landing" / "treatment" / "larkspoke" / "Nobody 9H stage 01.csv").write_text(
        "Time;Pressure\n", encoding="utf-8"
    )
    return folder


def up_to(folder: Path, step: str) -> None:
    """Take a workspace to where a step is next."""
    space = open_workspace(folder)
    for before in ORDER[: ORDER.index(step)] if step in ORDER else ():
        STEPS[before](space)


def run_killed(folder: Path, step: str, at: int, when: str) -> None:
    """Run a step in a process that ends, without any clean-up, before or after its n-th write; 0 lets it end.

    If `when` is a refusal, every write from the n-th on fails; what the user is told is written to the file ``told``.
    With a limit on the size of a file [bytes], the system itself breaks off what is longer, in the middle of a write.
    """
    counter = itertools.count(1)  # tables are written by several threads
    if when == LIMITED:
        resource.setrlimit(resource.RLIMIT_FSIZE, (at, resource.RLIM_INFINITY))

    def hooked(original: Callable[..., Any]) -> Callable[..., Any]:
        def write(*given: Any, **named: Any) -> Any:
            this = next(counter)
            if (this, when) == (at, "before"):
                os._exit(KILLED)
            if when in REFUSALS and this >= at:
                raise OSError(REFUSALS[when][0], os.strerror(REFUSALS[when][0]))
            result = original(*given, **named)
            if (this, when) == (at, "after"):
                os._exit(KILLED)
            return result

        return write

    for owner, name in ((os, "replace"), (os, "rename"), (Lake, "replace"), (Lake, "compact"), (Lake, "vacuum")):
        setattr(owner, name, hooked(getattr(owner, name)))
    try:
        STEPS[step](open_workspace(folder))
    except Exception as error:
        if when not in (*REFUSALS, LIMITED):
            raise
        resource.setrlimit(resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
        (folder / "told").write_text(explained(error), encoding="utf-8")
        os._exit(REFUSED)
    if at == 0:
        (folder / "writes").write_text(str(next(counter) - 1), encoding="utf-8")


def state(folder: Path) -> State:
    """Return the rows of all tables, and the texts of what was written for readers, without times."""
    space = open_workspace(folder)
    texts = {}
    for path in sorted(space.out.rglob("*")):
        name = str(path.relative_to(space.out))
        if path.is_file() and path.suffix not in (".xlsx", ".pdf") and not name.startswith("set_aside"):
            texts[name] = _timeless(path.read_text(encoding="utf-8"))
    return rows_of(Lake(space.lake)), texts


def _timeless(text: str) -> str:
    now = f"{datetime.now(UTC):%Y-%m-}"
    text = re.sub(re.escape(now) + r"\d\d[ T]\d\d:\d\d(:\d\d)?(\.\d+)?", "now", text)
    text = re.sub(r"<span><code>\w+</code> \d+</span>", "version", text)
    # a sum depends on the order of its rows in the last digits
    return re.sub(r"\d+\.\d{6,}(e-?\d+)?", lambda number: format(float(number[0]), ".6g"), text)


def _first_difference(one: str, other: str) -> str:
    at = next((i for i, (a, b) in enumerate(zip(one, other, strict=False)) if a != b), min(len(one), len(other)))
    return f"...{one[max(at - 80, 0) : at + 80]}... and ...{other[max(at - 80, 0) : at + 80]}..."


def assert_whole(folder: Path) -> None:
    """Readers of a workspace whose run was killed see whole sources only, and a whole report."""
    space = open_workspace(folder)
    lake = Lake(space.lake)
    for table in (TREATMENT, COIL):
        seen = dict(lake.scan(table).group_by("source_id").len().collect().iter_rows())
        listed = lake.scan(SOURCES).filter(lands=table.name, state="landed").collect()
        assert seen == dict(listed.select("source_id", "rows_landed").iter_rows()), table.name
    page = space.out / "report.html"
    assert not page.exists() or page.read_text(encoding="utf-8").rstrip().endswith("</html>")
    steps.connect(space).close()


def assert_same(folder: Path, want: State) -> None:
    """After a run to the end, all rows and all texts are those of an undisturbed run."""
    rows, texts = state(folder)
    for name, frame in want[0].items():
        assert_frame_equal(rows[name], frame, check_row_order=False)
    assert texts.keys() == want[1].keys(), texts.keys() ^ want[1].keys()
    for name, text in want[1].items():
        assert texts[name] == text, f"{name}: {_first_difference(texts[name], text)}"
    left = [str(path) for path in folder.rglob("*") if path.name.endswith((".part", ".tmp"))]
    assert not left, left


def undisturbed(base: Path, folder: Path, step: str) -> tuple[Path, State, int]:
    """Return a workspace before a step, what the step and a refresh leave of it, and the step's writes."""
    before, after = folder / f"before-{step}", folder / f"after-{step}"
    shutil.copytree(base, before)
    up_to(before, step)
    shutil.copytree(before, after)
    child = forked(run_killed, after, step, 0, "never")
    child.join()
    assert child.exitcode == 0, step
    writes = int((after / "writes").read_text(encoding="utf-8"))
    (after / "writes").unlink()
    steps.refresh(open_workspace(after))
    return before, state(after), writes


def killed_at(before: Path, want: State, step: str, at: int, when: str, folder: Path) -> None:
    """Kill a step at a write, look as a reader does, run it again, and compare."""
    copy = folder / f"{step}-{at}-{when}"
    shutil.copytree(before, copy)
    child = forked(run_killed, copy, step, at, when)
    child.join()
    # its last write may be one that only the undisturbed run needed, such as the note of a lake's place: it ended then
    assert child.exitcode == KILLED or (child.exitcode == 0 and at > 1), (step, at, when, child.exitcode)
    (copy / "writes").unlink(missing_ok=True)
    assert_whole(copy)
    _again(copy, step)
    assert_same(copy, want)
    shutil.rmtree(copy)


def refused_at(before: Path, want: State, step: str, at: int, when: str, folder: Path) -> bool:
    """Refuse a step's writes from one on, look as a reader does, run it again, and compare; return whether it failed.

    A step whose last writes are notes may end without them.
    """
    copy = folder / f"{step}-{at}-{when.replace(' ', '-')}"
    shutil.copytree(before, copy)
    child = forked(run_killed, copy, step, at, when)
    child.join()
    assert child.exitcode in (0, REFUSED), (step, at, when, child.exitcode)
    if child.exitcode == REFUSED:
        told = (copy / "told").read_text(encoding="utf-8")
        cause = "the file exceeds the system's file size limit" if when == LIMITED else REFUSALS[when][1]
        assert cause in told and "fix:" in told, (step, at, when, told)
        (copy / "told").unlink()
    assert_whole(copy)
    _again(copy, step)
    assert_same(copy, want)
    shutil.rmtree(copy)
    return child.exitcode == REFUSED


def _again(folder: Path, step: str) -> None:
    space = open_workspace(folder)
    if step != "amend" or not (folder / "amendments.csv").exists():
        STEPS[step](space)
    steps.refresh(space)


def killed_by_clock(before: Path, want: State, after_s: float, folder: Path) -> bool:
    """Kill a refresh after some time, look, refresh, and compare; return whether it was still running."""
    copy = folder / "by-clock"
    shutil.copytree(before, copy)
    child = forked(run_killed, copy, "refresh", 0, "never")
    child.join(after_s)
    running = child.is_alive()
    child.kill()
    child.join()
    assert_whole(copy)
    (copy / "writes").unlink(missing_ok=True)
    _again(copy, "refresh")
    assert_same(copy, want)
    shutil.rmtree(copy)
    return running


def main() -> None:
    """Kill at every write of every step, then at random moments."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=200, help="refreshes killed at random moments")
    parser.add_argument("--every", type=int, default=1, help="of the writes of a step, every how manieth")
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    generator = random.Random(given.seed)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        base = made(folder / "base")
        for step in ORDER:
            before, want, writes = undisturbed(base, folder, step)
            done = 0
            for at in range(1, writes + 1, given.every):
                for when in ("before", "after") if at == writes else ("before",):
                    killed_at(before, want, step, at, when, folder)
                    done += 1
            print(f"{step}: {writes} writes, {done} kills, nothing lost", flush=True)
            for when in REFUSALS:
                told = [refused_at(before, want, step, at, when, folder) for at in range(1, writes + 1, given.every)]
                print(f"{step}: {len(told)} times {when}, {sum(told)} of them told, nothing lost", flush=True)
            told = [refused_at(before, want, step, size, LIMITED, folder) for size in LIMITS]
            print(f"{step}: {len(told)} times a {LIMITED}, {sum(told)} of them told, nothing lost", flush=True)
        begin = time.monotonic()
        before, want, _ = undisturbed(base, folder, "refresh")
        longest = 0.5 * (time.monotonic() - begin)
        running = sum(
            killed_by_clock(before, want, generator.uniform(0.0, longest), folder) for _ in range(given.kills)
        )
        print(f"refresh: {given.kills} kills within {longest:.1f} s, {running} of them while it ran, nothing lost")


if __name__ == "__main__":
    main()
