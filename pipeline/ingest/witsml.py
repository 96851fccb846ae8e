"""WITSML 1.x and 2.x (Energistics): samples of logs, or one row per treated interval or message, as columns of text."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from xml.etree.ElementTree import Element, ParseError

import polars as pl

from pipeline.errors import SetAside, short
from pipeline.ingest.columnar import LARGEST_BYTES, Columns
from pipeline.ingest.content import Content

ROWS = ("jobInterval", "JobStage", "StimJobStage", "message", "Message")
"""Elements that are a row each. A `jobInterval` of 1.x is a stage of 2.x; a `jobStage` of 1.x is only a step of one."""
_SAID_ELSEWHERE = ("Citation", "Wellbore", "Well", "nameWell", "nameWellbore", "timeAfterShutin", "TimeAfterShutin")
"""Elements within a row that are no values of it."""
_NULLS = frozenset({"-999.25", "-9999"})
"""Values that stand for none, whatever the document says."""


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
        return _columns(_parsed(content))
    except RecursionError as error:
        raise SetAside(
            "the document is nested too deeply", "WITSML", "hundreds of elements within each other", "export it anew"
        ) from error  # fmt: skip


def _columns(root: Element) -> Columns:
    logs = [found for item in root.iter() if (found := _log(item)) is not None]
    if logs:
        return _joined(logs)
    rows = [item for item in root.iter() if _tag(item) in ROWS]
    if not rows:
        raise SetAside(
            "the document has no rows", f"a log with data, or one of {', '.join(ROWS)}", f"<{_tag(root)}>",
            "export logs, stimulation jobs or messages with their data",
        )  # fmt: skip
    return _objects(root, rows)


def _parsed(content: Content) -> Element:
    from defusedxml import DefusedXmlException
    from defusedxml.ElementTree import fromstring

    try:
        found: Element = fromstring(content.all(LARGEST_BYTES), forbid_dtd=True)
    except DefusedXmlException as error:
        raise SetAside(
            "the document declares entities or a document type", "plain XML", type(error).__name__,
            "export it without a document type",
        ) from error  # fmt: skip
    except (ParseError, ValueError, LookupError) as error:
        raise SetAside(
            "the document is not complete XML", "WITSML", short(str(error), 120), "ask the provider to send it again"
        ) from error
    return found


def _tag(item: Element) -> str:
    return item.tag.rsplit("}", 1)[-1]


def _child(item: Element, *names: str) -> Element | None:
    return next((child for child in item if _tag(child).casefold() in names), None)


def _text(item: Element | None) -> str:
    return (item.text or "").strip() if item is not None else ""


def _log(item: Element) -> Columns | None:
    """Return the samples of a log (1.x) or of a channel set (2.x); None for other elements."""
    if _tag(item) == "log" and (data := _child(item, "logdata")) is not None:
        return _log_1(item, data)
    if _tag(item) == "ChannelSet" and (data := _child(item, "data")) is not None:
        return _log_2(item, _text(_child(data, "data")) or _text(data))
    return None


def _log_1(log: Element, data: Element) -> Columns:
    curves = [item for item in log if _tag(item) == "logCurveInfo"]
    curves.sort(key=_place_of)
    listed = _text(_child(data, "mnemoniclist"))
    names = [name.strip() for name in listed.split(",")] if listed else [_text(_child(c, "mnemonic")) for c in curves]
    told = {_text(_child(curve, "mnemonic")): _text(_child(curve, "unit")) for curve in curves}
    given = _text(_child(data, "unitlist"))
    units = [unit.strip() for unit in given.split(",")] if given else [told.get(name, "") for name in names]
    nulls = _NULLS | {_text(_child(log, "nullvalue"))}
    rows = [[cell.strip() for cell in _text(row).split(",")] for row in data if _tag(row) == "data"]
    return Columns(names, [*units, *[""] * len(names)][: len(names)], _frame(rows, len(names), nulls), _head(log))


def _place_of(curve: Element) -> int:
    written = _text(_child(curve, "columnindex"))
    return int(written) if written.isdecimal() else 0


def _log_2(channels: Element, data: str) -> Columns:
    held = [item for item in channels if _tag(item) in ("Index", "Channel")]
    names = [_text(_child(item, "mnemonic")) for item in held]
    units = [_text(_child(item, "uom", "unit")) for item in held]
    try:
        found = json.loads(data or "[]")
        rows = [["" if cell is None else str(cell) for part in row for cell in _flat(part)] for row in found]
    except (ValueError, TypeError, RecursionError) as error:
        raise SetAside(
            "the data of a channel set cannot be read", "rows as JSON: [[[index], [values]], ...]",
            short(str(error), 120), "ask the provider to send it again",
        ) from error  # fmt: skip
    return Columns(names, units, _frame(rows, len(names), _NULLS), _head(channels))


def _flat(part: object) -> Iterator[object]:
    if isinstance(part, list):
        for cell in part:
            yield from _flat(cell)
    else:
        yield part


def _frame(rows: list[list[str]], width: int, nulls: frozenset[str]) -> pl.DataFrame:
    wrong = next((at for at, row in enumerate(rows) if len(row) != width), None)
    if wrong is not None:
        raise SetAside(
            f"row {wrong + 1} of the data does not match the list of curves", f"{width} values", str(len(rows[wrong])),
            "ask the provider to send it again", wrong + 1,
        )  # fmt: skip
    cells = [[None if _is_null(cell, nulls) else cell for cell in column] for column in zip(*rows, strict=True)]
    return pl.DataFrame(
        {str(at): cells[at] if cells else [] for at in range(width)},
        schema=dict.fromkeys(map(str, range(width)), pl.String),
    )


def _is_null(cell: str, nulls: frozenset[str]) -> bool:
    """Whether a cell stands for no value: empty, or one of the nulls however its decimals are written."""
    plain = cell.rstrip("0").rstrip(".") if "." in cell else cell
    return not cell or cell in nulls or plain in nulls


def _joined(logs: list[Columns]) -> Columns:
    """Put logs of one job with the same curves below each other."""
    kinds = {
        (*log.names, *log.units, *log.head): f"{', '.join(log.head[:3])}: {', '.join(log.names[:4])}" for log in logs
    }
    if len(kinds) > 1:
        raise SetAside(
            f"the document holds {len(kinds)} logs of different jobs or with different curves", "the logs of one job",
            short("; ".join(list(kinds.values())[:2]), 160), "export each log on its own",
        )  # fmt: skip
    frame = pl.concat([log.frame for log in logs])
    if frame.is_empty():
        raise SetAside("the log has no data", "rows", "none", "ask the provider to send it again")
    return Columns(logs[0].names, logs[0].units, frame, logs[0].head)


def _head(item: Element) -> list[str]:
    """Return the well and name of a log."""
    told = {"name": _text(_child(item, "name")), "well": _text(_child(item, "namewell"))}
    for child in item:
        title = _text(_child(child, "title"))
        if title and _tag(child) in ("Citation", "Well", "Wellbore"):
            told["name" if _tag(child) == "Citation" else "well"] = title
    return [f"{name}: {value}" for name, value in told.items() if value]


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
            if not _is_null(value, _NULLS):
                cells.setdefault(name, value)
        found.append(cells)
    names = list(dict.fromkeys(name for cells in found for name in cells))
    frame = pl.DataFrame({str(at): [cells.get(name) for cells in found] for at, name in enumerate(names)})
    return Columns(names, [units.get(name, "") for name in names], frame.cast(pl.String), [])


def _of_well(item: Element) -> Iterator[tuple[str, str, str]]:
    """Yield what an object says of its well: its name (1.x), or the title of its wellbore (2.x)."""
    for child in item:
        if _tag(child) in ("nameWell", "nameWellbore"):
            yield _tag(child), _text(child), ""
        elif _tag(child) in ("Well", "Wellbore"):
            yield f"name{_tag(child)}", _text(_child(child, "title")), ""


def _leaves(item: Element, path: str = "") -> Iterator[tuple[str, str, str]]:
    """Yield path, text and unit of the values of a row; a pressure after shut-in is named by its minutes."""
    seen: dict[str, int] = {}
    for child in item:
        tag = _tag(child)
        if tag in ROWS or tag in _SAID_ELSEWHERE:
            continue
        seen[tag] = seen.get(tag, 0) + 1
        name = f"{tag} {minutes:g} min" if (minutes := _minutes_after(child)) is not None else tag
        name = name if seen[tag] == 1 or minutes is not None else f"{tag}{seen[tag]}"
        if len(child):
            yield from _leaves(child, f"{path}{name}.")
        elif _text(child):
            own = f"{_tag(item)}.{name}" if not path and tag.casefold() in ("number", "name") else f"{path}{name}"
            yield own, _text(child), child.get("uom", "")


def _minutes_after(item: Element) -> float | None:
    """Return the minutes after shut-in of a pressure, if it says them. [min]"""
    after = _child(item, "timeaftershutin")
    per = {"min": 1.0, "s": 1 / 60, "h": 60.0}.get(after.get("uom", "") if after is not None else "")
    written = _text(after)
    return float(written) * per if per is not None and re.fullmatch(r"\d+(\.\d+)?", written) else None
