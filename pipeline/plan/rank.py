"""Rank designs, if the data support a ranking."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl

from pipeline.models.clustered import fit_by_pad, holm
from pipeline.models.columns import COLUMNS, Column
from pipeline.models.design_matrix import design_matrix
from pipeline.models.linear import aliased_terms
from pipeline.models.specs import MODELS, ModelSpec
from pipeline.models.training import prepare
from pipeline.plan.evaluate import Line

LESS_IS_BETTER = {
    "treating_pressure": True, "pressure_margin": False, "mean_pressure_margin": False, "pad_hours": True,
    "mill_out_hours": True, "cost_per_stage": True, "oil_180_days": False, "screen_out": True,
}  # fmt: skip
RESTS_ON = {
    "treating_pressure": "treating_pressure", "pressure_margin": "treating_pressure",
    "mean_pressure_margin": "treating_pressure", "pad_hours": "fleet_time", "mill_out_hours": "mill_minutes",
    "cost_per_stage": "cost_per_stage", "oil_180_days": "oil_180_days", "screen_out": "screen_out",
}  # fmt: skip
"""Model whose contrast decides a ranking; a sum has a model of its own, because its parts are not independent."""
MORE_IS_BETTER = ("oil_180_days",)
"""Quantities whose model has a better outcome where it is higher."""
CLEAR = 0.05
"""A difference with a smaller p value, adjusted for the number of candidates, is clear."""


@dataclass(frozen=True)
class Ranking:
    """A ranking, or the reason why there is none.

    Attributes
    ----------
    order : list of str
        Best first; empty if nothing is ranked.
    verdict : str
    """

    order: list[str]
    verdict: str


def rank(
    quantity: str, lines: list[Line], jobs: Mapping[str, Mapping[str, Any]], frames: Mapping[str, pl.DataFrame]
) -> Ranking:
    """Rank designs by a quantity.

    Parameters
    ----------
    quantity : str
        Of `LESS_IS_BETTER`.
    lines : list of Line
        All figures of all designs.
    jobs : mapping of str to mapping
        Predictors of each design.
    frames : mapping of str to DataFrame
        Modelling tables by level.

    Returns
    -------
    Ranking
        Only if every design is inside the data, the model is better than the mean, and the first design is better than
        each other one beyond chance: p below 0.05 after Holm, clustered by pad, in the one model that decides.
    """
    named = quantity.replace("_", " ")
    mine = {line.design: line for line in lines if line.quantity == quantity}
    without = {name: line.note for name, line in mine.items() if line.value is None}
    if without:
        words = "; ".join(f"{name}: {note}" for name, note in without.items())
        return Ranking([], f"Not ranked by {named}: {words}")
    if len(mine) < 2:
        return Ranking([], "Only one design: nothing to rank")
    order = sorted(mine, key=lambda name: (mine[name].value or 0.0) * (1.0 if LESS_IS_BETTER[quantity] else -1.0))
    (spec,) = (spec for spec in MODELS if spec.name == RESTS_ON[quantity])
    if any(line.as_mean for line in mine.values()):
        return Ranking([], f"Not ranked by {named}: the model is no better than the mean")
    first, others = order[0], order[1:]
    times = {name: _times(quantity, jobs[name]) for name in order}
    found = [
        difference(frames[spec.level], spec, jobs[first], jobs[other], (times[first], times[other])) for other in others
    ]
    adjusted = holm(np.array([np.nan if one.p is None else one.p for one in found]))
    told = "; ".join(
        one.words if len(others) == 1 else f"against {other}, {one.words}"
        for other, one in zip(others, found, strict=True)
    )
    better = 1.0 if quantity in MORE_IS_BETTER else -1.0
    if not all(p < CLEAR and one.gap * better > 0.0 for p, one in zip(adjusted, found, strict=True)):
        return Ranking([], f"No clear difference between {first} and {' or '.join(others)} by {named}: {told}")
    return Ranking(order, f"{first} comes first by {named}: {told}")


@dataclass(frozen=True)
class Difference:
    """Difference between two jobs: words, its p value (None if it is not separable), and its value."""

    words: str
    p: float | None = None
    gap: float = 0.0


def _times(quantity: str, job: Mapping[str, Any]) -> float:
    """How often a well has what the model of a sum describes: its stages, or its plugs."""
    stages = float(job["stages_measured"])
    return {"pad_hours": stages, "mill_out_hours": max(stages - 1.0, 0.0)}.get(quantity, 1.0)


def difference(
    frame: pl.DataFrame,
    spec: ModelSpec,
    one: Mapping[str, Any],
    other: Mapping[str, Any],
    times: tuple[float, float] = (1.0, 1.0),
) -> Difference:
    """Return the difference between two jobs, each taken a number of times, with limits clustered by pad."""
    table = prepare(frame, spec)
    design, names, _ = design_matrix(table.used, table.columns)
    lost = aliased_terms(design, names)
    keep = [i for i, name in enumerate(names) if name not in lost]
    centre = {column.name: float(table.used[column.name].mean()) for column in table.columns if column.role == "number"}  # type: ignore[arg-type]
    rows = [_row(job, names, table.columns, centre) for job in (one, other)]
    contrast = times[0] * rows[0] - times[1] * rows[1]
    if any(contrast[i] != 0.0 for i, name in enumerate(names) if name in lost):
        return Difference(f"{spec.title}: aliased ({', '.join(lost)}), not separable")
    root = np.sqrt(table.weights)
    fitted = fit_by_pad(design[:, keep] * root[:, None], table.outcome * root, list(table.pads))
    if fitted.covariance is None:
        return Difference(f"{spec.title}: too few pads to determine")
    if fitted.rests_on_one_pad(contrast[keep]):
        return Difference(f"{spec.title}: one pad alone determines the difference, not separable")
    found = fitted.contrast(contrast[keep])
    gap, reach = found.estimate, found.reach()
    unit = COLUMNS[spec.outcome].unit
    amount, low, high = (f"{{{value:+.6f} {unit}}}" for value in (gap, gap - reach, gap + reach))
    over = "" if times == (1.0, 1.0) else ", summed over a well,"
    return Difference(f"{spec.title}{over} differs by {amount} ({low} to {high})", found.p, gap)


def _row(job: Mapping[str, Any], names: list[str], columns: list[Column], centre: Mapping[str, float]) -> np.ndarray:
    """Return a job as a row of the design matrix."""
    steps = {column.name: column.step for column in columns}
    values = []
    for name in names:
        column, mark, level = name.partition(": ")
        if name == "constant":
            values.append(1.0)
        elif mark:
            values.append(1.0 if job[column] == level else 0.0)
        else:
            values.append((float(job[column]) - centre[column]) / steps[column])
    return np.asarray(values)
