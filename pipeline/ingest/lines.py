"""Delimited text as records: number of fields, unreadable records, and start line of each record."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pipeline.jit import compiled

Bytes = NDArray[np.uint8]
LINE, QUOTE, RETURN, TAB, SPACE = 10, 34, 13, 9, 32
_PLAIN, _BLANK, _DIVIDES, _ENDS, _IS_QUOTE, _IS_JUNK = 0, 1, 2, 3, 4, 5
QUOTED_LINES = 50
"""A quoted text with more lines is treated as a stray quote. [lines]"""
_STRAY_QUOTE, _GOES_ON = -1, -2
JUNK, STRAY, QUOTED = 1, 2, 4


@dataclass(frozen=True)
class Records:
    """The complete records of a piece of text.

    Attributes
    ----------
    text : bytes
        The readable records, as text that every reader of delimited files splits in the same way.
    line : ndarray of int32
        Start line of each record; the piece's first line is 0.
    width : int
        Number of fields of each record.
    quoted : bool
        Whether any field is quoted.
    bad_line, bad_width : ndarray of int32
        Records with a wrong number of fields, and that number; 0 if they contain bytes that are not text.
    used : int
        Bytes of the piece in complete records; the rest is put before the next piece.
    lines : int
        Lines of the piece up to that point.
    """

    text: bytes
    line: NDArray[np.int32]
    width: int
    quoted: bool
    bad_line: NDArray[np.int32]
    bad_width: NDArray[np.int32]
    used: int
    lines: int


def records(
    piece: bytes, delimiter: str, fewest: int, most: int, *, last: bool, width: int | None = None, lines: bool = True
) -> Records:
    """Split a piece of text into records and separate the unreadable ones.

    Parameters
    ----------
    piece : bytes
        UTF-8, beginning at the start of a line.
    delimiter : str
    fewest, most : int
        Number of fields up to the last non-empty heading, and of all fields of the heading line.
    last : bool
        Whether this is the last piece: its end is the end of a line.
    width : int, optional
        Fields per record, the same for all lines of a file. Default: the most frequent number in this
        piece, if it covers the headings; additional fields are allowed if they are empty.
    lines : bool
        Whether a quoted text may continue over several lines.
    """
    data = np.frombuffer(piece, dtype=np.uint8)
    count = int(np.count_nonzero(data == LINE)) + 1
    start, line, fields, filled, flag, used, passed = _scanned(
        data, _kinds(delimiter), ord(delimiter), fewest if lines else 0, last, count
    )
    begun = np.concatenate((start, np.array([used], dtype=np.int64)))
    junk = (flag & JUNK) > 0
    blank = (filled == 0) & ~junk
    if width is None:
        width = _usual(fields[~(blank | junk)], fewest)
    bad = ~blank & (junk | (fields != width) | (filled > most))
    kept = ~(bad | blank)
    stray = kept & ((flag & STRAY) > 0)
    quoted = bool(((flag & QUOTED) > 0).any())
    text = piece[:used] if kept.all() else _joined(piece, begun, kept)
    if quoted and stray.any():
        text = _requoted(piece, begun, kept, stray, delimiter)
    return Records(
        text, line[kept], width, quoted, line[bad], np.where(junk, 0, fields)[bad].astype(np.int32), int(used),
        int(passed),
    )  # fmt: skip


def _kinds(delimiter: str) -> Bytes:
    """Return the class of each byte in a file with this delimiter."""
    kind = np.full(256, _PLAIN, dtype=np.uint8)
    kind[:SPACE] = _IS_JUNK
    kind[[SPACE, TAB, RETURN]] = _BLANK
    kind[LINE], kind[QUOTE], kind[ord(delimiter)] = _ENDS, _IS_QUOTE, _DIVIDES
    return kind


def _joined(piece: bytes, begun: NDArray[np.int64], kept: NDArray[np.bool_]) -> bytes:
    """Return the kept records, joined in contiguous blocks."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], kept, [False])).astype(np.int8)))
    view = memoryview(piece)
    return b"".join(view[begun[a] : begun[b]] for a, b in zip(edges[::2], edges[1::2], strict=True))


def _usual(fields: NDArray[np.int32], fewest: int) -> int:
    """Return the most frequent number of fields; at least the number that the headings need."""
    return max(int(np.bincount(fields).argmax()), fewest) if fields.size else fewest


def _requoted(
    piece: bytes, begun: NDArray[np.int64], kept: NDArray[np.bool_], stray: NDArray[np.bool_], delimiter: str
) -> bytes:
    """Rewrite records with a quote inside an unquoted field, so that it is read as a normal character."""
    out = []
    for index in np.flatnonzero(kept):
        record = piece[begun[index] : begun[index + 1]]
        if stray[index]:
            line = io.StringIO()
            fields = _divided(record.rstrip(b"\r\n"), delimiter)
            csv.writer(line, delimiter=delimiter, lineterminator="\n").writerow(fields)
            record = line.getvalue().encode()
        out.append(record)
    return b"".join(out)


def _divided(record: bytes, delimiter: str) -> list[str]:
    """Split one record in the same way as `_scanned` counts its fields."""
    data, mark = np.frombuffer(record, dtype=np.uint8), ord(delimiter)
    fields, at = [], 0
    while at <= len(record):
        end, _ = _closing(data, at, mark, 0, 0) if record[at : at + 1] == b'"' else (_STRAY_QUOTE, 0)
        if end >= 0:
            fields.append(record[at + 1 : end].replace(b'""', b'"').decode())
            at = end + 2
        else:
            stop = record.find(delimiter.encode(), at)
            stop = len(record) if stop < 0 else stop
            fields.append(record[at:stop].decode())
            at = stop + 1
    return fields


@compiled
def _scanned(data: Bytes, kind: Bytes, delimiter: int, headings: int, last: bool, count: int) -> Any:
    """Return each record's start, line, fields, last filled field and flags; bytes and lines of complete records."""
    start = np.empty(count, np.int64)
    line = np.empty(count, np.int32)
    width = np.empty(count, np.int32)
    filled = np.empty(count, np.int32)
    flag = np.empty(count, np.uint8)
    n, at, lines, lines_done, used = 0, 0, 0, 0, 0
    fields, full, mark, begins = 1, 0, 0, 0
    i = 0
    while i < data.size:
        what = kind[data[i]]
        if what == _PLAIN:
            full = fields
        elif what == _DIVIDES:
            fields += 1
            begins = i + 1
        elif what == _ENDS:
            lines += 1
            start[n], line[n], width[n], filled[n], flag[n] = at, lines_done, fields, full, mark
            n += 1
            at = used = begins = i + 1
            lines_done = lines
            fields, full, mark = 1, 0, 0
        elif what == _IS_QUOTE:
            full = fields
            end, inside = _STRAY_QUOTE, 0
            if begins == i:
                end, inside = _closing(data, i, delimiter, fields, headings)
            if end == _GOES_ON and not last:  # the rest of the quoted text is in the next piece
                return start[:n], line[:n], width[:n], filled[:n], flag[:n], used, lines_done
            if end >= 0:
                mark |= QUOTED
                lines += inside
                i = end
            else:
                mark |= STRAY
        elif what == _IS_JUNK:
            mark |= JUNK
        i += 1
    if last and at < data.size:
        start[n], line[n], width[n], filled[n], flag[n] = at, lines_done, fields, full, mark
        n += 1
        used, lines_done = data.size, lines_done + 1
    return start[:n], line[:n], width[:n], filled[:n], flag[:n], used, lines_done


@compiled
def _closing(data: Bytes, opened: int, delimiter: int, before: int, headings: int) -> tuple[int, int]:
    """Return the end of a quoted text and its number of lines; or that it is a stray quote, or continues.

    If the line of the quote and the next line both have all fields of the headings, the quote is a symbol (inches,
    ditto) and does not open a quoted text. Without ``headings`` a quoted text cannot continue over lines.
    """
    lines, first, second = 0, before, 1
    i = opened + 1
    while i < data.size:
        c = data[i]
        if c == LINE:
            lines += 1
            if headings == 0 or lines > QUOTED_LINES:
                return _STRAY_QUOTE, 0
            if lines == 2 and first >= headings and second >= headings:
                return _STRAY_QUOTE, 0
        elif c == delimiter:
            if lines == 0:
                first += 1
            elif lines == 1:
                second += 1
        elif c == QUOTE:
            if i + 1 < data.size and data[i + 1] == QUOTE:
                i += 1
            elif i + 1 == data.size or data[i + 1] == delimiter or data[i + 1] == LINE or data[i + 1] == RETURN:
                if lines == 1 and first >= headings and second + _delimiters(data, i, delimiter) >= headings:
                    return _STRAY_QUOTE, 0
                return i, lines
            else:
                return _STRAY_QUOTE, 0
        i += 1
    return (_GOES_ON, 0) if headings else (_STRAY_QUOTE, 0)


@compiled
def _delimiters(data: Bytes, start: int, delimiter: int) -> int:
    """Return the number of delimiters up to the end of the line."""
    n, i = 0, start
    while i < data.size and data[i] != LINE:
        n += data[i] == delimiter
        i += 1
    return n
