"""Source maps: how to read one kind of file, declared in TOML."""

from __future__ import annotations

import codecs
import copy
import hashlib
import re
import tomllib
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Annotated, Any, Literal

import polars as pl
from pydantic import BeforeValidator, Field, ValidationError

from pipeline.ingest.months import Language
from pipeline.schemas import LANDED
from pipeline.schemas.base import Table, meta
from pipeline.unit_names import read_unit
from pipeline.units import Linear, UnknownUnit
from pipeline.workspace import Frozen, key_problems, known_zone

READER_VERSION = 2
"""Increased when the same file with the same map would give different rows."""
MOST_HEAD = 10_000
"""Maximum number of lines above the data."""
SPACES = "spaces"
"""Delimiter of a file whose columns are aligned with two spaces or more."""
ALIGNED = r"(?<=\S) {2,}(?=\S)"
"""What stands between such columns."""
PAD_ZONE = "pad"
"""Zone name for times in the local time of the well's pad."""


class Start(Frozen):
    """A start time or date for records with elapsed time or times of day.

    Attributes
    ----------
    pattern : str, optional
        Regular expression with a group ``start``, searched in the lines above the data, then in the file's name.
    value : str, optional
        The start itself, in place of a pattern.
    format, zone : str
    from_zero : bool
        Whether times written as hours, minutes and seconds count from the start, not from midnight.
    """

    pattern: str | None = None
    value: str | None = None
    format: str
    zone: str
    from_zero: bool = False


def _several(value: object) -> object:
    """Accept one name where several may stand."""
    return (value,) if isinstance(value, str) else value


Names = Annotated[tuple[str, ...], BeforeValidator(_several)]
NARROW = "\u00a0\u202f\u2009"
"""Spaces that French and other number formats put between thousands; a map writes a plain one."""


def _plain_space(value: object) -> object:
    return " " if isinstance(value, str) and value in NARROW and value else value


class Channel(Frozen):
    """Source of a lake column.

    Attributes
    ----------
    column : str or list of str, optional
        Heading; of several, the first that the file has.
    place : int, optional
        Position of the column, counted from 1, where headings are missing or repeat.
    value : str, float or bool, optional
        One value for all rows.
    header : str, optional
        Regular expression with a group ``value``, searched in the lines above the data: one value for all rows.
    row : bool
        The number of the row, counted from 1 at the first row of data.
    optional : bool
        Whether the file may lack it.
    unit : str, optional
    plus, minus : tuple of str
        Headings of columns in the same unit that are added or subtracted.
    over : str, optional
        Heading of a column that the value is divided by; `unit` is that of the ratio.
    per : {"clean", "slurry"}
        What the volume of a proppant concentration is of. The lake's is per volume of clean fluid.
    specific_gravity : float
        Of the proppant's grains, to convert a concentration per volume of slurry. [1]
    pattern : str, optional
        Regular expression with a group ``value``: the part of a cell that counts. A cell without it is left as it is.
    format : str or list of str, optional
        Of a time or date; of several, the first that fits a cell.
    date : str, optional
        Heading of the column with the date, where the time of day has its own: the two are joined by a space.
    after : str, optional
        Lake column of a time that this one follows: a time of day that is not later is one of the next day.
    months : {"en", "fr", "es", "de", "pt", "it", "nl"}
        Language of month names.
    zone : str, optional
    start : Start, optional
        For elapsed times (with `unit`), or for times of day without a date (with `format`), which pass midnight.
    words : dict of str to str
        Words of the file and what they mean.
    """

    column: str | list[str] | None = None
    place: int | None = Field(default=None, ge=1, le=MOST_HEAD)
    value: str | float | bool | None = None
    header: str | None = None
    row: bool = False
    optional: bool = False
    unit: str | None = None
    plus: Names = ()
    minus: Names = ()
    over: str | None = None
    per: Literal["clean", "slurry"] = "clean"
    specific_gravity: float = Field(default=2.65, ge=0.9, le=5.0)
    pattern: str | None = None
    format: str | list[str] | None = None
    date: str | None = None
    after: str | None = None
    months: Language = "en"
    zone: str | None = None
    start: Start | None = None
    words: dict[str, str] = Field(default_factory=dict)

    @property
    def headings(self) -> list[str]:
        """Headings that it can have in a file."""
        given = self.column if isinstance(self.column, list) else [self.column] if self.column is not None else []
        return [heading.strip() for heading in given]

    @property
    def formats(self) -> list[str]:
        """Formats of its times or dates."""
        return self.format if isinstance(self.format, list) else [self.format] if self.format is not None else []

    @property
    def others(self) -> list[str]:
        """Headings of further columns that its value needs."""
        return [*self.plus, *self.minus, *(one for one in (self.over, self.date) if one is not None)]

    @property
    def from_rows(self) -> bool:
        """Whether each row has its own cell."""
        return bool(self.headings) or self.place is not None

    @property
    def shown(self) -> str:
        """How it is named in a message; empty if it has no column."""
        return self.headings[0] if self.headings else f"column {self.place}" if self.place is not None else ""


class SourceMap(Frozen):
    """The content of a source map."""

    name: str = Field(pattern=r"^[a-z0-9_]+$")
    lands: str
    files: Names
    name_pattern: str | None = None
    kind: Literal["delimited", "workbook", "las", "parquet", "witsml"] = "delimited"
    sheet: str | None = None
    delimiter: str = ","
    decimal: Literal[".", ","] = "."
    encoding: str = "utf-8"
    header_row: int = Field(default=1, ge=1, le=MOST_HEAD)
    units_row: int | None = Field(default=None, ge=1, le=MOST_HEAD)
    first_row: int | None = Field(default=None, ge=2, le=MOST_HEAD)
    ragged_rows: Literal["void", "set aside"] = "void"
    last_row: int | None = Field(default=None, ge=2, le=2**31 - 1)
    only_rows: dict[str, list[str]] = Field(default_factory=dict)
    not_rows: dict[str, list[str]] = Field(default_factory=dict)
    duplicates: Literal["set aside", "first", "last", "add"] | None = None
    most_void_rows: float = Field(default=0.01, ge=0.0, le=0.5)
    skip_lines: str | None = None
    head_pattern: Names = ()
    thousands: Annotated[Literal["", ",", ".", " ", "'"], BeforeValidator(_plain_space)] = ""
    void_values: list[str | float] = Field(default_factory=list)
    revision_pattern: str | None = None
    unknown_wells: Literal["set aside", "create"] = "set aside"
    stages_numbered_from: Literal["toe", "heel"] = "toe"
    depth_reference: Literal["rotary table", "ground"] = "rotary table"
    units: dict[str, str] = Field(default_factory=dict)
    columns: dict[str, Channel]

    def unit(self, written: str, target: str) -> Linear:
        """Return the conversion from a unit as this map or its files write it to one of the lake's."""
        return read_unit(written, target, self.units)

    @property
    def table(self) -> Table:
        """The lake table that receives the map's rows."""
        return LANDED[self.lands]

    @property
    def data_row(self) -> int:
        """First line of data, counted from 1."""
        return self.first_row or max(self.header_row, self.units_row or 0) + 1

    @property
    def mark(self) -> str:
        """The character between fields, as the file is read."""
        return "\t" if self.delimiter == SPACES else self.delimiter

    @property
    def repeated(self) -> Literal["set aside", "first", "last", "add"]:
        """What counts of rows with the same key: of a record's samples the last, unless the map says otherwise."""
        return self.duplicates or ("last" if "time" in self.table.key else "set aside")

    def claims(self, path: str) -> bool:
        """Whether the map's ``files`` match a path in the landing folder: * within a folder, ** across folders."""
        return claimer(self.files)(path) is not None


def claimer(patterns: tuple[str, ...]) -> Callable[[str], object]:
    """Return a function that returns something for a path that a map's ``files`` match, else None."""
    return _globs(patterns).fullmatch


@cache
def _globs(patterns: tuple[str, ...]) -> re.Pattern[str]:
    marks = {"**/": "(?:.*/)?", "**": ".*", "*": "[^/]*", "?": "[^/]"}
    split = (re.split(r"(\*\*/|\*\*|\*|\?)", pattern) for pattern in patterns)
    return re.compile("|".join("".join(marks.get(part, re.escape(part)) for part in parts) for parts in split))


def _problems(source: SourceMap) -> list[str]:
    """Return all errors of a map, not only the first one."""
    if source.lands not in LANDED:
        return [f"'lands' is not a lake table: '{source.lands}'; known tables: {', '.join(LANDED)}"]
    problems = []
    groups: set[str] = set()
    readable = True
    patterns = [("name_pattern", source.name_pattern), ("revision_pattern", source.revision_pattern),
                ("skip_lines", source.skip_lines), *(("head_pattern", one) for one in source.head_pattern)]  # fmt: skip
    for key, pattern in patterns:
        try:
            groups |= set(re.compile(pattern).groupindex) if pattern else set()
        except re.error as error:
            problems.append(f"'{key}' is not a valid regular expression: {error}")
            readable = False
    if source.delimiter == SPACES:
        pass
    elif len(source.delimiter) != 1 or not source.delimiter.isascii() or source.delimiter in '\n\r"':
        problems.append(
            "'delimiter' must be one character, such as ',' or '\\t', or \"spaces\" for columns that are aligned"
        )
    elif source.delimiter == source.decimal:
        problems.append(f"'delimiter' and 'decimal' must differ; both are '{source.decimal}'")
    if source.thousands and source.thousands == source.decimal:
        problems.append(f"'thousands' must differ from 'decimal'; it is '{source.thousands}'")
    if source.last_row is not None and source.last_row < source.data_row:
        problems.append(
            f"'last_row' must not be above the first row of data, {source.data_row}; it is {source.last_row}"
        )
    if source.kind == "workbook" and not source.sheet:
        problems.append("'sheet' must name the sheet of the workbook")
    try:
        codecs.getincrementaldecoder(source.encoding)().decode(b"")
    except (LookupError, AttributeError, TypeError, ValueError):
        problems.append(f"'encoding' is not a known text encoding: '{source.encoding}'")
    for name, channel in source.columns.items():
        problems += [f"columns.{name}: {text}" for text in _channel_problems(source, name, channel)]
    given = set(source.columns) | groups
    key_names = {"well_id": "well", "run": "run", "stage": "stage"}
    for key in source.table.key:
        if readable and key not in source.columns and key_names.get(key, key) not in given:
            problems.append(
                f"no source for '{key}': map a column to it, or add a named group to 'name_pattern' or 'head_pattern'"
            )
    return problems


def _channel_problems(source: SourceMap, name: str, channel: Channel) -> list[str]:
    table, columns = source.table, source.table.columns
    allowed = [column for column in columns if column not in ("source_id", "source_row", "stub")]
    if name not in allowed:
        return [f"table '{table.name}' has no such column; its columns: {', '.join(allowed)}"]
    if (channel.from_rows, channel.value is not None, channel.header is not None, channel.row).count(True) != 1:
        return [
            "give one of 'column' (a heading of the file), 'place' (its position), 'value' (one value for all rows), "
            "'header' (a pattern for the lines above the data), 'row' (the number of the row)"
        ]
    if channel.row and not isinstance(columns[name].dtype, pl.Int32):
        return ["only a whole number can be that of the row"]
    unit = meta(columns[name]).get("unit")
    problems = _pattern_problems("header", channel.header, "value") + _cell_pattern_problems(channel)
    if (channel.plus or channel.minus or channel.over) and unit is None:
        problems.append("only a measured quantity can have 'plus', 'minus' or 'over'")
    if channel.per == "slurry" and unit != "ppa":
        problems.append("only a concentration of proppant can have 'per'")
    if unit is not None and (channel.from_rows or channel.header is not None):
        if channel.unit is None:
            problems.append(f"'unit' is missing (the lake uses {unit})")
        else:
            try:
                source.unit(channel.unit, unit)
            except UnknownUnit as error:
                problems.append(str(error))
    if channel.after is not None and (
        channel.after not in source.columns or not isinstance(columns[name].dtype, pl.Datetime)
    ):
        problems.append("'after' of a time must name another time of the map")
    if isinstance(columns[name].dtype, pl.Datetime) and channel.from_rows:
        problems += _time_problems(channel)
    return problems


def _pattern_problems(key: str, pattern: str | None, group: str) -> list[str]:
    if pattern is None:
        return []
    try:
        found = group in re.compile(pattern).groupindex
    except re.error as error:
        return [f"'{key}' is not a valid regular expression: {error}"]
    return [] if found else [f"'{key}' must contain a group (?P<{group}>...)"]


def _cell_pattern_problems(channel: Channel) -> list[str]:
    """Return what is wrong with the pattern of a cell, which Polars reads."""
    problems = _pattern_problems("pattern", channel.pattern, "value")
    if channel.pattern is not None and not problems:
        try:
            pl.Series([""]).str.extract(channel.pattern)
        except pl.exceptions.PolarsError:
            return ["'pattern' must do without look-around and back references"]
    return problems


def _time_problems(channel: Channel) -> list[str]:
    zones = [channel.start.zone if channel.start else channel.zone]
    problems = []
    if channel.start is not None:
        if (channel.unit is None) == (channel.format is None):
            problems.append("'unit' of the elapsed time is missing, such as \"s\"; or 'format' of a time of day")
        if (channel.start.pattern is None) == (channel.start.value is None):
            problems.append("'start' needs either 'pattern' or 'value'")
        problems += _pattern_problems("start.pattern", channel.start.pattern, "start")
    elif channel.format is None:
        problems.append("'format' is missing, such as \"%d/%m/%Y %H:%M:%S\"")
    for written in [channel.start.format] if channel.start is not None else channel.formats:
        problems += _date_problems(written)
    for zone in zones:
        if zone is None:
            problems.append('\'zone\' is missing: "UTC", "pad", or one such as "America/Denver"')
        elif zone != PAD_ZONE:
            problems += [] if known_zone(zone) else [f"'{zone}' is not a known time zone"]
    return problems


def _date_problems(written: str) -> list[str]:
    """Return what a time format needs to give a date."""
    named = set(re.findall(r"%-?([A-Za-z])", written))
    if named & {"s", "c", "x", "D", "F", "+"} or (named & {"Y", "y"} and ("j" in named or _names_day(named))):
        return []
    return [f"'{written}' has no complete date: it needs a year (%Y), a month (%m or %b) and a day (%d)"]


def _names_day(named: set[str]) -> bool:
    return bool(named & {"m", "b", "B", "h"}) and bool(named & {"d", "e"})


@dataclass(frozen=True)
class LoadedMap:
    """A map with the hash of its file."""

    source: SourceMap
    hash: str
    path: Path


@dataclass(frozen=True)
class BrokenMap:
    """A map that cannot be used.

    Attributes
    ----------
    path : Path
    name : str
    files : tuple of str
        Patterns of the files that it would claim; empty if they cannot be read.
    problems : list of str
        All its errors.
    """

    path: Path
    name: str
    files: tuple[str, ...]
    problems: list[str]

    def claims(self, path: str) -> bool:
        """Whether the map would claim a path in the landing folder."""
        return claimer(self.files)(path) is not None

    def __str__(self) -> str:
        return "\n".join([f"{self.path}:", *(f"  {problem}" for problem in self.problems)])


def read_maps(folder: Path) -> tuple[list[LoadedMap], list[BrokenMap]]:
    """Read all maps of a workspace.

    Returns
    -------
    maps : list of LoadedMap
        In the order in which their tables are landed.
    broken : list of BrokenMap
        Maps that cannot be used; the other maps are still used.
    """
    loaded: list[LoadedMap] = []
    broken: list[BrokenMap] = []
    for path in sorted(folder.glob("*.toml")):
        found = _read_map(path)
        if isinstance(found, BrokenMap):
            broken.append(found)
        elif any(other.source.name == found.source.name for other in loaded):
            problem = f"name: another map already has the name '{found.source.name}'"
            broken.append(BrokenMap(path, "", found.source.files, [problem]))
        else:
            loaded.append(found)
    order = list(LANDED)
    return sorted(loaded, key=lambda item: (order.index(item.source.lands), item.source.name)), broken


def _read_map(path: Path) -> LoadedMap | BrokenMap:
    try:
        data = path.read_bytes()
        content = tomllib.loads(data.decode("utf-8-sig"))
    except (OSError, ValueError) as error:  # not TOML, or not UTF-8
        return BrokenMap(path, path.stem, (), [f"not valid TOML: {error}"])
    source, problems = checked(content)
    if problems or source is None:
        files = _several(content.get("files", ()))
        known = tuple(one for one in files if isinstance(one, str)) if isinstance(files, (list, tuple)) else ()
        return BrokenMap(path, str(content.get("name", path.stem)), known, problems)
    return LoadedMap(source, hashlib.sha256(data).hexdigest()[:16], path)


def checked(content: dict[str, Any]) -> tuple[SourceMap | None, list[str]]:
    """Return a map and all its errors: first in single keys, then in their combination."""
    try:
        source = SourceMap.model_validate(content)
        return source, _problems(source)
    except ValidationError as error:
        problems = key_problems(error, SourceMap)
        rest = _without(content, [item["loc"] for item in error.errors()])
    try:
        return None, problems + [text for text in _problems(SourceMap.model_validate(rest)) if text not in problems]
    except ValidationError:
        return None, problems


def _without(content: dict[str, Any], places: list[tuple[int | str, ...]]) -> dict[str, Any]:
    """Return a map without its invalid keys, with placeholders for required keys."""
    rest = copy.deepcopy({"name": "unnamed", "lands": "treatment", "files": "*", "columns": {}} | content)
    for place in places:
        holder: Any = rest
        for part in place[:-1]:
            holder = holder.get(part, {}) if isinstance(holder, dict) else {}
        if isinstance(holder, dict) and place:
            holder.pop(place[-1], None)
    return {"name": "unnamed", "lands": "treatment", "files": "*", "columns": {}} | rest
