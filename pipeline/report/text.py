"""Text from files, made safe to display. Escaping is done by each format."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

import polars as pl

from pipeline.text import MARK
from pipeline.units import format_number

LONGEST = 400
"""A longer text is shortened with an ellipsis. [characters]"""
CAUTION = (
    "Treating at pressure, perforating with explosives, coiled tubing under pressure and high-pressure iron can kill. "
    "The figures here are for engineering review. They are not operating limits. The well's approved "
    "programme, the equipment's rated limits, local regulation and the responsible licensed engineer take precedence. "
    "A gauge corrected to zero never proves that lines are bled off. Modelled plug and pressure margins replace "
    "neither ratings nor casing tests nor kick-out settings. Control of neighbouring wells, H2S, silica dust, stuck "
    "pipe and coil fatigue are outside these figures. Event counts without exposure hours do not rank crews."
)
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
    if isinstance(value, int | float):
        said = format_number(value) if isinstance(value, float) else str(value)
        return said.replace("-", "−")
    if isinstance(value, datetime):
        return f"{value:%Y-%m-%d %H:%M:%S}"
    if isinstance(value, date):
        return value.isoformat()
    text = str(value)
    return text if len(text) <= LONGEST else text[: LONGEST - 1] + "…"


def texts(column: pl.Series) -> list[str]:
    """Return a column's values as displayed texts, as `cell` does for one."""
    if column.dtype == pl.String:
        size = column.str.len_chars()
        if (size.max() or 0) <= LONGEST:  # type: ignore[operator]
            return column.fill_null("–").to_list()
    if column.dtype.is_float():
        return ["–" if value is None else format_number(value).replace("-", "−") for value in column.to_list()]
    if column.dtype.is_integer():
        return column.cast(pl.String).str.replace("-", "−", literal=True).fill_null("–").to_list()
    if column.dtype == pl.Boolean:
        return ["–" if value is None else "yes" if value else "no" for value in column.to_list()]
    if column.dtype == pl.Datetime:
        return column.dt.strftime("%Y-%m-%d %H:%M:%S").fill_null("–").to_list()
    return [cell(value) for value in column.to_list()]
