"""Locks: a workspace, or one of its files, is locked by the process that writes it."""

from __future__ import annotations

import json
import logging
import os
import socket
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from filelock import FileLock, Timeout

from pipeline.errors import HeelwardError
from pipeline.files import replace_text, sweep_parts

log = logging.getLogger("heelward")
TOLD_AFTER_S = 0.5
"""A shorter wait is not reported. [s]"""


@dataclass(frozen=True)
class Holder:
    """The holder of a lock.

    Attributes
    ----------
    step : str
        Step that it runs.
    process : int
    host : str
    since : str
        UTC, as displayed.
    """

    step: str
    process: int
    host: str
    since: str

    @classmethod
    def here(cls, step: str) -> Holder:
        """Return this process as a holder."""
        return cls(step, os.getpid(), socket.gethostname(), f"{datetime.now(UTC):%Y-%m-%d %H:%M:%S} UTC")

    def __str__(self) -> str:
        return f"`{self.step}` (process {self.process} on {self.host}, since {self.since})"


def refused(what: str, holder: object, waited_s: float) -> HeelwardError:
    """Return the error for a run whose wait has timed out."""
    return HeelwardError(
        f"{what} is in use by {holder}. Waited {waited_s:g} s, then stopped.\n"
        "fix: run the command again when that run has ended, or increase 'wait_s' in the settings"
    )


def wait_until(
    take: Callable[[], bool], what: str, holder: Callable[[], object], wait_s: float, pause_s: float
) -> None:
    """Try until the lock is acquired; report its holder once.

    Raises
    ------
    HeelwardError
        If it is still held after ``wait_s``.
    """
    start, told = time.monotonic(), False
    while not take():
        waited = time.monotonic() - start
        if waited >= wait_s:
            raise refused(what, holder(), wait_s)
        if not told and waited >= min(TOLD_AFTER_S, wait_s):
            log.warning("%s is in use by %s; waiting up to %g s", what, holder(), wait_s)
            told = True
        time.sleep(min(pause_s, wait_s - waited))


@contextmanager
def held(path: Path, step: str, wait_s: float, what: str = "this workspace") -> Iterator[None]:
    """Hold a lock file while the block runs. The system releases it when the process ends for any reason.

    Parameters
    ----------
    path : Path
        The lock file; its holder is written to a file next to it.
    step : str
        Step that the holder runs, for the message shown to other processes.
    wait_s : float
        How long to wait for another holder. [s]
    what : str
        What is locked, for that message.

    Raises
    ------
    HeelwardError
        If another process holds it for longer.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    lock, note = FileLock(path), path.with_suffix(".holder")

    def take() -> bool:
        try:
            lock.acquire(timeout=0)
        except Timeout:
            return False
        return True

    wait_until(take, what, lambda: _holder(note), wait_s, 0.05)
    try:
        sweep_parts(note.parent, deep=False, of=note.name)
        replace_text(note, json.dumps(vars(Holder.here(step))))
        yield
    finally:
        lock.release()


def _holder(note: Path) -> object:
    try:
        return Holder(**json.loads(note.read_text(encoding="utf-8")))
    except (OSError, ValueError, TypeError):
        return "another run"
