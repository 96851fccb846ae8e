"""Read one file with its map into untyped columns: delimited text, piece by piece, or a sheet of a workbook."""

from __future__ import annotations

import codecs
import csv
import difflib
import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import chain

import numpy as np
import polars as pl

from pipeline.errors import SetAside, short
from pipeline.ingest.content import Content
from pipeline.ingest.lines import records
from pipeline.ingest.maps import SourceMap
from pipeline.ingest.workbook import read_sheet
from pipeline.schemas.base import meta
from pipeline.units import UnknownUnit, conversion, spellings

DELIMITERS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar"}
ROW = "source_row"
BAD_SHARE = 0.01
FEW = 3
"""Up to this share or number of unreadable rows are void, with a finding; with more, the file is set aside. [1]"""
LONGEST_RECORD = 8 * 1024**2
"""Maximum length of a record. [bytes]"""
SHOWN_LINES = 5
"""Number of lines listed in a finding. [1]"""


def few(bad: int, rows: int) -> bool:
    """Whether the number of bad rows is small enough to use the rest of the file."""
    return bad <= max(BAD_SHARE * rows, FEW)


@dataclass
class RawFile:
    """Raw content of a file.

    Attributes
    ----------
    head : list of str
        Lines above the data.
    pieces : iterator of polars.DataFrame
        The data, piece by piece. One column per mapped lake column (numbers already parsed if the file is clean,
        otherwise text), and ``source_row``, the line of the file. Read once; raises `SetAside` if the file cannot
        be used.
    notes : list of (kind, message, line, rows)
        Findings of reading; complete after all pieces are read.
    """

    head: list[str]
    pieces: Iterator[pl.DataFrame]
    notes: list[tuple[str, str, int | None, int | None]] = field(default_factory=list)


def read_raw(content: Content, source: SourceMap) -> RawFile:
    """Read a file's content with its map.

    Raises
    ------
    SetAside
        If the file does not match the map's description.
    """
    if source.kind == "workbook":
        return _read_sheet(content, source)
    return _read_delimited(content, source)


def _text(content: Content, source: SourceMap) -> Iterator[bytes]:
    """Yield the content as UTF-8 without a byte-order mark, lines ended by a line feed."""
    decoder = codecs.getincrementaldecoder(source.encoding)()
    plain = source.encoding.lower().replace("_", "-") in ("utf-8", "utf8", "ascii")
    first, lines, only_returns = True, 1, False
    parts = content.parts()
    for part in chain(parts, (None,)):
        data = b"" if part is None else part
        try:
            if not (plain and data.isascii() and not decoder.getstate()[0]):
                text = decoder.decode(data, final=part is None)
                data = text.encode()
        except UnicodeDecodeError as error:
            if b"\x00" in error.object[:4096]:
                raise _no_text(source) from error
            raise SetAside(
                f"the file is not {source.encoding}", f"text in {source.encoding}",
                f"byte 0x{error.object[error.start]:02x}",
                "set 'encoding' in the map, for instance encoding = \"latin-1\"",
                lines + error.object.count(b"\n", 0, error.start),
            ) from error  # fmt: skip
        if first and data:
            data = data.removeprefix(b"\xef\xbb\xbf")
            only_returns = b"\r" in data and b"\n" not in data
            first = False
        if only_returns:
            data = data.replace(b"\r", b"\n")
        lines += data.count(b"\n")
        if data:
            yield data


def _head(text: bytes, lines: int, source: SourceMap) -> tuple[list[str], bytes]:
    """Return the lines above the data, and the rest."""
    *head, rest = text.split(b"\n", lines) if text.count(b"\n") >= lines else (*text.split(b"\n"), b"")
    if any(b"\x00" in line for line in head):
        raise _no_text(source)
    return [line.decode().strip("\r") for line in head], rest


def _no_text(source: SourceMap) -> SetAside:
    return SetAside(
        "the file is not text", f"text in {source.encoding}", "bytes of a binary file",
        "export the file as text, or exclude it in the map's 'files'", 1,
    )  # fmt: skip


def _fields(line: str, delimiter: str) -> list[str]:
    return [item.strip() for item in next(csv.reader([line], delimiter=delimiter), [])]


def _read_delimited(content: Content, source: SourceMap) -> RawFile:
    parts = _text(content, source)
    head, rest = _head(next(parts, b""), source.data_row - 1, source)
    if len(head) < source.header_row:
        raise SetAside(
            "the file ends before its header", f"headings in line {source.header_row}", f"{len(head)} line(s)",
            "ask the provider to send it again", len(head),
        )  # fmt: skip
    names = _fields(head[source.header_row - 1], source.delimiter)
    places = _places(names, head[source.header_row - 1], source)
    if source.units_row is not None and source.units_row <= len(head):
        _check_units(_fields(head[source.units_row - 1], source.delimiter), places, source)
    raw = RawFile(head, iter(()))
    raw.pieces = _pieces(chain((rest,), parts), names, places, source, raw)
    return raw


@dataclass
class _Unread:
    """Records that could not be split into fields, so far."""

    rows: int = 0
    bad: int = 0
    lines: list[int] = field(default_factory=list)
    widths: set[int] = field(default_factory=set)

    def add(self, rows: int, lines: Sequence[int], widths: Sequence[int]) -> None:
        self.rows += rows + len(lines)
        self.bad += len(lines)
        self.lines += lines[: SHOWN_LINES - len(self.lines)]
        self.widths |= set(widths[:SHOWN_LINES])


def _pieces(
    text: Iterator[bytes], names: list[str], places: dict[str, int], source: SourceMap, raw: RawFile
) -> Iterator[pl.DataFrame]:
    """Split the data into records, void unreadable ones, and parse the others."""
    most = len(names)
    fewest = max((place + 1 for place, name in enumerate(names) if name), default=most)
    line, waiting, unread, any_rows = source.data_row, b"", _Unread(), False
    signal, width = "time" in source.table.key, None
    for part, last in _with_last(text):
        piece = waiting + part if waiting else part
        if last:
            piece = _without_cut_line(piece, line, fewest, source, raw)
        found = records(piece, source.delimiter, fewest, most, last=last, width=width, lines=not signal)
        width = found.width
        waiting = piece[found.used :]
        if len(waiting) > LONGEST_RECORD:
            raise SetAside(
                "a line is too long to be a row", f"at most {LONGEST_RECORD // 1024**2} MiB", "more",
                f"correct 'delimiter' or 'encoding' in the map '{source.name}', or the file", line + found.lines,
            )  # fmt: skip
        unread.add(found.line.size, (found.bad_line + line).tolist(), found.bad_width.tolist())
        if found.line.size:
            frame = _parse(found.text, places, max(width, most), source, quoted=found.quoted)
            frame = frame.with_columns(pl.Series(ROW, found.line + np.int32(line)))
            if all(column.null_count() for column in frame if column.name != ROW):
                frame = frame.filter(~pl.all_horizontal(pl.exclude(ROW).is_null()))
            any_rows = any_rows or not frame.is_empty()
            yield frame
        line += found.lines
    _judge(unread, fewest, source, raw)
    if not any_rows:
        raise SetAside(
            "the file has no rows", f"rows from line {source.data_row}", "none",
            "ask the provider to send it again", source.data_row,
        )  # fmt: skip


def _judge(unread: _Unread, fields: int, source: SourceMap, raw: RawFile) -> None:
    """Add a finding for the unreadable rows, or set the file aside if there are too many."""
    if not unread.bad:
        return
    lines = ", ".join(str(line) for line in unread.lines) + (", ..." if unread.bad > len(unread.lines) else "")
    widths = " or ".join(str(width) for width in sorted(unread.widths - {0}))
    found = f"{widths} fields" if widths else "bytes that are not text"
    if source.ragged_rows == "set aside" or not few(unread.bad, unread.rows):
        raise SetAside(
            f"{unread.bad} of {unread.rows} rows do not match the heading", f"{fields} fields in each row",
            f"{found} (lines {lines})",
            f"correct the file, or 'delimiter', 'decimal' and 'header_row' in the map '{source.name}'", unread.lines[0],
        )  # fmt: skip
    raw.notes.append(
        ("unreadable_rows", f"{unread.bad} row(s) have {found}, the heading has {fields}: void (lines {lines})",
         unread.lines[0], unread.bad)
    )  # fmt: skip


def _places(names: list[str], line: str, source: SourceMap) -> dict[str, int]:
    """Return the position of each mapped lake column in the file."""
    places: dict[str, int] = {}
    for lake, channel in source.columns.items():
        if channel.column is None:
            continue
        wanted = channel.column.strip()
        found = [index for index, name in enumerate(names) if name == wanted]
        if len(found) > 1:
            raise SetAside(
                f"the heading '{short(wanted)}' occurs twice", "each mapped heading once",
                "columns " + " and ".join(str(index + 1) for index in found),
                "rename one of them in the file, or ask the provider which is correct", source.header_row,
            )  # fmt: skip
        if not found:
            raise _missing(wanted, names, line, source)
        places[lake] = found[0]
    return places


def _missing(wanted: str, names: list[str], line: str, source: SourceMap) -> SetAside:
    others = {mark: line.count(mark) for mark in DELIMITERS if mark != source.delimiter}
    best = max(others, key=lambda mark: others[mark]) if others else ","
    if len(names) == 1 and source.kind == "delimited" and others.get(best, 0) >= 1:
        ours = DELIMITERS.get(source.delimiter, source.delimiter)
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
    near = difflib.get_close_matches(wanted, names, n=1, cutoff=0.5)
    hint = f"; the nearest is '{short(near[0])}'" if near else ""
    shown = ", ".join(short(name) for name in names[:12]) + (" ..." if len(names) > 12 else "")
    return SetAside(
        f"no column has the heading '{short(wanted)}'", f"the headings given in the map '{source.name}'", shown + hint,
        "correct the heading in the map, or write a separate map for this kind of file", source.header_row,
    )  # fmt: skip


def _check_units(units: list[str], places: dict[str, int], source: SourceMap) -> None:
    columns = source.table.columns
    for lake, place in places.items():
        unit = source.columns[lake].unit
        target = meta(columns[lake]).get("unit")
        if unit is None or target is None:
            continue
        written = units[place] if place < len(units) else ""
        if _same_unit(written, unit, target):
            continue
        raise SetAside(
            f"the unit of '{short(source.columns[lake].column or lake)}' differs from the map",
            f"'{unit}'", f"'{short(written)}'", f"correct 'unit' in the map '{source.name}', or the file",
            source.units_row,
        )  # fmt: skip


def _same_unit(written: str, unit: str, target: str) -> bool:
    for spelling in spellings(written):
        try:
            return conversion(spelling, target) == conversion(unit, target)
        except UnknownUnit:
            continue
    return False


def _with_last(parts: Iterator[bytes]) -> Iterator[tuple[bytes, bool]]:
    """Yield parts, and whether each is the last."""
    part = next(parts, b"")
    for following in parts:
        yield part, False
        part = following
    yield part, True


def _without_cut_line(piece: bytes, line: int, fields: int, source: SourceMap, raw: RawFile) -> bytes:
    """Return the end of a text without a truncated last line.

    In a record of samples a truncated last sample is dropped to avoid a wrong number; a truncated table is set aside.
    """
    rest = piece[piece.rfind(b"\n") + 1 :]
    if not rest.strip():
        return piece
    line += piece.count(b"\n")
    if "time" in source.table.key:
        raw.notes.append(("cut_off", "the last line of the file is incomplete and is not used", line, 1))
        return piece[: len(piece) - len(rest)]
    if rest.count(source.delimiter.encode()) + 1 < fields and b'"' not in rest:
        raise SetAside(
            "the file is truncated", f"{fields} fields in each line", f"{rest.count(source.delimiter.encode()) + 1}",
            "ask the provider to send it again", line,
        )  # fmt: skip
    return piece


def _parse(text: bytes, places: dict[str, int], fields: int, source: SourceMap, *, quoted: bool) -> pl.DataFrame:
    """Parse the mapped columns: as numbers if the text is clean, otherwise as text."""
    columns = source.table.columns
    numbers = [
        lake
        for lake in places
        if meta(columns[lake]).get("unit") is not None or (lake == "time" and source.columns[lake].start is not None)
    ]
    names = [f"c{index}" for index in range(fields)]
    for lake, place in places.items():
        names[place] = lake
    voids = [_void_text(value, source.decimal) for value in source.void_values]
    order = sorted(places, key=lambda lake: places[lake])

    def attempt(typed: Sequence[str]) -> pl.DataFrame:
        return pl.read_csv(
            io.BytesIO(text),
            has_header=False,
            new_columns=names,
            schema={name: pl.Float64 if name in typed else pl.String for name in names},
            separator=source.delimiter,
            columns=[places[lake] for lake in order],
            null_values=voids or None,
            decimal_comma=source.decimal == ",",
            quote_char='"' if quoted else None,
            truncate_ragged_lines=True,
        )

    try:
        return attempt(numbers)
    except (pl.exceptions.ComputeError, pl.exceptions.SchemaError, pl.exceptions.InvalidOperationError):
        return attempt([])


def _void_text(value: str | float, decimal: str) -> str:
    text = value if isinstance(value, str) else f"{value:g}"
    return text if decimal == "." or isinstance(value, str) else text.replace(".", decimal)


def _read_sheet(content: Content, source: SourceMap) -> RawFile:
    assert source.sheet is not None
    sheet = read_sheet(content, source.sheet)
    if sheet.height < source.data_row:
        raise SetAside(
            "the sheet has no rows", f"rows from line {source.data_row}", f"{sheet.height} line(s)",
            "fill the sheet, or exclude it from the map", source.data_row,
        )  # fmt: skip
    names = [str(value or "").strip() for value in sheet.row(source.header_row - 1)]
    places = _places(names, "", source)
    if source.units_row is not None:
        _check_units([str(v or "") for v in sheet.row(source.units_row - 1)], places, source)
    frame = sheet.select(pl.nth(place).alias(lake) for lake, place in places.items())[source.data_row - 1 :]
    frame = frame.with_row_index(ROW, offset=source.data_row).with_columns(pl.col(ROW).cast(pl.Int32))
    return RawFile(names, iter([frame.filter(~pl.all_horizontal(pl.exclude(ROW).is_null()))]))
