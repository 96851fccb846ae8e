"""The cells of a file as typed columns: numbers in the lake's units, whole numbers, flags, days, moments."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from datetime import datetime

import polars as pl

from pipeline.errors import SetAside, short
from pipeline.ingest.maps import PAD_ZONE, Channel, SourceMap
from pipeline.ingest.names import Names
from pipeline.ingest.read import ROW, RawFile
from pipeline.ingest.times import to_utc
from pipeline.schemas import meta
from pipeline.units import conversion

BAD_SHARE = 0.01
"""Up to this share of cells that are no numbers is a finding; more sets the file aside. [1]"""
WRONG_UNIT_SHARE = 0.05
"""More samples than this outside the hard range: the unit is wrong. [1]"""


@dataclass
class Finding:
    """Something odd in a file that did not stop its landing."""

    kind: str
    message: str
    row: int | None = None
    rows: int | None = None


@dataclass
class Work:
    """One file on its way to rows: its map, its content, the known wells, what its name tells, what was odd."""

    source: SourceMap
    raw: RawFile
    names: Names
    groups: dict[str, str]
    findings: list[Finding]
    created: dict[str, str] = field(default_factory=dict)


def typed(work: Work, frame: pl.DataFrame) -> list[pl.Series]:
    """Return the mapped columns of a raw frame as typed series, the well and the sample time apart."""
    columns = work.source.table.schema.columns()
    columns_out = []
    for lake, channel in work.source.columns.items():
        if lake == "well_id":
            continue
        dtype = columns[lake].dtype
        if channel.value is not None:
            columns_out.append(pl.Series(lake, [channel.value]).cast(dtype).new_from_index(0, frame.height))
            continue
        series = frame[lake]
        if meta(columns[lake]).get("unit") is not None:
            columns_out.append(_quantity(work, lake, channel, series))
        elif isinstance(dtype, pl.Int32):
            columns_out.append(_whole(work, lake, series))
        elif isinstance(dtype, pl.Boolean):
            columns_out.append(_yes_no(work, lake, series))
        elif isinstance(dtype, pl.Date):
            day = series.str.strip_chars().str.to_date(channel.format or "%Y-%m-%d", strict=False)
            _bad_cells(work, lake, series, day, f"a date as {channel.format or '%Y-%m-%d'}")
            columns_out.append(day)
        elif isinstance(dtype, pl.String):
            text = series.str.strip_chars()
            columns_out.append(pl.select(pl.when(text != "").then(text).alias(lake)).to_series())
        elif isinstance(dtype, pl.Datetime) and lake != "time":
            columns_out.append(moment(work, lake, channel, series))
    return columns_out


def _quantity(work: Work, lake: str, channel: Channel, series: pl.Series) -> pl.Series:
    column = work.source.table.schema.columns()[lake]
    value = _as_float(work, lake, series)
    assert channel.unit is not None
    line = conversion(channel.unit, meta(column)["unit"])
    x = pl.col(lake)
    shown = x * line.factor + line.offset if line.offset else x * line.factor
    hard, soft = meta(column)["hard"], meta(column)["soft"]
    finite = pl.when(x.is_finite()).then(shown if (line.factor, line.offset) != (1.0, 0.0) else x)
    frame = value.to_frame(lake).select(finite)
    if hard is None:
        return frame.to_series()
    low, high = hard
    counts = frame.select(
        n=x.count(),
        void=(~x.is_between(low, high)).sum(),
        odd=(x.is_between(low, high) & ~x.is_between(*soft)).sum() if soft else pl.lit(0),
    ).row(0, named=True)
    if counts["void"] > max(WRONG_UNIT_SHARE * counts["n"], 1) or (counts["n"] and counts["void"] == counts["n"]):
        first = frame.with_row_index("i").filter(~x.is_between(low, high)).row(0, named=True)
        raise SetAside(
            f"'{short(channel.column or lake)}' is out of range in {counts['void']} of {counts['n']} rows",
            f"{low:g} to {high:g} {meta(column)['unit']}",
            f"{first[lake]:g} {meta(column)['unit']} when read as '{channel.unit}'",
            f"correct 'unit' in the map '{work.source.name}', or the column it names",
            int(work.raw.frame[ROW][first["i"]]),
        )  # fmt: skip
    if counts["void"]:
        work.findings.append(
            Finding("void_samples", f"{lake}: {counts['void']} value(s) outside {low:g} to {high:g} are void",
                    rows=counts["void"])
        )  # fmt: skip
        frame = frame.select(pl.when(x.is_between(low, high)).then(x))
    if counts["odd"]:
        work.findings.append(
            Finding("unusual_values", f"{lake}: {counts['odd']} value(s) outside the usual {soft[0]:g} to {soft[1]:g}",
                    rows=counts["odd"])
        )  # fmt: skip
    return frame.to_series()


def _as_float(work: Work, lake: str, series: pl.Series) -> pl.Series:
    if series.dtype.is_float():
        return series
    text = series.str.strip_chars()
    voids = [str(value) for value in work.source.void_values]
    text = pl.select(pl.when((text != "") & ~text.is_in(voids)).then(text).alias(lake)).to_series()
    plain = text
    if work.source.decimal == ",":
        plain = text.str.replace(",", ".", literal=True)
    value = plain.cast(pl.Float64, strict=False)
    _bad_cells(work, lake, text, value, "a number")
    return value


def _bad_cells(work: Work, lake: str, text: pl.Series, value: pl.Series, expected: str) -> None:
    bad = (text.is_not_null() & (text.cast(pl.String).str.strip_chars() != "") & value.is_null()).arg_true()
    if not len(bad):
        return
    line = int(work.raw.frame[ROW][bad[0]])
    shown = short(str(text[int(bad[0])]))
    heading = work.source.columns[lake].column or lake
    required = lake in work.source.table.key
    if required or len(bad) > max(BAD_SHARE * len(text), 3):
        raise SetAside(
            f"'{short(heading)}' is not {expected} in {len(bad)} of {len(text)} rows", expected, f"'{shown}'",
            "correct the file, list such texts under 'void_values', or correct the decimal mark or format in the map "
            f"'{work.source.name}'", line,
        )  # fmt: skip
    work.findings.append(
        Finding("not_a_value", f"'{short(heading)}' is not {expected} in {len(bad)} row(s), first '{shown}': void",
                line, len(bad))
    )  # fmt: skip


def _whole(work: Work, lake: str, series: pl.Series) -> pl.Series:
    value = series.str.strip_chars().cast(pl.Float64, strict=False)
    whole = pl.select(pl.when(value == value.floor()).then(value).cast(pl.Int32, strict=False).alias(lake)).to_series()
    _bad_cells(work, lake, series, whole, "a whole number")
    return whole


def _yes_no(work: Work, lake: str, series: pl.Series) -> pl.Series:
    words = {"true": True, "yes": True, "y": True, "1": True, "false": False, "no": False, "n": False, "0": False}
    value = series.str.strip_chars().str.to_lowercase().replace_strict(words, default=None, return_dtype=pl.Boolean)
    _bad_cells(work, lake, series, value, "yes or no")
    return value


def moment(work: Work, lake: str, channel: Channel, series: pl.Series) -> pl.Series:
    """Return clock times as UTC."""
    assert channel.format is not None and channel.zone is not None
    naive = series.str.to_datetime(channel.format, strict=False, time_unit="us")
    if isinstance(naive.dtype, pl.Datetime) and naive.dtype.time_zone is not None:
        naive = naive.dt.convert_time_zone("UTC").dt.replace_time_zone(None)
    _bad_cells(work, lake, series, naive, f"a time as {channel.format}")
    return _on_utc(work, naive, channel.zone).alias(lake)


def _on_utc(work: Work, naive: pl.Series, zone: str) -> pl.Series:
    utc, notes = to_utc(naive, _zone(work, zone))
    work.findings += [Finding(kind, message, rows=rows) for kind, message, rows in notes]
    return utc


def _zone(work: Work, zone: str) -> str:
    if zone != PAD_ZONE:
        return zone
    well = work.names.find(work.groups.get("well", ""))
    if well is None or well not in work.names.zones:
        raise SetAside(
            "the pad's time zone is not known", "'time_zone' of the well in the wells table", "none",
            "fill it in, or name the zone in the map",
        )  # fmt: skip
    return work.names.zones[well]


def elapsed(work: Work, channel: Channel, frame: pl.DataFrame) -> pl.Series:
    """Return a start time above the data plus elapsed time as UTC."""
    assert channel.start is not None and channel.unit is not None
    pattern = re.compile(channel.start.pattern)
    match = next((found for line in work.raw.head if (found := pattern.search(line))), None)
    if match is None:
        raise SetAside(
            "no start time stands above the data", f"a line that fits {channel.start.pattern}", "none",
            f"correct 'start.pattern' in the map '{work.source.name}'", 1,
        )  # fmt: skip
    written = match.group("start").strip()
    try:
        start = datetime.strptime(written, channel.start.format)
    except ValueError as error:
        raise SetAside(
            "the start time cannot be read", f"a time as {channel.start.format}", f"'{short(written)}'",
            f"correct 'start.format' in the map '{work.source.name}'",
        ) from error  # fmt: skip
    utc = _on_utc(work, pl.Series([start], dtype=pl.Datetime("us")), channel.start.zone)
    if utc[0] is None:
        raise SetAside(
            "the start time does not exist", f"a time that {channel.start.zone} had", f"'{short(written)}'",
            "ask the provider for the right start",
        )  # fmt: skip
    seconds = _as_float(work, "time", frame["time"]) * conversion(channel.unit, "s").factor
    micro = (seconds * 1e6).round(0).cast(pl.Int64, strict=False)
    start_us = utc.dt.timestamp("us")[0]
    times: pl.Series = (micro + start_us).cast(pl.Datetime("us", "UTC"))
    return times
