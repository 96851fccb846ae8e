"""Files whose columns have names of their own: LAS 2.0 and Parquet or Arrow, as columns of text."""

from __future__ import annotations

import io
import re
import sys
from collections.abc import Callable, Generator, Iterable, Iterator
from dataclasses import dataclass, field
from itertools import chain
from typing import Any, BinaryIO

import polars as pl

from pipeline.errors import SetAside, short
from pipeline.ingest.apart import Failed, given, reading, refuse
from pipeline.ingest.content import Content, whole_lines

LARGEST_BYTES = 64 * 1024**2
"""A larger file that must be in memory as a whole is set aside: its cells need ten times as much. [bytes]"""
ROWS_PER_PIECE = 100_000
"""Rows of a large file that are in memory together. [rows]"""
PIECE_BYTES, MOST_TEXT_BYTES = 64 * 1024**2, 256 * 1024**2
"""Size of a piece of a Parquet file, as it says; size of the texts in a piece, at the most. [bytes]"""
MOST_CELLS, MOST_HELD_CELLS = 2_000_000_000, 20_000_000
"""Cells of a Parquet file, and of a file in memory as a whole: a small one can hold any number of equal cells."""


@dataclass(frozen=True)
class Columns:
    """Columns of a file.

    Attributes
    ----------
    names, units : list of str
        Units are empty where the file gives none.
    frames : iterable of polars.DataFrame
        Text, columns named by their position; of a large file in pieces, which can be read once.
    head : list of str
        What the file says above its data, line by line.
    said : list of str
        All that the file says of each column, if that is more than its name.
    """

    names: list[str]
    units: list[str]
    frames: Iterable[pl.DataFrame]
    head: list[str]
    said: list[str] = field(default_factory=list)

    @property
    def first(self) -> pl.DataFrame:
        """The first rows; all of a small file. Frames that can be read once are then given up."""
        frames = iter(self.frames)
        found = next(frames)
        if isinstance(frames, Generator):
            frames.close()
        return found


def is_las(first: bytes) -> bool:
    """Whether a file begins as LAS."""
    return first.lstrip(b"\xef\xbb\xbf \r\n").startswith((b"~V", b"~v"))


def is_parquet(first: bytes) -> bool:
    """Whether a file begins as Parquet or Arrow."""
    return first.startswith((b"PAR1", b"ARROW1"))


def read_las(content: Content) -> Columns:
    """Read a LAS file of version 1.2 or 2.0 (Canadian Well Logging Society), indexed by time or depth.

    Raises
    ------
    SetAside
        If it is not LAS, or has no data.
    """
    if content.whole is None and (found := _large_las(content)) is not None:
        return found
    las = _parsed_las(content.all(LARGEST_BYTES))
    if not las.curves or not len(las.curves[0].data):
        raise SetAside(
            "the LAS file has no data", "a section ~A with rows", "none", "ask the provider to send it again"
        )
    series = [pl.Series(str(i), list(curve.data), strict=False).cast(pl.String) for i, curve in enumerate(las.curves)]
    return _las_columns(las, [pl.DataFrame(series)])


def _parsed_las(data: bytes, *, only_header: bool = False) -> Any:
    import lasio

    text = data.decode("utf-8-sig", "replace")
    if not text.lstrip().startswith("~"):
        raise SetAside(
            "the file is not LAS", "a section that begins with ~V", short(text[:40]), "correct 'kind' in the map"
        )
    try:
        return lasio.read(
            io.StringIO(text), engine="normal", null_policy="none", ignore_header_errors=True,
            mnemonic_case="preserve", ignore_data=only_header,
        )  # fmt: skip
    except Exception as error:  # the reader raises its own kinds for damaged files
        raise SetAside(
            "the LAS file cannot be read", "LAS 2.0", short(str(error) or type(error).__name__, 160),
            "ask the provider to send it again",
        ) from error  # fmt: skip


def _las_columns(las: Any, frames: Iterable[pl.DataFrame]) -> Columns:
    told = [item for section in (las.well, las.params) for item in section if str(item.value).strip()]
    head = [f"{name}: {item.value}" for item in told for name in dict.fromkeys((item.mnemonic, item.descr)) if name]
    names = [str(curve.original_mnemonic or curve.mnemonic) for curve in las.curves]
    said = [f"{name} {curve.descr or ''}".strip() for name, curve in zip(names, las.curves, strict=True)]
    return Columns(names, [str(curve.unit or "") for curve in las.curves], frames, head, said)


_DATA = re.compile(rb"(?im)^~A[^\n]*\n")
_WORD = r"^([A-Za-z_]\w*|\d{1,2}(:\d{1,2}){1,2}(\.\d+)?|\d{1,4}/\d{1,2}/\d{1,4})$"
"""What is no number, and needs no correction by the reader of small files: a word, a time, a date with strokes."""


def _large_las(content: Content) -> Columns | None:
    """Read a large file in parts; None if its records go over several lines, or its values need correction."""
    first = content.first()
    begins = _DATA.search(first)
    if begins is None:
        return None
    las = _parsed_las(first[: begins.end()], only_header=True)
    if "WRAP" in las.version and str(las.version["WRAP"].value).strip().upper().startswith("Y"):
        return None
    try:  # what it needs corrected may stand anywhere
        found = sum(frame.height for frame in _las_pieces(content, begins.end(), len(las.curves)))
    except _NeedsCorrection:
        return None
    return _las_columns(las, _las_pieces(content, begins.end(), len(las.curves))) if found else None


class _NeedsCorrection(Exception):
    """A large LAS file has something that only the reader of small files understands."""


def _las_pieces(content: Content, begins: int, width: int) -> Iterator[pl.DataFrame]:
    parts = content.parts()
    data = chain([next(parts)[begins:]], parts)
    for piece in whole_lines(data, _NeedsCorrection("a line does not end")):
        yield _las_rows(piece, width)


def _las_rows(text: bytes, width: int) -> pl.DataFrame:
    """Return the rows of complete lines; numbers are written alike, whatever their zeros.

    Raises
    ------
    _NeedsCorrection
        If a row has another number of values, or a value is neither a number, a word nor a time.
    """
    text = re.sub(rb"(?m)^[ \t]*(#[^\n]*)?\r?\n?|[ \t]+(?=\r?$)", b"", re.sub(rb"[ \t]+", b" ", text))
    try:
        frame = pl.read_csv(
            io.BytesIO(text), has_header=False, separator=" ", quote_char=None, infer_schema=False,
            new_columns=[str(place) for place in range(width)],
        ) if text else pl.DataFrame(schema={str(place): pl.String for place in range(width)})  # fmt: skip
    except pl.exceptions.PolarsError as error:
        raise _NeedsCorrection(str(error)) from error
    if frame.width != width or (frame.height and frame[str(width - 1)].null_count()):
        raise _NeedsCorrection("another number of values")
    columns = []
    for column in frame:
        number = column.cast(pl.Float64, strict=False)
        words = column.filter(number.is_null() & column.is_not_null())
        if not words.str.contains(_WORD).all():
            raise _NeedsCorrection(f"a value such as {short(str(words[0]))}")
        columns.append(pl.select(pl.coalesce(number.cast(pl.String), column)).to_series().alias(column.name))
    return pl.DataFrame(columns)


def read_parquet(content: Content) -> Columns:
    """Read a Parquet or an Arrow (IPC) file.

    Raises
    ------
    SetAside
        If it is neither, or has more cells than any plausible record.
    """
    import pyarrow as pa
    import pyarrow.parquet as pq

    if not content.first().startswith(b"PAR1"):
        return _read_arrow(content)
    packed = content.path.suffix.lower() in (".gz", ".zip")
    source = io.BytesIO(content.all(LARGEST_BYTES)) if packed else content.path.open("rb")
    try:
        schema = pq.ParquetFile(source).schema_arrow
        texts = [field.name for field in schema if any(kind(field.type) for kind in _text_kinds())]
        held = pq.ParquetFile(source, read_dictionary=texts)  # one text for all rows is held once
        names, rows = schema.names, held.metadata.num_rows
    except (pa.ArrowException, OSError) as error:
        source.close()
        raise _no_arrow(error) from error
    try:
        _refuse_many(rows, len(names), MOST_CELLS)
    except SetAside:
        source.close()
        raise
    return Columns(list(names), [""] * len(names), _batches(content, held, source), [])


def _read_arrow(content: Content) -> Columns:
    """Read an Arrow file. Its buffers can unpack to any size, so that is done in a process of its own."""
    data = content.all(LARGEST_BYTES)
    try:
        rows = pl.scan_ipc(io.BytesIO(data)).select(pl.len()).collect().item()
        names = list(pl.read_ipc_schema(io.BytesIO(data)))
    except (pl.exceptions.PolarsError, pl.exceptions.PanicException, OSError) as error:
        raise _no_arrow(error) from error
    _refuse_many(rows, len(names), MOST_HELD_CELLS)
    return Columns(names, [""] * len(names), _arrow_frames(data), [])


_READ_ARROW = "from pipeline.ingest.columnar import read_arrow_here; read_arrow_here()"


def _arrow_frames(data: bytes) -> Iterator[pl.DataFrame]:
    try:
        with reading([data], len(data), _READ_ARROW, str(ROWS_PER_PIECE)) as run:
            yield from run.frames()
    except Failed as failed:
        raise _no_arrow(failed) from failed


def read_arrow_here() -> None:
    """Read an Arrow file from the input as a whole, and write its cells as text to the output, in pieces.

    Only the reader of whole files checks what a damaged one says of itself. The arguments are the size of the file and
    the rows per piece.
    """
    import pyarrow as pa

    try:
        frame = _as_text(pl.read_ipc(io.BytesIO(given())))
    except (pl.exceptions.PolarsError, pl.exceptions.PanicException, OSError) as error:
        raise refuse(error) from None
    height, schema = int(sys.argv[2]), frame[:0].to_arrow(compat_level=pl.CompatLevel.oldest()).schema
    with pa.ipc.new_stream(sys.stdout.buffer, schema) as output:
        for piece in frame.iter_slices(height):
            output.write(piece.to_arrow(compat_level=pl.CompatLevel.oldest()))
        if not frame.height:
            output.write(pa.RecordBatch.from_pylist([], schema=schema))


def _refuse_many(rows: int, columns: int, most: int) -> None:
    if rows * columns > most:
        found = f"{rows:,} rows of {columns} columns"
        raise SetAside("the file has too many cells", f"at most {most:,}", found, "split the file")


def _as_text(frame: pl.DataFrame) -> pl.DataFrame:
    return frame.select(
        pl.nth(place).cast(pl.String, strict=False).alias(str(place)) for place in range(frame.width)
    )  # fmt: skip


def _batches(content: Content, held: Any, source: BinaryIO) -> Iterator[pl.DataFrame]:
    """Yield a file's rows as text, in pieces; at least one, also of a file without rows."""
    import pyarrow as pa

    yielded = False
    with source:
        try:
            for group in range(held.metadata.num_row_groups):
                rows = _rows_per_piece(held.metadata.row_group(group))
                for batch in held.iter_batches(rows, row_groups=[group]):
                    batch.validate(full=True)
                    yielded = True
                    yield _as_text(pl.DataFrame(pl.from_arrow(_with_texts(batch))))
        except (pa.ArrowException, pl.exceptions.PolarsError, OSError) as error:
            raise _no_arrow(error) from error
    if not yielded:
        yield _as_text(pl.DataFrame(pl.from_arrow(held.schema_arrow.empty_table())))
    for _ in content.parts():  # ends with an error if the file has changed since it was hashed
        pass


def _text_kinds() -> list[Callable[[Any], bool]]:
    from pyarrow import types

    return [
        types.is_string, types.is_large_string, types.is_string_view,
        types.is_binary, types.is_large_binary, types.is_binary_view,
    ]  # fmt: skip


def _rows_per_piece(group: Any) -> int:
    """Number of rows of a row group that unpack to the size of a piece, as the file says."""
    size = group.total_byte_size / max(group.num_rows, 1)
    return int(min(max(PIECE_BYTES / max(size, 1.0), 1), ROWS_PER_PIECE))


def _with_texts(batch: Any) -> Any:
    """Return a batch with its texts in each row; a few texts can stand in so many rows that they do not fit."""
    import pyarrow as pa
    import pyarrow.compute as pc

    columns, size = [], 0
    for column in batch.columns:
        if pa.types.is_dictionary(column.type):
            each = pc.take(pc.binary_length(column.dictionary), column.indices)
            size += pc.sum(each).as_py() or 0
            if size > MOST_TEXT_BYTES:
                raise SetAside(
                    "the file's texts are too long", f"at most {MOST_TEXT_BYTES // 1024**2} MiB in "
                    f"{batch.num_rows:,} rows", "more", "split the file, or leave out the long texts",
                )  # fmt: skip
            column = column.dictionary_decode()
        columns.append(column)
    return pa.RecordBatch.from_arrays(columns, batch.schema.names)


def _no_arrow(error: BaseException) -> SetAside:
    return SetAside(
        "the file is not Parquet or Arrow", "a Parquet or Arrow file", short(str(error), 120),
        "correct 'kind' in the map",
    )  # fmt: skip
