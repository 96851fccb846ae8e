"""Names of our columns, models and picks within texts, as a reader's words."""

from __future__ import annotations

import re
from functools import cache

import polars as pl

from pipeline.metrics.tables import columns_known
from pipeline.models.specs import COMPARISONS, MODELS
from pipeline.picks.catalogue import METHODS
from pipeline.units import without_unit

_NAME = re.compile(r"(?<![\w/.\\-])[a-z][a-z0-9]*(?:_[a-z0-9]+)+(?![\w/\\-]|\.\w)")
"""A name of ours: words joined by underscores that are no part of a path or of a file's name."""
_CAPITALS = {"isip": "ISIP", "tvd": "TVD", "md": "MD", "npt": "NPT", "afe": "AFE", "hhp": "hydraulic horsepower"}
_PHRASES = {
    "shut_in": "shut-in", "initial_shut_in": "first shut-in", "initial_isip": "ISIP of the first shut-in",
    "pressure_5min": "pressure after 5 min", "pressure_10min": "pressure after 10 min",
    "pressure_15min": "pressure after 15 min", "screenout": "screen-out", "pressure_out": "pressure-out",
    "step_down_kp": "perforation term of the step-down", "step_down_kt": "near-wellbore term of the step-down",
    "plugs_left": "plugs that no run reached",
    "main_start": "start of the main treatment", "mill_min": "mill time",
    "frac_crews_pump_time": "pump time, fracturing crews", "frac_crews_swap": "swap, fracturing crews",
    "coil_crews_mill_time": "mill time, coil crews", "designs_pressure": "treating pressure, designs",
    "designs_hours": "hours per stage, designs",
}  # fmt: skip
"""Names whose words alone do not read well."""
KINDS = ("kind", "model", "comparison", "pick", "outcome")
"""Columns whose whole text is a name of ours."""
UNTOUCHED = (
    "path", "file", "files", "query", "map", "lands", "sql", "category", "well_id", "source_id", "version", "well",
    "pad", "crew", "design", "formation", "fleet", "level", "candidate",
)  # fmt: skip
"""Columns with names that are somebody else's, or that a reader types."""


def in_words(name: str, unit: str = "") -> str:
    """Return a name in words, without its unit."""
    if name in _PHRASES:
        return _PHRASES[name]
    return capitals(without_unit(name, unit).replace("_", " "))


def capitals(text: str) -> str:
    """Return a text of lower-case words with abbreviations in capitals."""
    return " ".join(_CAPITALS.get(word, word) for word in text.split(" "))


@cache
def _known() -> dict[str, str]:
    words = {model.name: model.title for model in MODELS}
    for name in (*(spec.name for spec in COMPARISONS), *METHODS):
        words.setdefault(name, in_words(name))
    for table in columns_known().values():
        for name, column in table.items():
            words.setdefault(name, in_words(name, "" if column.unit == "ratio" else column.unit))
    return words


def _told(text: str) -> str:
    return _NAME.sub(lambda found: _known().get(found[0], found[0]), text)


def plain(frame: pl.DataFrame) -> pl.DataFrame:
    """Return a frame whose texts name columns, models and picks in words; names of files and wells stay."""
    for name, dtype in frame.schema.items():
        if dtype != pl.String or name in UNTOUCHED:
            continue
        held = frame[name].unique().drop_nulls()
        held = held.filter(held.str.contains("_", literal=True))
        if held.is_empty():
            continue
        said = [_known().get(text, in_words(text)) if name in KINDS else _told(text) for text in held]
        frame = frame.with_columns(frame[name].replace(held, pl.Series(said, dtype=pl.String)))
    return frame
