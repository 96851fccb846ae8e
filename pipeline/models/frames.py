"""Modelling tables: one frame a level, from measured rows and what was known before."""

from __future__ import annotations

from typing import Any

import polars as pl

from pipeline.lake import Lake
from pipeline.metrics.measure import COIL_RUN_METRICS, PLUG_METRICS, STAGE_METRICS, TOE_PREP_METRICS
from pipeline.physics.fluids import hydrostatic_psi
from pipeline.physics.friction import perforation_friction_psi, pipe_friction_psi
from pipeline.schemas import COIL_RUNS, COST, OFFSETS, PLUGS, PRODUCTION, STAGES, STRINGS, WELLS

DRAG_REDUCTION = 0.65
"""Share of pipe friction that a friction reducer takes away, assumed alike for all designs (common practice). [1]"""
NET_PSI = 500.0
"""Net pressure that the plain physics adds to closure (common practice). [psi]"""
DISCHARGE = 0.75
"""Discharge coefficient assumed for all designs (common practice). [1]"""


def _wells(lake: Lake) -> pl.LazyFrame:
    """Each well's pad, and what its neighbours are to it: the nearest spacing, the longest depletion."""
    neighbours = lake.scan(OFFSETS).group_by("well_id").agg(
        nearest_spacing_ft=pl.col("spacing_ft").min(), depletion_months=pl.col("depletion_months").max()
    )  # fmt: skip
    lateral = pl.col("toe_md_ft") - pl.col("heel_md_ft")
    wells = lake.scan(WELLS).select("well_id", "pad", "formation", "heel_md_ft", "toe_md_ft", lateral_ft=lateral)
    return wells.join(neighbours, on="well_id", how="left")


def modelling_tables(lake: Lake) -> dict[str, pl.DataFrame]:
    """Return the modelling tables by level: stage, plug, well."""
    stages = stage_frame(lake)
    return {"stage": stages, "plug": plug_frame(lake), "well": well_frame(lake, stages)}


def plain_pressure_psi(closure_gradient_psi_ft: Any, density_ppg: Any, tvd_ft: Any, friction_psi: Any) -> Any:
    """Surface pressure at rate by plain physics: closure and net pressure, less the column, plus friction. [psi]

    Parameters
    ----------
    closure_gradient_psi_ft, density_ppg, tvd_ft, friction_psi : float or polars.Expr
        [psi/ft, lbm/gal, ft, psi]
    """
    return closure_gradient_psi_ft * tvd_ft + NET_PSI - hydrostatic_psi(density_ppg, tvd_ft) + friction_psi


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
    return _with_quarters(_with_friction(_with_order(frame)))


def _with_order(frame: pl.DataFrame) -> pl.DataFrame:
    """Add place along the lateral, order on the pad, and minutes since the crew's stage before on this pad."""
    before = pl.col("end_time").shift(1).over("pad", order_by="start_time")
    same = pl.col("frac_crew").shift(1).over("pad", order_by="start_time") == pl.col("frac_crew")
    waited = (pl.col("start_time") - before).dt.total_microseconds() / 6e7
    return frame.with_columns(
        position_share=(pl.col("toe_md_ft") - pl.col("bottom_perf_ft")) / pl.col("lateral_ft"),
        pad_order=(pl.col("start_time").rank("ordinal").over("pad") - 1).cast(pl.Float64),
        transition_min=pl.when(same & (waited >= 0.0)).then(waited),
        screenout=pl.col("screenout").cast(pl.Float64),
    )


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
    with_friction = frame.with_columns(
        pl.Series("designed_pipe_friction_psi", pipe, dtype=pl.Float64),
        pl.Series("designed_perf_friction_psi", perf, dtype=pl.Float64),
    )
    friction = pl.col("designed_pipe_friction_psi") + pl.col("designed_perf_friction_psi")
    plain = plain_pressure_psi(
        pl.col("closure_gradient_psi_ft"), pl.col("fluid_density_ppg"), pl.col("tvd_ft"), friction
    )
    return with_friction.with_columns(physics_pressure_psi=plain)


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
        .with_columns(
            mill_order=pl.int_range(1, pl.len() + 1).over("well_id", "run").cast(pl.Float64),
            depth_debris=pl.col("set_depth_ft") / 1000.0 * pl.col("plugs_since_wiper"),
        )
        .collect()
    )
    return _with_quarters(frame)


def well_frame(lake: Lake, stages: pl.DataFrame) -> pl.DataFrame:
    """Return one row a well with stages: wiper trips, toe hours, hours and cost a stage, early production a foot.

    Parameters
    ----------
    lake : Lake
    stages : polars.DataFrame
        What `stage_frame` returns.
    """
    span = (pl.col("end_time").max() - pl.col("start_time").min()).dt.total_microseconds() / 3.6e9
    by_well = stages.group_by("well_id", maintain_order=True).agg(
        pl.col("pad", "formation", "lateral_ft", "nearest_spacing_ft", "depletion_months").first(),
        pl.col("design", "frac_crew", "operation_mode").mode().sort().first(),
        pl.col("stage_length_ft", "tvd_ft").mean(),
        pl.col("quarter").min(),
        proppant_lbm_ft=pl.col("designed_proppant_lbm").sum() / pl.col("lateral_ft").first(),
        stage_count=pl.len().cast(pl.Float64),
        hours_per_stage=pl.when(pl.len() > 1).then(span / pl.len()),
    )
    mill = lake.scan(COIL_RUNS).filter(pl.col("kind").fill_null("mill-out") == "mill-out")
    trips = (
        lake.scan(COIL_RUN_METRICS).join(mill, on=["well_id", "run"])
        .group_by("well_id").agg(pl.col("wiper_trips").sum().cast(pl.Float64), pl.col("coil_crew").first())
    )  # fmt: skip
    toe = lake.scan(TOE_PREP_METRICS).select(
        "well_id",
        toe_hours="hours",
        toe_method=pl.when("one_run").then(pl.lit("one run")).otherwise(pl.lit("two runs")),
    )
    frame = by_well.lazy().join(trips, on="well_id", how="left").join(toe, on="well_id", how="left")
    frame = frame.join(_spent(lake), on="well_id", how="left").join(early_oil(lake), on="well_id", how="left")
    made = (
        frame.with_columns(
            cost_per_stage=pl.col("spent") / pl.col("stage_count") / 1000.0,
            oil_bbl_ft_90d=pl.col("oil_90d") / pl.col("lateral_ft"),
            oil_bbl_ft_180d=pl.col("oil_180d") / pl.col("lateral_ft"),
        )
        .sort("well_id")
        .collect()
    )
    return _with_quarters(made)


def _spent(lake: Lake) -> pl.LazyFrame:
    """What each well cost: invoiced lines, and accrued ones where a category has no invoice; one currency only."""
    lines = lake.scan(COST).filter(pl.col("state").is_in(["invoiced", "accrued"]) & (pl.col("currency") == "USD"))
    invoiced = (pl.col("state") == "invoiced").any().over("well_id", "category")
    kept = lines.filter((pl.col("state") == "invoiced") | ~invoiced)
    return kept.group_by("well_id").agg(spent=pl.col("amount").sum())


COMPARABLE_DAYS, CHOKE_SHARE, PRESSURE_SHARE = 15.0, 0.25, 0.5
"""A month with fewer days on is no plain month; chokes and flowing pressures further from the lake's median by these
shares are another way of producing. [d], [1], [1]"""


def early_oil(lake: Lake) -> pl.LazyFrame:
    """Return oil of the first 90 and 180 days on, and why a well's production is not comparable with the others'."""
    months = lake.scan(PRODUCTION).sort("well_id", "month").with_columns(
        age=pl.int_range(pl.len()).over("well_id"),
        days=pl.col("days_on").cum_sum().over("well_id"),
        oil=pl.col("oil_bbl").cum_sum().over("well_id"),
    )  # fmt: skip
    early = months.filter(pl.col("age") < 3)
    usual = early.select(choke=pl.col("choke_64ths").median(), pressure=pl.col("flowing_pressure_psi").median())
    first = early.group_by("well_id").agg(
        pl.col("choke_64ths").median(), pl.col("flowing_pressure_psi").median(), fewest=pl.col("days_on").min()
    )
    judged = first.join(usual, how="cross").with_columns(
        production_excluded=pl.concat_str(
            pl.when(pl.col("fewest") < COMPARABLE_DAYS).then(pl.lit("a month with few days on")),
            pl.when(pl.col("choke_64ths").is_null() | pl.col("flowing_pressure_psi").is_null()).then(
                pl.lit("choke or flowing pressure not recorded")
            ),
            pl.when((pl.col("choke_64ths") / pl.col("choke") - 1.0).abs() > CHOKE_SHARE).then(pl.lit("another choke")),
            pl.when((pl.col("flowing_pressure_psi") / pl.col("pressure") - 1.0).abs() > PRESSURE_SHARE).then(
                pl.lit("another flowing pressure")
            ),
            separator="; ",
            ignore_nulls=True,
        ).replace("", None)
    )
    at = [months.group_by("well_id").agg(_until(days).alias(f"oil_{days}d")) for days in (90, 180)]
    joined = judged.select("well_id", "production_excluded").join(at[0], on="well_id").join(at[1], on="well_id")
    fair = pl.col("production_excluded").is_null()
    return joined.with_columns(pl.when(fair).then(pl.col(name)).alias(name) for name in ("oil_90d", "oil_180d"))


def _until(days: int) -> pl.Expr:
    """Oil up to a number of days on, straight between months; null where the well has not been on so long."""
    before = pl.col("days") - pl.col("days_on")
    share = (pl.lit(float(days)) - before) / pl.col("days_on")
    inside = (before < days) & (pl.col("days") >= days)
    return (pl.col("oil") - pl.col("oil_bbl") * (1.0 - share)).filter(inside).first()


def _with_quarters(frame: pl.DataFrame) -> pl.DataFrame:
    """Add calendar time as quarters since the first of the frame."""
    number = pl.col("quarter").str.slice(0, 4).cast(pl.Int32) * 4 + pl.col("quarter").str.slice(5, 1).cast(pl.Int32)
    return frame.with_columns(quarters=(number - number.min()).cast(pl.Float64))
