"""Delimited text as records: how many fields each has, which cannot be read, on which line each begins."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pipeline.compiled import compiled

Bytes = NDArray[np.uint8]
LINE, QUOTE, RETURN, TAB, SPACE = 10, 34, 13, 9, 32
_PLAIN, _BLANK, _DIVIDES, _ENDS, _IS_QUOTE, _IS_JUNK = 0, 1, 2, 3, 4, 5
QUOTED_LINES = 50
"""A quoted text that goes on for more lines is a stray quote. [lines]"""
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
    quoted: bool
    bad_line: NDArray[np.int32]
    bad_width: NDArray[np.int32]
    used: int
    lines: int


def records(piece: bytes, delimiter: str, fewest: int, most: int, *, last: bool) -> Records:
    """Divide a piece of text into records and put apart those that cannot be read.

    Parameters
    ----------
    piece : bytes
        UTF-8, beginning at the start of a line.
    delimiter : str
    fewest, most : int
        Fields that a record has at the least, and at the most; further fields may be there if they are empty.
    last : bool
        Whether nothing follows: the piece's end is a line's end.
    """
    data = np.frombuffer(piece, dtype=np.uint8)
    count = int(np.count_nonzero(data == LINE)) + 1
    start, line, width, filled, flag, used, lines = _scanned(data, _kinds(delimiter), ord(delimiter), last, count)
    begun = np.concatenate((start, np.array([used], dtype=np.int64)))
    junk = (flag & JUNK) > 0
    blank = (filled == 0) & ~junk
    bad = ~blank & (junk | (width < fewest) | (filled > most))
    kept = ~(bad | blank)
    stray = kept & ((flag & STRAY) > 0)
    quoted = bool(((flag & QUOTED) > 0).any())
    text = piece[:used] if kept.all() else _joined(piece, begun, kept)
    if quoted and stray.any():
        text = _requoted(piece, begun, kept, stray, delimiter)
    return Records(
        text, line[kept], quoted, line[bad], np.where(junk, 0, width)[bad].astype(np.int32), int(used), int(lines)
    )


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


def _requoted(
    piece: bytes, begun: NDArray[np.int64], kept: NDArray[np.bool_], stray: NDArray[np.bool_], delimiter: str
) -> bytes:
    """Write records that hold a quote inside a plain field anew, so that it is a letter like any other."""
    out = []
    for index in np.flatnonzero(kept):
        record = piece[begun[index] : begun[index + 1]]
        if stray[index]:
            fields = next(csv.reader([record.decode().rstrip("\r\n")], delimiter=delimiter))
            line = io.StringIO()
            csv.writer(line, delimiter=delimiter, lineterminator="\n").writerow(fields)
            record = line.getvalue().encode()
        out.append(record)
    return b"".join(out)


@compiled
def _scanned(data: Bytes, kind: Bytes, delimiter: int, last: bool, count: int) -> Any:
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
            end, inside = _closing(data, i, delimiter) if begins == i else (-1, 0)
            if end == -2 and not last:  # the rest of the quoted text is in the next piece
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
def _closing(data: Bytes, opened: int, delimiter: int) -> tuple[int, int]:
    """Return where a quoted text ends and the lines in it; -1 where it is no quoted text, -2 where it goes on."""
    lines = 0
    i = opened + 1
    while i < data.size:
        c = data[i]
        if c == LINE:
            lines += 1
            if lines > QUOTED_LINES:
                return -1, 0
        elif c == QUOTE:
            if i + 1 < data.size and data[i + 1] == QUOTE:
                i += 1
            elif i + 1 == data.size or data[i + 1] == delimiter or data[i + 1] == LINE or data[i + 1] == RETURN:
                return i, lines
            else:
                return -1, 0
        i += 1
    return -2, 0
