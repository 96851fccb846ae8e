"""The cells of a file as times: clock times, times of day on a start date, elapsed times; in UTC."""

from __future__ import annotations

import re
from datetime import UTC, datetime, time, timedelta

import numpy as np
import polars as pl

from pipeline.errors import SetAside, short
from pipeline.ingest.maps import PAD_ZONE, Channel, Start
from pipeline.ingest.months import halves_of_the_day, in_english
from pipeline.ingest.numbers import numbers_of
from pipeline.ingest.read import ROW
from pipeline.ingest.tally import FileJob, Finding, counted
from pipeline.ingest.times import days_allowed, to_utc

DAY_US = 86_400_000_000


def moment(work: FileJob, lake: str, channel: Channel, series: pl.Series, lines: pl.Series) -> pl.Series:
    """Return clock times as UTC."""
    assert channel.zone is not None
    naive = clock_times(channel, series)
    offset = isinstance(naive.dtype, pl.Datetime) and naive.dtype.time_zone is not None  # each time has its own offset
    if offset:
        naive = naive.dt.convert_time_zone("UTC").dt.replace_time_zone(None)
    naive = possible(naive)
    counted(work, lake, series, naive, f"a time in the format {' or '.join(channel.formats)}{_when()}", lines)
    utc = _on_utc(work, naive, "UTC" if offset else channel.zone).alias(lake)
    work.tallies[lake].skipped += naive.count() - utc.count()
    return utc


def clock_times(channel: Channel, series: pl.Series) -> pl.Series:
    """Return cells as times without a zone, or in UTC if each has its own offset; by the first format that fits."""
    found: pl.Series | None = None
    for written in channel.formats:
        text = english(channel, series)
        times = text.str.to_datetime(written, strict=False, time_unit="us")
        if times.null_count() > series.null_count():
            times = text.str.strip_chars().str.to_datetime(written, strict=False, time_unit="us")
        found = times if found is None else pl.select(pl.coalesce(found, times)).to_series()
        if found.null_count() == series.null_count():
            break
    assert found is not None
    return found


def english(channel: Channel, text: pl.Series) -> pl.Series:
    """Return texts with their month names as English abbreviations, and the halves of the day as am and pm."""
    if channel.after is not None:  # midnight at the end of a day is that of the next one
        text = text.str.replace(r"\b24:00", "00:00")
    if any("%p" in written for written in channel.formats):
        text = halves_of_the_day(text)
    return in_english(text, channel.months)


def of_day(work: FileJob, channel: Channel, series: pl.Series, lines: pl.Series) -> pl.Series:
    """Return times of day on a start date, in UTC; a step back by more than half a day is midnight."""
    assert channel.start is not None
    clock: pl.Series | None = None
    for written in channel.formats:
        times = english(channel, series).str.strip_chars().str.to_time(written, strict=False)
        clock = times if clock is None else pl.select(pl.coalesce(clock, times)).to_series()
    assert clock is not None
    micro = clock.cast(pl.Int64) // 1000
    last, days = work.passed_midnight
    known = micro.drop_nulls()
    if known.is_empty():
        void = counted(work, "time", series, micro.cast(pl.Datetime("us")), _clock(channel), lines)
        return void.dt.replace_time_zone("UTC")
    step = pl.concat([pl.Series([last if last >= 0 else known[0]], dtype=pl.Int64), known]).diff().slice(1)
    passed = (step < -(DAY_US // 2)).cast(pl.Int64).cum_sum() + days
    work.passed_midnight = (int(known[-1]), int(passed[-1]))
    day = pl.select(pl.when(micro.is_not_null()).then(1)).to_series()
    at = pl.Series(np.cumsum(day.fill_null(0).to_numpy()) - 1)
    whole = passed.gather(at.clip(0)) * DAY_US
    naive = possible((micro + whole + _start_naive(work, channel.start)).cast(pl.Datetime("us")))
    counted(work, "time", series, naive, _clock(channel), lines)
    return _on_utc(work, naive, channel.start.zone).alias("time")


def _clock(channel: Channel) -> str:
    return f"a time of day in the format {' or '.join(channel.formats)}"


def possible(times: pl.Series) -> pl.Series:
    """Void impossible times: a clock that was never set, a date read in the wrong order."""
    first_day, last_day = days_allowed()
    first, last = datetime.combine(first_day, time()), datetime.combine(last_day + timedelta(days=1), time())
    bounds = pl.Series([first, last], dtype=pl.Datetime("us")).to_physical()
    span = times.cast(pl.Int64)
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
    text, value = numbers_of(work, "time", frame["time"])
    micro = (value * work.source.unit(channel.unit, "s").factor * 1e6).round(0).cast(pl.Int64, strict=False)
    times = possible((micro + _start(work, channel.start)).cast(pl.Datetime("us")))
    expected = f"a number of {channel.unit} since the start{_when()}"
    return counted(work, "time", text, times, expected, frame[ROW]).dt.replace_time_zone("UTC")


def _start_written(work: FileJob, start: Start) -> str:
    """Return the start as the map, the lines above the data or the file's name give it."""
    if start.value is not None:
        return start.value
    pattern = re.compile(start.pattern or "")
    match = next((found for line in (*work.raw.head, work.file_name) if (found := pattern.search(line))), None)
    if match is None:
        raise SetAside(
            "no start time found above the data or in the file's name", f"a line that matches {start.pattern}", "none",
            f"correct 'start.pattern' in the map '{work.source.name}'", 1,
        )  # fmt: skip
    return match.group("start").strip()


def _start_naive(work: FileJob, start: Start) -> int:
    """Return the start, or midnight of its day, on its own clock, in microseconds since 1970."""
    moment = _start_moment(work, start).replace(tzinfo=UTC)
    if not start.from_zero:
        moment = moment.replace(hour=0, minute=0, second=0, microsecond=0)
    return int(moment.timestamp()) * 1_000_000


def _start_moment(work: FileJob, start: Start) -> datetime:
    written = _start_written(work, start)
    try:
        return datetime.strptime(written, start.format)
    except ValueError as error:
        raise SetAside(
            "the start time cannot be read", f"a time in the format {start.format}", f"'{short(written)}'",
            f"correct 'start.format' in the map '{work.source.name}'",
        ) from error  # fmt: skip


def _start(work: FileJob, start: Start) -> int:
    """Return the start time, in microseconds since 1970."""
    moment = _start_moment(work, start)
    zone = start.zone if moment.tzinfo is None else "UTC"  # an offset in the file takes precedence
    moment = moment if moment.tzinfo is None else moment.astimezone(UTC).replace(tzinfo=None)
    utc = _on_utc(work, pl.Series([moment], dtype=pl.Datetime("us")), zone)
    if utc[0] is None:
        raise SetAside(
            "the start time is impossible", f"a time that exists in {start.zone}{_when()}",
            f"{moment:%Y-%m-%d %H:%M:%S}", "ask the provider for the correct start time",
        )  # fmt: skip
    return int(utc.dt.timestamp("us")[0])
