"""Source maps: how to read one kind of file, declared in TOML."""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Literal, Self
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import polars as pl
from pydantic import Field, model_validator

from pipeline.errors import HeelwardError
from pipeline.schemas import LANDED, Table, meta
from pipeline.units import UnknownUnit, conversion
from pipeline.workspace import Frozen, parse_toml

READER_VERSION = 1
"""Raised when the same file under the same map would give other rows."""
PAD_ZONE = "pad"
"""Zone of a time that runs on the clock of the well's pad."""


class Start(Frozen):
    """A start time in the header lines, for records with elapsed time."""

    pattern: str
    format: str
    zone: str


class Channel(Frozen):
    """Where a lake column comes from."""

    column: str | None = None
    value: str | float | bool | None = None
    unit: str | None = None
    format: str | None = None
    zone: str | None = None
    start: Start | None = None


class SourceMap(Frozen):
    """The content of a source map."""

    name: str = Field(pattern=r"^[a-z0-9_]+$")
    lands: str
    files: str
    name_pattern: str | None = None
    kind: Literal["delimited", "workbook"] = "delimited"
    sheet: str | None = None
    delimiter: str = ","
    decimal: Literal[".", ","] = "."
    encoding: str = "utf-8"
    header_row: int = Field(default=1, ge=1)
    units_row: int | None = Field(default=None, ge=1)
    first_row: int | None = Field(default=None, ge=2)
    void_values: list[str | float] = Field(default_factory=list)
    revision_pattern: str | None = None
    unknown_wells: Literal["set aside", "create"] = "set aside"
    stages_numbered_from: Literal["toe", "heel"] = "toe"
    depth_reference: Literal["rotary table", "ground"] = "rotary table"
    columns: dict[str, Channel]

    @property
    def table(self) -> Table:
        """The lake table that the map fills."""
        return LANDED[self.lands]

    @property
    def data_row(self) -> int:
        """First line of data, counted from 1."""
        return self.first_row or max(self.header_row, self.units_row or 0) + 1

    def claims(self, path: str) -> bool:
        """Whether the map's ``files`` match a path below the landing folder: * within a folder, ** across folders."""
        return _glob(self.files).fullmatch(path) is not None

    @model_validator(mode="after")
    def _whole(self) -> Self:
        problems = list(_problems(self))
        if problems:
            raise ValueError("; ".join(problems))
        return self


@cache
def _glob(pattern: str) -> re.Pattern[str]:
    marks = {"**/": "(?:.*/)?", "**": ".*", "*": "[^/]*", "?": "[^/]"}
    parts = re.split(r"(\*\*/|\*\*|\*|\?)", pattern)
    return re.compile("".join(marks.get(part, re.escape(part)) for part in parts))


def _problems(source: SourceMap) -> list[str]:
    """Return everything that is wrong with a map, not only the first thing."""
    if source.lands not in LANDED:
        return [f"'lands' is no lake table: '{source.lands}'; known: {', '.join(LANDED)}"]
    problems = []
    groups: set[str] = set()
    for key in ("name_pattern", "revision_pattern"):
        pattern = getattr(source, key)
        try:
            groups |= set(re.compile(pattern).groupindex) if pattern else set()
        except re.error as error:
            problems.append(f"'{key}' is no regular expression: {error}")
    if len(source.delimiter) != 1:
        problems.append("'delimiter' must be one character")
    if source.kind == "workbook" and not source.sheet:
        problems.append("'sheet' must name the sheet of the workbook")
    try:
        "".encode(source.encoding)
    except LookupError:
        problems.append(f"'encoding' is not known: '{source.encoding}'")
    for name, channel in source.columns.items():
        problems += [f"columns.{name}: {text}" for text in _channel_problems(source.table, name, channel)]
    given = set(source.columns) | groups
    key_names = {"well_id": "well", "run": "run", "stage": "stage"}
    for key in source.table.key:
        if key not in source.columns and key_names.get(key, key) not in given:
            problems.append(f"nothing yields '{key}': map a column to it or name a group in 'name_pattern'")
    return problems


def _channel_problems(table: Table, name: str, channel: Channel) -> list[str]:
    columns = table.columns
    allowed = [column for column in columns if column not in ("source_id", "source_row", "stub")]
    if name not in allowed:
        return [f"table '{table.name}' has no such column; it has {', '.join(allowed)}"]
    if (channel.column is None) == (channel.value is None):
        return ["give either 'column' (a heading of the file) or 'value' (the same for all rows)"]
    unit = meta(columns[name]).get("unit")
    problems = []
    if unit is not None and channel.column is not None:
        if channel.unit is None:
            problems.append(f"'unit' is missing (the lake keeps {unit})")
        else:
            try:
                conversion(channel.unit, unit)
            except UnknownUnit as error:
                problems.append(str(error))
    if isinstance(columns[name].dtype, pl.Datetime) and channel.column is not None:
        problems += _time_problems(channel)
    return problems


def _time_problems(channel: Channel) -> list[str]:
    zones = [channel.start.zone if channel.start else channel.zone]
    problems = []
    if channel.start is not None:
        if channel.unit is None:
            problems.append("'unit' of the elapsed time is missing, such as \"s\"")
        try:
            if "start" not in re.compile(channel.start.pattern).groupindex:
                problems.append("'start.pattern' must hold a group (?P<start>...)")
        except re.error as error:
            problems.append(f"'start.pattern' is no regular expression: {error}")
    elif channel.format is None:
        problems.append("'format' is missing, such as \"%d/%m/%Y %H:%M:%S\"")
    for zone in zones:
        if zone is None:
            problems.append('\'zone\' is missing: "UTC", "pad", or one such as "America/Denver"')
        elif zone != PAD_ZONE:
            try:
                ZoneInfo(zone)
            except (ZoneInfoNotFoundError, ValueError):
                problems.append(f"'{zone}' is no time zone")
    return problems


@dataclass(frozen=True)
class LoadedMap:
    """A map with the hash of its file."""

    source: SourceMap
    hash: str
    path: Path


def load_maps(folder: Path) -> list[LoadedMap]:
    """Read all maps of a workspace, in the order in which tables are landed.

    Raises
    ------
    HeelwardError
        Names every wrong map and key.
    """
    loaded, errors = [], []
    for path in sorted(folder.glob("*.toml")):
        try:
            source = parse_toml(path, SourceMap)
            loaded.append(LoadedMap(source, hashlib.sha256(path.read_bytes()).hexdigest()[:16], path))
        except HeelwardError as error:
            errors.append(str(error))
    names = [item.source.name for item in loaded]
    errors += [f"{folder}: two maps are named '{name}'" for name in sorted({n for n in names if names.count(n) > 1})]
    if errors:
        raise HeelwardError("\n".join(errors))
    order = list(LANDED)
    return sorted(loaded, key=lambda item: (order.index(item.source.lands), item.source.name))
