"""Read one file by its map into untyped columns: delimited text or a sheet of a workbook."""

from __future__ import annotations

import csv
import difflib
import io
import zlib
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import polars as pl

from pipeline.errors import SetAside, short
from pipeline.ingest.maps import SourceMap
from pipeline.schemas import meta
from pipeline.units import UnknownUnit, conversion, spellings

LARGEST_BYTES = 4 * 1024**3
"""A file that unpacks to more is set aside: nobody's stage record is that large."""
DELIMITERS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar"}
ROW = "source_row"


@dataclass
class RawFile:
    """What stands in a file.

    Attributes
    ----------
    frame : polars.DataFrame
        One column a mapped lake column (numbers already parsed where the file is clean, else text), and
        ``source_row``, the line of the file.
    head : list of str
        Lines above the data.
    notes : list of (kind, message, line)
        Findings of reading.
    """

    frame: pl.DataFrame
    head: list[str]
    notes: list[tuple[str, str, int | None]] = field(default_factory=list)


def content_of(path: Path) -> bytes:
    """Return a file's content, unpacked where it is gzip.

    Raises
    ------
    SetAside
        If it is empty, no gzip in spite of its name, or unpacks to more than 4 GiB.
    """
    data = path.read_bytes()
    if path.suffix.lower() == ".gz":
        unpacked = zlib.decompressobj(wbits=31)
        try:
            data = unpacked.decompress(data, LARGEST_BYTES + 1)
        except zlib.error as error:
            raise SetAside(
                "the file cannot be unpacked", "a gzip file", str(error), "ask the provider to send it again"
            ) from error
        if len(data) > LARGEST_BYTES:
            raise SetAside("the file is too large", "at most 4 GiB unpacked", "more", "split the file")
        if not unpacked.eof:
            raise SetAside(
                "the file is cut off", "a whole gzip file", "an end before its time",
                "ask the provider to send it again",
            )  # fmt: skip
    if not data.strip():
        raise SetAside("the file is empty", "a header and rows", "nothing", "ask the provider to send it again")
    return data


def read_raw(data: bytes, source: SourceMap) -> RawFile:
    """Read a file's content by its map.

    Raises
    ------
    SetAside
        Where the file is not what the map describes.
    """
    if source.kind == "workbook":
        return _read_sheet(data, source)
    return _read_delimited(data, source)


def _text(data: bytes, source: SourceMap) -> bytes:
    """Return the content as UTF-8 without a byte-order mark."""
    if b"\x00" in data[:8192] and not source.encoding.lower().startswith(("utf-16", "utf-32")):
        raise SetAside(
            "the file is not text", f"text in {source.encoding}", "bytes of a binary file",
            "export it as text, or exclude it from the map's 'files'", 1,
        )  # fmt: skip
    try:
        text = data.decode(source.encoding)
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise SetAside(
            f"the file is not {source.encoding}", f"text in {source.encoding}",
            f"byte 0x{data[error.start]:02x}", "set 'encoding' in the map, for instance encoding = \"latin-1\"", line,
        ) from error  # fmt: skip
    if source.encoding.lower().replace("_", "-") in ("utf-8", "utf8", "ascii"):
        return data.removeprefix(b"\xef\xbb\xbf")
    return text.removeprefix("\ufeff").encode()


def _head(text: bytes, lines: int) -> list[str]:
    head = text.split(b"\n", lines)[:lines]
    return [line.decode().rstrip("\r") for line in head]


def _fields(line: str, delimiter: str) -> list[str]:
    return [item.strip() for item in next(csv.reader([line], delimiter=delimiter), [])]


def _read_delimited(data: bytes, source: SourceMap) -> RawFile:
    text = _text(data, source)
    head = _head(text, source.data_row - 1)
    if len(head) < source.header_row:
        raise SetAside(
            "the file ends before its header", f"headings in line {source.header_row}", f"{len(head)} line(s)",
            "ask the provider to send it again", len(head),
        )  # fmt: skip
    names = _fields(head[source.header_row - 1], source.delimiter)
    places = _places(names, head[source.header_row - 1], source)
    notes: list[tuple[str, str, int | None]] = []
    if source.units_row is not None:
        _check_units(_fields(head[source.units_row - 1], source.delimiter), places, source)
    text = _whole_lines(text, len(names), source, notes)
    frame = _parse(text, places, len(names), source)
    if frame.is_empty():
        raise SetAside(
            "the file holds no rows", f"rows from line {source.data_row}", "none",
            "ask the provider to send it again", source.data_row,
        )  # fmt: skip
    return RawFile(frame, head, notes)


def _places(names: list[str], line: str, source: SourceMap) -> dict[str, int]:
    """Return the place of each mapped lake column in the file."""
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
                "rename one of them in the file, or ask the provider which is right", source.header_row,
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
            "the columns are not divided as the map says", f"fields divided by {ours}",
            f"fields that seem divided by {DELIMITERS[best]}", f"set 'delimiter' in the map '{source.name}'",
            source.header_row,
        )  # fmt: skip
    near = difflib.get_close_matches(wanted, names, n=1, cutoff=0.5)
    hint = f"; the nearest is '{short(near[0])}'" if near else ""
    shown = ", ".join(short(name) for name in names[:12]) + (" ..." if len(names) > 12 else "")
    return SetAside(
        f"no column is headed '{short(wanted)}'", f"the headings that the map '{source.name}' names", shown + hint,
        "correct the heading in the map, or write a map for this kind of file", source.header_row,
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
            f"the unit of '{short(source.columns[lake].column or lake)}' is not the map's",
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


def _whole_lines(text: bytes, fields: int, source: SourceMap, notes: list[tuple[str, str, int | None]]) -> bytes:
    """Drop a last line that was cut off: a record that lost a sample is better than a wrong number."""
    if text.endswith((b"\n", b"\r")):
        return text
    body, _, last = text.rpartition(b"\n")
    short = last.count(source.delimiter.encode()) + 1 < fields
    signal = "time" in source.table.key
    if signal and body.count(b"\n") + 1 >= source.data_row:
        line = body.count(b"\n") + 2
        notes.append(("cut_off", "the file ends inside its last line, which is not used", line))
        return body + b"\n"
    if short:
        raise SetAside(
            "the file is cut off", f"{fields} fields in each line", f"{last.count(source.delimiter.encode()) + 1}",
            "ask the provider to send it again", body.count(b"\n") + 2,
        )  # fmt: skip
    return text


def _parse(text: bytes, places: dict[str, int], fields: int, source: SourceMap) -> pl.DataFrame:
    """Parse the mapped columns: as numbers where the file is clean, else as text."""
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
            has_header=True,
            new_columns=names,
            separator=source.delimiter,
            skip_lines=source.header_row - 1,
            skip_rows_after_header=source.data_row - source.header_row - 1,
            schema_overrides=dict.fromkeys(typed, pl.Float64),
            columns=[places[lake] for lake in order],
            infer_schema=False,
            null_values=voids or None,
            decimal_comma=source.decimal == ",",
            truncate_ragged_lines=True,
        )

    try:
        frame = attempt(numbers)
    except (pl.exceptions.ComputeError, pl.exceptions.SchemaError, pl.exceptions.InvalidOperationError):
        frame = attempt([])
    frame = frame.with_row_index(ROW, offset=source.data_row).with_columns(pl.col(ROW).cast(pl.Int32))
    return frame.filter(~pl.all_horizontal(pl.exclude(ROW).is_null()))


def _void_text(value: str | float, decimal: str) -> str:
    text = value if isinstance(value, str) else f"{value:g}"
    return text if decimal == "." or isinstance(value, str) else text.replace(".", decimal)


def _read_sheet(data: bytes, source: SourceMap) -> RawFile:
    import fastexcel

    if not data.startswith(b"PK"):
        raise SetAside(
            "the file is no workbook", "an .xlsx workbook", "another kind of file",
            "save it as .xlsx, or exclude it from the map's 'files'",
        )  # fmt: skip
    try:
        book = fastexcel.read_excel(data)
    except Exception as error:  # the reader raises its own kinds for every way a workbook can be broken
        raise SetAside(
            "the workbook cannot be opened", "an .xlsx workbook", short(str(error)),
            "open and save it again in a spreadsheet program",
        ) from error  # fmt: skip
    assert source.sheet is not None
    if source.sheet not in book.sheet_names:
        raise SetAside(
            f"the workbook has no sheet '{short(source.sheet)}'", f"sheet '{short(source.sheet)}'",
            ", ".join(short(name) for name in book.sheet_names), "correct 'sheet' in the map",
        )  # fmt: skip
    sheet = book.load_sheet(source.sheet, header_row=None, skip_rows=0, dtypes="string").to_polars()
    if sheet.height < source.data_row:
        raise SetAside(
            "the sheet holds no rows", f"rows from line {source.data_row}", f"{sheet.height} line(s)",
            "fill the sheet, or exclude it from the map", source.data_row,
        )  # fmt: skip
    names = [str(value or "").strip() for value in sheet.row(source.header_row - 1)]
    places = _places(names, "", source)
    if source.units_row is not None:
        _check_units([str(v or "") for v in sheet.row(source.units_row - 1)], places, source)
    frame = sheet.select(pl.nth(place).alias(lake) for lake, place in places.items())[source.data_row - 1 :]
    frame = frame.with_row_index(ROW, offset=source.data_row).with_columns(pl.col(ROW).cast(pl.Int32))
    return RawFile(frame.filter(~pl.all_horizontal(pl.exclude(ROW).is_null())), names)
