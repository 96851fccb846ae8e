"""One model per outcome, tested on held-out pads, compared with the mean and with plain physics."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime
from functools import partial
from typing import Any

import numpy as np
import polars as pl
import scipy

from pipeline.models.columns import COLUMNS
from pipeline.models.conformal import grouped_coverage, grouped_quantile
from pipeline.models.design_matrix import Limits, effects_of
from pipeline.models.fitters import Boosted, Linear, Logit, Served
from pipeline.models.held_out import FEWEST_PADS, OUTER_FOLDS, Later, from_earlier_pads, out_of_pad
from pipeline.models.logistic import Logistic, odds_limits
from pipeline.models.specs import ModelSpec, rows_hash
from pipeline.models.training import Array, Table, prepare
from pipeline.schemas.fitted import PREDICTIONS
from pipeline.units import qty

FEWEST_EVENTS = 5
"""Fewest events, and fewest rows without an event, for modelling a chance."""
RESAMPLED_PADS = 8
"""With fewer pads limits from resampled pads are too narrow."""
BOOSTED_ROWS = 100
"""With fewer rows boosting returns the mean."""
CONSTANT = 1e-18
"""Errors of the mean below this share of the outcome's squares are rounding. [1]"""
MANY_PADS, FEW_GROUPS = 40, 4
"""With so many pads, boosting on three of four groups of them is as good as on seven of eight, and half the work."""
METHOD_VERSION = 8
ALPHA = 0.1
CONFORMAL_PADS = 9
"""With fewer pads no distribution-free 90 % interval by pad exists: ceil(0.9 * (n + 1)) would exceed n."""
MUST_NOT = (
    "Not for pressure, rate or depth limits; not outside the range of its data; not for causes: its effects are "
    "associations among completed jobs."
)


@dataclass
class ModelRows:
    """Rows for `model_cards`, `model_parameters`, `effects`, `predictions`; of each pad its rows and squared errors."""

    card: dict[str, Any]
    effects: list[dict[str, Any]]
    predictions: pl.DataFrame
    parameters: list[dict[str, Any]]
    rows: Array
    squares: Array


def inputs_hash(frame: pl.DataFrame, spec: ModelSpec) -> str:
    """Return a hash of the rows and the method that determine a model."""
    return rows_hash(frame, spec, METHOD_VERSION)


def fit_model(frame: pl.DataFrame, spec: ModelSpec) -> ModelRows | None:
    """Fit a model and test it on held-out pads, a boosted one beside it: `fit_line`, `boost`, `beside_boosted`."""
    made = fit_line(frame, spec)
    return None if made is None else beside_boosted(made, boost(frame, spec))


def boost(frame: pl.DataFrame, spec: ModelSpec) -> Array | None:
    """Return the squared errors of a boosted model on each pad, held out; None if too little is there to fit."""
    table = _usable(frame, spec)
    if table is None or table.outcome.size < BOOSTED_ROWS:
        return None
    groups = FEW_GROUPS if table.names.size >= MANY_PADS else OUTER_FOLDS
    boosted, _ = out_of_pad(Boosted(table, chance=spec.chance), groups)
    return _squares(table, boosted)


def beside_boosted(made: ModelRows, squares: Array | None) -> ModelRows:
    """Return a model with what its card tells of a boosted one, of which the squared errors are given."""
    told: dict[str, Any] = {"rmse_boosted": None, "better_boosted": False}
    if squares is not None:
        told = {
            "rmse_boosted": float(np.sqrt(squares.sum() / made.rows.sum())),
            "better_boosted": _gains(made.rows, made.squares, squares),
        }
    return replace(made, card=made.card | told)


def _usable(frame: pl.DataFrame, spec: ModelSpec) -> Table | None:
    """Return the rows of a model; None if there are too few pads, or a chance has too few events."""
    table = prepare(frame, spec)
    if table.names.size < FEWEST_PADS:
        return None
    events = int(table.outcome.sum())
    if spec.chance and min(events, table.outcome.size - events) < FEWEST_EVENTS:
        return None
    return table


def fit_line(frame: pl.DataFrame, spec: ModelSpec) -> ModelRows | None:
    """Fit a model and test it on held-out pads.

    Parameters
    ----------
    frame : polars.DataFrame
        A modelling table.
    spec : ModelSpec

    Returns
    -------
    ModelRows or None
        None if fewer than three pads have the outcome, or a chance has fewer than five events.

    Notes
    -----
    What is served is what is judged: the linear model (logistic for a chance). A boosted model only tells, by its error
    on the same held-out pads, whether a straight line misses something.
    """
    table = _usable(frame, spec)
    if table is None:
        return None
    fitter = Logit(table) if spec.chance else Linear(table)
    predicted, mean = out_of_pad(fitter)
    later = from_earlier_pads(fitter) if isinstance(fitter, Linear) else None
    half, coverage, basis = (float("inf"), float("nan"), "") if spec.chance else _interval(table, predicted, later)
    card = _card(spec, table, predicted, mean)
    physics = None if spec.physics is None else table.used[spec.physics].to_numpy().astype(float)
    card |= {
        "inputs": inputs_hash(frame, spec), "kind": "logistic" if spec.chance else "linear",
        "rmse_later": None if later is None else _rmse(table.outcome[later.rows], later.predicted),
        "rmse_of_mean_later": None if later is None else _rmse(table.outcome[later.rows], later.mean),
        "picker_share": None if table.picker is None else table.picker.share,
        "rmse_of_physics": None if physics is None else _known(_rmse(table.outcome, physics)),
        "interval_half_width": _known(half), "coverage_90": _known(coverage), "limitations": MUST_NOT,
        "span": _span(table.used),
        "interval_note": _interval_note(table.names.size, spec.chance, coverage) + basis
        + _beside(spec, table, later),
    }  # fmt: skip
    served = fitter.fit(np.ones(table.names.size, dtype=bool))
    odds = None if served.logistic is None else partial(_odds, served, served.logistic, table)
    effects = effects_of(spec, table.used, table.outcome, table.columns, table.pads, table.weights, odds)
    parameters = [row | {"inputs": card["inputs"]} for row in _parameters(spec, table, served)]
    predictions = _predictions(spec, table, predicted, mean, half)
    rows = np.bincount(table.by_pad[1]).astype(float)
    return ModelRows(card, effects, predictions, parameters, rows, _squares(table, predicted))


def _beside(spec: ModelSpec, table: Table, later: Later | None) -> str:
    """Return how the model does on pads later than all others, and how much of the spread is the picker's."""
    unit, told = COLUMNS[spec.outcome].unit, ""
    if later is not None:
        observed = table.outcome[later.rows]
        off, mean_off = qty(_rmse(observed, later.predicted), unit), qty(_rmse(observed, later.mean), unit)
        told += (
            f" Predicted from earlier pads only, its error is {off}, against {mean_off} for the mean of earlier pads."
        )
    if table.picker is not None:
        told += f" The picker's error is {table.picker.words} of the spread that is left."
    return told


def _span(used: pl.DataFrame) -> str | None:
    """First and last quarter of the rows."""
    quarters = sorted(used["quarter"].drop_nulls().to_list()) if "quarter" in used.columns else []
    return f"{quarters[0]} to {quarters[-1]}" if quarters else None


def _known(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def _rmse(outcome: Array, predicted: Array) -> float:
    return float(np.sqrt(np.mean((outcome - predicted) ** 2)))


def _interval(table: Table, predicted: Array, later: Later | None) -> tuple[float, float, str]:
    """Half width of the 90 % interval, its coverage on held-out pads, and a note on pads later than all others."""
    scores = np.abs(table.outcome - predicted)
    half = grouped_quantile(scores, table.pads, ALPHA)
    coverage, _ = grouped_coverage(scores, table.pads, ALPHA)
    if later is None or not np.isfinite(half):
        return half, coverage, ""
    ahead = grouped_quantile(np.abs(table.outcome[later.rows] - later.predicted), table.pads[later.rows], ALPHA)
    if not np.isfinite(ahead):
        return half, coverage, " Too few pads to test it on pads that are later than all others."
    if ahead <= half:
        return half, coverage, " It holds for pads predicted from earlier pads only."
    return (
        ahead,
        coverage,
        f" It is {ahead / half:.1f} times as wide, so that it holds for pads predicted from earlier pads.",
    )


def _squares(table: Table, predicted: Array) -> Array:
    """Sum of squared errors of each pad."""
    return np.asarray(np.bincount(table.by_pad[1], (table.outcome - predicted) ** 2), dtype=np.float64)


def _gains(rows: Array, old: Array, new: Array) -> bool:
    """Whether new errors are smaller than old ones beyond chance: Student's t of the pads' mean gains."""
    gain = (old - new) / rows
    return bool(gain.mean() > scipy.stats.t.ppf(0.975, gain.size - 1) * gain.std(ddof=1) / np.sqrt(gain.size))


def _skill(model: Array, naive: Array, square: float, seed: int = 0) -> tuple[float, float, float]:
    """Share of the mean's squared error that a model removes, with 95 % limits over pads.

    From eight pads on the limits are from resampled pads. Below, resampling is too narrow: they are those of Student's
    t for the pads' gains, with the mean's error taken as known.
    """
    pads = model.size
    if naive.sum() <= CONSTANT * square:  # nothing varies: there is nothing to predict
        return 0.0, 0.0, 0.0
    skill = 1.0 - model.sum() / max(naive.sum(), 1e-300)
    if pads < RESAMPLED_PADS:
        gain = naive - model
        reach = scipy.stats.t.ppf(0.975, pads - 1) * gain.std(ddof=1) * np.sqrt(pads) / max(naive.sum(), 1e-300)
        return float(skill), float(skill - reach), float(skill + reach)
    rng = np.random.default_rng(seed)
    at = rng.integers(0, pads, (4000, pads))
    drawn = 1.0 - model[at].sum(axis=1) / np.maximum(naive[at].sum(axis=1), 1e-300)
    low, high = np.quantile(drawn, [0.025, 0.975])
    return float(skill), float(low), float(high)


def _card(spec: ModelSpec, table: Table, predicted: Array, mean: Array) -> dict[str, Any]:
    outcome = table.outcome
    error, naive = (outcome - predicted) ** 2, (outcome - mean) ** 2
    skill, low, high = _skill(_squares(table, predicted), _squares(table, mean), float(outcome @ outcome))
    better = low > 0.0
    unit = COLUMNS[spec.outcome].unit
    rmse, rmse_mean = float(np.sqrt(error.mean())), float(np.sqrt(naive.mean()))
    off, mean_off = qty(rmse, unit), qty(rmse_mean, unit)
    if better:
        verdict = (
            f"On held-out pads the error of {spec.title} is {off} (root mean square), "
            f"against {mean_off} for the mean of the other pads."
        )
    else:
        verdict = (
            f"No better than the mean: on held-out pads the error of the model is {off}, that of the mean of the other "
            f"pads {mean_off}, and {table.names.size} pads are too few to separate them."
        )
    return {
        "model": spec.name, "outcome": spec.outcome, "unit": unit, "level": spec.level, "rows": table.used.height,
        "pads": table.names.size, "wells": table.used["well_id"].n_unique(), "rows_left_out": table.left_out,
        "rmse_held_out": rmse, "rmse_of_mean": rmse_mean, "skill": skill, "skill_low": low, "skill_high": high,
        "better_than_mean": better, "verdict": verdict, "fitted_at": datetime.now(UTC),
    }  # fmt: skip


def _interval_note(pads: int, chance: bool, coverage: float) -> str:
    if chance:
        return f"{pads} pads: a chance has no prediction interval; use it with its error."
    if pads < CONFORMAL_PADS:
        return (
            f"{pads} pads: no distribution-free 90 % interval by pad exists below {CONFORMAL_PADS}; "
            "the limits are from resampling pads and are indicative."
        )
    if not np.isfinite(coverage):
        return f"{pads} pads: a 90 % interval exists, but there are too few other pads to test it."
    return f"{pads} pads: {coverage:.0%} of each pad's rows are inside the 90 % interval from the other pads."


def _predictions(spec: ModelSpec, table: Table, predicted: Array, mean: Array, half: float) -> pl.DataFrame:
    reach = half if np.isfinite(half) else None
    return pl.DataFrame(
        {
            "model": spec.name, "well_id": table.used["well_id"],
            "number": 1 if spec.per_well else table.used[spec.level], "pad": table.pads, "observed": table.outcome,
            "predicted": predicted, "mean_predicted": mean, "low": None if reach is None else predicted - reach,
            "high": None if reach is None else predicted + reach,
        },
        schema=PREDICTIONS.dtypes,
    )  # fmt: skip


def _odds(served: Served, fitted: Logistic, table: Table) -> Limits:
    """Log odds of the served fit: the constant, a step of each number, each class against the first of its column."""
    encoding = served.encoding
    columns = {index: at for at, index in enumerate(encoding.numbers, start=1)}
    first = 1 + len(encoding.numbers)
    width = fitted.estimate.size
    rows = [np.eye(width)[0]]
    for index, column in enumerate(table.columns):
        if column.role == "number":
            at = columns[index]
            rows.append(np.eye(width)[at] * column.step / encoding.scale[at - 1])
            continue
        count = encoding.levels[index].size
        rows += [np.eye(width)[first + level] - np.eye(width)[first] for level in range(1, count)]
        first += count
    return odds_limits(fitted, np.stack(rows), table.names.size)


def _parameters(spec: ModelSpec, table: Table, fitted: Served) -> list[dict[str, Any]]:
    """Return the linear model, fitted on all pads, as numbers."""
    weights = fitted.coefficients
    empty = {"centre": None, "scale": None, "lowest": None, "highest": None, "pads": None}
    rows: list[dict[str, Any]] = [{"model": spec.name, "term": "constant", "coefficient": fitted.constant, **empty}]
    numbers = [column for column in table.columns if column.role == "number"]
    for index, column in enumerate(numbers):
        values = table.used[column.name]
        rows.append(
            {
                "model": spec.name, "term": column.name, "coefficient": float(weights[index]),
                "centre": float(fitted.encoding.centre[index]), "scale": float(fitted.encoding.scale[index]),
                "lowest": float(values.min()), "highest": float(values.max()), "pads": None,  # type: ignore[arg-type]
            }
        )  # fmt: skip
    at = len(numbers)
    for column in table.columns:
        if column.role != "class":
            continue
        seen = table.used.group_by(column.name).agg(pl.col("pad").n_unique()).sort(column.name)
        for level, pads in seen.iter_rows():
            rows.append(
                {
                    "model": spec.name, "term": f"{column.name}: {level}", "coefficient": float(weights[at]), **empty,
                    "pads": pads,
                }
            )  # fmt: skip
            at += 1
    return rows
