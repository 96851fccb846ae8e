"""The cells of a file as typed columns: numbers in the lake's units, whole numbers, flags, days, moments."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

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
    columns = work.source.table.columns
    done: list[pl.Series] = []
    quantities = []
    for lake, channel in work.source.columns.items():
        dtype = columns[lake].dtype
        if lake == "well_id" or (lake == "time" and "time" in work.source.table.key):
            continue
        if channel.value is not None:
            done.append(pl.Series(lake, [channel.value]).cast(dtype).new_from_index(0, frame.height))
            continue
        series = frame[lake]
        if meta(columns[lake]).get("unit") is not None:
            quantities.append(lake)
        elif isinstance(dtype, pl.Int32):
            done.append(_whole(work, lake, series))
        elif isinstance(dtype, pl.Boolean):
            done.append(_yes_no(work, lake, series))
        elif isinstance(dtype, pl.Date):
            day = series.str.strip_chars().str.to_date(channel.format or "%Y-%m-%d", strict=False)
            _bad_cells(work, lake, series, day, f"a date as {channel.format or '%Y-%m-%d'}")
            done.append(day)
        elif isinstance(dtype, pl.String):
            text = series.str.strip_chars()
            done.append(pl.select(pl.when(text != "").then(text).alias(lake)).to_series())
        elif isinstance(dtype, pl.Datetime):
            done.append(moment(work, lake, channel, series))
    return done + _quantities(work, frame, quantities)


def _quantities(work: Work, frame: pl.DataFrame, names: list[str]) -> list[pl.Series]:
    """Convert all measured columns to the lake's units at once, and void what cannot be."""
    if not names:
        return []
    columns = work.source.table.columns
    floats = pl.DataFrame([_as_float(work, name, frame[name]) for name in names])
    shown = floats.select(_converted(work, name) for name in names)
    ranged = [name for name in names if meta(columns[name])["hard"] is not None]
    counts = shown.select(count for name in ranged for count in _range_counts(name, meta(columns[name])))
    for name in ranged:
        n, void, odd = (int(counts[f"{name}:{what}"][0]) for what in ("n", "void", "odd"))
        if void:
            shown = _voided(work, shown, name, n, void)
        if odd:
            low, high = meta(columns[name])["soft"]
            text = f"{name}: {odd} value(s) outside the usual {low:g} to {high:g}"
            work.findings.append(Finding("unusual_values", text, rows=odd))
    return shown.get_columns()


def _converted(work: Work, name: str) -> pl.Expr:
    unit = work.source.columns[name].unit
    assert unit is not None
    line = conversion(unit, work.source.table.unit(name))
    value = pl.col(name)
    shown = value if line.factor == 1.0 else value * line.factor
    return pl.when(value.is_finite()).then(shown + line.offset if line.offset else shown).alias(name)


def _range_counts(name: str, declared: dict[str, Any]) -> list[pl.Expr]:
    value = pl.col(name)
    inside = value.is_between(*declared["hard"])
    odd = (inside & ~value.is_between(*declared["soft"])).sum() if declared["soft"] else pl.lit(0)
    return [value.count().alias(f"{name}:n"), (~inside).sum().alias(f"{name}:void"), odd.alias(f"{name}:odd")]


def _voided(work: Work, shown: pl.DataFrame, name: str, n: int, void: int) -> pl.DataFrame:
    """Void the values outside the hard range; set the file aside where they are so many that the unit must be wrong."""
    low, high = meta(work.source.table.columns[name])["hard"]
    unit, channel = work.source.table.unit(name), work.source.columns[name]
    inside = pl.col(name).is_between(low, high)
    if void > max(WRONG_UNIT_SHARE * n, 1) or void == n:
        first = shown.with_row_index("i").filter(~inside).row(0, named=True)
        raise SetAside(
            f"'{short(channel.column or name)}' is out of range in {void} of {n} rows",
            f"{low:g} to {high:g} {unit}",
            f"{first[name]:g} {unit} when read as '{channel.unit}'",
            f"correct 'unit' in the map '{work.source.name}', or the column it names",
            int(work.raw.frame[ROW][first["i"]]),
        )
    text = f"{name}: {void} value(s) outside {low:g} to {high:g} are void"
    work.findings.append(Finding("void_samples", text, rows=void))
    return shown.with_columns(pl.when(inside).then(pl.col(name)).alias(name))


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
    if value.null_count() == text.null_count():
        return
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
