"""The cells of a file as typed columns: numbers in the lake's units, whole numbers, flags, dates, times."""

from __future__ import annotations

import re
from contextlib import suppress
from datetime import UTC, datetime, time, timedelta
from typing import Any

import numpy as np
import polars as pl

from pipeline.errors import SetAside, short
from pipeline.ingest.maps import PAD_ZONE, Channel, Start
from pipeline.ingest.read import ROW
from pipeline.ingest.tally import FileJob, Finding
from pipeline.ingest.times import days_allowed, to_utc
from pipeline.ingest.workbook import ERRORS
from pipeline.schemas.base import meta
from pipeline.units import conversion
from pipeline.workspace import known_zone

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
        if channel.value is not None:
            series = pl.Series(lake, [str(channel.value)]).new_from_index(0, frame.height)
        else:
            series = frame[lake]
            if channel.words:
                series = series.str.strip_chars().replace(channel.words)
        if meta(columns[lake]).get("unit") is not None:
            quantities.append(_as_float(work, lake, series, frame[ROW]))
        else:
            done.append(_cells(work, lake, dtype, series, frame[ROW]))
    return done + _quantities(work, quantities, frame[ROW])


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
        return _counted(work, lake, text, value, f"a whole number{span}", lines)
    if isinstance(dtype, pl.Boolean):
        value = text.str.to_lowercase().replace_strict(YES_NO, default=None, return_dtype=pl.Boolean)
        return _counted(work, lake, text, value, "yes or no", lines)
    if isinstance(dtype, pl.Date):
        written = channel.format or "%Y-%m-%d"
        value = _dated(work, lake, text.str.to_date(written, strict=False), lines)
        return _counted(work, lake, text, value, f"a date like {written}, {_range_of_days(work, lake)}", lines)
    if isinstance(dtype, pl.Datetime):
        return moment(work, lake, channel, series, lines)
    if allowed is not None:
        known = {word.casefold(): word for word in allowed}
        value = text.str.to_lowercase().replace_strict(known, default=None, return_dtype=pl.String)
        return _counted(work, lake, text, value, f"one of {', '.join(allowed)}", lines)
    if meta(column).get("zone"):
        found = {name: name if known_zone(name) else None for name in text.drop_nulls().unique()}
        value = text.replace_strict(found, default=None, return_dtype=pl.String)
        return _counted(work, lake, text, value, "a time zone such as America/Denver", lines)
    value = pl.select(pl.when(~text.is_in(list(ERRORS.values()))).then(text).alias(lake)).to_series()
    return _counted(work, lake, text, value, "a text", lines)


def _counted(work: FileJob, lake: str, text: pl.Series, value: pl.Series, expected: str, lines: pl.Series) -> pl.Series:
    """Count the invalid cells of a piece; they are void until `judge` has processed all of them."""
    tally = work.tallies[lake]
    tally.rows += len(text)
    tally.values += value.count()
    tally.expected = expected
    if value.null_count() > text.null_count():
        bad = (text.is_not_null() & (text.cast(pl.String).str.strip_chars() != "") & value.is_null()).arg_true()
        tally.bad += len(bad)
        if len(bad) and tally.first_bad is None:
            tally.first_bad = (int(lines[bad[0]]), short(str(text[int(bad[0])])))
    return value.alias(lake)


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
    return shown.get_columns()


def _converted(work: FileJob, name: str) -> pl.Expr:
    target = work.source.table.unit(name)
    line = conversion(work.source.columns[name].unit or target, target)
    value = pl.col(name)
    shown = value if line.factor == 1.0 else value * line.factor
    return (shown + line.offset if line.offset else shown).alias(name)


def _range_counts(name: str, declared: dict[str, Any]) -> list[pl.Expr]:
    value = pl.col(name)
    inside = value.is_between(*declared["hard"])
    odd = (inside & ~value.is_between(*declared["soft"])).sum() if declared["soft"] else pl.lit(0)
    return [(~inside).sum().alias(f"{name}:outside"), odd.alias(f"{name}:unusual")]


def _as_float(work: FileJob, lake: str, series: pl.Series, lines: pl.Series) -> pl.Series:
    text, value = _numbers(work, lake, series)
    return _counted(work, lake, text, value, "a number", lines)


def _numbers(work: FileJob, lake: str, series: pl.Series) -> tuple[pl.Series, pl.Series]:
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
    if work.source.decimal == "," and work.source.columns[lake].value is None:
        plain = text.str.replace(",", ".", literal=True)
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


def _dated(work: FileJob, lake: str, days: pl.Series, lines: pl.Series) -> pl.Series:
    """Void impossible dates."""
    first, last = days_allowed(ahead=bool(meta(work.source.table.columns[lake]).get("ahead")))
    return pl.select(pl.when(days.is_between(first, last)).then(days).alias(lake)).to_series()


def _range_of_days(work: FileJob, lake: str) -> str:
    first, last = days_allowed(ahead=bool(meta(work.source.table.columns[lake]).get("ahead")))
    return f"from {first} to {last}"


def moment(work: FileJob, lake: str, channel: Channel, series: pl.Series, lines: pl.Series) -> pl.Series:
    """Return clock times as UTC."""
    assert channel.format is not None and channel.zone is not None
    naive = series.str.to_datetime(channel.format, strict=False, time_unit="us")
    if naive.null_count() > series.null_count():
        naive = series.str.strip_chars().str.to_datetime(channel.format, strict=False, time_unit="us")
    offset = isinstance(naive.dtype, pl.Datetime) and naive.dtype.time_zone is not None  # each time has its own offset
    if offset:
        naive = naive.dt.convert_time_zone("UTC").dt.replace_time_zone(None)
    naive = possible(naive)
    _counted(work, lake, series, naive, f"a time in the format {channel.format}{_when()}", lines)
    utc = _on_utc(work, naive, "UTC" if offset else channel.zone).alias(lake)
    work.tallies[lake].skipped += naive.count() - utc.count()
    return utc


def possible(times: pl.Series) -> pl.Series:
    """Void impossible times: a clock that was never set, a date read in the wrong order."""
    first_day, last_day = days_allowed()
    first, last = datetime.combine(first_day, time()), datetime.combine(last_day + timedelta(days=1), time())
    bounds = pl.Series([first, last], dtype=pl.Datetime("us")).to_physical()
    span = times.to_physical()
    low, high = span.min(), span.max()
    if low is None or (bounds[0] <= low and high <= bounds[1]):  # type: ignore[operator]
        return times
    inside = times.is_between(first, last)
    return pl.select(pl.when(inside).then(times).alias(times.name)).to_series()


def _when() -> str:
    first, last = days_allowed()
    return f", from {first} to {last}"


def _on_utc(work: FileJob, naive: pl.Series, zone: str) -> pl.Series:
    utc, notes = to_utc(naive, _zone(work, zone))
    work.findings += [Finding(kind, message, rows=rows) for kind, message, rows in notes]
    return utc


def _zone(work: FileJob, zone: str) -> str:
    if zone != PAD_ZONE:
        return zone
    named = work.groups.get("well", "")
    well = work.names.find(named)
    if not named:
        raise SetAside(
            "the pad's time zone cannot be used: the file has several wells", "one well, given in the file's name",
            "wells in a column", f"set the zone in the map '{work.source.name}' instead of \"pad\"",
        )  # fmt: skip
    if well is None:
        raise SetAside(
            f"the well '{short(named)}' is unknown, so its time zone is unknown",
            "a name or alias in the wells table", "no such well",
            "add the spelling to the well's 'aliases', or the well to the wells table",
        )  # fmt: skip
    if well not in work.names.zones:
        raise SetAside(
            "the pad's time zone is unknown", "'time_zone' of the well in the wells table", "none",
            "fill it in, or set the zone in the map",
        )  # fmt: skip
    return work.names.zones[well]


def clock_zone(work: FileJob, channel: Channel) -> str:
    """Return the time zone of a time column."""
    return _zone(work, channel.start.zone if channel.start is not None else channel.zone or "UTC")


def elapsed(work: FileJob, channel: Channel, frame: pl.DataFrame) -> pl.Series:
    """Return the start time from the header plus elapsed time, in UTC."""
    assert channel.start is not None and channel.unit is not None
    text, value = _numbers(work, "time", frame["time"])
    micro = (value * conversion(channel.unit, "s").factor * 1e6).round(0).cast(pl.Int64, strict=False)
    times = possible((micro + _start(work, channel.start)).cast(pl.Datetime("us")))
    expected = f"a number of {channel.unit} since the start{_when()}"
    return _counted(work, "time", text, times, expected, frame[ROW]).dt.replace_time_zone("UTC")


def _start(work: FileJob, start: Start) -> int:
    """Return the start time from the header, in microseconds since 1970."""
    pattern = re.compile(start.pattern)
    match = next((found for line in work.raw.head if (found := pattern.search(line))), None)
    if match is None:
        raise SetAside(
            "no start time found above the data", f"a line that matches {start.pattern}", "none",
            f"correct 'start.pattern' in the map '{work.source.name}'", 1,
        )  # fmt: skip
    written = match.group("start").strip()
    try:
        moment = datetime.strptime(written, start.format)
    except ValueError as error:
        raise SetAside(
            "the start time cannot be read", f"a time in the format {start.format}", f"'{short(written)}'",
            f"correct 'start.format' in the map '{work.source.name}'",
        ) from error  # fmt: skip
    zone = start.zone if moment.tzinfo is None else "UTC"  # an offset in the file takes precedence
    moment = moment if moment.tzinfo is None else moment.astimezone(UTC).replace(tzinfo=None)
    utc = _on_utc(work, possible(pl.Series([moment], dtype=pl.Datetime("us"))), zone)
    if utc[0] is None:
        raise SetAside(
            "the start time is impossible", f"a time that exists in {start.zone}{_when()}", f"'{short(written)}'",
            "ask the provider for the correct start time",
        )  # fmt: skip
    return int(utc.dt.timestamp("us")[0])
