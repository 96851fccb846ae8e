"""The command line: called within the test's process, or started in a process of its own."""

from __future__ import annotations

import contextlib
import io
import logging
import subprocess
import sys
from pathlib import Path
from unittest.mock import patch

from pipeline.cli import main

Done = subprocess.CompletedProcess[str]


def heelward(*words: str | Path, cwd: Path | None = None) -> Done:
    """Call a command in this process: the same code as on a terminal, without three seconds of imports."""
    said, told = io.StringIO(), io.StringIO()
    command = ["heelward", *map(str, words)]
    handlers = list(logging.getLogger("heelward").handlers)
    code = 0
    with (
        contextlib.redirect_stdout(said), contextlib.redirect_stderr(told), contextlib.chdir(cwd or Path.cwd()),
        patch.object(sys, "argv", command),
    ):  # fmt: skip
        try:
            main()
        except SystemExit as stop:
            code = stop.code if isinstance(stop.code, int) else 1 if stop.code else 0
        finally:
            logging.getLogger("heelward").handlers[:] = handlers
    return subprocess.CompletedProcess(command, code, said.getvalue(), told.getvalue())


def started(*words: str | Path, cwd: Path | None = None) -> Done:
    """Start a command in a process of its own, as a reader does."""
    command = [sys.executable, "-m", "pipeline.cli", *map(str, words)]
    return subprocess.run(command, capture_output=True, text=True, check=False, cwd=cwd, timeout=300)
