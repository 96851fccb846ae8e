"""WITSML 1.x and 2.x (Energistics): samples of logs, or one row per treated interval or message, as columns of text."""

from __future__ import annotations

import re
from collections.abc import Iterator
from xml.etree.ElementTree import Element

import polars as pl

from pipeline.errors import SetAside, short
from pipeline.ingest.columnar import Columns
from pipeline.ingest.content import Content
from pipeline.ingest.witsml_logs import (
    LOG_DATA,
    NULLS,
    child_of,
    is_null,
    joined_logs,
    large_logs,
    log_of,
    sound_xml,
    tag_of,
    text_of,
)

LARGEST_BYTES = 32 * 1024**2
"""A larger document is read in pieces if it begins with a log, and set aside otherwise: its tree needs 15 times its
size. [bytes]"""

ROWS = ("jobInterval", "JobStage", "StimJobStage", "message", "Message")
"""Elements that are a row each. A `jobInterval` of 1.x is a stage of 2.x; a `jobStage` of 1.x is only a step of one."""
_SAID_ELSEWHERE = ("Citation", "Wellbore", "Well", "nameWell", "nameWellbore", "timeAfterShutin", "TimeAfterShutin")
"""Elements within a row that are no values of it."""


def is_witsml(first: bytes) -> bool:
    """Whether a file begins as a WITSML document."""
    start = first[:4096].lstrip(b"\xef\xbb\xbf \r\n\t")
    return start.startswith(b"<") and b"witsml" in start.lower()


def read_witsml(content: Content) -> Columns:
    """Read a document: the samples of its logs, or one row per treated interval or message.

    Raises
    ------
    SetAside
        If it is not XML without entities, or holds none of these.
    """
    try:
        if content.size > LARGEST_BYTES and LOG_DATA.search(content.first()):
            return large_logs(content)
        return _columns(_parsed(content))
    except RecursionError as error:
        raise SetAside(
            "the document is nested too deeply", "WITSML", "hundreds of elements within each other", "export it anew"
        ) from error  # fmt: skip


def _columns(root: Element) -> Columns:
    logs = [found for item in root.iter() if (found := log_of(item)) is not None]
    if logs:
        return joined_logs(logs)
    rows = [item for item in root.iter() if tag_of(item) in ROWS]
    if not rows:
        raise SetAside(
            "the document has no rows", f"a log with data, or one of {', '.join(ROWS)}", f"<{tag_of(root)}>",
            "export logs, stimulation jobs or messages with their data",
        )  # fmt: skip
    return _objects(root, rows)


def _parsed(content: Content) -> Element:
    from defusedxml.ElementTree import fromstring

    with sound_xml():
        found: Element = fromstring(content.all(LARGEST_BYTES), forbid_dtd=True)
    return found


def _objects(root: Element, rows: list[Element]) -> Columns:
    parents = {child: item for item in root.iter() for child in item}
    found: list[dict[str, str]] = []
    units: dict[str, str] = {}
    for row in rows:
        parent = parents.get(row)
        cells = {} if parent is None else {name: value for name, value, _ in _of_well(parent)}
        for name, value, unit in (*_of_well(row), *_leaves(row)):
            if unit and units.setdefault(name, unit) != unit:
                raise SetAside(
                    f"'{short(name)}' is in two units", "one unit for all rows",
                    f"{short(units[name])} and {short(unit)}", "export it in one unit, or each row on its own",
                )  # fmt: skip
            if not is_null(value, NULLS):
                cells.setdefault(name, value)
        found.append(cells)
    names = list(dict.fromkeys(name for cells in found for name in cells))
    frame = pl.DataFrame({str(at): [cells.get(name) for cells in found] for at, name in enumerate(names)})
    return Columns(names, [units.get(name, "") for name in names], [frame.cast(pl.String)], [])


def _of_well(item: Element) -> Iterator[tuple[str, str, str]]:
    """Yield what an object says of its well: its name (1.x), or the title of its wellbore (2.x)."""
    for child in item:
        if tag_of(child) in ("nameWell", "nameWellbore"):
            yield tag_of(child), text_of(child), ""
        elif tag_of(child) in ("Well", "Wellbore"):
            yield f"name{tag_of(child)}", text_of(child_of(child, "title")), ""


def _leaves(item: Element, path: str = "") -> Iterator[tuple[str, str, str]]:
    """Yield path, text and unit of the values of a row; a pressure after shut-in is named by its minutes."""
    seen: dict[str, int] = {}
    for child in item:
        tag = tag_of(child)
        if tag in ROWS or tag in _SAID_ELSEWHERE:
            continue
        seen[tag] = seen.get(tag, 0) + 1
        name = f"{tag} {minutes:g} min" if (minutes := _minutes_after(child)) is not None else tag
        name = name if seen[tag] == 1 or minutes is not None else f"{tag}{seen[tag]}"
        if len(child):
            yield from _leaves(child, f"{path}{name}.")
        elif text_of(child):
            own = f"{tag_of(item)}.{name}" if not path and tag.casefold() in ("number", "name") else f"{path}{name}"
            yield own, text_of(child), child.get("uom", "")


def _minutes_after(item: Element) -> float | None:
    """Return the minutes after shut-in of a pressure, if it says them. [min]"""
    after = child_of(item, "timeaftershutin")
    per = {"min": 1.0, "s": 1 / 60, "h": 60.0}.get(after.get("uom", "") if after is not None else "")
    written = text_of(after)
    return float(written) * per if per is not None and re.fullmatch(r"\d+(\.\d+)?", written) else None
