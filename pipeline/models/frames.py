"""Modelling tables: one frame a level, each column declared with its role and when it is known."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import polars as pl

from pipeline.lake import Lake
from pipeline.metrics.measure import PLUG_METRICS, STAGE_METRICS
from pipeline.physics.friction import perforation_friction_psi, pipe_friction_psi
from pipeline.schemas import COIL_RUNS, OFFSETS, PLUGS, STAGES, STRINGS, WELLS

DRAG_REDUCTION = 0.65
"""Share of pipe friction that a friction reducer takes away, assumed alike for all designs (common practice). [1]"""
DISCHARGE = 0.75
"""Discharge coefficient assumed for all designs (common practice). [1]"""


@dataclass(frozen=True)
class Column:
    """A column of a modelling table.

    Attributes
    ----------
    name : str
    role : {"number", "class"}
        How a model uses it.
    unit : str
    known : {"before", "after"}
        Whether it is known before the job. What is known only after may not predict.
    step : float
        Change for which an effect is quoted, in ``unit``.
    """

    name: str
    role: Literal["number", "class"]
    unit: str = ""
    known: Literal["before", "after"] = "before"
    step: float = 1.0


COLUMNS: dict[str, Column] = {
    column.name: column
    for column in (
        Column("frac_crew", "class"),
        Column("coil_crew", "class"),
        Column("design", "class"),
        Column("operation_mode", "class"),
        Column("bottom_perf_ft", "number", "ft", step=1000.0),
        Column("set_depth_ft", "number", "ft", step=1000.0),
        Column("tvd_ft", "number", "ft", step=100.0),
        Column("stage", "number", step=1.0),
        Column("mill_order", "number", step=1.0),
        Column("quarters", "number", "quarter", step=1.0),
        Column("plugs_since_wiper", "number", step=1.0),
        Column("nearest_spacing_ft", "number", "ft", step=100.0),
        Column("depletion_months", "number", step=12.0),
        Column("designed_proppant_lbm", "number", "lbm", step=10_000.0),
        Column("designed_pipe_friction_psi", "number", "psi", step=100.0),
        Column("designed_perf_friction_psi", "number", "psi", step=100.0),
        Column("at_rate_pressure_psi", "number", "psi", "after"),
        Column("at_rate_rate_bpm", "number", "bpm", "after"),
        Column("pump_time_min", "number", "min", "after"),
        Column("mill_min", "number", "min", "after"),
    )
}


class KnownOnlyAfter(ValueError):
    """A predictor that is known only after the job."""


def predictors(names: list[str]) -> list[Column]:
    """Return declared predictors.

    Raises
    ------
    KnownOnlyAfter
        If one of them is known only after the job.
    """
    chosen = [COLUMNS[name] for name in names]
    late = [column.name for column in chosen if column.known == "after"]
    if late:
        raise KnownOnlyAfter(f"known only after the job, so no predictor: {', '.join(late)}")
    return chosen


def _wells(lake: Lake) -> pl.LazyFrame:
    """Each well's pad, and what its neighbours are to it: the nearest spacing, the longest depletion."""
    neighbours = lake.scan(OFFSETS).group_by("well_id").agg(
        nearest_spacing_ft=pl.col("spacing_ft").min(), depletion_months=pl.col("depletion_months").max()
    )  # fmt: skip
    return lake.scan(WELLS).select("well_id", "pad").join(neighbours, on="well_id", how="left")


def stage_frame(lake: Lake) -> pl.DataFrame:
    """Return one row a measured stage: outcomes, design, rock and depth covariates, crew, quarter, pad."""
    wells = _wells(lake)
    design = lake.scan(STAGES).drop("source_id", "source_row")
    casing = lake.scan(STRINGS).filter(pl.col("string") == "casing").group_by("well_id").agg(
        pl.col("inside_diameter_in").last()
    )  # fmt: skip
    frame = (
        lake.scan(STAGE_METRICS)
        .join(design, on=["well_id", "stage"], how="left")
        .join(wells, on="well_id", how="left")
        .join(casing, on="well_id", how="left")
        .sort("well_id", "stage")
        .collect()
    )
    return _with_quarters(_with_friction(frame))


def _with_friction(frame: pl.DataFrame) -> pl.DataFrame:
    """Add what physics says of a design: friction in pipe and perforations at the designed rate."""
    pipe: list[float | None] = []
    perf: list[float | None] = []
    names = (
        "designed_rate_bpm",
        "fluid_density_ppg",
        "bottom_perf_ft",
        "inside_diameter_in",
        "holes_shot",
        "hole_diameter_in",
    )
    for rate, density, depth, inside, holes, hole in frame.select(names).iter_rows():
        known = None not in (rate, density, depth, inside)
        pipe.append(
            float(pipe_friction_psi(rate, density, depth, inside, drag_reduction=DRAG_REDUCTION)) if known else None
        )
        shot = None not in (rate, density, holes, hole) and holes > 0
        perf.append(float(perforation_friction_psi(rate, density, holes, hole, DISCHARGE)) if shot else None)
    return frame.with_columns(
        pl.Series("designed_pipe_friction_psi", pipe, dtype=pl.Float64),
        pl.Series("designed_perf_friction_psi", perf, dtype=pl.Float64),
    )


def plug_frame(lake: Lake) -> pl.DataFrame:
    """Return one row a measured plug: mill time, depth, order in the run, coil crew, quarter, pad."""
    wells = _wells(lake)
    runs = lake.scan(COIL_RUNS).select("well_id", "run", "coil_crew")
    plugs = lake.scan(PLUGS).select("well_id", "plug", "set_depth_ft", "material")
    frame = (
        lake.scan(PLUG_METRICS)
        .join(plugs, on=["well_id", "plug"], how="left")
        .join(runs, on=["well_id", "run"], how="left")
        .join(wells, on="well_id", how="left")
        .sort("well_id", "set_depth_ft")
        .with_columns(mill_order=pl.int_range(1, pl.len() + 1).over("well_id", "run").cast(pl.Float64))
        .collect()
    )
    return _with_quarters(frame)


def _with_quarters(frame: pl.DataFrame) -> pl.DataFrame:
    """Add calendar time as quarters since the first of the frame."""
    number = pl.col("quarter").str.slice(0, 4).cast(pl.Int32) * 4 + pl.col("quarter").str.slice(5, 1).cast(pl.Int32)
    return frame.with_columns(quarters=(number - number.min()).cast(pl.Float64))
