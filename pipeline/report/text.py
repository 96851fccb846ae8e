"""Text that came from files, made harmless to look at. Escaping is each format's own."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

import polars as pl

from pipeline.text import MARK
from pipeline.units import format_number

LONGEST = 400
"""A longer text is cut, with an ellipsis. [characters]"""
# Control, format and surrogate characters: among them those that turn the direction of writing or hide.
_UNSEEN = r"[\p{Cc}\p{Cf}\p{Co}\p{Cn}\p{Zl}\p{Zp}]"


def inert(frame: pl.DataFrame) -> pl.DataFrame:
    """Return a frame whose texts hold no character that is invisible or turns the direction of writing."""
    texts = [name for name, dtype in frame.schema.items() if dtype == pl.String]
    return frame.with_columns(pl.col(name).str.replace_all(_UNSEEN, MARK).alias(name) for name in texts)


def cell(value: Any) -> str:
    """Return a value as a reader expects it; unknown is a dash, never a zero."""
    if value is None:
        return "–"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return format_number(value)
    if isinstance(value, datetime):
        return f"{value:%Y-%m-%d %H:%M:%S}"
    if isinstance(value, date):
        return value.isoformat()
    text = str(value)
    return text if len(text) <= LONGEST else text[: LONGEST - 1] + "…"
