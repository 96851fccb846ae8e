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


@pytest.mark.turn
def test_schedules_run_on_a_local_server_and_stopping_leaves_no_process(slice_workspace: Workspace) -> None:
    settings = slice_workspace.root / "heelward.toml"
    text = settings.read_text(encoding="utf-8").replace('land = "*/10 * * * *"', "land = 3")
    settings.write_text(f'settle_s = 1\nmessages = "messages.jsonl"\n{text}', encoding="utf-8")
    environment = {key: value for key, value in os.environ.items() if not key.startswith("PREFECT_")}
    server = subprocess.Popen(
        [sys.executable, "-m", "pipeline.cli", "serve", "-w", str(slice_workspace.root)],
        stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, env=environment,
    )  # fmt: skip
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
    deadline = time.monotonic() + 10.0
    while children(slice_workspace.root) and time.monotonic() < deadline:
        time.sleep(0.2)
    assert children(slice_workspace.root) == []
