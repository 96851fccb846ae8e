"""Text from files, made safe to display: on a page, in a message, on a terminal."""

from __future__ import annotations

import re
import shutil
import sys
import textwrap
import unicodedata

_CATEGORIES = frozenset({"Cc", "Cf", "Co", "Cn", "Cs", "Zl", "Zp"})
"""Control, format, private, unassigned and surrogate characters, and line and paragraph marks: what can hide, move a
cursor, colour a terminal, or reverse the direction of text."""
MARK = "\ufffd"
_COMMAND = re.compile(r"\s*(\w+:\s+)?heelward ")
"""A command to copy stays on one line."""
NARROWEST = 40
"""Lines are not broken for a narrower terminal. [characters]"""


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
    stream, said = sys.stderr if error else sys.stdout, inert_lines(text)
    if stream.isatty():
        width = max(shutil.get_terminal_size().columns, NARROWEST)
        said = "\n".join(
            line if len(line) <= width or _COMMAND.match(line) else _folded(line, width) for line in said.split("\n")
        )
    print(said, file=stream, flush=error)


def _folded(line: str, width: int) -> str:
    """Return a line broken between words, further ones set in; a longer word, such as a path, stays whole."""
    indent = len(line) - len(line.lstrip(" ")) + 2
    return textwrap.fill(
        line, width, subsequent_indent=" " * indent, break_long_words=False, break_on_hyphens=False, expand_tabs=False
    )
