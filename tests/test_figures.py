"""The sample campaign gives the figures on record; where one is meant to change: `python -m tests.figures`."""

from __future__ import annotations

import polars as pl

from tests.conftest import Fitted
from tests.figures import FILE, MEASURED, NEAR, PARTS, figures, of_table


def check(now: pl.DataFrame, before: pl.DataFrame) -> None:
    joined = before.join(now, on=["part", "figure"], how="full", suffix="_now", coalesce=True)
    apart = [
        (pl.col(f"{name}_now") - pl.col(name)).abs() > NEAR * pl.col("mean").abs().clip(pl.col("spread").fill_null(0.0))
        for name in ("mean", "spread")
    ]
    wrong = joined.filter(pl.any_horizontal(*apart, pl.col("values").ne_missing(pl.col("values_now"))))
    assert wrong.is_empty(), "\n".join(str(row) for row in wrong.head(12).iter_rows())


def on_record() -> pl.DataFrame:
    return pl.read_csv(FILE, schema_overrides={"mean": pl.Float64, "spread": pl.Float64, "values": pl.UInt32})


def test_the_campaigns_figures_are_those_on_record(fitted: Fitted) -> None:
    check(figures(fitted.lake), on_record())


def test_each_part_has_figures(fitted: Fitted) -> None:
    """A table that lost its rows, or a pick that is never made any more, is seen as such."""
    recorded = set(on_record()["part"].str.split(" ").list.first())
    assert {*MEASURED, *PARTS} <= recorded
    assert of_table(fitted.lake, "picks", PARTS["picks"])["part"].n_unique() > 40
