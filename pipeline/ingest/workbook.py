"""Read a sheet of a workbook in a separate process: a malicious workbook can stop only that process."""

from __future__ import annotations

import json
import re
import subprocess
import sys
import tempfile
import threading
from collections import defaultdict
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from typing import IO, BinaryIO

import polars as pl

from pipeline.errors import SetAside, short
from pipeline.ingest.columnar import ROWS_PER_PIECE
from pipeline.ingest.content import Content

LARGEST_BYTES = 256 * 1024**2
MEMORY_BYTES = 3 * 1024**3
"""Address space of the reading process. [bytes]"""
LEAST_S, S_PER_MB = 8.0, 2.0
"""Maximum time to read a workbook: a minimum, plus a time per size. [s]"""
ERRORS = {
    "Div0": "#DIV/0!", "NA": "#N/A", "Name": "#NAME?", "Null": "#NULL!", "Num": "#NUM!", "Ref": "#REF!",
    "Value": "#VALUE!", "GettingData": "#GETTING_DATA",
}  # fmt: skip
"""Cell content of a failed formula, here and in text exported from a spreadsheet."""
_WORKBOOK, _SHEET = 4, 5
"""Exit codes of the reading process: the workbook cannot be opened, the sheet does not exist."""
_READ = "from pipeline.ingest.workbook import read_here; read_here()"


def read_sheet(content: Content, sheet: str) -> Iterator[pl.DataFrame]:
    """Yield a sheet's cells as text, from the first row, columns in order: in pieces, at least one.

    Raises
    ------
    SetAside
        If it is not a workbook, has no such sheet, or cannot be read within the memory and time limits.
    """
    import pyarrow as pa

    with _reading(content, [sheet, str(ROWS_PER_PIECE)]) as reading:
        try:
            for batch in pa.ipc.open_stream(reading.output):
                reading.in_time()
                yield pl.DataFrame(pl.from_arrow(batch))
        except (pa.ArrowException, OSError) as error:
            reading.end()
            raise _unreadable(short(str(error))) from error
        reading.end()


def sheets_of(content: Content) -> list[str]:
    """Return the names of a workbook's sheets.

    Raises
    ------
    SetAside
        As `read_sheet`.
    """
    with _reading(content, []) as reading:
        names = reading.output.read()
        reading.end()
        return [str(name) for name in json.loads(names)]


class _Reading:
    """The process that reads a workbook. It is stopped if its first output takes too long."""

    def __init__(self, process: subprocess.Popen[bytes], said: BinaryIO, limit_s: float) -> None:
        assert process.stdout is not None
        self.output: IO[bytes] = process.stdout
        self._process, self._said, self._limit_s, self._stopped = process, said, limit_s, False
        self._timer = threading.Timer(limit_s, self._stop)
        self._timer.start()

    def _stop(self) -> None:
        self._stopped = True
        self._process.kill()

    def in_time(self) -> None:
        """Stop counting its time: from now on it waits for who reads its output."""
        self._timer.cancel()

    def end(self) -> None:
        """Wait for its end, and refuse the workbook if it did not succeed."""
        code = self._process.wait()
        if code == 0:
            return
        if self._stopped:
            raise _unreadable(f"not finished after {self._limit_s:.0f} s")
        self._said.seek(0)
        said = self._said.read().decode("utf-8", "replace").strip()
        if code == _SHEET:
            wanted, _, known = said.partition("\n")
            raise SetAside(
                f"the workbook has no sheet '{wanted}'", f"sheet '{wanted}'", known, "correct 'sheet' in the map"
            )
        if code == _WORKBOOK:
            raise _unreadable(short(said.splitlines()[-1] if said else "no reason given"))
        raise _unreadable(f"more than {MEMORY_BYTES / 1024**3:g} GiB of memory, or a sheet that crashes its reader")


@contextmanager
def _reading(content: Content, words: list[str]) -> Iterator[_Reading]:
    """Run the reading process while the block runs; what it has not written by then is not needed."""
    parts = content.within(LARGEST_BYTES)
    if not content.first().startswith(b"PK"):
        raise SetAside(
            "the file is not a workbook", "an .xlsx workbook", "another kind of file",
            "save it as .xlsx, or exclude it in the map's 'files'",
        )  # fmt: skip
    command = [sys.executable, "-c", _READ, str(content.size), *words]
    limit_s = LEAST_S + S_PER_MB * content.size / 1e6
    with (
        tempfile.TemporaryFile() as said,
        subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=said) as process,
    ):
        reading = _Reading(process, said, limit_s)
        try:
            assert process.stdin is not None
            with suppress(BrokenPipeError), process.stdin as given:  # it has ended
                for part in parts:
                    given.write(part)
            yield reading
        finally:
            reading.in_time()
            process.kill()


def _unreadable(found: str) -> SetAside:
    return SetAside(
        "the workbook cannot be read", "an .xlsx workbook without oversized empty sheets", found,
        "open and save it in a spreadsheet program, or export the sheet as delimited text",
    )  # fmt: skip


def read_here() -> None:
    """Read a workbook from the input, and write a sheet as Arrow to the output.

    The arguments are the size of the workbook, the sheet's name and the rows per piece; with the size alone, write the
    names of all sheets as JSON. Memory for the workbook is given back before rows are written: who reads them needs
    some, too.
    """
    _limit_memory()
    import fastexcel
    import pyarrow as pa

    try:
        book = fastexcel.read_excel(sys.stdin.buffer.read(int(sys.argv[1])))
        if len(sys.argv) < 3:
            print(json.dumps(book.sheet_names))
            return
        name, height = sys.argv[2], int(sys.argv[3])
        if name not in book.sheet_names:
            known = ", ".join(short(one) for one in book.sheet_names)
            print(f"{short(name)}\n{known}", file=sys.stderr)
            raise SystemExit(_SHEET)
        rows, wrong = book.load_sheet(name, header_row=None, skip_rows=0, dtypes="string").to_arrow_with_errors()
    except Exception as error:  # the reader raises its own exception types for damaged workbooks
        print(" ".join(str(error).split()) or type(error).__name__, file=sys.stderr)
        raise SystemExit(_WORKBOOK) from None
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


def _limit_memory() -> None:
    try:
        import resource
    except ImportError:  # not on this system
        return
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
