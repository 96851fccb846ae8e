"""Errors that a user reads: where, what was expected, what to do."""

from __future__ import annotations

import errno
import re
from dataclasses import dataclass


class HeelwardError(Exception):
    """Something a user can fix; its text is the whole message."""


@dataclass
class SetAside(Exception):
    """A file that cannot be used.

    Attributes
    ----------
    reason : str
        Why, in a few words.
    expected, found : str
        What the map asked for, and what the file holds.
    fix : str
        What to do.
    line : int, optional
        Line of the file that shows it, counted from 1.
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
        """Return what a reader of a terminal is told, line by line."""
        at = f"line {self.line}" if self.line is not None else ""
        where = ", ".join(part for part in (path, at) if part)
        return [
            f"set aside: {where}" if where else "set aside",
            f"  {self.reason}",
            f"  expected: {self.expected}",
            f"  found:    {self.found}",
            f"  fix:      {self.fix}",
        ]


def short(text: str, length: int = 60) -> str:
    """Return a text fit for a message: printable, not long."""
    shown = "".join(char if char.isprintable() else "?" for char in text)
    return shown if len(shown) <= length else shown[: length - 1] + "…"


_CAUSES = (
    ((errno.ENOSPC, errno.EDQUOT), ("No space left", "Disk quota"), "the disk is full",
     "make room on it"),
    ((errno.EFBIG,), ("File too large",), "a file may not grow so large here (a limit of the system)",
     "raise the limit (`ulimit -f`)"),
    ((errno.EROFS,), ("Read-only file system",), "the place is read-only",
     "make it writable, or name another place in heelward.toml"),
    ((errno.EACCES, errno.EPERM), ("Permission denied", "Operation not permitted"), "the rights do not allow it",
     "correct the rights of the workspace, its lake and its output"),
    ((errno.ENOTDIR, errno.EISDIR, errno.EEXIST), ("Not a directory", "Is a directory"),
     "a file stands where a folder belongs, or a folder where a file belongs", "move it away"),
)  # fmt: skip

_COLOURS = re.compile(r"\x1b\[[0-9;]*m")
"""Marks with which libraries colour their messages."""


def explained(error: BaseException) -> str:
    """Return a failure that is not the user's input in words: what the system refused, and what to do."""
    text = " ".join(_COLOURS.sub("", str(error)).split()) or type(error).__name__
    for numbers, words, cause, fix in _CAUSES:
        if getattr(error, "errno", None) in numbers or any(word in text for word in words):
            return (
                f"heelward stopped: {cause}.\n  {short(text, 300)}\n"
                f"fix: {fix}, then run the command again. Nothing is half done."
            )
    return f"heelward failed: {type(error).__name__}: {short(text, 300)}\nSet HEELWARD_DEBUG=1 to see where."
