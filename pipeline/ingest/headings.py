"""Where each lake column is in a file, and whether its unit is the map's."""

from __future__ import annotations

import difflib

from pipeline.errors import SetAside, short
from pipeline.ingest.maps import Channel, SourceMap
from pipeline.schemas.base import meta
from pipeline.units import UnknownUnit

CHOICE = "rows"
"""Stands for a lake column where a column of the file only says which rows are read."""
DELIMITERS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar"}


def places_of(names: list[str], line: str, source: SourceMap) -> dict[str, int]:
    """Return the position of each mapped lake column in the file."""
    places: dict[str, int] = {}
    for lake, channel in source.columns.items():
        if not channel.from_rows:
            continue
        place = _place(names, line, source, channel)
        if place is None:
            continue
        places[lake] = place
        for extra in channel.others:
            places[beside(lake, extra)] = _needed(names, line, source, extra)
    for heading in (*source.only_rows, *source.not_rows):
        places[beside(CHOICE, heading)] = _needed(names, line, source, heading)
    return places


def _needed(names: list[str], line: str, source: SourceMap, heading: str) -> int:
    found = _place(names, line, source, Channel(column=heading))
    assert found is not None
    return found


def _place(names: list[str], line: str, source: SourceMap, channel: Channel) -> int | None:
    """Return the position of a column; None if it is optional and the file lacks it."""
    if channel.place is not None:
        if channel.place <= len(names):
            return channel.place - 1
        if channel.optional:
            return None
        raise SetAside(
            f"the file has no column {channel.place}", f"at least {channel.place} columns", str(len(names)),
            f"correct 'place' in the map '{source.name}'", source.header_row,
        )  # fmt: skip
    for wanted in channel.headings:
        found = [index for index, name in enumerate(names) if name == wanted]
        if len(found) > 1:
            raise SetAside(
                f"the heading '{short(wanted)}' occurs twice", "each mapped heading once",
                "columns " + " and ".join(str(index + 1) for index in found),
                "give the position of the right one as 'place' in the map, or rename one of them", source.header_row,
            )  # fmt: skip
        if found:
            return found[0]
    if channel.optional:
        return None
    raise _missing(channel.headings[0], names, line, source)


def _missing(wanted: str, names: list[str], line: str, source: SourceMap) -> SetAside:
    others = {mark: line.count(mark) for mark in DELIMITERS if mark != source.mark}
    best = max(others, key=lambda mark: others[mark]) if others else ","
    if len(names) == 1 and source.kind == "delimited" and others.get(best, 0) >= 1:
        ours = DELIMITERS.get(source.mark, source.mark)
        return SetAside(
            "the delimiter differs from the map", f"fields separated by {ours}",
            f"fields apparently separated by {DELIMITERS[best]}", f"set 'delimiter' in the map '{source.name}'",
            source.header_row,
        )  # fmt: skip
    if not any(names):
        return SetAside(
            f"line {source.header_row} has no headings", f"the headings given in the map '{source.name}'",
            "an empty line", f"correct 'header_row' in the map '{source.name}'", source.header_row,
        )  # fmt: skip
    free = [name for name in names if name not in _used(source)]
    near = difflib.get_close_matches(_in_order(wanted), map(_in_order, free), n=1, cutoff=0.5)
    hint = next((f"; the nearest is '{short(name)}'" for name in free if _in_order(name) in near), "")
    shown = ", ".join(short(name) for name in names[:12]) + (" ..." if len(names) > 12 else "")
    return SetAside(
        f"no column has the heading '{short(wanted)}'", f"the headings given in the map '{source.name}'", shown + hint,
        "correct the heading in the map, or write a separate map for this kind of file", source.header_row,
    )  # fmt: skip


def _used(source: SourceMap) -> set[str]:
    """Return the headings that the map reads as something."""
    return {heading for channel in source.columns.values() for heading in (*channel.headings, *channel.others)}


def _in_order(heading: str) -> str:
    """Return the words of a heading in alphabetical order, without case: they are often turned round."""
    return " ".join(sorted(heading.casefold().split()))


def check_units(units: list[str], places: dict[str, int], source: SourceMap, *, where_absent: bool = True) -> None:
    """Compare the file's units with the map's; without one the file says nothing, unless it must."""
    columns = source.table.columns
    for name, place in places.items():
        lake, _, extra = name.partition("\x1f")
        channel = source.columns.get(lake)
        if channel is None or channel.over is not None or extra == (channel.date or "\x1f"):
            continue  # a choice of rows, a ratio whose unit no column has, or a date
        unit, target = channel.unit, meta(columns[lake]).get("unit")
        if unit is None or target is None:
            continue
        written = units[place] if place < len(units) else ""
        if not written and not where_absent:
            continue
        if _same_unit(source, written, unit, target):
            continue
        raise SetAside(
            f"the unit of '{short(extra or channel.shown or lake)}' differs from the map",
            f"'{unit}'", f"'{short(written)}'", f"correct 'unit' in the map '{source.name}', or the file",
            source.units_row,
        )  # fmt: skip


def _same_unit(source: SourceMap, written: str, unit: str, target: str) -> bool:
    try:
        return source.unit(written, target) == source.unit(unit, target)
    except UnknownUnit:
        return False


def beside(lake: str, heading: str) -> str:
    """Name of a column that is read together with the one of a lake column: its date, or a part of a sum."""
    return f"{lake}\x1f{heading}"
