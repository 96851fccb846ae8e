"""From what stands in a file to typed rows of a lake table."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import Any

import polars as pl

from pipeline.errors import SetAside, short
from pipeline.ingest.cells import Finding, Work, elapsed, moment, typed
from pipeline.ingest.maps import SourceMap
from pipeline.ingest.names import Names, new_id
from pipeline.ingest.read import ROW, RawFile
from pipeline.schemas import WELLS, meta

LONG_DAYS = 3.0
"""A record that spans more has odd times. [d]"""


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
    work = Work(source, raw, names, name_groups(source, file_name), findings)
    rows_in = raw.frame.height
    frame = _well_ids(work, raw.frame)
    frame = frame.with_columns(typed(work, frame))
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


def name_groups(source: SourceMap, file_name: str) -> dict[str, str]:
    """Return what a file's name tells: the groups of the map's pattern."""
    if source.name_pattern is None:
        return {}
    match = re.search(source.name_pattern, file_name)
    if match is None:
        raise SetAside(
            "the file's name does not tell what it is", f"a name that fits {source.name_pattern}",
            short(file_name, 120), f"rename the file, or correct 'name_pattern' in the map '{source.name}'",
        )  # fmt: skip
    return {key: value for key, value in match.groupdict().items() if value is not None}


def _well_ids(work: Work, frame: pl.DataFrame) -> pl.DataFrame:
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


def _resolve(work: Work, name: str, line: int | None) -> str:
    known = work.names.find(name)
    if known is not None:
        return known
    if work.source.unknown_wells == "create":
        well = new_id(name)
        work.created[well] = name
        work.findings.append(
            Finding("well_created", f"no wells table knows '{short(name)}': a well without data was made", line)
        )
        return well
    near = work.names.nearest(name)
    hint = f"nearest known: {', '.join(near)}" if near else "no well is known that is like it"
    raise SetAside(
        f"the well '{short(name)}' is not known", "a name or alias of the wells table", hint,
        "add the spelling to the well's 'aliases', or the well to the wells table", line,
    )  # fmt: skip


def _stubs(work: Work) -> pl.DataFrame:
    rows = [{"well_id": well, "well_name": name, "stub": True} for well, name in work.created.items()]
    dtypes = {name: dtype for name, dtype in WELLS.dtypes.items() if name != "source_id"}
    return pl.DataFrame(rows, schema=dtypes)


def _numbers_from_name(work: Work, frame: pl.DataFrame) -> pl.DataFrame:
    for key in ("stage", "run", "plug"):
        if key in work.groups:
            try:
                number = int(work.groups[key])
            except ValueError as error:
                raise SetAside(
                    f"the file's name gives no {key}", "a whole number", f"'{short(work.groups[key])}'",
                    f"correct 'name_pattern' in the map '{work.source.name}'",
                ) from error  # fmt: skip
            frame = frame.with_columns(pl.lit(number, dtype=pl.Int32).alias(key))
    return frame


def _times(work: Work, frame: pl.DataFrame) -> pl.DataFrame:
    channel = work.source.columns.get("time")
    if channel is None or "time" not in work.source.table.key:
        return frame
    if channel.start is not None:
        series = elapsed(work, channel, frame)
    else:
        series = moment(work, "time", channel, frame["time"])
    frame = frame.with_columns(time=series)
    unread = frame["time"].null_count()
    if unread:
        frame = frame.filter(pl.col("time").is_not_null())
        if frame.is_empty():
            raise SetAside(
                "no row has a time", "a time in each row", "none", f"correct 'time' in the map '{work.source.name}'"
            )
    return frame


def _referenced(work: Work, frame: pl.DataFrame) -> pl.DataFrame:
    """Count stages from the toe and depths from the rotary table."""
    source = work.source
    if source.stages_numbered_from == "heel" and "stage" in frame.columns:
        frame = _from_toe(work, frame)
    columns = source.table.columns
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


def _from_toe(work: Work, frame: pl.DataFrame) -> pl.DataFrame:
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


def _ordered(work: Work, frame: pl.DataFrame) -> pl.DataFrame:
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


def _validate(work: Work, frame: pl.DataFrame) -> None:
    """Set the file aside where a row breaks the table's schema; name the row and the rule."""
    table = work.source.table
    schema: Any = table.schema
    columns = table.columns
    required = [name for name in frame.columns if name in columns and not columns[name].nullable]
    for name in required:
        if frame[name].null_count():
            line = int(frame[ROW][int(frame[name].is_null().arg_true()[0])])
            heading = work.source.columns[name].column if name in work.source.columns else name
            raise SetAside(
                f"'{short(heading or name)}' is empty", "a value in each row", "nothing",
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
            short(str({key: row[key] for key in table.key})), "correct the row", row[ROW],
        )  # fmt: skip
