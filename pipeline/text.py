"""Text that came from files, made harmless to look at: on a page, in a message, on a terminal."""

from __future__ import annotations

import sys
import unicodedata

_CATEGORIES = frozenset({"Cc", "Cf", "Co", "Cn", "Cs", "Zl", "Zp"})
"""Control, format, private, unassigned and surrogate characters, and line and paragraph marks: what hides, moves a
cursor, colours a terminal, or turns the direction of writing."""
MARK = "\ufffd"


def inert_text(value: str, keep: str = "") -> str:
    """Return a text in which a mark stands for each character that is invisible or acts on what shows it."""
    if value.isascii() and value.isprintable():
        return value
    return "".join(
        letter if letter in keep or unicodedata.category(letter) not in _CATEGORIES else MARK for letter in value
    )


def inert_lines(value: str) -> str:
    """Return a text of several lines made inert line by line."""
    return inert_text(value, keep="\n")


def say(text: str, *, error: bool = False) -> None:
    """Print a text; the only way in which heelward writes to a terminal, beside its tables, which pass it too."""
    print(inert_lines(text), file=sys.stderr if error else sys.stdout, flush=error)
