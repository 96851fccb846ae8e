"""`heelward serve`: a real local server, schedules that run, and no process left behind."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

import pytest

from pipeline import steps
from pipeline.schemas.lineage import SOURCES
from pipeline.schemas.records import TREATMENT
from pipeline.workspace import Workspace


def children(folder: Path) -> list[int]:
    """Processes whose environment or command line names the workspace."""
    found = []
    for entry in Path("/proc").iterdir():
        if not entry.name.isdigit() or int(entry.name) == os.getpid():
            continue
        try:
            text = (entry / "cmdline").read_bytes() + (entry / "environ").read_bytes()
        except OSError:
            continue
        if str(folder).encode() in text:
            found.append(int(entry.name))
    return found


def started(workspace: Workspace) -> subprocess.Popen[str]:
    """Start the schedules of a workspace; what is landed every three seconds is told in ``messages.jsonl``."""
    settings = workspace.root / "heelward.toml"
    text = settings.read_text(encoding="utf-8")
    if "land = 3" not in text:
        text = text.replace('land = "*/10 * * * *"', "land = 3")
        settings.write_text(f'settle_s = 1\nmessages = "messages.jsonl"\n{text}', encoding="utf-8")
    return subprocess.Popen(
        [sys.executable, "-m", "pipeline.cli", "serve", "-w", str(workspace.root)],
        stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
        env={key: value for key, value in os.environ.items() if not key.startswith("PREFECT_")},
    )  # fmt: skip


def none_left(folder: Path) -> bool:
    deadline = time.monotonic() + 10.0
    while children(folder) and time.monotonic() < deadline:
        time.sleep(0.2)
    return children(folder) == []


@pytest.mark.turn
def test_a_killed_service_leaves_no_process_and_goes_on_when_started_again(slice_workspace: Workspace) -> None:
    """It is killed in the middle of its first run."""
    first = started(slice_workspace)
    assert first.stdout is not None
    deadline = time.monotonic() + 120.0
    while not (slice_workspace.state / "run.lock").exists() and time.monotonic() < deadline:
        time.sleep(0.05)
    assert len(children(slice_workspace.root)) >= 3
    first.kill()
    first.wait()
    first.stdout.close()
    assert none_left(slice_workspace.root)
    again = started(slice_workspace)
    try:
        report = slice_workspace.out / "report.html"
        while not report.exists() and time.monotonic() < deadline + 60.0 and again.poll() is None:
            time.sleep(0.5)
        assert report.exists()
    finally:
        again.send_signal(signal.SIGTERM)
        again.wait(timeout=90)
        assert again.stdout is not None
        again.stdout.close()
    assert none_left(slice_workspace.root)
    lake = steps.open_lake(slice_workspace)
    rows = lake.scan(TREATMENT).group_by("source_id").len().collect()
    listed = lake.scan(SOURCES).filter(lands="treatment", state="landed").collect()
    assert dict(rows.iter_rows()) == dict(listed.select("source_id", "rows_landed").iter_rows())


@pytest.mark.turn
def test_schedules_run_on_a_local_server_and_stopping_leaves_no_process(slice_workspace: Workspace) -> None:
    server = started(slice_workspace)
    try:
        assert server.stdout is not None
        line = server.stdout.readline()
        address = line.split()[-1]
        assert address.startswith("http://127.0.0.1:"), line
        with urllib.request.urlopen(address, timeout=10) as page:
            assert page.status == 200
        with urllib.request.urlopen(f"{address}/api/health", timeout=10) as health:
            assert health.status == 200
        report = slice_workspace.out / "report.html"
        deadline = time.monotonic() + 150.0
        while not report.exists() and time.monotonic() < deadline and server.poll() is None:
            time.sleep(0.5)
        assert report.exists(), "what was missed was not done within 150 s"
        (slice_workspace.landing[0] / "notes.xyz").write_text("nothing that a map takes\n")
        said = slice_workspace.root / "messages.jsonl"
        while "notes.xyz" not in said.read_text(encoding="utf-8") and time.monotonic() < deadline:
            time.sleep(0.5)
        told = [json.loads(line) for line in said.read_text(encoding="utf-8").splitlines()]
        assert {message["kind"] for message in told} == {"results", "set aside"}
        assert told[-1]["path"] == "landing/notes.xyz"
        assert (slice_workspace.root / ".heelward" / "prefect" / "prefect.db").exists()
    finally:
        server.send_signal(signal.SIGTERM)
        server.wait(timeout=90)
        assert server.stdout is not None
        server.stdout.close()
    assert server.returncode == 0
    assert none_left(slice_workspace.root)
