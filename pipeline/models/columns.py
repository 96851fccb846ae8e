"""Columns of the modelling tables, each declared once: role, unit, when it is known."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


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
    meaning : str
    """

    name: str
    role: Literal["number", "class"]
    unit: str = ""
    known: Literal["before", "after"] = "before"
    step: float = 1.0
    meaning: str = ""


_CREWS = (
    Column("frac_crew", "class", meaning="fracturing crew"),
    Column("coil_crew", "class", meaning="coil crew"),
)
_DESIGN = (
    Column("design", "class", meaning="name of the design"),
    Column("operation_mode", "class", meaning="single, alternating or two at once"),
    Column("toe_method", "class", meaning="toe prepared in one run or two"),
    Column("stage_length_ft", "number", "ft", step=10.0, meaning="lateral that a stage treats"),
    Column("designed_proppant_lbm", "number", "lbm", step=10_000.0, meaning="designed proppant of a stage"),
    Column("proppant_lbm_ft", "number", "lbm/ft", step=100.0, meaning="designed proppant a foot of lateral"),
    Column("designed_pipe_friction_psi", "number", "psi", step=100.0, meaning="pipe friction at design rate"),
    Column("designed_perf_friction_psi", "number", "psi", step=100.0, meaning="perforation friction at design rate"),
)
_ROCK_AND_DEPTH = (
    Column("formation", "class", meaning="landing zone"),
    Column("bottom_perf_ft", "number", "ft", step=1000.0, meaning="measured depth of the perforations"),
    Column("set_depth_ft", "number", "ft", step=1000.0, meaning="set depth of the plug"),
    Column("tvd_ft", "number", "ft", step=100.0, meaning="true vertical depth"),
    Column("closure_gradient_psi_ft", "number", "psi/ft", step=0.01, meaning="closure stress over depth"),
    Column("lateral_ft", "number", "ft", step=1000.0, meaning="heel to toe"),
    Column("nearest_spacing_ft", "number", "ft", step=100.0, meaning="distance to the nearest neighbour"),
    Column("depletion_months", "number", step=12.0, meaning="months a neighbour produced before"),
)
_ORDER_AND_TIME = (
    Column("stage", "number", step=1.0, meaning="stage, counted from the toe"),
    Column("position_share", "number", "ratio", step=0.1, meaning="place along the lateral, 0 at the toe"),
    Column("pad_order", "number", step=10.0, meaning="how many stages the pad had seen before"),
    Column("mill_order", "number", step=1.0, meaning="order of the plug in the run"),
    Column("plugs_since_wiper", "number", step=1.0, meaning="plugs whose debris the mill carries"),
    Column("depth_debris", "number", "1000 ft", step=10.0, meaning="depth times plugs whose debris is carried"),
    Column("quarters", "number", "quarter", step=1.0, meaning="calendar time"),
    Column("stage_count", "number", step=1.0, meaning="stages of the well"),
)
_OUTCOMES = (
    Column("at_rate_pressure_psi", "number", "psi", "after", meaning="treating pressure at rate"),
    Column("at_rate_rate_bpm", "number", "bpm", "after", meaning="rate at rate"),
    Column("breakdown_pressure_psi", "number", "psi", "after", meaning="breakdown pressure"),
    Column("isip_gradient_psi_ft", "number", "psi/ft", "after", meaning="ISIP gradient"),
    Column("screenout", "number", "ratio", "after", meaning="screen-out, 1 or 0"),
    Column("pump_time_min", "number", "min", "after", meaning="pump time of a stage"),
    Column("transition_min", "number", "min", "after", meaning="last rate to the next, of one crew"),
    Column("placed_share", "number", "ratio", "after", meaning="proppant placed over designed"),
    Column("mill_min", "number", "min", "after", meaning="mill time of a plug"),
    Column("wiper_trips", "number", "", "after", meaning="wiper trips of a well"),
    Column("toe_hours", "number", "h", "after", meaning="coil hours of toe preparation"),
    Column("hours_per_stage", "number", "h", "after", meaning="first rate to last over the well's stages"),
    Column("cost_per_stage", "number", "1000 USD", "after", meaning="spent on a well over its stages"),
    Column("oil_bbl_ft_90d", "number", "bbl/ft", "after", meaning="oil of the first 90 days on, a lateral foot"),
    Column("oil_bbl_ft_180d", "number", "bbl/ft", "after", meaning="oil of the first 180 days on, a lateral foot"),
)

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
        raise KnownOnlyAfter(f"known only after the job, so no predictor: {', '.join(late)}")
    return chosen
