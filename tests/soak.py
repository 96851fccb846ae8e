"""A long run of `heelward serve`: files dropped at random, some growing, two broken, a run killed; then everything is counted.

Run with ``python -m tests.soak --minutes 30``; it ends with an error if a file or a sample is lost, doubled or half-landed.
"""

from __future__ import annotations

import argparse
import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from datetime import timedelta
from pathlib import Path

import polars as pl

from pipeline.lake import Lake
from pipeline.metrics.measure import STAGE_METRICS
from pipeline.schemas.lineage import SOURCES
from pipeline.schemas.records import TREATMENT
from pipeline.workspace import SETTINGS_FILE
from tests.builders import ORIGIN, TREATMENT_MAP, record_csv

SETTINGS = """
title = "Soak"
time_zone = "UTC"
settle_s = 4
messages = "messages.jsonl"

[schedules]
land = 5
report = ["*/10 * * * *"]
"""
ROWS = 1200


def make(folder: Path) -> Path:
    """Make an empty workspace and return its landing folder."""
    for name in ("maps", "landing"):
        (folder / name).mkdir(parents=True)
    (folder / SETTINGS_FILE).write_text(SETTINGS, encoding="utf-8")
    text = TREATMENT_MAP.replace('"set aside"', '"create"')
    (folder / "maps" / "records.toml").write_text(text, encoding="utf-8")
    return folder / "landing"


def steps_of(process: int) -> list[int]:
    """Return the processes below a process."""
    found = []
    for entry in Path("/proc").iterdir():
        if entry.name.isdigit():
            try:
                parent = int((entry / "stat").read_text().rsplit(")", 1)[1].split()[1])
            except (OSError, IndexError, ValueError):
                continue
            if parent == process:
                found += [int(entry.name), *steps_of(int(entry.name))]
    return found


def running_flow(server: int) -> int | None:
    """Return the process of a flow that runs now."""
    for process in steps_of(server):
        try:
            command = Path(f"/proc/{process}/cmdline").read_bytes()
        except OSError:
            continue
        if b"flow_engine" in command or b"prefect.engine" in command or b"flow-run" in command:
            return process
    return None


def drop(landing: Path, number: int, growing: dict[Path, list[str]], generator: random.Random) -> None:
    """Drop a record: whole, or its first part only."""
    start = f"{ORIGIN + timedelta(hours=number):%Y-%m-%d %H:%M:%S}"
    text = record_csv(ROWS, start)
    path = landing / f"Teal {1 + number // 40}H stage {1 + number % 40}.csv"
    if generator.random() < 0.4:
        lines = text.splitlines(keepends=True)
        path.write_text("".join(lines[:300]), encoding="utf-8")
        growing[path] = lines[300:]
    else:
        path.write_text(text, encoding="utf-8")


def grow(growing: dict[Path, list[str]], generator: random.Random) -> None:
    """Add rows to the files that grow."""
    for path, lines in list(growing.items()):
        count = generator.randint(100, 500)
        with path.open("a", encoding="utf-8") as file:
            file.writelines(lines[:count])
        growing[path] = lines[count:]
        if not growing[path]:
            del growing[path]


def counted(folder: Path, files: int) -> dict[str, int]:
    """Count what is in the lake, and compare it with what was dropped."""
    lake = Lake(str(folder / "lake"))
    sources = lake.scan(SOURCES).collect()
    samples = lake.scan(TREATMENT).collect()
    found = {
        "files landed": sources.filter(state="landed").height,
        "files set aside": sources.filter(state="set aside").height,
        "samples": samples.height,
        "samples twice": int(samples.select(TREATMENT.key).is_duplicated().sum()),
        "stages measured": lake.scan(STAGE_METRICS).select(pl.len()).collect().item(),
        "rows without a file": lake.scan_raw(TREATMENT).select(pl.len()).collect().item() - samples.height,
    }
    expected = {
        "files landed": files, "files set aside": 2, "samples": files * ROWS, "samples twice": 0,
        "stages measured": files, "rows without a file": 0,
    }  # fmt: skip
    if found != expected:
        raise SystemExit(f"found {found}\nexpected {expected}")
    return found


def main() -> None:
    """Run the soak."""
    asked = argparse.ArgumentParser()
    asked.add_argument("--minutes", type=float, default=30.0)
    asked.add_argument("--seed", type=int, default=1)
    given = asked.parse_args()
    generator = random.Random(given.seed)
    folder = Path(tempfile.mkdtemp()) / "soak"
    landing = make(folder)
    command = [sys.executable, "-m", "pipeline.cli", "serve", "-w", str(folder), "--port", "0"]
    log = (folder / "serve.log").open("w", encoding="utf-8")
    server = subprocess.Popen(command, stdout=log, stderr=log)
    began, number, killed = time.monotonic(), 0, 0
    growing: dict[Path, list[str]] = {}
    end = began + given.minutes * 60.0
    broken = sorted(generator.uniform(0.1, 0.8) * given.minutes * 60.0 for _ in range(2))
    kills = sorted(generator.uniform(0.2, 0.8) * given.minutes * 60.0 for _ in range(3))
    while time.monotonic() < end:
        passed = time.monotonic() - began
        if passed < 0.9 * given.minutes * 60.0 and generator.random() < 0.3:
            drop(landing, number, growing, generator)
            number += 1
        grow(growing, generator)
        if broken and passed > broken[0]:
            (landing / f"broken {len(broken)}.csv").write_bytes(generator.randbytes(4000))
            broken.pop(0)
        if kills and passed > kills[0] and (flow := running_flow(server.pid)) is not None:
            os.kill(flow, signal.SIGKILL)
            kills.pop(0)
            killed += 1
        time.sleep(generator.uniform(1.0, 6.0))
    while growing:
        grow(growing, generator)
    lasting = time.monotonic() + 120.0
    while time.monotonic() < lasting:
        time.sleep(5.0)
        try:
            counted(folder, number)
        except (SystemExit, FileNotFoundError):
            continue
        break
    server.send_signal(signal.SIGTERM)
    code = server.wait(timeout=120)
    found = counted(folder, number)
    messages = (folder / "messages.jsonl").read_text(encoding="utf-8").count("\n")
    print(f"{given.minutes:g} min, {number} files dropped, {killed} runs killed, {messages} messages, exit {code}")
    print(", ".join(f"{name} {value}" for name, value in found.items()))
    print(f"report: {(folder / 'out' / 'report.html').exists()}, in {folder}")
    if not steps_of(os.getpid()) and code == 0:
        shutil.rmtree(folder)


if __name__ == "__main__":
    main()
