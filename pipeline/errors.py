"""Errors shown to the user: where, what was expected, how to fix it."""

from __future__ import annotations

import errno
import re
from dataclasses import dataclass


class HeelwardError(Exception):
    """An error that the user can fix; its text is the complete message."""


@dataclass
class SetAside(Exception):
    """A file that cannot be used.

    Attributes
    ----------
    reason : str
        Short reason.
    expected, found : str
        What the map requires, and what the file contains.
    fix : str
        What to do.
    line : int, optional
        Line of the file with the problem, counted from 1.
    """

    reason: str
    expected: str
    found: str
    fix: str
    line: int | None = None

    def __str__(self) -> str:
        at = f"line {self.line}: " if self.line is not None else ""
        return f"{at}{self.reason}; expected {self.expected}; found {self.found}; fix: {self.fix}"

    def lines(self, path: str = "") -> list[str]:
        """Return the message for the terminal, line by line."""
        at = f"line {self.line}" if self.line is not None else ""
        where = ", ".join(part for part in (path, at) if part)
        return [
            f"set aside: {where}" if where else "set aside",
            f"  {self.reason}",
            f"  expected: {self.expected}",
            f"  found:    {self.found}",
            f"  fix:      {self.fix}",
        ]


SHOWN_FILES = 3
"""Number of files named where several have the same problem."""


def grouped(asides: list[tuple[str, SetAside]]) -> list[str]:
    """Return the messages of files that were set aside, told once for all files with the same reason and fix."""
    groups: dict[tuple[str, str], list[tuple[str, SetAside]]] = {}
    for path, aside in asides:
        groups.setdefault((re.sub(r"\d+", "0", aside.reason), aside.fix), []).append((path, aside))
    lines = []
    for held in groups.values():
        told = held[0][1].lines(held[0][0])
        if len(held) > 1:
            others = ", ".join(path for path, _ in held[1 : SHOWN_FILES + 1])
            rest = f" and {len(held) - SHOWN_FILES - 1} more" if len(held) > SHOWN_FILES + 1 else ""
            told.append(f"  the same:  {others}{rest}")
        lines += told
    return lines


_NO_AMOUNT = str.maketrans("{}", "｛｝")
"""Braces mark amounts in our own sentences: those of a file are written wide."""


def short(text: str, length: int = 60) -> str:
    """Return a text for use in a message: printable and short."""
    shown = "".join(char if char.isprintable() else "?" for char in text).translate(_NO_AMOUNT)
    return shown if len(shown) <= length else shown[: length - 1] + "…"


_CAUSES = (
    ((errno.ENOSPC, errno.EDQUOT), ("No space left", "Disk quota"), "the disk is full",
     "free some disk space"),
    ((errno.EFBIG,), ("File too large",), "the file exceeds the system's file size limit",
     "raise the limit (`ulimit -f`)"),
    ((errno.EROFS,), ("Read-only file system",), "the location is read-only",
     "make it writable, or set another location in heelward.toml"),
    ((errno.EACCES, errno.EPERM), ("Permission denied", "Operation not permitted"), "permission denied",
     "correct the permissions of the workspace, its lake and its output folder"),
    ((errno.ENOTDIR, errno.EISDIR, errno.EEXIST), ("Not a directory", "Is a directory"),
     "a file exists where a folder is expected, or a folder where a file is expected", "move it elsewhere"),
    ((), ("InvalidAccessKeyId", "AccessDenied", "SignatureDoesNotMatch", "403 Forbidden", "MissingCredentials"),
     "the object store refuses the credentials",
     "set them in the environment (for S3: AWS_ACCESS_KEY_ID and AWS_SECRET_ACCESS_KEY)"),
    ((), ("Connection refused", "error sending request", "dns error", "tcp connect error"),
     "the object store cannot be reached",
     "check the network, the URL of the lake and the endpoint (for S3: AWS_ENDPOINT_URL)"),
)  # fmt: skip

_COLOURS = re.compile(r"\x1b\[[0-9;]*m")
"""Codes that libraries use to colour their messages."""


def explained(error: BaseException) -> str:
    """Describe a failure not caused by the user's input: what the system refused, and how to fix it."""
    text = " ".join(_COLOURS.sub("", str(error)).split()) or type(error).__name__
    for numbers, words, cause, fix in _CAUSES:
        if getattr(error, "errno", None) in numbers or any(word in text for word in words):
            return (
                f"heelward stopped: {cause}.\n  {short(text, 300)}\n"
                f"fix: {fix}, then run the command again. No partial results were saved."
            )
    return f"heelward failed: {type(error).__name__}: {short(text, 300)}\nSet HEELWARD_DEBUG=1 to see the traceback."
