"""Delimited text as records: how many fields each has, which cannot be read, on which line each begins."""

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
"""A quoted text that goes on for more lines is a stray quote. [lines]"""
_STRAY_QUOTE, _GOES_ON = -1, -2
JUNK, STRAY, QUOTED = 1, 2, 4


@dataclass(frozen=True)
class Records:
    """The complete records of a piece of text.

    Attributes
    ----------
    text : bytes
        Those that can be read, as text that any reader of delimited files divides in the same way.
    line : ndarray of int32
        Line on which each of them begins, counted from the piece's first as 0.
    width : int
        Fields that each of them has.
    quoted : bool
        Whether a field stands in quotes.
    bad_line, bad_width : ndarray of int32
        Records that have another number of fields, and the number; 0 where they hold bytes that are no text.
    used : int
        Bytes of the piece that make up complete records; the rest goes before the next piece.
    lines : int
        Lines of the piece up to there.
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
    """Divide a piece of text into records and put apart those that cannot be read.

    Parameters
    ----------
    piece : bytes
        UTF-8, beginning at the start of a line.
    delimiter : str
    fewest, most : int
        Fields that have a heading, up to the last one that is not empty, and all fields of the heading.
    last : bool
        Whether nothing follows: the piece's end is a line's end.
    width : int, optional
        Fields of each record: a file divides all its lines in the same way. Where absent, what most records of this
        piece have, if that covers the headings; fields beyond them may be there if they are empty.
    lines : bool
        Whether a quoted text may go on over lines.
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
    """Return what each byte is in a file with this delimiter."""
    kind = np.full(256, _PLAIN, dtype=np.uint8)
    kind[:SPACE] = _IS_JUNK
    kind[[SPACE, TAB, RETURN]] = _BLANK
    kind[LINE], kind[QUOTE], kind[ord(delimiter)] = _ENDS, _IS_QUOTE, _DIVIDES
    return kind


def _joined(piece: bytes, begun: NDArray[np.int64], kept: NDArray[np.bool_]) -> bytes:
    """Return the records that are kept, in stretches."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], kept, [False])).astype(np.int8)))
    view = memoryview(piece)
    return b"".join(view[begun[a] : begun[b]] for a, b in zip(edges[::2], edges[1::2], strict=True))


def _usual(fields: NDArray[np.int32], fewest: int) -> int:
    """Return how many fields most records have; what the headings ask for where those have fewer."""
    return max(int(np.bincount(fields).argmax()), fewest) if fields.size else fewest


def _requoted(
    piece: bytes, begun: NDArray[np.int64], kept: NDArray[np.bool_], stray: NDArray[np.bool_], delimiter: str
) -> bytes:
    """Write records that hold a quote inside a plain field anew, so that it is a letter like any other."""
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
    """Divide one record as `_scanned` counts its fields."""
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
    """Return where a quoted text ends and the lines in it; or that it is a stray quote, or goes on.

    A quote whose line, and the line after it, both have all the fields of the headings is a sign of its own (inches,
    ditto) and opens no text. Without ``headings`` no text goes on over lines.
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
    """Return how many delimiters follow up to the line's end."""
    n, i = 0, start
    while i < data.size and data[i] != LINE:
        n += data[i] == delimiter
        i += 1
    return n
