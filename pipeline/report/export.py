"""A saved query as a table on the screen, as CSV or as Parquet."""

from __future__ import annotations

from pathlib import Path

import polars as pl

from pipeline.errors import HeelwardError
from pipeline.report.queries import Query


def neutralised(frame: pl.DataFrame) -> pl.DataFrame:
    """Return a frame whose texts no spreadsheet takes for formulas: a quote before =, +, -, @, tab or return."""
    texts = [name for name, dtype in frame.schema.items() if dtype == pl.String]
    return frame.with_columns(
        pl.when(pl.col(name).str.contains(r"^[=+\-@\t\r]"))
        .then(pl.concat_str(pl.lit("'"), pl.col(name)))
        .otherwise(pl.col(name))
        .alias(name)
        for name in texts
    )


def write(frame: pl.DataFrame, out: Path) -> None:
    """Write rows to a .csv or .parquet file.

    Raises
    ------
    HeelwardError
        If the file's ending is another.
    """
    if out.suffix == ".csv":
        neutralised(frame).write_csv(out)
    elif out.suffix == ".parquet":
        frame.write_parquet(out, compression="zstd")
    else:
        raise HeelwardError(f"{out}: write to a .csv or a .parquet file")


def show(query: Query, frame: pl.DataFrame) -> None:
    """Print rows as a table."""
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    table = Table(title=query.title, title_justify="left", header_style="bold")
    for column in query.columns:
        label = column.name + (f" [{column.unit}]" if column.unit else "")
        numeric = frame.schema[column.name].is_numeric()
        table.add_column(Text(label), justify="right" if numeric else "left")
    for row in frame.select(item.name for item in query.columns).iter_rows():
        table.add_row(
            *(
                Text("–" if value is None else f"{value:,.4g}" if isinstance(value, float) else str(value))
                for value in row
            )
        )
    Console().print(table)
