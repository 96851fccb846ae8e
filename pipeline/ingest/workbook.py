"""Read a sheet of a workbook, in a process of its own."""

from __future__ import annotations

import json
import re
import sys
from collections import defaultdict
from collections.abc import Generator, Iterator
from contextlib import contextmanager

import polars as pl

from pipeline.errors import SetAside, short
from pipeline.ingest.apart import OTHER, Failed, Reading, given, reading, refuse
from pipeline.ingest.columnar import ROWS_PER_PIECE
from pipeline.ingest.content import Content

LARGEST_BYTES = 256 * 1024**2
ERRORS = {
    "Div0": "#DIV/0!", "NA": "#N/A", "Name": "#NAME?", "Null": "#NULL!", "Num": "#NUM!", "Ref": "#REF!",
    "Value": "#VALUE!", "GettingData": "#GETTING_DATA",
}  # fmt: skip
"""Cell content of a failed formula, here and in text exported from a spreadsheet."""
_READ = "from pipeline.ingest.workbook import read_here; read_here()"


def read_sheet(content: Content, sheet: str) -> Generator[pl.DataFrame, None, None]:
    """Yield a sheet's cells as text, from the first row, columns in order: in pieces, at least one.

    Raises
    ------
    SetAside
        If it is not a workbook, has no such sheet, or cannot be read within the memory and time limits.
    """
    with _reading(content, sheet, str(ROWS_PER_PIECE)) as run:
        yield from run.frames()


def sheets_of(content: Content) -> list[str]:
    """Return the names of a workbook's sheets.

    Raises
    ------
    SetAside
        As `read_sheet`.
    """
    with _reading(content) as run:
        names = run.output.read()
        run.end()
        return [str(name) for name in json.loads(names)]


@contextmanager
def _reading(content: Content, *words: str) -> Iterator[Reading]:
    parts = content.within(LARGEST_BYTES)
    if not content.first().startswith(b"PK"):
        raise SetAside(
            "the file is not a workbook", "an .xlsx workbook", "another kind of file",
            "save it as .xlsx, or exclude it in the map's 'files'",
        )  # fmt: skip
    try:
        with reading(parts, content.size, _READ, *words) as run:
            yield run
    except Failed as failed:
        if failed.code == OTHER:
            wanted = short(words[0])
            raise SetAside(
                f"the workbook has no sheet '{wanted}'", f"sheet '{wanted}'", failed.why, "correct 'sheet' in the map"
            ) from failed
        raise SetAside(
            "the workbook cannot be read", "an .xlsx workbook without oversized empty sheets", short(failed.why),
            "open and save it in a spreadsheet program, or export the sheet as delimited text",
        ) from failed  # fmt: skip


def read_here() -> None:
    """Read a workbook from the input, and write a sheet as Arrow to the output.

    The arguments are the size of the workbook, the sheet's name and the rows per piece; with the size alone, write the
    names of all sheets as JSON. Memory for the workbook is given back before rows are written: who reads them needs
    some, too.
    """
    import fastexcel
    import pyarrow as pa

    try:
        book = fastexcel.read_excel(given())
        if len(sys.argv) < 3:
            print(json.dumps(book.sheet_names))
            return
        name, height = sys.argv[2], int(sys.argv[3])
        if name not in book.sheet_names:
            print(", ".join(short(known) for known in book.sheet_names), file=sys.stderr)
            raise SystemExit(OTHER)
        rows, wrong = book.load_sheet(name, header_row=None, skip_rows=0, dtypes="string").to_arrow_with_errors()
    except Exception as error:  # the reader raises its own exception types for damaged workbooks
        raise refuse(error) from None
    del book
    failed = defaultdict(list)
    for cell in wrong.errors if wrong is not None else ():  # a formula error is not an empty cell
        found = re.search(r"Error\((\w+)\)", cell.detail)
        row, column = cell.offset_position
        text = ERRORS.get(found[1] if found else "", "#VALUE!")
        failed[row // height].append((row % height, column, text))
    with pa.ipc.new_stream(sys.stdout.buffer, rows.schema) as output:
        for place in range(max(-(-rows.num_rows // height), 1)):
            piece = rows.slice(place * height, height)
            if failed[place]:
                frame = pl.DataFrame(pl.from_arrow(piece))
                for row, column, text in failed[place]:
                    frame[row, column] = text
                piece = frame.to_arrow().cast(rows.schema)
            output.write(piece)
