"""Errors that a user reads: where, what was expected, what to do."""

from __future__ import annotations

from dataclasses import dataclass


class HeelwardError(Exception):
    """Something a user can mend; its text is the whole message."""


@dataclass
class SetAside(Exception):
    """A file that cannot be used.

    Attributes
    ----------
    reason : str
        Why, in a few words.
    expected, found : str
        What the map asked for, and what the file holds.
    mend : str
        What to do.
    line : int, optional
        Line of the file that shows it, counted from 1.
    """

    reason: str
    expected: str
    found: str
    mend: str
    line: int | None = None

    def __str__(self) -> str:
        at = f"line {self.line}: " if self.line is not None else ""
        return f"{at}{self.reason}; expected {self.expected}; found {self.found}; mend: {self.mend}"


def short(text: str, length: int = 60) -> str:
    """Return a text fit for a message: printable, not long."""
    shown = "".join(char if char.isprintable() else "?" for char in text)
    return shown if len(shown) <= length else shown[: length - 1] + "…"
