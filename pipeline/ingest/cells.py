"""The cells of a file as typed columns: numbers in the lake's units, whole numbers, flags, dates, texts."""

from __future__ import annotations

import re
from datetime import timedelta
from typing import Any

import polars as pl

from pipeline.ingest.clock import english, moment
from pipeline.ingest.headings import beside
from pipeline.ingest.numbers import numbers_of
from pipeline.ingest.read import ROW
from pipeline.ingest.tally import FileJob, Finding, counted
from pipeline.ingest.times import days_allowed
from pipeline.ingest.workbook import ERRORS
from pipeline.physics.fluids import absolute_volume_gal_per_lbm, added_concentration_ppa
from pipeline.schemas.base import meta
from pipeline.units import qty
from pipeline.workspace import known_zone

LEAST_CODES = 3
"""Rows with the same unusual value from which it is taken for a code."""
LEAST_INT, MOST_INT = -(2**31), 2**31 - 1
YES_NO = {"true": True, "yes": True, "y": True, "1": True, "false": False, "no": False, "n": False, "0": False}


def typed(work: FileJob, frame: pl.DataFrame) -> list[pl.Series]:
    """Return the mapped columns of a raw frame as typed series, except the well and the sample time."""
    columns = work.source.table.columns
    done: list[pl.Series] = []
    quantities = []
    for lake, channel in work.source.columns.items():
        dtype = columns[lake].dtype
        if lake == "well_id" or (lake == "time" and "time" in work.source.table.key):
            continue
        if lake in work.raw.constants:
            series = pl.Series(lake, [work.raw.constants[lake]]).new_from_index(0, frame.height)
        elif channel.row:
            series = (frame[ROW] - (work.source.data_row - 1)).cast(pl.String)
        elif lake not in frame.columns:  # optional, and not in this file
            continue
        else:
            series = frame[lake]
            if channel.words:
                series = series.str.strip_chars().replace(channel.words)
        if meta(columns[lake]).get("unit") is not None:
            value = _as_float(work, lake, series, frame[ROW])
            for sign, extra in [(1.0, name) for name in channel.plus] + [(-1.0, name) for name in channel.minus]:
                value = value + sign * _as_float(work, lake, frame[beside(lake, extra)], frame[ROW])
            if channel.over is not None:
                below = _as_float(work, lake, frame[beside(lake, channel.over)], frame[ROW])
                value = pl.select(pl.when(below > 0).then(value / below)).to_series()
            quantities.append(value.alias(lake))
        else:
            done.append(_cells(work, lake, dtype, series, frame[ROW]))
    return _after(work, done) + _quantities(work, quantities, frame[ROW])


def _after(work: FileJob, done: list[pl.Series]) -> list[pl.Series]:
    """Return the columns with times moved to the next day where they would not follow the time that they are after."""
    by_name = {series.name: series for series in done}
    for lake, channel in work.source.columns.items():
        if channel.after in by_name and lake in by_name:
            time, before = by_name[lake], by_name[channel.after]
            late = pl.when(time <= before).then(time + timedelta(days=1)).otherwise(time)
            by_name[lake] = pl.select(late.alias(lake)).to_series()
    return list(by_name.values())


def _cells(work: FileJob, lake: str, dtype: Any, series: pl.Series, lines: pl.Series) -> pl.Series:
    """Convert cells that are not measured quantities to the type of their column."""
    column: Any = work.source.table.columns[lake]
    channel = work.source.columns[lake]
    text = series.str.strip_chars()
    text = pl.select(pl.when(text != "").then(text).alias(lake)).to_series()
    allowed = meta(column).get("one_of")
    if isinstance(dtype, pl.Int32):
        number = text.cast(pl.Float64, strict=False)
        whole = pl.when(number == number.floor()).then(number).cast(pl.Int32, strict=False)
        low, high = column.min, column.max
        inside = whole.is_between(low if low is not None else LEAST_INT, high if high is not None else MOST_INT)
        value = pl.select(pl.when(inside).then(whole).alias(lake)).to_series()
        span = f" from {low} to {high}" if low is not None and high is not None else ""
        return counted(work, lake, text, value, f"a whole number{span}", lines)
    if isinstance(dtype, pl.Boolean):
        value = text.str.to_lowercase().replace_strict(YES_NO, default=None, return_dtype=pl.Boolean)
        return counted(work, lake, text, value, "yes or no", lines)
    if isinstance(dtype, pl.Date):
        formats = channel.formats or ["%Y-%m-%d"]
        written = " or ".join(formats)
        named = english(channel, text)
        days = pl.select(pl.coalesce(_day(named, one) for one in formats).alias(lake)).to_series()
        days = days.dt.month_start() if meta(column).get("month") else days
        value = _dated(work, lake, days, lines)
        return counted(work, lake, text, value, f"a date like {written}, {_range_of_days(work, lake)}", lines)
    if isinstance(dtype, pl.Datetime):
        return moment(work, lake, channel, series, lines)
    if allowed is not None:
        known = {word.casefold(): word for word in allowed}
        value = text.str.to_lowercase().replace_strict(known, default=None, return_dtype=pl.String)
        return counted(work, lake, text, value, f"one of {', '.join(allowed)}", lines)
    if meta(column).get("zone"):
        found = {name: _zone(name) for name in text.drop_nulls().unique()}
        value = text.replace_strict(found, default=None, return_dtype=pl.String)
        return counted(work, lake, text, value, "a time zone such as America/Denver or UTC-3", lines)
    value = pl.select(pl.when(~text.is_in(list(ERRORS.values()))).then(text).alias(lake)).to_series()
    return counted(work, lake, text, value, "a text", lines)


def _zone(name: str) -> str | None:
    """Return a time zone of the IANA list; an offset such as UTC-3 is one of its fixed zones, whose sign is turned."""
    offset = re.fullmatch(r"(?i)(?:UTC|GMT)\s*([+\-−])\s*0?(\d{1,2})(?::?00)?", name)
    if offset is not None:
        name = "UTC" if offset[2] == "0" else f"Etc/GMT{'-' if offset[1] == '+' else '+'}{offset[2]}"
    return name if known_zone(name) else None


def _day(text: pl.Series, written: str) -> pl.Series:
    """Return days; the first of the month where the format has no day."""
    if re.search(r"%-?[dejsxcDF]", written):
        return text.str.to_date(written, strict=False)
    return (text + " 1").str.to_date(f"{written} %d", strict=False)


def _quantities(work: FileJob, floats: list[pl.Series], lines: pl.Series) -> list[pl.Series]:
    """Convert all measured columns to the lake's units in one step, and void impossible values."""
    if not floats:
        return []
    columns = work.source.table.columns
    names = [series.name for series in floats]
    shown = pl.DataFrame(floats).select(_converted(work, name) for name in names)
    ranged = [name for name in names if meta(columns[name])["hard"] is not None]
    if not ranged:
        return shown.get_columns()
    shown = _without_zeros(work, shown, [name for name in ranged if meta(columns[name])["hard"][0] > 0.0])
    counts = shown.select(count for name in ranged for count in _range_counts(name, meta(columns[name])))
    for name in ranged:
        outside, unusual = (int(counts[f"{name}:{what}"][0] or 0) for what in ("outside", "unusual"))
        tally = work.tallies[name]
        tally.outside += outside
        tally.unusual += unusual
        if outside:
            inside = shown[name].is_between(*meta(columns[name])["hard"])
            if tally.first_outside is None:
                first = int((~inside).arg_true()[0])
                tally.first_outside = (int(lines[first]), f"{shown[name][first]:g}")
            shown = shown.with_columns(pl.when(inside).then(pl.col(name)).alias(name))
        if unusual >= LEAST_CODES:
            shown = _without_codes(work, shown, name, lines)
    return shown.get_columns()


def _without_codes(work: FileJob, shown: pl.DataFrame, name: str, lines: pl.Series) -> pl.DataFrame:
    """Void a height above the usual range that a few rows have exactly: a sensor's code for no value."""
    column = work.source.table.columns[name]
    above = shown[name] > meta(column)["soft"][1]
    found = shown[name].filter(above.fill_null(value=False))
    if found.n_unique() != 1 or len(found) > 0.1 * shown[name].count() or "time" not in work.source.table.key:
        return shown
    work.tallies[name].unusual -= len(found)
    value, first = qty(float(found[0]), work.source.table.unit(name)), int(lines.filter(above)[0])
    text = f"{name} is exactly {value} in {len(found)} rows, the first in line {first}: a sensor's code; void"
    work.findings.append(Finding("sensor_code", text, first, len(found)))
    return shown.with_columns(pl.when(~above).then(pl.col(name)).alias(name))


def _without_zeros(work: FileJob, shown: pl.DataFrame, names: list[str]) -> pl.DataFrame:
    """Void the zeros of quantities that are never zero: tables write zero for a missing value."""
    if not names:
        return shown
    for name, count in shown.select((pl.col(name) == 0.0).sum() for name in names).row(0, named=True).items():
        work.tallies[name].zeros += int(count or 0)
        work.tallies[name].values -= int(count or 0)
    return shown.with_columns(pl.when(pl.col(name) != 0.0).then(pl.col(name)).alias(name) for name in names)


def _converted(work: FileJob, name: str) -> pl.Expr:
    target = work.source.table.unit(name)
    channel = work.source.columns[name]
    line = work.source.unit(channel.unit or target, target)
    value = pl.col(name)
    shown = value if line.factor == 1.0 else value * line.factor
    shown = shown + line.offset if line.offset else shown
    if channel.per == "slurry":
        shown = added_concentration_ppa(shown, absolute_volume_gal_per_lbm(channel.specific_gravity))
    return shown.alias(name)


def _range_counts(name: str, declared: dict[str, Any]) -> list[pl.Expr]:
    value = pl.col(name)
    inside = value.is_between(*declared["hard"])
    odd = (inside & ~value.is_between(*declared["soft"])).sum() if declared["soft"] else pl.lit(0)
    return [(~inside).sum().alias(f"{name}:outside"), odd.alias(f"{name}:unusual")]


def _as_float(work: FileJob, lake: str, series: pl.Series, lines: pl.Series) -> pl.Series:
    text, value = numbers_of(work, lake, series)
    return counted(work, lake, text, value, "a number", lines)


def _dated(work: FileJob, lake: str, days: pl.Series, lines: pl.Series) -> pl.Series:
    """Void impossible dates."""
    first, last = days_allowed(ahead=bool(meta(work.source.table.columns[lake]).get("ahead")))
    return pl.select(pl.when(days.is_between(first, last)).then(days).alias(lake)).to_series()


def _range_of_days(work: FileJob, lake: str) -> str:
    first, last = days_allowed(ahead=bool(meta(work.source.table.columns[lake]).get("ahead")))
    return f"from {first} to {last}"
