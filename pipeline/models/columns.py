"""Columns of the modelling tables: use in models, and whether each is known before the job.

Unit and meaning come from the marts; only columns added by `frames.py` are described here.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from pipeline.metrics.tables import columns_known
from pipeline.sql import Described


@dataclass(frozen=True)
class Column:
    """A column of a modelling table.

    Attributes
    ----------
    name : str
    role : {"number", "class"}
        How a model uses it.
    known : {"before", "after"}
        Whether it is known before the job. A column known only after the job must not be a predictor.
    step : float
        Change for which an effect is quoted, in its unit.
    error : str, optional
        Column with the standard error of a picked outcome.
    added : Described, optional
        Unit and meaning, if no mart has the column.
    """

    name: str
    role: Literal["number", "class"] = "number"
    known: Literal["before", "after"] = "before"
    step: float = 1.0
    error: str | None = None
    added: Described | None = None

    @property
    def unit(self) -> str:
        """Unit; empty if it has none."""
        return self._described().unit

    @property
    def meaning(self) -> str:
        """Meaning, in one sentence."""
        return self._described().meaning

    def _described(self) -> Described:
        known = columns_known()
        return self.added or next(
            known[mart][self.name] for mart in ("stage", "plug", "well", "well_design") if self.name in known[mart]
        )


def _friction(name: str, meaning: str) -> Column:
    return Column(name, step=100.0, added=Described(name, "psi", meaning))


_CREWS = (Column("frac_crew", "class"), Column("coil_crew", "class"))
_DESIGN = (
    Column("design", "class"),
    Column("operation_mode", "class"),
    Column("toe_method", "class"),
    Column("stage_length_ft", step=10.0),
    Column("designed_proppant_lbm", step=10_000.0),
    Column("proppant_lbm_ft", step=100.0),
    Column("fluid_bbl_ft", step=1.0),
    Column("stage_spacing_ft", step=10.0),
    _friction("designed_pipe_friction_psi", "modelled pipe friction at design rate"),
    _friction("designed_perf_friction_psi", "modelled perforation friction at design rate"),
)
_ROCK_AND_DEPTH = (
    Column("formation", "class"),
    Column("bottom_perf_ft", step=1000.0),
    Column("set_depth_ft", step=1000.0),
    Column("tvd_ft", step=100.0),
    Column("closure_gradient_psi_ft", step=0.01),
    Column("lateral_ft", step=1000.0),
    Column("nearest_spacing_ft", step=100.0),
    Column("longest_depletion_months", step=12.0),
)
_ORDER_AND_TIME = (
    Column("stage"),
    Column("position_fraction", step=0.1),
    Column("pad_order", step=10.0),
    Column("mill_order"),
    Column("plugs_since_wiper"),
    Column("depth_debris", step=10.0),
    Column("quarters", added=Described("quarters", "quarter", "calendar time: quarters since the first in the table")),
    Column("stages_measured"),
)
_ERRORS = {
    "breakdown_pressure_psi": "breakdown_error_psi", "isip_gradient_psi_ft": "isip_gradient_error_psi_ft",
    "mill_min": "mill_error_min",
}  # fmt: skip
_OUTCOMES = tuple(
    Column(name, known="after", error=_ERRORS.get(name))
    for name in (
        "at_rate_pressure_psi", "at_rate_rate_bpm", "pressure_at_design_rate_psi", "breakdown_pressure_psi",
        "isip_gradient_psi_ft", "screenout", "pump_time_min", "completed_pump_time_min", "fleet_gap_min",
        "fleet_min", "swap_min",
        "placed_share", "mill_min", "wiper_trips", "toe_hours", "hours_per_stage",
        "cost_per_stage", "oil_bbl_ft_90d", "oil_bbl_ft_180d",
        "oil_bbl_ft_180d_recorded", "oil_bbl_ft_360d_recorded",
    )
)  # fmt: skip

COLUMNS: dict[str, Column] = {
    column.name: column for column in (*_CREWS, *_DESIGN, *_ROCK_AND_DEPTH, *_ORDER_AND_TIME, *_OUTCOMES)
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
        raise KnownOnlyAfter(f"known only after the job, so not usable as predictors: {', '.join(late)}")
    return chosen
