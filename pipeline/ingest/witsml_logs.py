"""Logs of WITSML documents: their samples as columns of text; of a large document in pieces."""

from __future__ import annotations

import io
import json
import re
from collections.abc import Iterator
from contextlib import contextmanager
from xml.etree.ElementTree import Element, ParseError

import polars as pl

from pipeline.errors import SetAside, short
from pipeline.ingest.columnar import ROWS_PER_PIECE, Columns
from pipeline.ingest.content import Content

NULLS = frozenset({"-999.25", "-9999"})
"""Values that stand for none, whatever the document says."""
LOG_DATA = re.compile(rb"<([\w.-]+:)?logData\b")


@contextmanager
def sound_xml() -> Iterator[None]:
    """Set the file aside if it is no complete XML, or declares entities."""
    from defusedxml import DefusedXmlException

    try:
        yield
    except DefusedXmlException as error:
        raise SetAside(
            "the document declares entities or a document type", "plain XML", type(error).__name__,
            "export it without a document type",
        ) from error  # fmt: skip
    except (ParseError, ValueError, LookupError) as error:
        raise SetAside(
            "the document is not complete XML", "WITSML", short(str(error), 120), "ask the provider to send it again"
        ) from error


def tag_of(item: Element) -> str:
    """Return the name of an element, without its namespace."""
    return item.tag.rsplit("}", 1)[-1]


def child_of(item: Element, *names: str) -> Element | None:
    """Return the first child with one of some names, given in small letters."""
    return next((child for child in item if tag_of(child).casefold() in names), None)


def text_of(item: Element | None) -> str:
    """Return the text of an element, empty without one."""
    return (item.text or "").strip() if item is not None else ""


def log_of(item: Element) -> Columns | None:
    """Return the samples of a log (1.x) or of a channel set (2.x); None for other elements."""
    if tag_of(item) == "log" and (datas := [child for child in item if tag_of(child) == "logData"]):
        return _log_1(item, datas)
    if tag_of(item) == "ChannelSet" and (data := child_of(item, "data")) is not None:
        return _log_2(item, text_of(child_of(data, "data")) or text_of(data))
    return None


def _log_1(log: Element, datas: list[Element]) -> Columns:
    names, units, nulls = _curves(log, datas[0])
    rows = [_cells(row) for data in datas for row in data if tag_of(row) == "data"]
    return Columns(names, units, [_frame(rows, len(names), nulls)], _head(log))


def _cells(row: Element) -> list[str]:
    return [cell.strip() for cell in text_of(row).split(",")]


def _curves(log: Element, data: Element) -> tuple[list[str], list[str], frozenset[str]]:
    """Return names and units of a log's curves, and what stands for no value."""
    curves = [item for item in log if tag_of(item) == "logCurveInfo"]
    curves.sort(key=_place_of)
    listed = text_of(child_of(data, "mnemoniclist"))
    names = (
        [name.strip() for name in listed.split(",")] if listed else [text_of(child_of(c, "mnemonic")) for c in curves]
    )
    told = {text_of(child_of(curve, "mnemonic")): text_of(child_of(curve, "unit")) for curve in curves}
    given = text_of(child_of(data, "unitlist"))
    units = [unit.strip() for unit in given.split(",")] if given else [told.get(name, "") for name in names]
    return names, [*units, *[""] * len(names)][: len(names)], NULLS | {text_of(child_of(log, "nullvalue"))}


def large_logs(content: Content) -> Columns:
    """Read the logs of a large document in pieces, without its whole tree in memory.

    It is read twice: what a log says of its curves may stand below its data.
    """
    told = []
    for log, _ in _events(content):
        if log is not None and (data := child_of(log, "logdata")) is not None:
            names, units, nulls = _curves(log, data)
            told.append((Columns(names, units, [], _head(log)), nulls))
    if not told:
        raise _no_data()
    _one_kind([log for log, _ in told])
    first = told[0][0]

    def frames() -> Iterator[pl.DataFrame]:
        place = done = 0
        for log, rows in _events(content):
            if log is not None:
                place, done = place + (child_of(log, "logdata") is not None), 0
                continue
            yield _frame(rows, len(first.names), told[place][1], done)
            done += len(rows)
        if not place:
            raise _no_data()

    return Columns(first.names, first.units, frames(), first.head)


def _events(content: Content) -> Iterator[tuple[Element | None, list[list[str]]]]:
    """Yield some rows of a log at a time, then the log without its rows; then those of the next one."""
    from defusedxml.ElementTree import iterparse

    log: Element | None = None
    above: list[Element] = []
    rows: list[list[str]] = []
    with sound_xml():
        for event, item in iterparse(_Reading(content.parts()), events=("start", "end"), forbid_dtd=True):
            if event == "start":
                log = item if log is None and tag_of(item) == "log" else log
                above.append(item)
                continue
            above.pop()
            if log is None:
                continue
            if tag_of(item) == "data" and tag_of(above[-1]) == "logData" and above[-2] is log:
                rows.append(_cells(item))
                above[-1].remove(item)
            if rows and (item is log or len(rows) >= ROWS_PER_PIECE):
                yield None, rows
                rows = []
            if item is log:
                yield log, []
                log.clear()
                log = None


def _no_data() -> SetAside:
    return SetAside("the log has no data", "rows", "none", "ask the provider to send it again")


class _Reading(io.RawIOBase):
    """Parts of a file as a file that an XML parser reads."""

    def __init__(self, parts: Iterator[bytes]) -> None:
        self.parts, self.part = parts, io.BytesIO()

    def read(self, size: int = -1) -> bytes:
        """Return the next bytes, at most so many; none at the end."""
        while not (found := self.part.read(size)) and (part := next(self.parts, None)) is not None:
            self.part = io.BytesIO(part)
        return found


def _place_of(curve: Element) -> int:
    written = text_of(child_of(curve, "columnindex"))
    return int(written) if written.isdecimal() else 0


def _log_2(channels: Element, data: str) -> Columns:
    held = [item for item in channels if tag_of(item) in ("Index", "Channel")]
    names = [text_of(child_of(item, "mnemonic")) for item in held]
    units = [text_of(child_of(item, "uom", "unit")) for item in held]
    try:
        found = json.loads(data or "[]")
        rows = [["" if cell is None else str(cell) for part in row for cell in _flat(part)] for row in found]
    except (ValueError, TypeError, RecursionError) as error:
        raise SetAside(
            "the data of a channel set cannot be read", "rows as JSON: [[[index], [values]], ...]",
            short(str(error), 120), "ask the provider to send it again",
        ) from error  # fmt: skip
    return Columns(names, units, [_frame(rows, len(names), NULLS)], _head(channels))


def _flat(part: object) -> Iterator[object]:
    if isinstance(part, list):
        for cell in part:
            yield from _flat(cell)
    else:
        yield part


def _frame(rows: list[list[str]], width: int, nulls: frozenset[str], before: int = 0) -> pl.DataFrame:
    """Return rows as a frame; so many rows of the log came before them."""
    wrong = next((at for at, row in enumerate(rows) if len(row) != width), None)
    if wrong is not None:
        raise SetAside(
            f"row {before + wrong + 1} of the data does not match the list of curves", f"{width} values",
            str(len(rows[wrong])), "ask the provider to send it again", before + wrong + 1,
        )  # fmt: skip
    cells = [[None if is_null(cell, nulls) else cell for cell in column] for column in zip(*rows, strict=True)]
    return pl.DataFrame(
        {str(at): cells[at] if cells else [] for at in range(width)},
        schema=dict.fromkeys(map(str, range(width)), pl.String),
    )


def is_null(cell: str, nulls: frozenset[str]) -> bool:
    """Whether a cell stands for no value: empty, or one of the nulls however its decimals are written."""
    plain = cell.rstrip("0").rstrip(".") if "." in cell else cell
    return not cell or cell in nulls or plain in nulls


def joined_logs(logs: list[Columns]) -> Columns:
    """Put logs of one job with the same curves below each other."""
    _one_kind(logs)
    frame = pl.concat([log.first for log in logs])
    if frame.is_empty():
        raise _no_data()
    return Columns(logs[0].names, logs[0].units, [frame], logs[0].head)


def _one_kind(logs: list[Columns]) -> None:
    """Refuse logs of different jobs, or with different curves."""
    kinds = {
        (*log.names, *log.units, *log.head): f"{', '.join(log.head[:3])}: {', '.join(log.names[:4])}" for log in logs
    }
    if len(kinds) > 1:
        raise SetAside(
            f"the document holds {len(kinds)} logs of different jobs or with different curves", "the logs of one job",
            short("; ".join(list(kinds.values())[:2]), 160), "export each log on its own",
        )  # fmt: skip


def _head(item: Element) -> list[str]:
    """Return the well and name of a log."""
    told = {"name": text_of(child_of(item, "name")), "well": text_of(child_of(item, "namewell"))}
    for child in item:
        title = text_of(child_of(child, "title"))
        if title and tag_of(child) in ("Citation", "Well", "Wellbore"):
            told["name" if tag_of(child) == "Citation" else "well"] = title
    return [f"{name}: {value}" for name, value in told.items() if value]
