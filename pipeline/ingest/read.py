"""Read one file with its map into untyped columns: delimited text, piece by piece, or a sheet of a workbook."""

from __future__ import annotations

import codecs
import csv
import io
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import chain

import numpy as np
import polars as pl

from pipeline.errors import SetAside
from pipeline.ingest.columnar import Columns
from pipeline.ingest.content import LONGEST_RECORD, Content, whole_lines, with_last
from pipeline.ingest.headings import CHOICE, beside, check_units, places_of
from pipeline.ingest.kinds import KINDS
from pipeline.ingest.lines import records
from pipeline.ingest.maps import ALIGNED, SPACES, SourceMap
from pipeline.ingest.shifted import LONGEST, shifted_rows
from pipeline.ingest.workbook import read_sheet
from pipeline.schemas.base import meta

ROW = "source_row"
BAD_SHARE = 0.01
FEW = 3
"""Up to this share or number of unreadable rows are void, with a finding; with more, the file is set aside. [1]"""
SHOWN_LINES = 5
"""Number of lines listed in a finding. [1]"""


def few(bad: int, rows: int, share: float = BAD_SHARE) -> bool:
    """Whether the number of bad rows is small enough to use the rest of the file."""
    return bad <= max(share * rows, FEW)


def _constants(head: list[str], source: SourceMap) -> dict[str, str]:
    """Return the values for all rows."""
    found = {lake: str(channel.value) for lake, channel in source.columns.items() if channel.value is not None}
    for lake, channel in source.columns.items():
        if channel.header is None:
            continue
        match = next((match for line in head if (match := re.search(channel.header, line))), None)
        if match is not None:
            found[lake] = match.group("value").strip()
        elif not channel.optional:
            raise SetAside(
                f"no line above the data gives '{lake}'", f"a line that matches {channel.header}", "none",
                f"correct 'header' of {lake} in the map '{source.name}', or mark it 'optional = true'", 1,
            )  # fmt: skip
    return found


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
    constants : dict of str to str
        Values for all rows, by lake column: given by the map, or found above the data.
    notes : list of (kind, message, line, rows)
        Findings of reading; complete after all pieces are read.
    """

    head: list[str]
    pieces: Iterator[pl.DataFrame]
    constants: dict[str, str] = field(default_factory=dict)
    notes: list[tuple[str, str, int | None, int | None]] = field(default_factory=list)


def read_raw(content: Content, source: SourceMap) -> RawFile:
    """Read a file's content with its map.

    Raises
    ------
    SetAside
        If the file does not match the map's description.
    """
    if source.kind == "workbook":
        raw = _read_sheet(content, source)
    elif source.kind in KINDS:
        raw = _read_columns(KINDS[source.kind].read(content), source)
    else:
        raw = _read_delimited(content, source)
    raw.pieces = _chosen(raw.pieces, source, raw)
    return raw


def _chosen(pieces: Iterator[pl.DataFrame], source: SourceMap, raw: RawFile) -> Iterator[pl.DataFrame]:
    """Leave out the rows that the map does not want, and keep of each cell the part that counts."""
    wanted = [
        pl.col(beside(CHOICE, heading)).str.strip_chars().is_in(cells) for heading, cells in source.only_rows.items()
    ]
    wanted += [
        ~pl.col(beside(CHOICE, heading)).str.strip_chars().is_in(cells).fill_null(False)
        for heading, cells in source.not_rows.items()
    ]
    if source.last_row is not None:
        wanted.append(pl.col(ROW) <= source.last_row)
    rows = left_out = 0
    for frame in pieces:
        kept = frame.filter(wanted) if wanted else frame
        rows, left_out = rows + frame.height, left_out + frame.height - kept.height
        kept = kept.select(name for name in kept.columns if not name.startswith(beside(CHOICE, ""))) if wanted else kept
        parts = [
            _part(lake, channel.pattern) for lake, channel in source.columns.items()
            if channel.pattern is not None and lake in kept.columns
        ]  # fmt: skip
        yield kept.with_columns(parts) if parts else kept
    if left_out:
        text = f"{left_out} of {rows} row(s) are left out, as the map asks"
        raw.notes.append(("rows_left_out", text, None, left_out))


def _part(lake: str, pattern: str) -> pl.Expr:
    """Return the part of the cells that a pattern's group finds; a cell that does not match is left as it is."""
    group = re.compile(pattern).groupindex["value"]
    return pl.coalesce(pl.col(lake).str.extract(pattern, group), pl.col(lake)).alias(lake)


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


def _tabbed(text: Iterator[bytes], source: SourceMap) -> Iterator[bytes]:
    """Put a tab between columns that are aligned with spaces; the count of lines stays."""
    between = re.compile(ALIGNED.encode())
    for piece in whole_lines(text, _too_long(source)):
        yield re.sub(rb"(?m)^[ \t]+|[ \t]+(?=\r?$)", b"", between.sub(b"\t", piece))


def _too_long(source: SourceMap, line: int | None = None) -> SetAside:
    return SetAside(
        "a line is too long to be a row", f"at most {LONGEST_RECORD // 1024**2} MiB", "more",
        f"correct 'delimiter' or 'encoding' in the map '{source.name}', or the file", line,
    )  # fmt: skip


def _head(text: bytes, lines: int, source: SourceMap) -> tuple[list[str], bytes]:
    """Return the lines above the data, and the rest."""
    *head, rest = text.split(b"\n", lines) if text.count(b"\n") >= lines else (*text.split(b"\n"), b"")
    if any(b"\x00" in line for line in head):
        raise _no_text(source)
    return [line.decode().strip("\r") for line in head], rest


def _no_text(source: SourceMap) -> SetAside:
    return SetAside(
        "the file is not text", f"text in {source.encoding}", "bytes of a binary file, or of text in UTF-16",
        "export it as UTF-8; if it is UTF-16, set encoding = \"utf-16\" in the map; or leave it out of 'files'", 1,
    )  # fmt: skip


def _fields(line: str, delimiter: str) -> list[str]:
    return [item.strip() for item in next(csv.reader([line], delimiter=delimiter), [])]


def _read_delimited(content: Content, source: SourceMap) -> RawFile:
    parts = _text(content, source)
    parts = _tabbed(parts, source) if source.delimiter == SPACES else parts
    head, rest = _head(next(parts, b""), source.data_row - 1, source)
    if len(head) < source.header_row:
        raise SetAside(
            "the file ends before its header", f"headings in line {source.header_row}", f"{len(head)} line(s)",
            "ask the provider to send it again", len(head),
        )  # fmt: skip
    names = _fields(head[source.header_row - 1], source.mark)
    places = places_of(names, head[source.header_row - 1], source)
    if source.units_row is not None and source.units_row <= len(head):
        check_units(_fields(head[source.units_row - 1], source.mark), places, source)
    raw = RawFile(head, iter(()), _constants(head, source))
    text = _until(chain((rest,), parts), source)
    raw.pieces = _pieces(_without_remarks(text, source, raw), names, places, source, raw)
    return raw


def _until(text: Iterator[bytes], source: SourceMap) -> Iterator[bytes]:
    """Yield the text up to the last row of the map; what stands below is not read."""
    left = None if source.last_row is None else source.last_row - source.data_row + 1
    for part in text:
        if left is not None and part.count(b"\n") >= left:
            yield b"\n".join(part.split(b"\n", left)[:left]) + b"\n"
            return
        left = None if left is None else left - part.count(b"\n")
        yield part


def _without_remarks(text: Iterator[bytes], source: SourceMap, raw: RawFile) -> Iterator[bytes]:
    """Empty the lines that are remarks; the count of lines stays. Without a pattern a record's begin with #."""
    pattern = source.skip_lines or (r"\s*#" if "time" in source.table.key else None)
    if pattern is None:
        yield from text
        return
    remark = re.compile(pattern.encode())
    mark = b"#" if source.skip_lines is None else None
    line, first, count = source.data_row, 0, 0
    for piece in whole_lines(text, _too_long(source)):
        if mark is None or mark in piece:
            lines = piece.split(b"\n")
            for place, content in enumerate(lines):
                if remark.match(content):
                    first, count = first or line + place, count + 1
                    lines[place] = b"" if not content.endswith(b"\r") else b"\r"
            piece = b"\n".join(lines)
        line += piece.count(b"\n")
        yield piece
    if count:
        raw.notes.append(
            ("remark_lines", f"{count} remark line(s) are not rows, the first in line {first}", first, count)
        )


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
    for part, last in with_last(text):
        piece = waiting + part if waiting else part
        if last:
            piece = _without_cut_line(piece, line, fewest, source, raw)
        found = records(piece, source.mark, fewest, most, last=last, width=width, lines=not signal)
        width = found.width
        waiting = piece[found.used :]
        if len(waiting) > LONGEST_RECORD:
            raise _too_long(source, line + found.lines)
        unread.add(found.line.size, (found.bad_line + line).tolist(), found.bad_width.tolist())
        if found.line.size:
            frame = _parse(found.text, places, max(width, most), source, quoted=found.quoted)
            frame = frame.with_columns(pl.Series(ROW, found.line + np.int32(line)))
            if all(column.null_count() for column in frame if column.name != ROW):
                frame = frame.filter(~pl.all_horizontal(pl.exclude(ROW).is_null()))
            frame = _without_shifted(frame, places, source, raw) if signal else frame
            any_rows = any_rows or not frame.is_empty()
            yield frame
        line += found.lines
    _judge(unread, fewest, source, raw)
    if not any_rows:
        raise SetAside(
            "the file has no rows", f"rows from line {source.data_row}", "none",
            "ask the provider to send it again", source.data_row,
        )  # fmt: skip


def _without_shifted(frame: pl.DataFrame, places: dict[str, int], source: SourceMap, raw: RawFile) -> pl.DataFrame:
    """Return the rows without a few that lost a field; refuse a file that has more of them."""
    while (found := shifted_rows(frame, places)) is not None:
        first, end = found
        line, last = int(frame[ROW][first]), int(frame[ROW][end - 1])
        if end - first > LONGEST or end == frame.height:
            raise SetAside(
                f"the rows from line {line} on lost a field", "each value under its heading",
                "values one heading further left than in the line above",
                f"ask the provider to send it again, or cut it there with last_row = {line - 1} in the map "
                f"'{source.name}'", line,
            )  # fmt: skip
        text = f"{end - first} row(s) lost a field and are not used (lines {line} to {last})"
        raw.notes.append(("unreadable_rows", text, line, end - first))
        frame = pl.concat([frame[:first], frame[end:]])
    return frame


def _judge(unread: _Unread, fields: int, source: SourceMap, raw: RawFile) -> None:
    """Add a finding for the unreadable rows, or set the file aside if there are too many."""
    if not unread.bad:
        return
    lines = ", ".join(str(line) for line in unread.lines) + (", ..." if unread.bad > len(unread.lines) else "")
    widths = " or ".join(str(width) for width in sorted(unread.widths - {0}))
    found = f"{widths} fields" if widths else "bytes that are not text"
    if source.ragged_rows == "set aside" or not few(unread.bad, unread.rows, source.most_void_rows):
        raise SetAside(
            f"{unread.bad} of {unread.rows} rows do not match the heading", f"{fields} fields in each row",
            f"{found} (lines {lines})",
            f"correct the file, or 'delimiter', 'decimal' and 'header_row' in the map '{source.name}'", unread.lines[0],
        )  # fmt: skip
    raw.notes.append(
        ("unreadable_rows", f"{unread.bad} row(s) have {found}, the heading has {fields}: void (lines {lines})",
         unread.lines[0], unread.bad)
    )  # fmt: skip


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
    if rest.count(source.mark.encode()) + 1 < fields and b'"' not in rest:
        raise SetAside(
            "the file is truncated", f"{fields} fields in each line", f"{rest.count(source.mark.encode()) + 1}",
            "ask the provider to send it again", line,
        )  # fmt: skip
    return piece


def _parse(text: bytes, places: dict[str, int], fields: int, source: SourceMap, *, quoted: bool) -> pl.DataFrame:
    """Parse the mapped columns: as numbers if the text is clean, otherwise as text."""
    numbers = [lake for lake in places if _is_number(lake.split("\x1f")[0], lake, source)]
    names = [f"c{index}" for index in range(fields)]
    shared: dict[str, str] = {}
    for lake, place in places.items():
        if names[place] != f"c{place}":  # one column of the file serves two of the lake
            shared[lake] = names[place]
            numbers = [name for name in numbers if name != names[place] or lake in numbers]
        else:
            names[place] = lake
    voids = [_void_text(value, source.decimal) for value in source.void_values]
    order = sorted(set(places.values()))

    def attempt(typed: Sequence[str]) -> pl.DataFrame:
        frame = pl.read_csv(
            io.BytesIO(text),
            has_header=False,
            new_columns=names,
            schema={name: pl.Float64 if name in typed else pl.String for name in names},
            separator=source.mark,
            columns=order,
            null_values=voids or None,
            decimal_comma=source.decimal == ",",
            quote_char='"' if quoted else None,
            truncate_ragged_lines=True,
        )
        return frame.with_columns(pl.col(of).alias(lake) for lake, of in shared.items()) if shared else frame

    if source.thousands:  # read as text: a mark of thousands can look like one of decimals
        return _dates_joined(attempt([]), source)
    try:
        return _dates_joined(attempt(numbers), source)
    except (pl.exceptions.ComputeError, pl.exceptions.SchemaError, pl.exceptions.InvalidOperationError):
        return _dates_joined(attempt([]), source)


def _is_number(lake: str, name: str, source: SourceMap) -> bool:
    """Whether a column of the file holds numbers: a quantity and the parts of its sum, or elapsed time."""
    channel = source.columns.get(lake)
    if (
        channel is None
        or channel.pattern is not None
        or (channel.date is not None and name == beside(lake, channel.date))
    ):
        return False
    measured = meta(source.table.columns[lake]).get("unit") is not None
    return measured or (lake == "time" and channel.start is not None and channel.unit is not None)


def _dates_joined(frame: pl.DataFrame, source: SourceMap) -> pl.DataFrame:
    """Put dates that have a column of their own before their times."""
    joined = [
        pl.concat_str(pl.col(beside(lake, channel.date)), pl.col(lake), separator=" ").alias(lake)
        for lake, channel in source.columns.items()
        if channel.date is not None and beside(lake, channel.date) in frame.columns
    ]
    return frame.with_columns(joined) if joined else frame


def _void_text(value: str | float, decimal: str) -> str:
    text = value if isinstance(value, str) else f"{value:g}"
    return text if decimal == "." or isinstance(value, str) else text.replace(".", decimal)


def _read_columns(found: Columns, source: SourceMap) -> RawFile:
    places = places_of(found.names, "", source)
    check_units(found.units, places, source, where_absent=False)
    return RawFile(found.head, _mapped(iter(found.frames), places, 1, source), _constants(found.head, source))


def _mapped(
    frames: Iterator[pl.DataFrame], places: dict[str, int], row: int, source: SourceMap
) -> Iterator[pl.DataFrame]:
    """Yield the mapped columns of frames and the number of each row, from a first one on; without empty rows."""
    for held in frames:
        frame = _dates_joined(held.select(pl.nth(place).alias(lake) for lake, place in places.items()), source)
        frame = frame.with_row_index(ROW, offset=row).with_columns(pl.col(ROW).cast(pl.Int32))
        row += held.height
        yield frame.filter(~pl.all_horizontal(pl.exclude(ROW).is_null()))


def _read_sheet(content: Content, source: SourceMap) -> RawFile:
    assert source.sheet is not None
    pieces = read_sheet(content, source.sheet)
    try:
        return _sheet_rows(next(pieces), pieces, source)
    except SetAside:
        pieces.close()
        raise


def _sheet_rows(sheet: pl.DataFrame, pieces: Iterator[pl.DataFrame], source: SourceMap) -> RawFile:
    """Return the rows of a sheet from its first piece, which has all lines above the data, and the others."""
    if sheet.height < source.data_row:
        raise SetAside(
            "the sheet has no rows", f"rows from line {source.data_row}", f"{sheet.height} line(s)",
            "fill the sheet, or exclude it from the map", source.data_row,
        )  # fmt: skip
    names = [str(value or "").strip() for value in sheet.row(source.header_row - 1)]
    places = places_of(names, "", source)
    if source.units_row is not None:
        check_units([str(v or "") for v in sheet.row(source.units_row - 1)], places, source)
    head = [
        "\t".join("" if value is None else str(value) for value in row).rstrip("\t")
        for row in sheet.head(source.data_row - 1).rows()
    ]
    data = chain([sheet[source.data_row - 1 :]], pieces)
    return RawFile(head, _mapped(data, places, source.data_row, source), _constants(head, source))
