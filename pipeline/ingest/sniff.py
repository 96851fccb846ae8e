"""Find the table in a text or sheet that no map describes: encoding, delimiter, decimal mark, headings, units, data."""

from __future__ import annotations

import codecs
import csv
import re
from collections import Counter
from contextlib import suppress
from dataclasses import dataclass, field, replace

from pipeline.ingest.maps import ALIGNED, NARROW, SPACES
from pipeline.unit_names import looks_like_unit

SAMPLE_BYTES = 4 * 1024**2
"""Bytes of a file that are looked at."""
LONGEST_CELL = 200
"""Characters of a cell that are looked at."""
FULL = 0.6
"""Share of a row's cells that are filled, where it is one of the table and not a name with its value above it. [1]"""
MOST_HEADS = 400
"""Lines searched for the first row."""
DELIMITERS = (",", ";", "\t", "|")
_NUMBER = re.compile(r"[-+]?(\d[\d .,']*\d|\d|[.,]\d+)([eE][-+]?\d+)?%?")
_NARROW = re.compile(rf"(?<=\d)[{NARROW}](?=\d{{3}})")
_CLOCK = re.compile(
    r"\d{1,4}([-/.:, T]+(\d{1,4}|[A-Za-zÀ-ÿ]{3,10}\.?)){2,8}\s*(Z|[+-]\d\d:?\d\d|[AaPp]\.?[Mm]\.?)?"
    r"|\d{1,2}:\d{2}\s*([AaPp][Mm])?"
)
_WORDS = re.compile(r"\S+(?: \S+)*")
_RULE = re.compile(r"[\s\-=_*#+|.,;]*")
_VOID = {"", "-", "--", "n/a", "na", "nan", "null", "none", "-999.25", "-9999", "-999", "-999,25"}


@dataclass(frozen=True)
class Table:
    """The table found in a text.

    Attributes
    ----------
    encoding, delimiter, decimal, thousands : str
        Empty delimiter for rows of a sheet.
    header_row : int
        Line of the headings, counted from 1.
    units_row : int, optional
    first_row : int
        First line of data.
    names : list of str
        Headings as the file has them, one per column.
    said : list of str
        All that the lines above the data say of each column: of several heading lines, joined.
    units : list of str
        From the units row; empty texts if there is none.
    rows : list of list of str
        Rows of data, evenly drawn if there are many.
    head : list of str
        Lines above the headings.
    skip_lines : str, optional
        Pattern of lines between the rows that are no rows.
    thinned : int
        Every how many rows one was drawn.
    voids : list of str
        Texts that stand for no value.
    doubtful : dict of int to str
        Columns whose marks of decimals and thousands could be exchanged: place, and one of its cells.
    """

    encoding: str
    delimiter: str
    decimal: str
    thousands: str
    header_row: int
    units_row: int | None
    first_row: int
    names: list[str]
    said: list[str]
    units: list[str]
    rows: list[list[str]]
    head: list[str] = field(default_factory=list)
    skip_lines: str | None = None
    thinned: int = 1
    voids: list[str] = field(default_factory=list)
    doubtful: dict[int, str] = field(default_factory=dict)


def decoded(data: bytes) -> tuple[str, str] | None:
    """Return the text and its encoding; None if it is not text."""
    for mark, name in ((codecs.BOM_UTF8, "utf-8"), (codecs.BOM_UTF16_LE, "utf-16"), (codecs.BOM_UTF16_BE, "utf-16")):
        if data.startswith(mark):
            return data.decode("utf-8-sig" if name == "utf-8" else name, "replace"), name
    if (wide := two_bytes(data)) is not None:
        return data[: len(data) // 2 * 2].decode(wide, "replace"), wide
    zeros = data[:65536].count(0)
    if zeros > 0.3 * min(len(data), 65536):
        return None
    try:
        return data.decode("utf-8"), "utf-8"
    except UnicodeDecodeError as error:
        if error.start > len(data) - 4:  # the sample ends within a character
            return data[: error.start].decode("utf-8"), "utf-8"
    high = [byte for byte in data[:65536] if byte >= 0x80]
    if len(high) > 0.3 * min(len(data), 65536):
        return None
    name = "cp1252" if any(0x80 <= byte < 0xA0 for byte in high) else "latin-1"
    return data.decode(name, "replace"), name


def two_bytes(data: bytes) -> str | None:
    """Return the encoding of text in two bytes per character without a mark; None if it is none."""
    part = data[:4096]
    for name, place in (("utf-16-le", 1), ("utf-16-be", 0)):
        other = part[1 - place :: 2]
        if (
            len(part) > 64
            and part[place::2].count(0) > 0.9 * len(part[place::2])
            and other.count(0) < 0.02 * len(other)
        ):
            return name
    return None


def sniff_text(data: bytes) -> Table | None:
    """Find the table in the beginning of a file; None if there is none."""
    found = decoded(data[:SAMPLE_BYTES])
    if found is None:
        return None
    text, encoding = found
    text = _NARROW.sub(" ", text)
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    if len(data) >= SAMPLE_BYTES:
        lines = lines[:-1]  # cut
    scored = [(_score(lines, mark), mark) for mark in DELIMITERS]
    best = max(scored, key=lambda item: item[0])
    aligned = [re.sub(ALIGNED, "\t", line).strip() for line in lines]
    if _score(aligned, "\t") > best[0] and best[1] != "\t":
        table = _table([_fields(line, "\t") for line in aligned], aligned, encoding, SPACES)
        return table if table is None else _units_by_position(table, lines)
    if best[0] <= (0.0, 0.0):
        return None
    rows = [_fields(line, best[1]) for line in lines]
    return _table(rows, lines, encoding, best[1])


def _units_by_position(table: Table, lines: list[str]) -> Table:
    """Give each unit of aligned columns to the heading above it: where one has none, counting fields would be wrong."""
    if table.units_row is None:
        return table
    headings, units = (list(_WORDS.finditer(lines[at - 1])) for at in (table.header_row, table.units_row))
    if len(headings) != len(table.names):
        return table
    found = [""] * len(headings)
    for unit in units:
        middle = (unit.start() + unit.end()) / 2.0
        apart = [max(one.start() - middle, middle - one.end(), 0.0) for one in headings]
        found[apart.index(min(apart))] = unit[0]
    return replace(table, units=found, units_row=None if len(units) < len(headings) else table.units_row)


def sniff_rows(rows: list[list[str]]) -> Table | None:
    """Find the table in the cells of a sheet."""
    return _table(rows, ["\t".join(row) for row in rows], "utf-8", "")


def sniff_columns(
    names: list[str], units: list[str], columns: list[list[str]], head: list[str], said: list[str]
) -> Table:
    """Describe columns that have their names from the file; ``said`` is empty where it says no more of them."""
    rows = [list(row) for row in zip(*columns, strict=True)]
    step = max(1, len(rows) // 3000)
    kept = rows[::step]
    voids = [
        word for word in ("-999.25", "-9999.0", "-9999", "-999.0", "-999") if any(word in row for row in kept[:400])
    ]
    return Table("utf-8", "", ".", "", 1, None, 2, names, said or names, units, kept, head, None, step, voids)


def _fields(line: str, mark: str) -> list[str]:
    items = line.split(mark)
    if '"' in line:
        with suppress(csv.Error):
            items = next(csv.reader([line], delimiter=mark), [])
    return [item[:LONGEST_CELL].strip() for item in items]


def _score(lines: list[str], mark: str) -> tuple[float, float]:
    """Share of lines that a mark divides into the same number of fields, most of them values; and that number."""
    some = [line for line in lines[:MOST_HEADS] if line.strip()]
    counts = Counter(line.count(mark) for line in some)
    usual, often = max(((count, n) for count, n in counts.items() if count), key=lambda item: item[1], default=(0, 0))
    if not usual:
        return 0.0, 0.0
    like = [_fields(line, mark) for line in some if line.count(mark) == usual]
    cells = [cell for row in like[-50:] for cell in row if cell]
    values = sum(_is_value(cell) for cell in cells) / max(len(cells), 1)
    return often / len(some) * (0.3 + values), float(usual)


def _is_number(cell: str) -> bool:
    return _NUMBER.fullmatch(cell) is not None


def _is_value(cell: str) -> bool:
    return _is_number(cell) or _CLOCK.fullmatch(cell) is not None


def _table(rows: list[list[str]], lines: list[str], encoding: str, delimiter: str) -> Table | None:
    width = _usual_width(rows)
    if width < 2:
        return None
    first = _first_row(rows, width)
    if first is None:
        return None
    header, units_row = _headings(rows, first, width)
    if header is None:
        return None
    names = [cell.strip() for cell in rows[header]] + [""] * max(0, width - len(rows[header]))
    data = [(at, row) for at, row in enumerate(rows[first:], start=first) if len(row) >= width - 1 and any(row)]
    plain = [row for at, row in data if not _same(row, rows[header]) and not lines[at].lstrip().startswith("#")]
    kept = plain[:: max(1, len(plain) // 3000)]
    cells = [cell for row in kept[:: max(1, len(kept) // 400)] for cell in row if cell]  # a mark can come late
    decimal, thousands = _marks(cells, delimiter)
    doubtful: dict[int, str] = {}
    if decimal == "." and not thousands and delimiter != ",":
        columns = [[row[place] for row in kept if place < len(row)] for place in range(width)]
        grouped, doubtful = _points_between_thousands(columns, semicolons=delimiter == ";")
        if grouped:
            decimal, thousands = ",", "."
    skip = _skip(rows, lines, header, first)
    units = [] if units_row is None else rows[units_row]
    said = _said(rows, header, units_row, first, width)
    voids: list[str] = [
        word for word in ("-999.25", "-999,25", "-9999", "-999", "N/A", "NaN", "NULL", "--", "-") if word in cells
    ]
    return Table(
        encoding, delimiter, decimal, thousands, header + 1, None if units_row is None else units_row + 1, first + 1,
        names, said, [*units, *[""] * max(0, len(names) - len(units))] if units else [""] * len(names), kept,
        lines[:header], skip, max(1, len(plain) // 3000), voids, doubtful,
    )  # fmt: skip


def _usual_width(rows: list[list[str]]) -> int:
    counts = Counter(len(row) for row in rows[:4000] if any(row))
    return max(counts.items(), key=lambda item: (item[1], item[0]))[0] if counts else 0


def _same(row: list[str], other: list[str]) -> bool:
    return [cell.strip().casefold() for cell in row] == [cell.strip().casefold() for cell in other]


def _first_row(rows: list[list[str]], width: int) -> int | None:
    """Return the first row of values that others follow."""

    def looks(at: int) -> bool:
        row = rows[at]
        filled = [cell for cell in row if cell and cell.casefold() not in _VOID]
        if not filled or not width - 1 <= len(row) <= width + 1:
            return False
        values = sum(_is_value(cell) for cell in filled)
        return values >= max(1, 0.4 * len(filled))

    last = min(len(rows), MOST_HEADS)
    found = []
    for at in range(last):
        if not looks(at):
            continue
        after = [other for other in range(at, min(at + 8, len(rows))) if any(rows[other])]
        if sum(looks(other) for other in after) >= 0.7 * len(after) and not (len(after) < 3 and at > 8):
            found.append(at)  # a row of totals at the end of many texts is none
            if sum(map(bool, rows[at])) >= FULL * width:
                return at
    return found[0] if found else _first_of_texts(rows, width)


def _first_of_texts(rows: list[list[str]], width: int) -> int | None:
    """Return the row after the first full row of texts: a table of names has few numbers."""
    full = [at for at, row in enumerate(rows[:MOST_HEADS]) if len(row) >= width and sum(map(bool, row)) >= 0.7 * width]
    return full[0] + 1 if len(full) > 1 else None


def _headings(rows: list[list[str]], first: int, width: int) -> tuple[int | None, int | None]:
    """Return the rows of headings and units above the data."""
    header, units = None, None
    for at in range(first - 1, max(first - 8, -1), -1):
        row = rows[at]
        filled = [cell for cell in row if cell]
        if not filled or _RULE.fullmatch("".join(filled)) or len(row) < 0.6 * width:
            continue
        unit_like = sum(looks_like_unit(cell) or _in_brackets(cell) for cell in filled)
        clocks = sum(bool(re.search("[dmyhs]{2}.*[dmyhs]{2}", cell.casefold())) for cell in filled)
        if header is None and units is None and unit_like + min(clocks, 2) >= 0.6 * len(filled):
            units = at
            continue
        words = sum(bool(re.search("[A-Za-zÀ-ÿ]{1,}", cell)) for cell in filled)
        if words >= 0.6 * len(filled) and len(filled) >= 0.5 * width:
            header = at
            break
    if header is None and units is not None:  # what looked like units are the headings
        header, units = units, None
    return header, units


def _in_brackets(cell: str) -> bool:
    return len(cell) > 2 and (cell[0], cell[-1]) in (("[", "]"), ("(", ")"), ("{", "}"))


def _said(rows: list[list[str]], header: int, units_row: int | None, first: int, width: int) -> list[str]:
    """Join what several heading lines say of each column; a merged cell speaks for the columns right of it."""
    others = [at for at in range(max(header - 2, 0), first) if at not in (header, units_row)]
    texts = [
        rows[at] for at in others
        if len(rows[at]) >= 0.6 * width and any(rows[at]) and not _RULE.fullmatch("".join(rows[at]))
    ]  # fmt: skip
    count = max(width, len(rows[header]))

    def filled(row: list[str]) -> list[str]:
        out, last = [], ""
        for index in range(count):
            cell = row[index].strip() if index < len(row) else ""
            last = cell or last
            out.append(last if row is not rows[header] else cell)
        return out

    parts = [filled(row) for row in texts] + [filled(rows[header])]
    return [" ".join(dict.fromkeys(part[index] for part in parts if part[index])) for index in range(count)]


def _marks(cells: list[str], delimiter: str) -> tuple[str, str]:
    """Return the decimal mark and the mark of thousands."""
    numbers = [cell.strip("$") for cell in cells if _is_number(cell.strip("$"))]
    comma = sum(bool(re.fullmatch(r"[-+]?\d+,\d+", cell)) for cell in numbers)
    point = sum(bool(re.fullmatch(r"[-+]?\d*\.\d+([eE][-+]?\d+)?", cell)) for cell in numbers)
    grouped = {
        mark: sum(bool(re.fullmatch(rf"[-+]?\d{{1,3}}({re.escape(mark)}\d{{3}})+([.,]\d+)?", cell)) for cell in numbers)
        for mark in (",", ".", " ", "'")
    }
    three = sum(bool(re.fullmatch(r"[-+]?\d{1,3},\d{3}", cell)) for cell in numbers)
    grouped_points = sum(_GROUPED.fullmatch(cell) is not None for cell in numbers)
    decimal = "," if delimiter != "," and comma > three and (comma > point or point == grouped_points) else "."
    candidates = {
        mark: n for mark, n in grouped.items() if n and mark != decimal
    }  # a quoted cell can hold the delimiter
    if decimal == ".":
        candidates.pop(".", None)
        if candidates.get(",") and comma > three and point == 0 and delimiter != ",":
            candidates.pop(",")
    else:
        candidates = {mark: n for mark, n in candidates.items() if mark != "." or _thousands_of(numbers, ".")}
    best = max(candidates, key=lambda mark: candidates[mark], default="")
    return decimal, best


_GROUPED = re.compile(r"[-+]?[1-9]\d{0,2}(\.\d{3})+")


def _points_between_thousands(columns: list[list[str]], *, semicolons: bool) -> tuple[bool, dict[int, str]]:
    """Return whether points stand between thousands, and the columns in which that is not certain.

    A column of 1.800, 149 and 2.370 has thousands: with three decimals it would have them everywhere. Where every
    number is like 1.800, nothing tells: semicolons between fields speak for decimal commas. 0.250 or 5432.100 anywhere
    in the file are decimals.
    """
    numbers = [[cell for cell in column if _is_number(cell)] for column in columns]
    pointed = [cell for column in numbers for cell in column if "." in cell]
    if not pointed or not all(_GROUPED.fullmatch(cell) for cell in pointed):
        return False, {}
    if any(cell.count(".") > 1 for cell in pointed):
        return True, {}
    short = re.compile(r"[1-9]\d{0,2}")
    mixed = [any("." in cell for cell in column) and any(map(short.fullmatch, column)) for column in numbers]
    doubtful = {
        place: next(cell for cell in column if "." in cell)
        for place, column in enumerate(numbers) if any("." in cell for cell in column)
    }  # fmt: skip
    return any(mixed) or semicolons, doubtful


def _thousands_of(numbers: list[str], mark: str) -> bool:
    return any(re.fullmatch(rf"[-+]?\d{{1,3}}(\{mark}\d{{3}})+,\d+", cell) for cell in numbers)


def _skip(rows: list[list[str]], lines: list[str], header: int, first: int) -> str | None:
    """Return a pattern of lines between the rows that are no rows: remarks, and headings that repeat."""
    patterns = []
    marks = {line.lstrip()[0] for line in lines[first:] if line.lstrip()[:1] in ("#", "!", "*", "%", ">")}
    if marks:
        patterns.append(f"\\s*[{re.escape(''.join(sorted(marks)))}]")
    start = re.escape(lines[header].strip()[:30])
    if any(_same(row, rows[header]) for row in rows[first:]) and start:
        patterns.append(f"\\s*{start}")
    return "|".join(patterns) or None
