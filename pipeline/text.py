"""Text from files, made safe to display: on a page, in a message, on a terminal."""

from __future__ import annotations

import sys
import unicodedata

_CATEGORIES = frozenset({"Cc", "Cf", "Co", "Cn", "Cs", "Zl", "Zp"})
"""Control, format, private, unassigned and surrogate characters, and line and paragraph marks: what can hide, move a
cursor, colour a terminal, or reverse the direction of text."""
MARK = "\ufffd"


def inert_text(value: str, keep: str = "") -> str:
    """Return a text with each character that is invisible or controls the display replaced by a mark."""
    if value.isascii() and value.isprintable():
        return value
    return "".join(
        letter if letter in keep or unicodedata.category(letter) not in _CATEGORIES else MARK for letter in value
    )


def inert_lines(value: str) -> str:
    """Return a text of several lines, made inert line by line."""
    return inert_text(value, keep="\n")


def say(text: str, *, error: bool = False) -> None:
    """Print a text; heelward writes to the terminal only through this function, including its tables."""
    print(inert_lines(text), file=sys.stderr if error else sys.stdout, flush=error)
