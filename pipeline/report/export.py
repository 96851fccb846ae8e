"""Output of a query or a plan as a table on the screen; rows as CSV, Parquet or a spreadsheet."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import polars as pl
import polars.selectors as cs

from pipeline.errors import HeelwardError
from pipeline.files import replacing
from pipeline.plan.compare import Planned
from pipeline.plan.evaluate import Line
from pipeline.queries import Answer, in_units_shown
from pipeline.text import inert_text
from pipeline.units import format_number, with_unit, without_unit

if TYPE_CHECKING:
    from rich.console import Console
    from rich.text import Text

NAMED = ("well", "stage", "plug", "run", "level", "number", "pick")
"""Columns that say what a row is: they are printed first."""
MOST_CHARACTERS = 36
"""Longer texts are cut in a table on the terminal."""


def neutralised(frame: pl.DataFrame) -> pl.DataFrame:
    """Return a frame whose texts are not read as formulas by spreadsheets: a quote before =, +, -, @, tab or return."""
    texts = [name for name, dtype in frame.schema.items() if dtype == pl.String]
    return frame.with_columns(
        pl.when(pl.col(name).str.contains(r"^[=+\-@\t\r]"))
        .then(pl.concat_str(pl.lit("'"), pl.col(name)))
        .otherwise(pl.col(name))
        .alias(name)
        for name in texts
    )


def write(frame: pl.DataFrame, out: Path) -> None:
    """Write rows to a .csv, .parquet or .xlsx file.

    Raises
    ------
    HeelwardError
        If the file has another extension.
    """
    if out.suffix not in (".csv", ".parquet", ".xlsx"):
        raise HeelwardError(f"{out}: unknown file type; use a .csv, .parquet or .xlsx file")
    if out.suffix != ".parquet":
        frame = _flat(frame)
    with replacing(out) as part:
        if out.suffix == ".csv":
            neutralised(frame).write_csv(part)
        elif out.suffix == ".xlsx":
            from pipeline.report.sheets import write_frame

            write_frame(frame, part)
        else:
            frame.write_parquet(part, compression="zstd")


def _flat(frame: pl.DataFrame) -> pl.DataFrame:
    """Return a frame whose lists, structs and bytes are texts: a CSV file or a spreadsheet has no cell for them."""
    odd = [name for name, dtype in frame.schema.items() if dtype.is_nested() or dtype in (pl.Binary, pl.Object)]
    return frame.with_columns(
        pl.Series(name, [None if value is None else str(value) for value in frame[name].to_list()], dtype=pl.String)
        for name in odd
    ).with_columns(cs.categorical().cast(pl.String), cs.enum().cast(pl.String))


def _text(value: str) -> Text:
    """Return a text that the terminal shows literally: no markup, cursor movement or colours."""
    from rich.text import Text

    return Text(inert_text(value))


def show(answer: Answer, system: str = "field", *, wide: bool = False, columns: Sequence[str] = ()) -> None:
    """Print the rows of a query in the units of a system.

    Parameters
    ----------
    answer : Answer
    system : str
        ``field`` or ``metric``.
    wide : bool
        Print every column, one block of lines per row; otherwise a table of the columns that fit the terminal.
    columns : sequence of str
        Columns to print; all if empty.

    Raises
    ------
    HeelwardError
        If a column does not exist.
    """
    from rich.console import Console

    frame, units = in_units_shown(answer, system)
    if unknown := [name for name in columns if name not in frame.columns]:
        raise HeelwardError(f"--columns: no column {', '.join(unknown)}; there are: {', '.join(frame.columns)}")
    frame = frame.select(columns or frame.columns)
    cells = [[_cell(value) for value in row] for row in frame.iter_rows()]
    names = [_heading(answer, units, name) for name in frame.columns]
    console = Console()
    if wide:
        _blocks(console, answer.query.title, [f"{name} {unit}".strip() for name, unit in names], cells)
        return
    numeric = [dtype.is_numeric() for dtype in frame.dtypes]
    shown = _fitting(names, cells, numeric, console.width)
    _table(console, answer.query.title, names, cells, numeric, shown)
    if len(shown) < len(names):
        told = f"{len(shown)} of {len(names)} columns fit here. All: --wide (a block per row) or --out FILE (.csv, "
        console.print(_text(f"{told}.parquet, .xlsx); some: --columns NAME,NAME"))


def _heading(answer: Answer, units: dict[str, str], name: str) -> tuple[str, str]:
    """Return the heading of a column in words, and its unit in brackets."""
    unit, label = answer.unit(name), units.get(name, "")
    bare = without_unit(name, unit).replace("_", " ") if label not in ("", unit) else name
    return bare, f"[{label}]" if label else ""


def _cell(value: object) -> str:
    return inert_text("–" if value is None else format_number(value) if isinstance(value, float) else str(value))


def _fitting(names: list[tuple[str, str]], cells: list[list[str]], numeric: list[bool], width: int) -> list[int]:
    """Return the places of the columns that fit the terminal, at least one: names first, then numbers, then texts."""
    shown: list[int] = []
    used = 1

    def rank(place: int) -> tuple[int, int]:
        name = names[place][0]
        if name == "well_id":
            return 3, place  # the well is named
        first = place == 0 and not any(other in NAMED for other, _ in names)
        return 0 if first or name in NAMED else 1 if numeric[place] else 2, place

    for place in sorted(range(len(names)), key=rank):
        name = names[place]
        longest = max((len(row[place]) for row in cells), default=0)
        needs = max(*(len(part) for part in name), longest if numeric[place] else min(longest, MOST_CHARACTERS)) + 3
        if shown and used + needs > width:
            break
        shown.append(place)
        used += needs
    return sorted(shown)


def _table(
    console: Console,
    title: str,
    names: list[tuple[str, str]],
    cells: list[list[str]],
    numeric: list[bool],
    shown: list[int],
) -> None:
    from rich.table import Table
    from rich.text import Text

    table = Table(title=_text(title), title_justify="left", header_style="bold")
    for place in shown:
        table.add_column(
            Text("\n").join(_text(part) for part in names[place] if part),
            justify="right" if numeric[place] else "left", no_wrap=True, overflow="ellipsis",
            max_width=None if numeric[place] else MOST_CHARACTERS,
        )  # fmt: skip
    if len(shown) == 1:  # a sentence is read in full
        table.columns[0].no_wrap, table.columns[0].max_width = False, None
    for row in cells:
        table.add_row(*(_text(row[place]) for place in shown))
    console.print(table)


def _blocks(console: Console, title: str, names: list[str], cells: list[list[str]]) -> None:
    width = max((len(name) for name in names), default=0)
    console.print(_text(title), style="bold")
    for row in cells:
        console.print(_text(""))
        for name, cell in zip(names, row, strict=True):
            console.print(_text(f"{name:<{width}}  {cell}"), soft_wrap=True)


def show_plan(planned: Planned) -> None:
    """Print a plan: figures of each design, then the verdict."""
    from rich.console import Console
    from rich.table import Table

    designs = [design.name for design in planned.plan.designs]
    table = Table(title=_text(f"Designs for {planned.plan.pad.name}"), title_justify="left", header_style="bold")
    table.add_column("quantity")
    table.add_column("from")
    for name in designs:
        table.add_column(_text(name), justify="right")
    by_quantity: dict[str, dict[str, Line]] = {}
    for line in planned.lines:
        by_quantity.setdefault(line.quantity, {})[line.design] = line
    for quantity, cells in by_quantity.items():
        first = next(iter(cells.values()))
        label = with_unit(quantity.replace("_", " "), first.unit)
        table.add_row(_text(label), first.basis, *(_text(_figure(cells[name])) for name in designs))
    console = Console()
    console.print(table)
    for line in planned.lines:
        if line.value is None:
            console.print(_text(f"{line.design}, {line.quantity.replace('_', ' ')}: {line.note}"))
    console.print(_text(planned.ranking.verdict), style="bold")
    for name, found in planned.taught.items():
        console.print(_text(f"Information gained from a trial on this pad: {name.replace('_', ' ')}"))
        if isinstance(found, str):
            console.print(_text(f"  {found}"))
            continue
        for trial in found:
            width = format_number(trial.half_width)
            console.print(_text(f"  {', '.join(trial.wells)}: half width {width}, {trial.shrinks_to:.0%} of current"))
    console.print(
        _text("Figures are for engineering review and are not operating limits; see the page's caution."), style="dim"
    )


def _figure(line: Line) -> str:
    if line.value is None:
        return "–"
    shown = format_number(line.value, 3)
    if line.low is None or line.high is None:
        return shown
    return f"{shown} ({format_number(line.low, 3)} to {format_number(line.high, 3)})"
