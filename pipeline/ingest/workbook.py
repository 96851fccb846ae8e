"""Read a sheet of a workbook in a separate process: a malicious workbook can stop only that process."""

from __future__ import annotations

import io
import json
import re
import subprocess
import sys

import polars as pl

from pipeline.errors import SetAside, short
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


def read_sheet(content: Content, sheet: str) -> pl.DataFrame:
    """Return a sheet's cells as text, from the first row, columns in order.

    Raises
    ------
    SetAside
        If it is not a workbook, has no such sheet, or cannot be read within the memory and time limits.
    """
    done, said = _apart(content, [sheet])
    if done.returncode == _SHEET:
        raise SetAside(
            f"the workbook has no sheet '{short(sheet)}'", f"sheet '{short(sheet)}'", said,
            "correct 'sheet' in the map",
        )  # fmt: skip
    return pl.read_ipc(io.BytesIO(done.stdout))


def sheets_of(content: Content) -> list[str]:
    """Return the names of a workbook's sheets.

    Raises
    ------
    SetAside
        As `read_sheet`.
    """
    done, _ = _apart(content, [])
    return [str(name) for name in json.loads(done.stdout)]


def _apart(content: Content, words: list[str]) -> tuple[subprocess.CompletedProcess[bytes], str]:
    """Run the reading process; return what it did and said, unless the workbook cannot be read at all."""
    data = content.all(LARGEST_BYTES)
    if not data.startswith(b"PK"):
        raise SetAside(
            "the file is not a workbook", "an .xlsx workbook", "another kind of file",
            "save it as .xlsx, or exclude it in the map's 'files'",
        )  # fmt: skip
    limit_s = LEAST_S + S_PER_MB * len(data) / 1e6
    try:
        done = subprocess.run(
            [sys.executable, "-c", _READ, *words], input=data, capture_output=True, timeout=limit_s, check=False
        )
    except subprocess.TimeoutExpired:
        raise _unreadable(f"not finished after {limit_s:.0f} s") from None
    said = done.stderr.decode("utf-8", "replace").strip()
    if done.returncode == _WORKBOOK:
        raise _unreadable(short(said.splitlines()[-1] if said else "no reason given"))
    if done.returncode not in (0, _SHEET):
        raise _unreadable(f"more than {MEMORY_BYTES / 1024**3:g} GiB of memory, or a sheet that crashes its reader")
    return done, said


def _unreadable(found: str) -> SetAside:
    return SetAside(
        "the workbook cannot be read", "an .xlsx workbook without oversized empty sheets", found,
        "open and save it in a spreadsheet program, or export the sheet as delimited text",
    )  # fmt: skip


def read_here() -> None:
    """Read the sheet named in the arguments of the workbook on the input, and write it as Arrow to the output.

    Without a name, write the names of its sheets as JSON.
    """
    _limit_memory()
    import fastexcel

    try:
        book = fastexcel.read_excel(sys.stdin.buffer.read())
        if len(sys.argv) < 2:
            print(json.dumps(book.sheet_names))
            return
        name = sys.argv[1]
        if name not in book.sheet_names:
            print(", ".join(short(known) for known in book.sheet_names), file=sys.stderr)
            raise SystemExit(_SHEET)
        batch, wrong = book.load_sheet(name, header_row=None, skip_rows=0, dtypes="string").to_arrow_with_errors()
    except Exception as error:  # the reader raises its own exception types for damaged workbooks
        print(" ".join(str(error).split()) or type(error).__name__, file=sys.stderr)
        raise SystemExit(_WORKBOOK) from None
    sheet = pl.DataFrame(pl.from_arrow(batch))
    for cell in wrong.errors if wrong is not None else ():  # a formula error is not an empty cell
        found = re.search(r"Error\((\w+)\)", cell.detail)
        row, column = cell.offset_position
        sheet[row, column] = ERRORS.get(found[1] if found else "", "#VALUE!")
    sheet.write_ipc(sys.stdout.buffer)


def _limit_memory() -> None:
    try:
        import resource
    except ImportError:  # not on this system
        return
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
