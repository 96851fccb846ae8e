"""Text from files, made safe to display. Escaping is done by each format."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

import polars as pl

from pipeline.text import MARK
from pipeline.units import format_number

LONGEST = 400
"""A longer text is shortened with an ellipsis. [characters]"""
# Control, format and surrogate characters, including those that change the text direction or are invisible.
_UNSEEN = r"[\p{Cc}\p{Cf}\p{Co}\p{Cn}\p{Zl}\p{Zp}]"


def inert(frame: pl.DataFrame) -> pl.DataFrame:
    """Return a frame whose texts have no characters that are invisible or change the text direction."""
    texts = [name for name, dtype in frame.schema.items() if dtype == pl.String]
    return frame.with_columns(pl.col(name).str.replace_all(_UNSEEN, MARK).alias(name) for name in texts)


def cell(value: Any) -> str:
    """Return a value as displayed text; an unknown value is a dash, never a zero."""
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
