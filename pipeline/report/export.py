"""Output of a query or a plan as a table on the screen; rows as CSV, Parquet or a spreadsheet."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import polars as pl
import polars.selectors as cs

from pipeline.errors import HeelwardError
from pipeline.plan.compare import Planned
from pipeline.plan.evaluate import Line
from pipeline.queries import Answer, heading, in_units_shown
from pipeline.text import inert_text
from pipeline.units import format_number
from pipeline.workspace import replacing

if TYPE_CHECKING:
    from rich.text import Text


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


def show(answer: Answer, system: str = "field") -> None:
    """Print the rows of a query as a table, in the units of a system."""
    from rich.console import Console
    from rich.table import Table

    frame, units = in_units_shown(answer, system)
    table = Table(title=_text(answer.query.title), title_justify="left", header_style="bold")
    for name, dtype in frame.schema.items():
        unit, label = answer.unit(name), units.get(name, "")
        converted = label not in ("", unit)
        plain = f"{name} [{label}]" if label else name
        table.add_column(
            _text(heading(name, unit, label) if converted else plain), justify="right" if dtype.is_numeric() else "left"
        )
    for row in frame.iter_rows():
        table.add_row(
            *(
                _text("–" if value is None else format_number(value) if isinstance(value, float) else str(value))
                for value in row
            )
        )
    Console().print(table)


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
        label = quantity.replace("_", " ") + (f" [{first.unit}]" if first.unit else "")
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
