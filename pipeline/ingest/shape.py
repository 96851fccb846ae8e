"""Convert the content of a file to typed rows of a lake table."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import polars as pl

from pipeline.errors import SetAside, short
from pipeline.ingest.cells import typed
from pipeline.ingest.clock import clock_times, clock_zone, elapsed, moment, of_day, possible
from pipeline.ingest.maps import Channel, SourceMap
from pipeline.ingest.names import WellRegistry, claimed_twice, folded, new_id
from pipeline.ingest.propose.named import number_in_name
from pipeline.ingest.read import ROW, RawFile, few
from pipeline.ingest.spool import Rows, Spool
from pipeline.ingest.tally import FileJob, Finding, Tally, judge
from pipeline.ingest.times import near_clock_change
from pipeline.schemas.base import MOST_NUMBER, meta
from pipeline.schemas.wells import WELLS

DAY_ZERO = ("1899-12-30", "1970-01-01")
"""Days from which spreadsheets and computers count: starts that are the same for every file."""
LONG_DAYS = 3.0
"""A longer record probably has wrong times. [d]"""


@dataclass
class Shaped:
    """Typed rows of one file.

    Attributes
    ----------
    rows : Rows
        All columns of the table except ``source_id``.
    stubs : polars.DataFrame
        Wells created because the file names unknown wells (empty if none).
    rows_in : int
        Rows read.
    findings : list of Finding
    """

    rows: Rows
    stubs: pl.DataFrame
    rows_in: int
    findings: list[Finding] = field(default_factory=list)


def shape(raw: RawFile, source: SourceMap, names: WellRegistry, file_name: str, folder: Path) -> Shaped:
    """Turn a raw file into rows of its lake table.

    Parameters
    ----------
    raw : RawFile
    source : SourceMap
    names : WellRegistry
        Known wells.
    file_name : str
        Name of the file, for ``name_pattern``.
    folder : Path
        Folder for rows that are too large for memory.

    Raises
    ------
    SetAside
        If the rows cannot be used; gives the location and the fix.
    """
    groups = name_groups(source, file_name) | head_groups(source, raw.head)
    work = FileJob(source, raw, names, groups, file_name)
    spool = Spool(source.table, folder, source.repeated, source.duplicates is not None)
    rows_in, incomplete = 0, _Incomplete()
    for frame in _at_clock_changes(work, raw.pieces):
        rows_in += frame.height
        spool.add(_shaped(work, frame, incomplete))
    judge(work)
    _start_of_map(work)
    incomplete.judge(work, rows_in)
    rows = spool.rows(work.findings)
    if rows.height == 0:
        left_out = next((note[1] for note in raw.notes if note[0] == "rows_left_out"), "none")
        raise SetAside(
            "no row can be used", "rows with a time and their key values", left_out,
            f"correct the map '{source.name}', or the file",
        )  # fmt: skip
    _tell_created(work, rows)
    _long(work, rows)
    _against_name(work, rows)
    if source.lands == WELLS.name:
        for way, owner, other in claimed_twice(pl.concat(rows.frames())):
            text = f"'{short(way)}' is a name of two wells, {owner} and {other}: files with that name go to the first"
            work.findings.append(Finding("alias_twice", text))
    work.findings[:0] = [Finding(*note) for note in raw.notes]
    return Shaped(rows, _stubs(work), rows_in, work.findings)


def _tell_created(work: FileJob, rows: Rows) -> None:
    """Tell the wells that are created; a void row, such as one of totals, creates none."""
    work.created = {name: made for name, made in work.created.items() if made[0] in rows.wells}
    for _, name, line in work.created.values():
        text = f"'{short(name)}' is in no wells table: a new well without data was created"
        digits = re.sub(r"\D", "", name)  # Teal 1H and Teal 2H are neighbours, not spellings
        alike = [one for one in work.names.nearest(name, cutoff=0.85) if re.sub(r"\D", "", one) == digits]
        if alike:
            text += f"; is it '{short(alike[0])}', spelled in another way? then add an alias to the wells table"
        work.findings.append(Finding("well_created", text, line))


def _against_name(work: FileJob, rows: Rows) -> None:
    """Add a finding where a file's name tells another stage or run than its content."""
    number = next((key for key in ("stage", "run") if key in work.source.table.key), None)
    if number is None or "time" not in work.source.table.key or len(rows.numbers) != 1:
        return
    if number in name_groups(work.source, work.file_name):
        return
    told, held = number_in_name(work.file_name, number), next(iter(rows.numbers))
    if told is not None and told != held:
        text = f"the file's name says {number} {told}, its content {number} {held}: the content counts"
        work.findings.append(Finding("name_differs", text))


def _shaped(work: FileJob, frame: pl.DataFrame, incomplete: _Incomplete) -> pl.DataFrame:
    """Shape one piece of a file."""
    source = work.source
    frame = _well_ids(work, frame)
    frame = frame.with_columns(typed(work, frame))
    frame = _numbers_from_name(work, frame)
    frame = _timed(work, frame)
    if source.lands == WELLS.name:
        frame = frame.with_columns(stub=pl.lit(False))
    frame = incomplete.drop(work, frame)
    frame = _referenced(work, frame)
    dtypes = {name: dtype for name, dtype in source.table.dtypes.items() if name != "source_id"}
    absent = [pl.lit(None, dtype=dtype).alias(name) for name, dtype in dtypes.items() if name not in frame.columns]
    frame = frame.lazy().with_columns(absent).select(list(dtypes)).cast(dtypes).collect()  # type: ignore[arg-type]
    _keep_rules(work, frame)
    return frame


def _at_clock_changes(work: FileJob, pieces: Iterator[pl.DataFrame]) -> Iterator[pl.DataFrame]:
    """Join pieces that end near a clock change: the rows around it are needed to identify its hours."""
    channel = work.source.columns.get("time")
    if channel is None or not channel.formats or channel.start is not None or "time" not in work.source.table.key:
        yield from pieces
        return
    waiting: pl.DataFrame | None = None
    for piece in pieces:
        if waiting is not None and _ends_at_clock_change(work, channel, waiting):
            waiting = pl.concat([waiting, piece], how="vertical_relaxed")
            continue
        if waiting is not None:
            yield waiting
        waiting = piece
    if waiting is not None:
        yield waiting


def _ends_at_clock_change(work: FileJob, channel: Channel, frame: pl.DataFrame) -> bool:
    if any("%z" in written for written in channel.formats):  # each time has its own offset
        return False
    last = possible(clock_times(channel, frame["time"].tail(1)))
    return len(last) == 1 and last[0] is not None and near_clock_change(last[0], clock_zone(work, channel))


def name_groups(source: SourceMap, file_name: str) -> dict[str, str]:
    """Return the groups of the map's pattern in a file's name."""
    if source.name_pattern is None:
        return {}
    match = re.search(source.name_pattern, file_name)
    if match is None:
        raise SetAside(
            "the file's name does not match 'name_pattern'", f"a name that matches {source.name_pattern}",
            short(file_name, 120), f"rename the file, or correct 'name_pattern' in the map '{source.name}'",
        )  # fmt: skip
    return {key: value for key, value in match.groupdict().items() if value is not None}


def head_groups(source: SourceMap, head: list[str]) -> dict[str, str]:
    """Return the groups of the map's patterns in the lines above the data."""
    found: dict[str, str] = {}
    for pattern in source.head_pattern:
        match = next((match for line in head if (match := re.search(pattern, line))), None)
        if match is None:
            raise SetAside(
                "no line above the data matches 'head_pattern'", f"a line that matches {pattern}", _seen(head),
                f"correct 'head_pattern' in the map '{source.name}'", 1,
            )  # fmt: skip
        found |= {key: value.strip() for key, value in match.groupdict().items() if value is not None}
    return found


def _seen(head: list[str]) -> str:
    """Return the first lines above the data as a pattern sees them, with tabs visible."""
    lines = [short(line.replace("\t", "\\t"), 60) for line in head if line.strip()][:4]
    return "none" if not lines else "lines such as " + "; ".join(f"'{line}'" for line in lines)


def _well_ids(work: FileJob, frame: pl.DataFrame) -> pl.DataFrame:
    source = work.source
    if "well_id" not in source.table.dtypes:
        return frame
    if "well" in work.groups:
        return frame.with_columns(well_id=pl.lit(_resolve(work, work.groups["well"], None)))
    if "well_id" not in frame.columns:
        constant = work.raw.constants.get("well_id")
        if constant is None:
            return frame
        return frame.with_columns(well_id=pl.lit(_resolve(work, constant, None)))
    optional = "well_id" not in source.table.key
    spelled = frame.select(pl.col("well_id").str.strip_chars().alias("name"), ROW).unique("name", keep="first")
    found: dict[str, str] = {}
    for name, line in spelled.sort(ROW).iter_rows():
        if not name:
            if optional:
                continue
            raise SetAside(
                "a row has no well name", "the well's name", "nothing", "fill in the well, or remove the row", line
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


def _resolve(work: FileJob, name: str, line: int | None) -> str:
    known = work.names.find(name)
    if known is not None:
        return known
    if work.source.unknown_wells == "create":
        well, _, _ = work.created.setdefault(folded(name), (new_id(name), name, line))
        return well
    near = work.names.nearest(name)
    hint = f"nearest known: {', '.join(near)}" if near else "no similar well is known"
    raise SetAside(
        f"the well '{short(name)}' is unknown", "a name or alias in the wells table", hint,
        "add the spelling to the well's 'aliases', or the well to the wells table", line,
    )  # fmt: skip


def _stubs(work: FileJob) -> pl.DataFrame:
    rows = [{"well_id": well, "well_name": name, "stub": True} for well, name, _ in work.created.values()]
    dtypes = {name: dtype for name, dtype in WELLS.dtypes.items() if name != "source_id"}
    return pl.DataFrame(rows, schema=dtypes)


def _numbers_from_name(work: FileJob, frame: pl.DataFrame) -> pl.DataFrame:
    for key in ("stage", "run", "plug"):
        if key in work.groups:
            try:
                number = int(work.groups[key])
            except ValueError as error:
                raise SetAside(
                    f"the file's name has no valid {key}", "a whole number", f"'{short(work.groups[key])}'",
                    f"correct 'name_pattern' in the map '{work.source.name}'",
                ) from error  # fmt: skip
            number = max(-1, min(number, MOST_NUMBER + 1))  # impossible numbers are reported later
            frame = frame.with_columns(pl.lit(number, dtype=pl.Int32).alias(key))
    return frame


def _times(work: FileJob, frame: pl.DataFrame) -> pl.DataFrame:
    channel = work.source.columns.get("time")
    if channel is None or "time" not in work.source.table.key:
        return frame
    if channel.start is not None and channel.unit is None:
        series = of_day(work, channel, frame["time"], frame[ROW])
    elif channel.start is not None:
        series = elapsed(work, channel, frame)
    else:
        series = moment(work, "time", channel, frame["time"], frame[ROW])
    return frame.with_columns(time=series)


def _timed(work: FileJob, frame: pl.DataFrame) -> pl.DataFrame:
    """Convert the times of each stage or run to UTC separately: its row order resolves the hours at a clock change."""
    names = [name for name in work.source.table.key if name != "time" and name in frame.columns]
    if "time" not in work.source.table.key or all(frame[name].n_unique() <= 1 for name in names):
        return _times(work, frame)
    parts = [_times(work, part) for part in frame.partition_by(names, maintain_order=True)]
    return pl.concat(parts).sort(ROW)


def _referenced(work: FileJob, frame: pl.DataFrame) -> pl.DataFrame:
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
                "depths are measured from ground level, but the height of the rotary table is unknown",
                "'rotary_table_ft' of the well", "none", "fill it in the wells table",
            )  # fmt: skip
        frame = frame.with_columns(pl.col(name) + height for name in depths)
    return frame


def _from_toe(work: FileJob, frame: pl.DataFrame) -> pl.DataFrame:
    counts = frame["well_id"].replace_strict(work.names.stage_counts, default=None, return_dtype=pl.Int32)
    if counts.null_count():
        raise SetAside(
            "stages are numbered from the heel, but the number of stages is unknown",
            "'stage_count' of the well", "none", "fill it in the wells table",
        )  # fmt: skip
    turned = counts + 1 - frame["stage"]
    if (turned < 1).any():
        line = int(frame[ROW][int((turned < 1).arg_true()[0])])
        raise SetAside(
            "a stage number is larger than the well's number of stages", "at most the well's 'stage_count'",
            str(frame["stage"].max()), "correct 'stage_count' in the wells table", line,
        )  # fmt: skip
    return frame.with_columns(turned.alias("stage"))


def _start_of_map(work: FileJob) -> None:
    """Tell of a start, stage or run that the map gives and no file: it is the same for every file."""
    for key in ("stage", "run"):
        if "time" in work.source.table.key and key in work.raw.constants:
            text = f"the {key} {short(work.raw.constants[key])} is the map's, not the file's: check it for each file"
            work.findings.append(Finding("key_of_map", text))
    channel = work.source.columns.get("time")
    if (
        channel is not None
        and channel.start is not None
        and channel.start.value is not None
        and channel.start.value not in DAY_ZERO
    ):
        text = f"the start time {channel.start.value} is the map's, not the file's: check it for each file"
        work.findings.append(Finding("start_of_map", text))


def _long(work: FileJob, rows: Rows) -> None:
    if rows.first is None or rows.last is None:
        return
    days = (rows.last - rows.first).total_seconds() / 86400.0
    if days > LONG_DAYS:
        text = f"the record spans {days:.1f} days: check the order of day and month in the map"
        work.findings.append(Finding("long_span", text))


@dataclass
class _Incomplete:
    """Rows without a required value, so far."""

    count: int = 0
    line: int = 0
    column: str = ""

    def drop(self, work: FileJob, frame: pl.DataFrame) -> pl.DataFrame:
        """Return the rows that have all required values."""
        columns = work.source.table.columns
        needed = [name for name in frame.columns if name in columns and not columns[name].nullable]
        if not any(frame[name].null_count() for name in needed):
            return frame
        whole = frame.select(pl.all_horizontal(pl.col(name).is_not_null() for name in needed)).to_series()
        if not self.count:
            row = frame.filter(~whole).row(0, named=True)
            self.line, self.column = row[ROW], next(name for name in needed if row[name] is None)
        self.count += frame.height - int(whole.sum())
        return frame.filter(whole)

    def judge(self, work: FileJob, rows: int) -> None:
        """Add a finding for them, or set the file aside if there are too many."""
        told = work.tallies[self.column] if self.column in work.tallies else Tally()
        missing = self.count - told.bad - told.skipped
        if missing <= 0:  # each is already reported as an invalid cell
            return
        channel = work.source.columns.get(self.column)
        heading = short((channel.shown if channel is not None else "") or self.column)
        if not few(missing, rows) or missing == rows:
            raise SetAside(
                f"'{heading}' is empty in {missing} of {rows} rows", "a value in each row", "nothing",
                "fill it in, or remove the rows", self.line,
            )  # fmt: skip
        text = f"{missing} row(s) without a required value, first in '{heading}': void"
        work.findings.append(Finding("incomplete_rows", text, self.line, missing))


def _keep_rules(work: FileJob, frame: pl.DataFrame) -> None:
    """Set the file aside if a row breaks the table's schema; report the row and the rule."""
    table = work.source.table
    schema: Any = table.schema
    if "time" in table.key:  # ranges are checked per cell; only the number in the file's name remains
        name = next(name for name in ("stage", "run") if name in table.key)
        low, high = schema.columns()[name].min, schema.columns()[name].max
        numbers = frame[name].unique().to_list()
        if not all(low <= number <= high for number in numbers):
            raise SetAside(
                f"the file has an impossible {name} number", f"a {name} from {low} to {high}", f"{min(numbers)}",
                f"rename the file, or correct 'name_pattern' or '{name}' in the map '{work.source.name}'",
            )  # fmt: skip
        return
    result = schema.filter(frame.with_columns(source_id=pl.lit("x")).select(list(table.dtypes)), cast=False)
    failed = result.failure
    rules = {name: count for name, count in failed.counts().items() if name != "primary_key"}
    if rules:
        row = failed.invalid().row(0, named=True)
        raise SetAside(
            f"a row breaks the rule '{next(iter(rules))}' of table '{table.name}'", "rows that satisfy it",
            short(str({key: row[key] for key in table.key})), "correct the row", row[ROW],
        )  # fmt: skip
