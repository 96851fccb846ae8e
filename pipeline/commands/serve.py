"""Run a local Prefect server and the schedules, and stop both completely."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Mapping
from pathlib import Path

from pipeline.errors import HeelwardError
from pipeline.text import say
from pipeline.workspace import Workspace

START_S = 120.0
"""Maximum time for a server to respond. [s]"""
STOP_S = 15.0
"""Maximum time for a process to stop before it is killed. [s]"""


def serve_workspace(workspace: Workspace, port: int) -> int:
    """Run the schedules until stopped.

    Parameters
    ----------
    workspace : Workspace
    port : int
        Of the web page; 0 selects a free port. Not used if ``PREFECT_API_URL`` already names a server.

    Returns
    -------
    int
        Exit code.

    Raises
    ------
    HeelwardError
        If the server does not start.
    """
    signal.signal(signal.SIGTERM, _interrupt)
    environment = _environment(workspace)
    children: list[subprocess.Popen[bytes]] = []
    try:
        configured = os.environ.get("PREFECT_API_URL")
        if configured:
            say(f"Using the Prefect server at {configured}")
        else:
            port = port or _free_port()
            environment["PREFECT_API_URL"] = f"http://127.0.0.1:{port}/api"
            children.append(_start_server(workspace, environment, port))
            say(f"Prefect's web page: http://127.0.0.1:{port}")
        groups = [str(child.pid) for child in children]  # they end with the schedules, and these with this process
        scheduler = [sys.executable, "-m", "pipeline.flows", str(workspace.root), *groups]
        children.append(_start(scheduler, environment, None))
        schedules, zone = workspace.settings.schedules, workspace.settings.time_zone
        land = f"every {schedules.land} s" if isinstance(schedules.land, int) else schedules.land or "never"
        report = ", ".join(schedules.drawn) or "never"
        say(f"What was missed is done now. Landing: {land}; report: {report} ({zone}).")
        say("Stop with Ctrl-C.")
        while all(child.poll() is None for child in children):
            time.sleep(0.5)
        say("A scheduler process ended unexpectedly; see the messages above.", error=True)
        return 1
    except KeyboardInterrupt:
        return 0
    finally:
        for child in reversed(children):
            _stop(child)


def _interrupt(_signal: int, _frame: object) -> None:
    raise KeyboardInterrupt


def _environment(workspace: Workspace) -> dict[str, str]:
    home = workspace.root / ".heelward" / "prefect"
    home.mkdir(parents=True, exist_ok=True)
    return {
        **os.environ,
        "PREFECT_HOME": str(home),
        "PREFECT_SERVER_ANALYTICS_ENABLED": "false",
        "DO_NOT_TRACK": "1",
    }


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def _start(command: list[str], environment: Mapping[str, str], log: Path | None) -> subprocess.Popen[bytes]:
    """Start a process as the leader of a new process group, so that its child processes are stopped with it."""
    sink = None if log is None else log.open("ab")
    try:
        return subprocess.Popen(
            command, env=dict(environment), stdin=subprocess.DEVNULL, stdout=sink, stderr=sink, start_new_session=True
        )
    finally:
        if sink is not None:
            sink.close()


def _start_server(workspace: Workspace, environment: Mapping[str, str], port: int) -> subprocess.Popen[bytes]:
    log = workspace.root / ".heelward" / "server.log"
    command = [sys.executable, "-m", "prefect", "server", "start", "--host", "127.0.0.1", "--port", str(port)]
    child = _start(command, environment, log)
    deadline = time.monotonic() + START_S
    while time.monotonic() < deadline:
        if child.poll() is not None:
            raise HeelwardError(f"the Prefect server stopped during startup; see its log: {log}")
        try:
            with urllib.request.urlopen(f"http://127.0.0.1:{port}/api/health", timeout=2.0):
                return child
        except (urllib.error.URLError, OSError):
            time.sleep(0.3)
        except KeyboardInterrupt:
            _stop(child)
            raise
    _stop(child)
    raise HeelwardError(f"the Prefect server did not respond within {START_S:.0f} s; see its log: {log}")


def _stop(child: subprocess.Popen[bytes]) -> None:
    """Stop a process and its child processes."""
    for name in (signal.SIGTERM, signal.SIGKILL):
        try:
            os.killpg(child.pid, name)
        except ProcessLookupError:
            break
        try:
            child.wait(STOP_S if name is not signal.SIGKILL else None)
        except subprocess.TimeoutExpired:
            continue
        time.sleep(0.2)  # grandchildren end after their parent
    child.wait()
