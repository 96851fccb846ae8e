"""Figures of the sample campaign, as they are: each measured, picked and fitted column by count, mean and spread.

    python -m tests.figures

writes them anew after a deliberate change; the difference belongs in the commit. A test compares them: a change of a
number that nobody meant is seen, wherever it comes from.
"""

from __future__ import annotations

import tempfile
from pathlib import Path

import polars as pl
import polars.selectors as cs

from pipeline.lake import Lake
from pipeline.metrics.tables import TABLES

FILE = Path(__file__).parent / "figures.csv"
NEAR = 2e-4
"""Relative difference that machines can make in a mean or a spread. [1]"""
MEASURED = (
    "stage_metrics", "plug_metrics", "coil_run_metrics", "wireline_metrics", "toe_prep_metrics", "pad_day_metrics",
    "pad_timeline",
)  # fmt: skip
FITTED = (
    "comparisons", "effects", "model_cards", "model_parameters", "predictions", "proportions", "quarter_means", "changes",
)  # fmt: skip
PARTS = {"picks": ("pick", "confidence"), "findings": ("step", "kind"), "sources": ("state", "lands")}
"""Tables told apart by some of their columns."""
LEFT_OUT = ("source_row", "size_bytes", "modified_us", "number", "version", "row", "reader_version")
"""Numbers that are no figures."""


def of_table(lake: Lake, name: str, by: tuple[str, ...] = ()) -> pl.DataFrame:
    """Return the figures of a table: part, column, values, mean and standard deviation."""
    frame = lake.scan(TABLES[name]).collect()
    told = [column for column in by if column in frame.columns]
    part = pl.concat_str([pl.lit(name), *(pl.col(column).fill_null("none") for column in told)], separator=" ")
    numbers = frame.select(
        part.alias("part"),
        cs.numeric().exclude(*LEFT_OUT).cast(pl.Float64),
        cs.boolean().cast(pl.Float64),
        (cs.datetime().dt.epoch("ms") % 86_400_000 / 1000.0).name.suffix(" of day"),
        pl.lit(1.0).alias("number of rows"),
    )
    long = numbers.unpivot(index="part", variable_name="figure", value_name="amount").filter(
        pl.col("amount").is_not_nan()
    )
    return long.group_by("part", "figure").agg(
        pl.col("amount").count().alias("values"),
        pl.col("amount").mean().alias("mean"),
        pl.col("amount").std().alias("spread"),
    )


def figures(lake: Lake) -> pl.DataFrame:
    """Return all figures of a measured and fitted lake, in a fixed order."""
    found = [of_table(lake, name, PARTS.get(name, ())) for name in (*MEASURED, *FITTED, *PARTS)]
    changing = pl.col("figure").is_in(["landed_at of day", "fitted_at of day"])
    return pl.concat(found).filter(pl.col("values") > 0, ~changing).sort("part", "figure")


def main() -> None:
    """Build the campaign and write its figures."""
    from tests.conftest import _fit

    with tempfile.TemporaryDirectory() as folder:
        told = figures(_fit(Path(folder) / "campaign").lake)
    told.with_columns(pl.col("mean", "spread").round_sig_figs(8)).write_csv(FILE)
    print(f"{told.height} figures written to {FILE}")


if __name__ == "__main__":
    main()
