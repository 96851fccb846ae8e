"""Modelling tables: the marts of stages, plugs and wells, with physics estimates and numeric time."""

from __future__ import annotations

from typing import Any

import duckdb
import numpy as np
import polars as pl

from pipeline.lake.marts import tables_below
from pipeline.physics.fluids import hydrostatic_psi
from pipeline.physics.friction import perforation_friction_psi, pipe_friction_psi

DRAG_REDUCTION = 0.65
"""Share of pipe friction removed by a friction reducer, assumed equal for all designs (common practice). [1]"""
NET_PSI = 500.0
"""Net pressure added to closure in the plain physics estimate (common practice). [psi]"""
PERF_CD = 0.75
"""Discharge coefficient of perforations assumed for all designs (common practice). [1]"""
_MARTS = {
    "stage": ("compared_stage", "stage"), "plug": ("plug", "set_depth_ft"), "coil_run": ("coil_run", "run"),
    "well": ("well", "well_id"), "well_design": ("well_design", "well_id"),
}  # fmt: skip
"""The mart of each level, and the sort order of its rows within a well."""


def modelled_tables() -> list[str]:
    """Return the names of the tables below the modelling tables."""
    return sorted(tables_below(mart for mart, _ in _MARTS.values()))


def modelling_tables(connection: duckdb.DuckDBPyConnection) -> dict[str, pl.DataFrame]:
    """Return the modelling tables by level: measured stages, plugs, coil runs, measured wells, wells with a design.

    Parameters
    ----------
    connection : duckdb connection
        With the marts of `modelled_tables`.
    """
    frames = {
        level: connection.sql(f'SELECT * FROM "{mart}" ORDER BY well_id, "{order}"').pl()
        for level, (mart, order) in _MARTS.items()
    }
    frames["stage"] = _with_friction(frames["stage"].with_columns(pl.col("screenout").cast(pl.Float64)))
    frames["well"] = frames["well"].filter(pl.col("stages_measured") > 0)
    return {level: _with_quarters(frame) for level, frame in frames.items()}


def plain_pressure_psi(closure_gradient_psi_ft: Any, density_ppg: Any, tvd_ft: Any, friction_psi: Any) -> Any:
    """Surface pressure at rate by plain physics: closure plus net pressure, minus the column, plus friction. [psi]

    Parameters
    ----------
    closure_gradient_psi_ft, density_ppg, tvd_ft, friction_psi : float or polars.Expr
        [psi/ft, lbm/gal, ft, psi]
    """
    return closure_gradient_psi_ft * tvd_ft + NET_PSI - hydrostatic_psi(density_ppg, tvd_ft) + friction_psi


def _with_friction(frame: pl.DataFrame) -> pl.DataFrame:
    """Add physics estimates for a design: friction in pipe and perforations at the designed rate."""
    names = (
        "designed_rate_bpm", "fluid_density_ppg", "bottom_perf_ft", "casing_inside_diameter_in", "holes_shot",
        "hole_diameter_in",
    )  # fmt: skip
    design = {name: frame[name].cast(pl.Float64).to_numpy() for name in names}
    rate, density, depth, inside, holes, hole = design.values()
    pipe, perf = np.full((2, frame.height), np.nan)
    known = ~np.isnan(rate + density + depth + inside)
    pipe[known] = pipe_friction_psi(
        rate[known], density[known], depth[known], inside[known], drag_reduction=DRAG_REDUCTION
    )
    shot = ~np.isnan(rate + density + hole) & (holes > 0.0)
    perf[shot] = perforation_friction_psi(rate[shot], density[shot], holes[shot], hole[shot], PERF_CD)
    with_friction = frame.with_columns(
        pl.Series("designed_pipe_friction_psi", pipe, dtype=pl.Float64).fill_nan(None),
        pl.Series("designed_perf_friction_psi", perf, dtype=pl.Float64).fill_nan(None),
    )
    friction = pl.col("designed_pipe_friction_psi") + pl.col("designed_perf_friction_psi")
    plain = plain_pressure_psi(
        pl.col("closure_gradient_psi_ft"), pl.col("fluid_density_ppg"), pl.col("tvd_ft"), friction
    )
    return with_friction.with_columns(physics_pressure_psi=plain)


def _with_quarters(frame: pl.DataFrame) -> pl.DataFrame:
    """Add calendar time as quarters since the first in the frame."""
    number = pl.col("quarter").str.slice(0, 4).cast(pl.Int32) * 4 + pl.col("quarter").str.slice(5, 1).cast(pl.Int32)
    return frame.with_columns(quarters=(number - number.min()).cast(pl.Float64))
