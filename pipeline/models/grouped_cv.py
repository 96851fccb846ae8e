"""One model per outcome, tested on held-out pads, compared with the mean and with plain physics."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import partial
from itertools import pairwise
from typing import Any

import numpy as np
import polars as pl
import scipy
from numpy.typing import NDArray
from sklearn.base import BaseEstimator, clone
from sklearn.ensemble import HistGradientBoostingClassifier, HistGradientBoostingRegressor
from sklearn.linear_model import Ridge
from sklearn.model_selection import GroupKFold

from pipeline.models.columns import COLUMNS, Column, predictors
from pipeline.models.conformal import grouped_coverage, grouped_quantile
from pipeline.models.design_matrix import Limits, design_matrix, effects_of
from pipeline.models.logistic import fit_logistic, odds_limits
from pipeline.models.picker import Picker, picker_errors, picker_of
from pipeline.models.specs import ModelSpec, rows_hash
from pipeline.units import qty

Array = NDArray[np.float64]
PENALTIES = [0.1, 1.0, 10.0, 100.0, 1000.0]
FEWEST_PADS = 3
FEWEST_EVENTS = 5
"""Fewest events, and fewest rows without an event, for modelling a chance."""
RESAMPLED_PADS = 8
"""With fewer pads limits from resampled pads are too narrow."""
BOOSTED_ROWS = 100
"""With fewer rows boosting returns the mean."""
CONSTANT = 1e-18
"""Errors of the mean below this share of the outcome's squares are rounding. [1]"""
BOOSTED_MOST = 5000
"""Most rows that a boosted model is fitted on; a random sample of more."""
OUTER_FOLDS, INNER_FOLDS = 8, 3
METHOD_VERSION = 6
ALPHA = 0.1
CONFORMAL_PADS = 9
"""With fewer pads no distribution-free 90 % interval by pad exists: ceil(0.9 * (n + 1)) would exceed n."""
MUST_NOT = (
    "Not for pressure, rate or depth limits; not outside the range of its data; not for causes: its effects are "
    "associations among completed jobs."
)


@dataclass
class ModelRows:
    """Rows for `model_cards`, `model_parameters`, `effects`, `predictions`."""

    card: dict[str, Any]
    effects: list[dict[str, Any]]
    predictions: list[dict[str, Any]]
    parameters: list[dict[str, Any]] = field(default_factory=list)


@dataclass(frozen=True)
class Table:
    """A modelling table ready to fit: features as floats (classes as codes), outcome, pads, excluded rows, weights."""

    used: pl.DataFrame
    columns: list[Column]
    features: Array
    outcome: Array
    pads: NDArray[np.str_]
    left_out: int
    weights: Array
    picker: Picker | None


def inputs_hash(frame: pl.DataFrame, spec: ModelSpec) -> str:
    """Return a hash of the rows and the method that determine a model."""
    physics = [spec.physics] if spec.physics else []
    return rows_hash(frame, spec, METHOD_VERSION, [spec.outcome, *spec.predictors, *physics])


def prepare(frame: pl.DataFrame, spec: ModelSpec) -> Table:
    """Return the rows used to fit a model.

    Raises
    ------
    KnownOnlyAfter
        If a predictor is known only after the job.
    """
    columns = predictors(list(spec.predictors))
    plain = frame.with_columns(pl.col(spec.outcome).fill_nan(None), pl.col("pad").cast(pl.String))
    used = plain.drop_nulls([spec.outcome, "pad", *spec.predictors])
    left_out = frame.filter(pl.col("pad").is_not_null()).height - used.height
    parts = []
    for column in columns:
        values = used[column.name]
        if column.role == "class":
            values = values.rank("dense")  # codes in alphabetical order; the model one-hot encodes them
        parts.append(values.to_numpy().astype(float))
    features = np.column_stack(parts) if parts and used.height else np.empty((used.height, len(columns)))
    outcome = used[spec.outcome].to_numpy().astype(float)
    errors = picker_errors(used, spec.outcome)
    picker = picker_of(errors, _residual_variance(used, columns, outcome)) if errors is not None else None
    weights = np.ones(outcome.size) if errors is None or picker is None else picker.weights(errors)
    return Table(
        used, columns, features, outcome, used["pad"].to_numpy().astype(str), left_out, weights, picker
    )  # fmt: skip


def _residual_variance(used: pl.DataFrame, columns: list[Column], outcome: Array) -> float:
    """Residual variance of a least-squares fit; NaN if there are not more rows than terms."""
    if not used.height:
        return float("nan")
    design, _, _ = design_matrix(used, columns)
    rank = int(np.linalg.matrix_rank(design))
    rest = outcome - design @ np.linalg.lstsq(design, outcome, rcond=None)[0]
    return float(rest @ rest / (outcome.size - rank)) if outcome.size > rank else float("nan")


def fit_model(frame: pl.DataFrame, spec: ModelSpec) -> ModelRows | None:
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
    table = prepare(frame, spec)
    if np.unique(table.pads).size < FEWEST_PADS:
        return None
    events = int(table.outcome.sum())
    if spec.chance and min(events, table.outcome.size - events) < FEWEST_EVENTS:
        return None
    predicted, mean = out_of_pad(table, PenaltyByPad(table.columns, spec.chance))
    boosted = None
    if table.outcome.size >= BOOSTED_ROWS:
        boosted, _ = out_of_pad(table, Boosted(table.columns, spec.chance))
    later = None if spec.chance else from_earlier_pads(table)
    half, coverage, basis = (float("inf"), float("nan"), "") if spec.chance else _interval(table, predicted, later)
    card = _card(spec, table, predicted, mean)
    physics = None if spec.physics is None else table.used[spec.physics].to_numpy().astype(float)
    card |= {
        "inputs": inputs_hash(frame, spec), "kind": "logistic" if spec.chance else "linear",
        "rmse_boosted": None if boosted is None else _rmse(table.outcome, boosted),
        "rmse_later": None if later is None else _rmse(table.outcome[later.rows], later.predicted),
        "rmse_of_mean_later": None if later is None else _rmse(table.outcome[later.rows], later.mean),
        "picker_share": None if table.picker is None else table.picker.share,
        "rmse_of_physics": None if physics is None else _known(_rmse(table.outcome, physics)),
        "interval_half_width": _known(half), "coverage_90": _known(coverage), "limitations": MUST_NOT,
        "span": _span(table.used),
        "interval_note": _interval_note(np.unique(table.pads).size, spec.chance, coverage) + basis
        + _beside(spec, table, later),
        "better_boosted": boosted is not None and _gains(table, _squares(table, predicted), _squares(table, boosted)),
    }  # fmt: skip
    served = PenaltyByPad(table.columns, spec.chance).fit(table.features, table.outcome, table.pads, table.weights)
    odds = partial(_odds, served, table) if spec.chance else None
    effects = effects_of(spec, table.used, table.outcome, table.columns, table.pads, table.weights, odds)
    parameters = [row | {"inputs": card["inputs"]} for row in _parameters(spec, table, served)]
    return ModelRows(card, effects, _predictions(spec, table, predicted, mean, half), parameters)


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


@dataclass(frozen=True)
class _Encoding:
    """How a linear model reads features: numbers scaled by the training rows, one indicator column per class."""

    numbers: list[int]
    centre: Array
    scale: Array
    levels: dict[int, Array]

    @classmethod
    def made_on(cls, columns: list[Column], features: Array) -> _Encoding:
        numbers = [i for i, column in enumerate(columns) if column.role == "number"]
        levels = {i: np.unique(features[:, i]) for i, column in enumerate(columns) if column.role == "class"}
        values = features[:, numbers]
        centre, scale = values.mean(axis=0), values.std(axis=0)
        return cls(numbers, centre, np.where(scale > 1e-12 * np.abs(centre), scale, 1.0), levels)

    def __call__(self, features: Array) -> Array:
        """Return the design matrix; a class not in the training rows has no column, so none is set."""
        scaled = (features[:, self.numbers] - self.centre) / self.scale
        return np.hstack([scaled, *(features[:, [i]] == levels for i, levels in self.levels.items())])


class _OnColumns(BaseEstimator):  # type: ignore[misc]
    """Base of the models that predict an outcome from declared columns.

    Parameters
    ----------
    columns : list of Column
    chance : bool
        Whether the outcome is 1 or 0.
    """

    def __init__(self, columns: list[Column], chance: bool = False) -> None:
        self.columns = columns
        self.chance = chance

    def predict(self, features: Array) -> Array:
        """Return predictions; probabilities if the outcome is a chance."""
        return self._predicted(self.best_, features)

    def _predicted(self, fitted: Any, features: Array) -> Array:
        return np.asarray(fitted.predict_proba(features)[:, 1] if self.chance else fitted.predict(features))


class PenaltyByPad(_OnColumns):
    """Ridge regression on scaled numbers and one-hot classes, its penalty chosen with held-out pads.

    A chance is fitted by logistic regression with one fixed penalty; its effects come from the same fit.
    """

    def predict(self, features: Array) -> Array:
        """Return predictions; probabilities if the outcome is a chance."""
        return self._predicted(self.best_, self.encoding_(features))

    def _by_penalty(self, features: Array, outcome: Array, weights: Array, test: Array) -> Array:
        """Predict rows with every penalty, one column each; ridge fits all penalties together."""
        encoding = _Encoding.made_on(self.columns, features)
        many = np.repeat(outcome[:, None], len(PENALTIES), axis=1)
        return self._predicted(
            Ridge(alpha=np.asarray(PENALTIES)).fit(encoding(features), many, weights), encoding(test)
        )

    def fit(self, features: Array, outcome: Array, groups: NDArray[np.str_], weights: Array) -> PenaltyByPad:
        """Fit; for a number, the penalty is first chosen with whole pads held out."""
        self.encoding_ = _Encoding.made_on(self.columns, features)
        if self.chance:
            encoded = self.encoding_(features)
            design = np.hstack([np.ones((outcome.size, 1)), encoded])
            self.logistic_ = fit_logistic(design, outcome, clusters=groups)
            self.best_ = self.logistic_.model
            return self
        total = np.zeros(len(PENALTIES))
        folds = GroupKFold(min(np.unique(groups).size, INNER_FOLDS)).split(features, outcome, groups)
        for train, test in folds:
            predicted = self._by_penalty(features[train], outcome[train], weights[train], features[test])
            total += (weights[test][:, None] * np.square(outcome[test][:, None] - predicted)).sum(axis=0)
        self.best_ = Ridge(alpha=PENALTIES[int(np.argmin(total))]).fit(self.encoding_(features), outcome, weights)
        return self


class Boosted(_OnColumns):
    """Small gradient boosting model with a low learning rate, on the same columns."""

    def fit(self, features: Array, outcome: Array, groups: NDArray[np.str_], weights: Array) -> Boosted:
        """Fit, on a sample of many rows; no setting is chosen by pads."""
        classes = [i for i, column in enumerate(self.columns) if column.role == "class"]
        if outcome.size > BOOSTED_MOST:  # it only tells whether a straight line misses something
            some = np.random.default_rng(0).choice(outcome.size, BOOSTED_MOST, replace=False)
            features, outcome, weights = features[some], outcome[some], weights[some]
        kind = HistGradientBoostingClassifier if self.chance else HistGradientBoostingRegressor
        self.best_ = kind(
            max_iter=40, learning_rate=0.15, max_bins=63, max_leaf_nodes=8, min_samples_leaf=10, early_stopping=False,
            categorical_features=classes or None, random_state=0,
        ).fit(features, outcome, weights)  # fmt: skip
        return self


def out_of_pad(table: Table, model: PenaltyByPad | Boosted) -> tuple[Array, Array]:
    """Predict every row with its whole pad held out; all fitting uses only other pads.

    Parameters
    ----------
    table : Table
    model : PenaltyByPad or Boosted
        The penalty is chosen inside each fold, also with whole pads held out.

    Returns
    -------
    predicted, mean : array, shape (n,)
        Prediction, and mean of the training rows. With few pads, each pad is held out alone; with more, pads are
        held out in eight groups.
    """
    groups, outcome = table.pads, table.outcome
    predicted, mean = np.empty_like(outcome), np.empty_like(outcome)
    for train, test in GroupKFold(min(np.unique(groups).size, OUTER_FOLDS)).split(table.features, outcome, groups):
        mean[test] = outcome[train].mean()
        if np.unique(outcome[train]).size < 2:
            predicted[test] = mean[test]
            continue
        fitted = clone(model).fit(table.features[train], outcome[train], groups[train], table.weights[train])
        predicted[test] = fitted.predict(table.features[test])
    return predicted, mean


@dataclass(frozen=True)
class Later:
    """Predictions of pads from earlier pads only: which rows, the model's prediction and the mean of earlier pads."""

    rows: NDArray[np.int64]
    predicted: Array
    mean: Array


def from_earlier_pads(table: Table) -> Later | None:
    """Predict each pad from the pads before it: what a plan for the next pad does.

    Parameters
    ----------
    table : Table

    Returns
    -------
    Later or None
        Pads in order of their first quarter, from the fourth on, in up to eight steps; None if the table has no
        calendar time or fewer than four pads.
    """
    if "quarters" not in table.used.columns:
        return None
    first = table.used.group_by("pad").agg(pl.col("quarters").min()).drop_nulls().sort("quarters", "pad")
    order = first["pad"].to_numpy().astype(str)
    if order.size <= FEWEST_PADS:
        return None
    rows, predicted, mean = [], [], []
    ends = np.unique(np.linspace(FEWEST_PADS, order.size, min(OUTER_FOLDS, order.size - FEWEST_PADS) + 1).round())
    for start, stop in pairwise(ends.astype(int)):
        train = np.flatnonzero(np.isin(table.pads, order[:start]))
        test = np.flatnonzero(np.isin(table.pads, order[start:stop]))
        known = (table.features[train], table.outcome[train], table.pads[train], table.weights[train])
        fitted = PenaltyByPad(table.columns).fit(*known)
        rows.append(test)
        predicted.append(fitted.predict(table.features[test]))
        mean.append(np.full(test.size, table.outcome[train].mean()))
    return Later(np.concatenate(rows), np.concatenate(predicted), np.concatenate(mean))


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
    _, code = np.unique(table.pads, return_inverse=True)
    return np.asarray(np.bincount(code, (table.outcome - predicted) ** 2), dtype=np.float64)


def _gains(table: Table, old: Array, new: Array) -> bool:
    """Whether new errors are smaller than old ones beyond chance: Student's t of the pads' mean gains."""
    _, count = np.unique(table.pads, return_counts=True)
    gain = (old - new) / count
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
    names = np.unique(table.pads)
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
            f"pads {mean_off}, and {names.size} pads are too few to separate them."
        )
    return {
        "model": spec.name, "outcome": spec.outcome, "unit": unit, "level": spec.level, "rows": table.used.height,
        "pads": names.size, "wells": table.used["well_id"].n_unique(), "rows_left_out": table.left_out,
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


def _predictions(spec: ModelSpec, table: Table, predicted: Array, mean: Array, half: float) -> list[dict[str, Any]]:
    number = [1] * table.used.height if spec.per_well else table.used[spec.level].to_list()
    reach = half if np.isfinite(half) else None
    rows = zip(table.used["well_id"], number, table.pads, table.outcome, predicted, mean, strict=True)
    return [
        {
            "model": spec.name, "well_id": well, "number": n, "pad": str(pad), "observed": float(o),
            "predicted": float(p), "mean_predicted": float(m), "low": None if reach is None else float(p) - reach,
            "high": None if reach is None else float(p) + reach,
        }
        for well, n, pad, o, p, m in rows
    ]  # fmt: skip


def _odds(served: PenaltyByPad, table: Table) -> Limits:
    """Log odds of the served fit: the constant, a step of each number, each class against the first of its column."""
    encoding = served.encoding_
    columns = {index: at for at, index in enumerate(encoding.numbers, start=1)}
    first = 1 + len(encoding.numbers)
    width = served.logistic_.estimate.size
    rows = [np.eye(width)[0]]
    for index, column in enumerate(table.columns):
        if column.role == "number":
            at = columns[index]
            rows.append(np.eye(width)[at] * column.step / encoding.scale[at - 1])
            continue
        count = encoding.levels[index].size
        rows += [np.eye(width)[first + level] - np.eye(width)[first] for level in range(1, count)]
        first += count
    return odds_limits(served.logistic_, np.stack(rows), np.unique(table.pads).size)


def _parameters(spec: ModelSpec, table: Table, fitted: PenaltyByPad) -> list[dict[str, Any]]:
    """Return the linear model, fitted on all pads, as numbers."""
    weights = np.ravel(fitted.best_.coef_)
    constant = float(np.ravel(fitted.best_.intercept_)[0])
    empty = {"centre": None, "scale": None, "lowest": None, "highest": None, "pads": None}
    rows: list[dict[str, Any]] = [{"model": spec.name, "term": "constant", "coefficient": constant, **empty}]
    numbers = [column for column in table.columns if column.role == "number"]
    for index, column in enumerate(numbers):
        values = table.used[column.name]
        rows.append(
            {
                "model": spec.name, "term": column.name, "coefficient": float(weights[index]),
                "centre": float(fitted.encoding_.centre[index]), "scale": float(fitted.encoding_.scale[index]),
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
