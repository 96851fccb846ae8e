"""From what stands in a file to typed rows of a lake table."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

import polars as pl

from pipeline.errors import SetAside
from pipeline.ingest.maps import PAD_ZONE, Channel, SourceMap
from pipeline.ingest.names import Names, new_id
from pipeline.ingest.read import ROW, RawFile, _short
from pipeline.ingest.times import to_utc
from pipeline.schemas import WELLS, meta
from pipeline.units import conversion

BAD_SHARE = 0.01
"""Up to this share of cells that are no numbers is a finding; more sets the file aside. [1]"""
WRONG_UNIT_SHARE = 0.05
"""More samples than this outside the hard range: the unit is wrong. [1]"""
LONG_DAYS = 3.0
"""A record that spans more has odd times. [d]"""


@dataclass
class Finding:
    """Something odd in a file that did not stop its landing."""

    kind: str
    message: str
    row: int | None = None
    rows: int | None = None


@dataclass
class Shaped:
    """Typed rows of one file.

    Attributes
    ----------
    frame : polars.DataFrame
        All columns of the table except ``source_id``.
    stubs : polars.DataFrame
        Wells made because the file named unknown ones (empty where none).
    rows_in : int
        Rows read.
    findings : list of Finding
    """

    frame: pl.DataFrame
    stubs: pl.DataFrame
    rows_in: int
    findings: list[Finding] = field(default_factory=list)


@dataclass
class _Work:
    source: SourceMap
    raw: RawFile
    names: Names
    groups: dict[str, str]
    findings: list[Finding]
    created: dict[str, str] = field(default_factory=dict)


def shape(raw: RawFile, source: SourceMap, names: Names, file_name: str) -> Shaped:
    """Turn a raw file into rows of its lake table.

    Parameters
    ----------
    raw : RawFile
    source : SourceMap
    names : Names
        Known wells.
    file_name : str
        Name of the file, for ``name_pattern``.

    Raises
    ------
    SetAside
        Where the rows cannot be used; says where and what to do.
    """
    findings = [Finding(kind, message, line) for kind, message, line in raw.notes]
    work = _Work(source, raw, names, _groups(source, file_name), findings)
    rows_in = raw.frame.height
    frame = _well_ids(work, raw.frame)
    frame = frame.with_columns(_typed(work, frame))
    frame = _numbers_from_name(work, frame)
    frame = _times(work, frame)
    if source.lands == WELLS.name:
        frame = frame.with_columns(stub=pl.lit(False))
    frame = _referenced(work, frame)
    dtypes = {name: dtype for name, dtype in source.table.dtypes.items() if name != "source_id"}
    absent = [pl.lit(None, dtype=dtype).alias(name) for name, dtype in dtypes.items() if name not in frame.columns]
    frame = frame.with_columns(absent).select(list(dtypes)).cast(dtypes)  # type: ignore[arg-type]
    frame = _ordered(work, frame)
    _validate(work, frame)
    return Shaped(frame, _stubs(work), rows_in, work.findings)


def _groups(source: SourceMap, file_name: str) -> dict[str, str]:
    if source.name_pattern is None:
        return {}
    match = re.search(source.name_pattern, file_name)
    if match is None:
        raise SetAside(
            "the file's name does not tell what it is", f"a name that fits {source.name_pattern}",
            _short(file_name, 120), f"rename the file, or correct 'name_pattern' in the map '{source.name}'",
        )  # fmt: skip
    return {key: value for key, value in match.groupdict().items() if value is not None}


def _well_ids(work: _Work, frame: pl.DataFrame) -> pl.DataFrame:
    source = work.source
    if "well_id" not in source.table.dtypes:
        return frame
    if "well" in work.groups:
        return frame.with_columns(well_id=pl.lit(_resolve(work, work.groups["well"], None)))
    if "well_id" not in frame.columns:
        channel = source.columns.get("well_id")
        if channel is None or channel.value is None:
            return frame
        return frame.with_columns(well_id=pl.lit(_resolve(work, str(channel.value), None)))
    optional = "well_id" not in source.table.key
    spelled = frame.select(pl.col("well_id").str.strip_chars().alias("name"), ROW).unique("name", keep="first")
    found: dict[str, str] = {}
    for name, line in spelled.sort(ROW).iter_rows():
        if not name:
            if optional:
                continue
            raise SetAside(
                "a row names no well", "the well's name", "nothing", "fill in the well, or remove the row", line
            )
        if source.lands == WELLS.name:
            found[name] = new_id(name)
        else:
            found[name] = _resolve(work, name, line)
    names = frame["well_id"].str.strip_chars()
    frame = frame.with_columns(well_id=names.replace_strict(found, default=None, return_dtype=pl.String))
    if source.lands == WELLS.name and "well_name" not in source.columns:
        frame = frame.with_columns(well_name=names)
    return frame


def _resolve(work: _Work, name: str, line: int | None) -> str:
    known = work.names.find(name)
    if known is not None:
        return known
    if work.source.unknown_wells == "create":
        well = new_id(name)
        work.created[well] = name
        work.findings.append(
            Finding("well_created", f"no wells table knows '{_short(name)}': a well without data was made", line)
        )
        return well
    near = work.names.nearest(name)
    hint = f"nearest known: {', '.join(near)}" if near else "no well is known that is like it"
    raise SetAside(
        f"the well '{_short(name)}' is not known", "a name or alias of the wells table", hint,
        "add the spelling to the well's 'aliases', or the well to the wells table", line,
    )  # fmt: skip


def _stubs(work: _Work) -> pl.DataFrame:
    rows = [
        {"well_id": well, "well_name": name, "stub": True} for well, name in work.created.items()
    ]
    dtypes = {name: dtype for name, dtype in WELLS.dtypes.items() if name != "source_id"}
    return pl.DataFrame(rows, schema=dtypes)


def _typed(work: _Work, frame: pl.DataFrame) -> list[pl.Series]:
    columns = work.source.table.schema.columns()
    typed = []
    for lake, channel in work.source.columns.items():
        if lake == "well_id":
            continue
        dtype = columns[lake].dtype
        if channel.value is not None:
            typed.append(pl.Series(lake, [channel.value]).cast(dtype).new_from_index(0, frame.height))
            continue
        series = frame[lake]
        if meta(columns[lake]).get("unit") is not None:
            typed.append(_quantity(work, lake, channel, series))
        elif isinstance(dtype, pl.Int32):
            typed.append(_whole(work, lake, series))
        elif isinstance(dtype, pl.Boolean):
            typed.append(_yes_no(work, lake, series))
        elif isinstance(dtype, pl.Date):
            day = series.str.strip_chars().str.to_date(channel.format or "%Y-%m-%d", strict=False)
            _bad_cells(work, lake, series, day, f"a date as {channel.format or '%Y-%m-%d'}")
            typed.append(day)
        elif isinstance(dtype, pl.String):
            text = series.str.strip_chars()
            typed.append(pl.select(pl.when(text != "").then(text).alias(lake)).to_series())
        elif isinstance(dtype, pl.Datetime) and lake != "time":
            typed.append(_moment(work, lake, channel, series))
    return [series.rename(series.name) for series in typed]


def _quantity(work: _Work, lake: str, channel: Channel, series: pl.Series) -> pl.Series:
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
            f"'{_short(channel.column or lake)}' is out of range in {counts['void']} of {counts['n']} rows",
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


def _as_float(work: _Work, lake: str, series: pl.Series) -> pl.Series:
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


def _bad_cells(work: _Work, lake: str, text: pl.Series, value: pl.Series, expected: str) -> None:
    bad = (text.is_not_null() & (text.cast(pl.String).str.strip_chars() != "") & value.is_null()).arg_true()
    if not len(bad):
        return
    line = int(work.raw.frame[ROW][bad[0]])
    shown = _short(str(text[int(bad[0])]))
    heading = work.source.columns[lake].column or lake
    required = lake in work.source.table.key
    if required or len(bad) > max(BAD_SHARE * len(text), 3):
        raise SetAside(
            f"'{_short(heading)}' is not {expected} in {len(bad)} of {len(text)} rows", expected, f"'{shown}'",
            "correct the file, list such texts under 'void_values', or correct the decimal mark or format in the map "
            f"'{work.source.name}'", line,
        )  # fmt: skip
    work.findings.append(
        Finding("not_a_value", f"'{_short(heading)}' is not {expected} in {len(bad)} row(s), first '{shown}': void",
                line, len(bad))
    )  # fmt: skip


def _whole(work: _Work, lake: str, series: pl.Series) -> pl.Series:
    value = series.str.strip_chars().cast(pl.Float64, strict=False)
    whole = pl.select(pl.when(value == value.floor()).then(value).cast(pl.Int32, strict=False).alias(lake)).to_series()
    _bad_cells(work, lake, series, whole, "a whole number")
    return whole


def _yes_no(work: _Work, lake: str, series: pl.Series) -> pl.Series:
    words = {"true": True, "yes": True, "y": True, "1": True, "false": False, "no": False, "n": False, "0": False}
    value = series.str.strip_chars().str.to_lowercase().replace_strict(words, default=None, return_dtype=pl.Boolean)
    _bad_cells(work, lake, series, value, "yes or no")
    return value


def _numbers_from_name(work: _Work, frame: pl.DataFrame) -> pl.DataFrame:
    for key in ("stage", "run", "plug"):
        if key in work.groups:
            try:
                number = int(work.groups[key])
            except ValueError as error:
                raise SetAside(
                    f"the file's name gives no {key}", "a whole number", f"'{_short(work.groups[key])}'",
                    f"correct 'name_pattern' in the map '{work.source.name}'",
                ) from error  # fmt: skip
            frame = frame.with_columns(pl.lit(number, dtype=pl.Int32).alias(key))
    return frame


def _times(work: _Work, frame: pl.DataFrame) -> pl.DataFrame:
    channel = work.source.columns.get("time")
    if channel is None or "time" not in work.source.table.key:
        return frame
    if channel.start is not None:
        series = _elapsed(work, channel, frame)
    else:
        series = _moment(work, "time", channel, frame["time"])
    frame = frame.with_columns(time=series)
    unread = frame["time"].null_count()
    if unread:
        frame = frame.filter(pl.col("time").is_not_null())
        if frame.is_empty():
            raise SetAside(
                "no row has a time", "a time in each row", "none", f"correct 'time' in the map '{work.source.name}'"
            )
    return frame


def _moment(work: _Work, lake: str, channel: Channel, series: pl.Series) -> pl.Series:
    assert channel.format is not None and channel.zone is not None
    naive = series.str.to_datetime(channel.format, strict=False, time_unit="us")
    if isinstance(naive.dtype, pl.Datetime) and naive.dtype.time_zone is not None:
        naive = naive.dt.convert_time_zone("UTC").dt.replace_time_zone(None)
    _bad_cells(work, lake, series, naive, f"a time as {channel.format}")
    return _on_utc(work, naive, channel.zone).alias(lake)


def _on_utc(work: _Work, naive: pl.Series, zone: str) -> pl.Series:
    utc, notes = to_utc(naive, _zone(work, zone))
    work.findings += [Finding(kind, message, rows=rows) for kind, message, rows in notes]
    return utc


def _zone(work: _Work, zone: str) -> str:
    if zone != PAD_ZONE:
        return zone
    well = work.names.find(work.groups.get("well", ""))
    if well is None or well not in work.names.zones:
        raise SetAside(
            "the pad's time zone is not known", "'time_zone' of the well in the wells table", "none",
            "fill it in, or name the zone in the map",
        )  # fmt: skip
    return work.names.zones[well]


def _elapsed(work: _Work, channel: Channel, frame: pl.DataFrame) -> pl.Series:
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
            "the start time cannot be read", f"a time as {channel.start.format}", f"'{_short(written)}'",
            f"correct 'start.format' in the map '{work.source.name}'",
        ) from error  # fmt: skip
    utc = _on_utc(work, pl.Series([start], dtype=pl.Datetime("us")), channel.start.zone)
    if utc[0] is None:
        raise SetAside(
            "the start time does not exist", f"a time that {channel.start.zone} had", f"'{_short(written)}'",
            "ask the provider for the right start",
        )  # fmt: skip
    seconds = _as_float(work, "time", frame["time"]) * conversion(channel.unit, "s").factor
    micro = (seconds * 1e6).round(0).cast(pl.Int64, strict=False)
    start_us = utc.dt.timestamp("us")[0]
    return (micro + start_us).cast(pl.Datetime("us", "UTC"))


def _referenced(work: _Work, frame: pl.DataFrame) -> pl.DataFrame:
    """Count stages from the toe and depths from the rotary table."""
    source = work.source
    if source.stages_numbered_from == "heel" and "stage" in frame.columns:
        frame = _from_toe(work, frame)
    columns = source.table.schema.columns()
    depths = [name for name in frame.columns if name in columns and meta(columns[name]).get("depth")]
    if source.depth_reference == "ground" and depths:
        height = frame["well_id"].replace_strict(work.names.rotary_table_ft, default=None, return_dtype=pl.Float64)
        if source.lands == WELLS.name and "rotary_table_ft" in frame.columns:
            height = frame["rotary_table_ft"]
        if height.null_count():
            raise SetAside(
                "depths are measured from the ground, and the rotary table's height is not known",
                "'rotary_table_ft' of the well", "none", "fill it in the wells table",
            )  # fmt: skip
        frame = frame.with_columns(pl.col(name) + height for name in depths)
    return frame


def _from_toe(work: _Work, frame: pl.DataFrame) -> pl.DataFrame:
    counts = frame["well_id"].replace_strict(work.names.stage_counts, default=None, return_dtype=pl.Int32)
    if counts.null_count():
        raise SetAside(
            "stages are numbered from the heel, and the number of stages is not known",
            "'stage_count' of the well", "none", "fill it in the wells table",
        )  # fmt: skip
    turned = counts + 1 - frame["stage"]
    if (turned < 1).any():
        line = int(frame[ROW][int((turned < 1).arg_true()[0])])
        raise SetAside(
            "a stage number is larger than the well's number of stages", "at most 'stage_count'",
            str(frame["stage"].max()), "correct 'stage_count' in the wells table", line,
        )  # fmt: skip
    return frame.with_columns(turned.alias("stage"))


def _ordered(work: _Work, frame: pl.DataFrame) -> pl.DataFrame:
    """Sort samples by time and keep the last of repeated ones."""
    if "time" not in work.source.table.key or frame.height < 2:
        return frame
    step = frame["time"].diff().dt.total_microseconds()
    if (step > 0).sum() < frame.height - 1:
        back = int((step < 0).sum())
        if back:
            work.findings.append(Finding("out_of_order", f"{back} row(s) stand out of time order; sorted", rows=back))
        height = frame.height
        frame = frame.sort("time", maintain_order=True).unique("time", keep="last", maintain_order=True)
        if frame.height < height:
            count = height - frame.height
            work.findings.append(
                Finding("repeated_times", f"{count} row(s) repeat a time; the last of each is kept", rows=count)
            )
    span = (frame["time"][-1] - frame["time"][0]).total_seconds() / 86400.0
    if span > LONG_DAYS:
        work.findings.append(
            Finding("long_span", f"the record spans {span:.1f} days: is the order of day and month right in the map?")
        )
    return frame


def _validate(work: _Work, frame: pl.DataFrame) -> None:
    """Set the file aside where a row breaks the table's schema; name the row and the rule."""
    table = work.source.table
    schema: Any = table.schema
    columns = schema.columns()
    required = [name for name in frame.columns if name in columns and not columns[name].nullable]
    for name in required:
        if frame[name].null_count():
            line = int(frame[ROW][int(frame[name].is_null().arg_true()[0])])
            heading = work.source.columns[name].column if name in work.source.columns else name
            raise SetAside(
                f"'{_short(heading or name)}' is empty", "a value in each row", "nothing",
                "fill it in, or remove the row", line,
            )  # fmt: skip
    if "time" in table.key:
        return  # order and uniqueness of samples are assured by `_ordered`, ranges by `_quantity`
    twice = frame.select(table.key).is_duplicated()
    if twice.any():
        lines = frame.filter(twice)[ROW].to_list()
        raise SetAside(
            f"two rows describe the same {' and '.join(table.key)}", "each once",
            "lines " + ", ".join(str(line) for line in lines[:4]), "remove or correct one of them", lines[0],
        )  # fmt: skip
    result = schema.filter(frame.with_columns(source_id=pl.lit("x")).select(list(table.dtypes)), cast=False)
    failed = result.failure
    if len(failed):
        row = failed.invalid().row(0, named=True)
        rule = next(iter(failed.counts()))
        raise SetAside(
            f"a row breaks the rule '{rule}' of table '{table.name}'", "rows that keep it",
            _short(str({key: row[key] for key in table.key})), "correct the row", row[ROW],
        )  # fmt: skip
