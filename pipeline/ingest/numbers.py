"""The cells of a file as numbers, without its void values."""

from __future__ import annotations

from contextlib import suppress

import numpy as np
import polars as pl

from pipeline.ingest.maps import NARROW
from pipeline.ingest.tally import FileJob


def numbers_of(work: FileJob, lake: str, series: pl.Series) -> tuple[pl.Series, pl.Series]:
    """Return the cells without void values, and their numeric values."""
    numbers = _void_numbers(work)
    if series.dtype.is_float():
        value = _finite(series)
        kept = _without(value, numbers)
        return (series if kept is series else kept if value is series else series.fill_nan(None)), kept
    text = series.str.strip_chars()
    voids = [str(value) for value in work.source.void_values]
    empty = (text == "") | text.is_in(voids) | (text.str.to_lowercase() == "nan")
    text = pl.select(pl.when(~empty).then(text).alias(lake)).to_series()
    plain = text
    if lake not in work.raw.constants or work.source.columns[lake].value is None:
        plain = plain.str.replace(r"^\((.*)\)$", "-$1").str.replace(r"^(-?)\s*[$€£]\s*", "$1")  # as accounts write
        if work.source.thousands:
            plain = plain.str.replace_all(work.source.thousands, "", literal=True)
            plain = plain.str.replace_all(f"[{NARROW}]", "")
        if work.source.decimal == ",":
            plain = plain.str.replace(",", ".", literal=True)
    value = _finite(plain.cast(pl.Float64, strict=False))
    kept = _without(value, numbers)
    if kept is not value:  # a void number, in any notation, is not a bad cell
        text = pl.select(pl.when(value.is_null() | kept.is_not_null()).then(text).alias(lake)).to_series()
    return text, kept


def _void_numbers(work: FileJob) -> list[float]:
    """Return the numeric void values of the map: -999.25 also matches -999.250."""
    found = []
    for value in work.source.void_values:
        with suppress(ValueError):
            found.append(float(str(value).replace(",", ".") if work.source.decimal == "," else value))
    return found


def _without(values: pl.Series, numbers: list[float]) -> pl.Series:
    """Void the map's void numbers; a column without them is returned unchanged."""
    if not numbers or not np.isin(values.to_numpy(), numbers).any():
        return values
    return pl.select(pl.when(~values.is_in(numbers)).then(values).alias(values.name)).to_series()


def _finite(values: pl.Series) -> pl.Series:
    """Void numbers that are not finite; clean columns (the usual case) are returned unchanged."""
    if int(np.isfinite(values.to_numpy()).sum()) == values.count():
        return values
    return pl.select(pl.when(values.is_finite()).then(values).alias(values.name)).to_series()
