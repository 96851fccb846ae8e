"""Models and comparisons: outcome, level, predictors known before the job."""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

from pipeline.metrics.declare import fingerprint
from pipeline.models.columns import COLUMNS

PER_WELL = ("well", "well_design")
"""Levels with one row per well: measured wells, and all wells with a design on record."""
BESIDE = ("quarter", "quarters", "cut_short", "screenout", "closure_source")
"""Columns that a fit reads, where the table has them, beside those that its specification names."""


@dataclass(frozen=True)
class ModelSpec:
    """A model.

    Attributes
    ----------
    name, title : str
    outcome, level : str
    predictors : tuple of str
        All known before the job.
    physics : str, optional
        Column with the outcome from plain physics, without fitting.
    chance : bool
        Whether the outcome is 1 or 0.
    """

    name: str
    title: str
    outcome: str
    level: str
    predictors: tuple[str, ...]
    physics: str | None = None
    chance: bool = False

    @property
    def per_well(self) -> bool:
        """Whether a row is a well."""
        return self.level in PER_WELL

    @property
    def columns(self) -> tuple[str, ...]:
        """The columns that it names."""
        return (self.outcome, *self.predictors, *([] if self.physics is None else [self.physics]))


@dataclass(frozen=True)
class CompareSpec:
    """A comparison: factor, outcome, and covariates to adjust for."""

    name: str
    outcome: str
    level: str
    factor: str
    adjusted_for: tuple[str, ...]

    @property
    def per_well(self) -> bool:
        """Whether a row is a well."""
        return self.level in PER_WELL

    @property
    def columns(self) -> tuple[str, ...]:
        """The columns that it names."""
        return (self.outcome, self.factor, *self.adjusted_for)


_FRICTION = ("designed_pipe_friction_psi", "designed_perf_friction_psi")

_WHOLE_WELL = ("formation", "lateral_ft", "stage_spacing_ft", "proppant_lbm_ft", "fluid_bbl_ft")

MODELS = (
    ModelSpec(
        "treating_pressure", "treating pressure at design rate", "pressure_at_design_rate_psi", "stage",
        ("frac_crew", *_FRICTION, "tvd_ft", "closure_gradient_psi_ft", "stage", "quarters"), "physics_pressure_psi",
    ),
    ModelSpec(
        "breakdown_pressure", "breakdown pressure", "breakdown_pressure_psi", "stage",
        ("formation", "tvd_ft", "closure_gradient_psi_ft", "stage", "quarters"),
    ),
    ModelSpec(
        "isip_gradient", "ISIP gradient", "isip_gradient_psi_ft", "stage",
        ("formation", "closure_gradient_psi_ft", "position_fraction", "pad_order", "quarters"),
    ),
    ModelSpec(
        "screen_out", "screen-out", "screenout", "stage", ("design", "position_fraction", "quarters"), chance=True,
    ),
    ModelSpec(
        "pump_time", "pump time of a stage", "pump_time_min", "stage",
        ("frac_crew", "design", "bottom_perf_ft", "pad_order", "quarters"),
    ),
    ModelSpec(
        "fleet_gap", "gap between a fleet's stages", "fleet_gap_min", "stage",
        ("frac_crew", "operation_mode", "bottom_perf_ft", "pad_order", "quarters"),
    ),
    ModelSpec(
        "fleet_time", "fleet time of a stage, with the gap before it", "fleet_min", "stage",
        ("frac_crew", "operation_mode", "design", "bottom_perf_ft", "pad_order", "quarters"),
    ),
    ModelSpec(
        "proppant_placed", "proppant placed over designed", "placed_share", "stage",
        ("frac_crew", "design", "position_fraction", "quarters"),
    ),
    ModelSpec(
        "mill_minutes", "mill minutes per plug", "mill_min", "plug",
        ("coil_crew", "set_depth_ft", "mill_order", "plugs_since_wiper", "depth_debris", "quarters"),
    ),
    ModelSpec(
        "wiper_trips", "wiper trips of a well", "wiper_trips", "well", ("coil_crew", "stages_measured", "quarters"),
    ),
    ModelSpec("toe_hours", "coil hours of toe preparation", "toe_hours", "well", ("toe_method", "quarters")),
    ModelSpec(
        "hours_per_stage", "fleet hours per stage", "hours_per_stage", "well", ("operation_mode", "design", "quarters"),
    ),
    ModelSpec("cost_per_stage", "cost per stage", "cost_per_stage", "well", ("design", "stages_measured", "quarters")),
    ModelSpec(
        "oil_90_days", "oil per lateral foot at 90 days", "oil_bbl_ft_90d", "well",
        ("design", "formation", "nearest_spacing_ft"),
    ),
    ModelSpec(
        "oil_180_days", "oil per lateral foot at 180 days", "oil_bbl_ft_180d", "well",
        ("design", "formation", "nearest_spacing_ft"),
    ),
    ModelSpec(
        "oil_180_days_recorded", "oil per lateral foot at 180 days as recorded", "oil_bbl_ft_180d_recorded",
        "well_design", _WHOLE_WELL,
    ),
    ModelSpec(
        "oil_360_days_recorded", "oil per lateral foot at 360 days as recorded", "oil_bbl_ft_360d_recorded",
        "well_design", _WHOLE_WELL,
    ),
)  # fmt: skip

COMPARISONS = (
    CompareSpec(
        "frac_crews_pump_time", "completed_pump_time_min", "stage", "frac_crew",
        ("design", "bottom_perf_ft", "pad_order", "quarters"),
    ),
    CompareSpec(
        "frac_crews_swap", "swap_min", "stage", "frac_crew",
        ("operation_mode", "bottom_perf_ft", "pad_order", "quarters"),
    ),
    CompareSpec(
        "coil_crews_mill_time", "mill_min", "plug", "coil_crew",
        ("set_depth_ft", "mill_order", "quarters"),  # the wiper trips are the crew's own choice
    ),
    CompareSpec(
        "designs_pressure", "pressure_at_design_rate_psi", "stage", "design",
        ("frac_crew", "tvd_ft", "closure_gradient_psi_ft", "stage", "quarters"),
    ),
    CompareSpec("designs_hours", "hours_per_stage", "well", "design", ("operation_mode", "quarters")),
)  # fmt: skip


def columns_of(frame: pl.DataFrame, spec: ModelSpec | CompareSpec) -> pl.DataFrame:
    """Return the columns of a modelling table that a model or comparison reads."""
    key = [] if spec.per_well else [spec.level]
    beside = [name for name in (COLUMNS[spec.outcome].error, *BESIDE) if name in frame.columns]
    return frame.select(list(dict.fromkeys(["well_id", "pad", *key, *spec.columns, *beside])))


def rows_hash(frame: pl.DataFrame, spec: ModelSpec | CompareSpec, version: int) -> str:
    """Return a hash of the rows, the spec and the method that determine fitted rows."""
    return fingerprint([version, spec, columns_of(frame, spec).hash_rows(seed=1).sort().to_list()])
