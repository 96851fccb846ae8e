"""Rank designs, if the data support a ranking."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl

from pipeline.models.clustered import fit_by_pad
from pipeline.models.columns import COLUMNS, Column
from pipeline.models.design_matrix import design_matrix
from pipeline.models.grouped_cv import prepare
from pipeline.models.linear import aliased_terms
from pipeline.models.specs import MODELS, ModelSpec
from pipeline.plan.evaluate import Line

LESS_IS_BETTER = {
    "treating_pressure": True, "pressure_margin": False, "mean_pressure_margin": False, "pad_hours": True,
    "mill_out_hours": True, "cost_per_stage": True, "oil_180_days": False, "screen_out": True,
}  # fmt: skip
RESTS_ON = {
    "treating_pressure": ("treating_pressure",), "pressure_margin": ("treating_pressure",),
    "mean_pressure_margin": ("treating_pressure",),
    "pad_hours": ("pump_time", "fleet_gap"), "mill_out_hours": ("mill_minutes",),
    "cost_per_stage": ("cost_per_stage",), "oil_180_days": ("oil_180_days",), "screen_out": ("screen_out",),
}  # fmt: skip
"""Models that a ranking is based on."""


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
        Only if every design is inside the data, its own model is better than the mean, and the first two differ
        beyond chance: the 95 % interval, clustered by pad, of their difference excludes zero in a model that the
        quantity is based on.
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
    specs = [spec for spec in MODELS if spec.name in RESTS_ON[quantity]]
    if any(line.as_mean for line in mine.values()):
        return Ranking([], f"Not ranked by {named}: the model is no better than the mean")
    differences = [difference(frames[spec.level], spec, jobs[order[0]], jobs[order[1]]) for spec in specs]
    clear = [text for text, beyond in differences if beyond]
    told = "; ".join(text for text, _ in differences)
    if not clear:
        return Ranking([], f"No clear difference between {order[0]} and {order[1]} by {named}: {told}")
    return Ranking(order, f"{order[0]} comes first by {named}: {told}")


def difference(
    frame: pl.DataFrame, spec: ModelSpec, one: Mapping[str, Any], other: Mapping[str, Any]
) -> tuple[str, bool]:
    """Return the difference between two jobs as text, and whether its 95 % interval by pads excludes zero."""
    table = prepare(frame, spec)
    design, names, _ = design_matrix(table.used, table.columns)
    lost = aliased_terms(design, names)
    keep = [i for i, name in enumerate(names) if name not in lost]
    contrast = _row(one, names, table.columns) - _row(other, names, table.columns)
    if any(contrast[i] != 0.0 for i, name in enumerate(names) if name in lost):
        return f"{spec.title}: aliased ({', '.join(lost)}), not separable", False
    fitted = fit_by_pad(design[:, keep], table.outcome, list(table.pads))
    if fitted.covariance is None:
        return f"{spec.title}: too few pads to determine", False
    if fitted.rests_on_one_pad(contrast[keep]):
        return f"{spec.title}: one pad alone determines the difference, not separable", False
    found = fitted.contrast(contrast[keep])
    gap, reach = found.estimate, found.reach()
    unit = COLUMNS[spec.outcome].unit
    amount, low, high = (f"{{{value:+.6f} {unit}}}" for value in (gap, gap - reach, gap + reach))
    words = f"{spec.title} differs by {amount} ({low} to {high})"
    return words, abs(gap) > reach


def _row(job: Mapping[str, Any], names: list[str], columns: list[Column]) -> np.ndarray:
    steps = {column.name: column.step for column in columns}
    values = []
    for name in names:
        column, mark, level = name.partition(": ")
        if name == "constant":
            values.append(1.0)
        elif mark:
            values.append(1.0 if job[column] == level else 0.0)
        else:
            values.append(float(job[column]) / steps[column])
    return np.asarray(values)
