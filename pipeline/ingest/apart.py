"""A process of its own reads what can use up memory or time: malicious content stops only that process."""

from __future__ import annotations

import subprocess
import sys
import tempfile
import threading
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from typing import IO, BinaryIO

import polars as pl

MEMORY_BYTES = 3 * 1024**3
"""Address space of the process. [bytes]"""
LEAST_S, S_PER_MB = 8.0, 2.0
"""Maximum time until its first rows: a minimum, plus a time per size. [s]"""
REFUSED, OTHER = 4, 5
"""Exit codes of a process that says why it cannot read: as its last line, or in another way that its caller knows."""


class Failed(Exception):
    """The process did not succeed: its exit code, and why."""

    def __init__(self, code: int, why: str) -> None:
        super().__init__(why)
        self.code, self.why = code, why


class Reading:
    """A running process. It is stopped if it takes too long, until `in_time` is called."""

    def __init__(self, process: subprocess.Popen[bytes], said: BinaryIO, limit_s: float) -> None:
        assert process.stdout is not None
        self.output: IO[bytes] = process.stdout
        self._process, self._said, self._limit_s, self._stopped = process, said, limit_s, False
        self._timer = threading.Timer(limit_s, self._stop)
        self._timer.start()

    def _stop(self) -> None:
        self._stopped = True
        self._process.kill()

    def in_time(self) -> None:
        """Stop counting its time: from now on it waits for who reads its output."""
        self._timer.cancel()

    def end(self) -> None:
        """Wait for its end.

        Raises
        ------
        Failed
        """
        code = self._process.wait()
        if code == 0:
            return
        why = f"more than {MEMORY_BYTES / 1024**3:g} GiB of memory, or content that crashes its reader"
        if self._stopped:
            why = f"not finished after {self._limit_s:.0f} s"
        elif code in (REFUSED, OTHER):
            self._said.seek(0)
            why = self._said.read().decode("utf-8", "replace").strip() or "no reason given"
        raise Failed(code, why.splitlines()[-1] if code == REFUSED else why)

    def frames(self) -> Iterator[pl.DataFrame]:
        """Yield the frames that it writes.

        Raises
        ------
        Failed
        """
        import pyarrow as pa

        try:
            for batch in pa.ipc.open_stream(self.output):
                self.in_time()
                yield pl.DataFrame(pl.from_arrow(batch))
        except (pa.ArrowException, OSError) as error:
            self.end()
            raise Failed(REFUSED, str(error)) from error
        self.end()


@contextmanager
def reading(parts: Iterable[bytes], size: int, code: str, *words: str) -> Iterator[Reading]:
    """Run a process while the block runs; what it has not written by then is not needed.

    Parameters
    ----------
    parts : iterable of bytes
        Its input.
    size : int
        Of the input, also its first argument. [bytes]
    code : str
        What it runs.
    *words : str
        Its further arguments.
    """
    command, limit_s = [sys.executable, "-c", code, str(size), *words], LEAST_S + S_PER_MB * size / 1e6
    with (
        tempfile.TemporaryFile() as said,
        subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=said) as process,
    ):
        run = Reading(process, said, limit_s)
        try:
            assert process.stdin is not None
            _feed(process.stdin, parts, size)
            yield run
        finally:
            run.in_time()
            process.kill()


def _feed(pipe: IO[bytes], parts: Iterable[bytes], size: int) -> None:
    """Write so many bytes and close; what follows is only read, so that who hashes it sees that there is more."""
    left = size
    for part in parts:
        if left:
            try:
                pipe.write(part[:left])
            except OSError:  # the process has ended
                left = 0
        left = max(left - len(part), 0)
    with suppress(OSError):
        pipe.close()


def given() -> bytes:
    """Return the input of this process, whose memory is limited from now on."""
    try:
        import resource
    except ImportError:  # not on this system
        pass
    else:
        with suppress(ValueError, OSError):  # a system that cannot limit what is in use already
            resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
            resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))
    return sys.stdin.buffer.read(int(sys.argv[1]))


def refuse(error: BaseException) -> SystemExit:
    """Say why this process cannot read its input, in one line, and return what ends it."""
    print(" ".join(str(error).split()) or type(error).__name__, file=sys.stderr)
    return SystemExit(REFUSED)
