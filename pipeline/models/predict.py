"""Predict from stored parameters, and only inside the range of the data."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import scipy

from pipeline.errors import short
from pipeline.lake import Lake
from pipeline.models.columns import COLUMNS
from pipeline.models.specs import MODELS
from pipeline.schemas.fitted import MODEL_CARDS, MODEL_PARAMETERS
from pipeline.units import qty, without_unit

MARGIN = 0.02
"""A number can exceed the data's range by this share of the range before it counts as outside. [1]"""
CHANCES = {spec.name for spec in MODELS if spec.chance}
"""Models of an outcome that is 1 or 0."""
FEWEST_CLASS_PADS = 2
"""A class on fewer pads is not separable from the pad effect."""


@dataclass(frozen=True)
class StoredModel:
    """A model as stored in the lake: its card, and its parameters by term."""

    card: dict[str, Any]
    terms: dict[str, dict[str, Any]]


@dataclass(frozen=True)
class Prediction:
    """Prediction of a model for a future job.

    Attributes
    ----------
    value, low, high : float, optional
        In the outcome's unit, with a 90 % interval; None if the job is outside the data.
    note : str
        Basis of the interval, or the reason why there is no value.
    as_mean : bool
        Whether the model is no better than the mean.
    """

    value: float | None
    low: float | None
    high: float | None
    note: str
    as_mean: bool = False


def load_models(lake: Lake) -> dict[str, StoredModel]:
    """Return the fitted models in a lake, by name."""
    terms = lake.scan(MODEL_PARAMETERS).collect()
    return {
        card["model"]: StoredModel(
            card, {row["term"]: row for row in terms.filter(model=card["model"]).iter_rows(named=True)}
        )
        for card in lake.scan(MODEL_CARDS).collect().iter_rows(named=True)
    }


def outside(model: StoredModel, job: Mapping[str, Any]) -> list[str]:
    """List where a job is outside the data that a model was fitted on; empty if it is inside."""
    said = []
    classes: dict[str, list[str]] = {}
    for term, row in model.terms.items():
        if term == "constant":
            continue
        column, mark, level = term.partition(": ")
        if mark:
            classes.setdefault(column, []).append(level)
            continue
        value = job.get(column)
        if value is None:
            said.append(f"{column} is not given")
            continue
        room = MARGIN * (row["highest"] - row["lowest"])
        if not row["lowest"] - room <= value <= row["highest"] + room:
            unit = COLUMNS[column].unit
            name = without_unit(column, unit).replace("_", " ")
            span = f"{qty(row['lowest'], unit)} to {qty(row['highest'], unit)}"
            said.append(f"{name} of {qty(value, unit)} (data: {span})")
    for column, levels in classes.items():
        chosen = job.get(column)
        if chosen is None:
            said.append(f"{column} is not given (data: {', '.join(sorted(levels))})")
        elif chosen not in levels:
            said.append(f"{column} '{short(str(chosen))}' (data: {', '.join(sorted(levels))})")
        elif model.terms[f"{column}: {chosen}"]["pads"] < FEWEST_CLASS_PADS:
            said.append(f"{column} '{short(str(chosen))}' is on one pad only: not separable from the pad effect")
    return said


def predict(model: StoredModel | None, job: Mapping[str, Any]) -> Prediction:
    """Predict a job's outcome.

    Parameters
    ----------
    model : StoredModel, optional
        None if it could not be fitted.
    job : mapping
        Predictor values by name, all known before the job.

    Returns
    -------
    Prediction
        Without a value if the job is outside the data. The note states if the model is no better than the mean.
    """
    if model is None:
        return Prediction(None, None, None, "no model: too few pads have this outcome")
    beyond = outside(model, job)
    if beyond:
        return Prediction(None, None, None, "outside the data: " + "; ".join(beyond))
    value = model.terms["constant"]["coefficient"]
    for term, row in model.terms.items():
        column, mark, level = term.partition(": ")
        if term == "constant":
            continue
        if mark:
            value += row["coefficient"] if job[column] == level else 0.0
        else:
            value += row["coefficient"] * (job[column] - row["centre"]) / row["scale"]
    card = model.card
    as_mean = not card["better_than_mean"]
    plain = "; the model is no better than the mean" if as_mean else ""
    better = (
        "; a boosted model is better on held-out pads: a straight line misses something"
        if card["better_boosted"]
        else ""
    )
    if card["model"] in CHANCES:
        note = f"chance, {card['pads']} pads{better}{plain}"
        return Prediction(1.0 / (1.0 + math.exp(-value)), None, None, note, as_mean)
    half = card["interval_half_width"]
    if half is not None:
        note = f"90 % interval, conformal over {card['pads']} pads"
    else:
        spread = card["rmse_held_out"] * math.sqrt(1.0 + 1.0 / card["pads"])
        half = float(scipy.stats.t.ppf(0.95, card["pads"] - 1)) * spread
        note = f"indicative 90 % interval: {card['pads']} pads are too few for a tested one"
    return Prediction(value, value - half, value + half, note + better + plain, as_mean)
