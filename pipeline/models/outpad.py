"""One honest model an outcome: ridge regression judged on pads it has not seen, beside the mean."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray
from sklearn.compose import ColumnTransformer
from sklearn.linear_model import Ridge
from sklearn.model_selection import GridSearchCV, GroupKFold
from sklearn.pipeline import Pipeline
from sklearn.preprocessing import OneHotEncoder, StandardScaler

from pipeline.metrics.declare import fingerprint
from pipeline.models.frames import COLUMNS, Column, predictors
from pipeline.models.linear import fit_clustered

Array = NDArray[np.float64]
ALPHAS = [0.1, 1.0, 10.0, 100.0, 1000.0]
FEWEST_PADS = 3
OUTER_FOLDS, INNER_FOLDS = 10, 5
METHOD_VERSION = 1
CONFORMAL_PADS = 9
"""With fewer pads no distribution-free 90 % interval by pad exists: ceil(0.9 * (n + 1)) would exceed n."""


@dataclass(frozen=True)
class ModelSpec:
    """A model: outcome, level and predictors, all known before the job."""

    name: str
    title: str
    outcome: str
    level: str
    predictors: tuple[str, ...]


SPECS = (
    ModelSpec(
        "treating_pressure", "treating pressure at rate", "at_rate_pressure_psi", "stage",
        ("frac_crew", "designed_pipe_friction_psi", "designed_perf_friction_psi", "tvd_ft", "stage", "quarters"),
    ),
    ModelSpec(
        "mill_minutes", "mill minutes per plug", "mill_min", "plug",
        ("coil_crew", "set_depth_ft", "mill_order", "quarters"),
    ),
)  # fmt: skip


@dataclass
class ModelRows:
    """Rows for `model_cards`, `effects`, `predictions`."""

    card: dict[str, Any]
    effects: list[dict[str, Any]]
    predictions: list[dict[str, Any]]


def inputs_print(frame: pl.DataFrame, spec: ModelSpec) -> str:
    """Return a hash of the rows and the method that a model follows from."""
    used = frame.select("well_id", "pad", spec.level, spec.outcome, *(p for p in spec.predictors if p != spec.level))
    return fingerprint([METHOD_VERSION, spec, used.hash_rows(seed=1).sort().to_list()])


def fit_model(frame: pl.DataFrame, spec: ModelSpec, seed: int = 0) -> ModelRows | None:
    """Fit a model and judge it out of pad.

    Parameters
    ----------
    frame : polars.DataFrame
        A modelling table.
    spec : ModelSpec
    seed : int
        Of the resampling of pads.

    Returns
    -------
    ModelRows or None
        None where fewer than three pads have the outcome.
    """
    columns = predictors(list(spec.predictors))
    used = frame.drop_nulls([spec.outcome, "pad", *spec.predictors])
    left_out = frame.filter(pl.col("pad").is_not_null()).height - used.height
    pads = used["pad"].to_list()
    if len(set(pads)) < FEWEST_PADS:
        return None
    outcome = used[spec.outcome].to_numpy().astype(float)
    features = _features(used, columns)
    predicted, mean = _out_of_pad(features, outcome, pads, columns)
    card = _card(spec, used, outcome, predicted, mean, pads, left_out, seed)
    card["inputs"] = inputs_print(frame, spec)
    number = used["stage" if spec.level == "stage" else "plug"].to_list()
    rows = [
        {
            "model": spec.name, "well_id": well, "number": n, "pad": pad, "observed": o, "predicted": p,
            "mean_predicted": m,
        }
        for well, n, pad, o, p, m in zip(used["well_id"], number, pads, outcome, predicted, mean, strict=True)
    ]  # fmt: skip
    return ModelRows(card, _effects(spec, used, outcome, columns, pads), rows)


def _features(used: pl.DataFrame, columns: list[Column]) -> NDArray[np.object_]:
    return np.column_stack([used[column.name].to_numpy().astype(object) for column in columns])


def _pipeline(columns: list[Column]) -> Pipeline:
    numbers = [i for i, column in enumerate(columns) if column.role == "number"]
    classes = [i for i, column in enumerate(columns) if column.role == "class"]
    prepare = ColumnTransformer(
        [
            ("number", StandardScaler(), numbers),
            ("class", OneHotEncoder(handle_unknown="ignore", sparse_output=False), classes),
        ]
    )
    return Pipeline([("prepare", prepare), ("ridge", Ridge())])


def _out_of_pad(
    features: NDArray[np.object_], outcome: Array, pads: list[str], columns: list[Column]
) -> tuple[Array, Array]:
    """Predict every row with its whole pad left out; everything fitted is fitted on other pads.

    Each pad is left out alone while there are few; beyond that pads are left out in ten groups. The penalty is chosen
    inside each fold, again with whole pads left out.
    """
    groups = np.asarray(pads)
    predicted, mean = np.empty_like(outcome), np.empty_like(outcome)
    for train, test in GroupKFold(min(np.unique(groups).size, OUTER_FOLDS)).split(features, outcome, groups):
        inner = GroupKFold(min(np.unique(groups[train]).size, INNER_FOLDS))
        search = GridSearchCV(_pipeline(columns), {"ridge__alpha": ALPHAS}, cv=inner, scoring="neg_mean_squared_error")
        search.fit(features[train], outcome[train], groups=groups[train])
        predicted[test] = search.predict(features[test])
        mean[test] = outcome[train].mean()
    return predicted, mean


def _card(
    spec: ModelSpec, used: pl.DataFrame, outcome: Array, predicted: Array, mean: Array, pads: list[str],
    left_out: int, seed: int,
) -> dict[str, Any]:  # fmt: skip
    error, naive = (outcome - predicted) ** 2, (outcome - mean) ** 2
    names = sorted(set(pads))
    by_pad = np.array([[error[_at(pads, n)].sum(), naive[_at(pads, n)].sum()] for n in names])
    skill = 1.0 - by_pad[:, 0].sum() / by_pad[:, 1].sum()
    rng = np.random.default_rng(seed)
    drawn = by_pad[rng.integers(0, len(names), (4000, len(names)))].sum(axis=1)
    low, high = np.quantile(1.0 - drawn[:, 0] / drawn[:, 1], [0.025, 0.975])
    better = bool(low > 0.0)
    unit = COLUMNS[spec.outcome].unit
    rmse, rmse_mean = float(np.sqrt(error.mean())), float(np.sqrt(naive.mean()))
    if better:
        verdict = (
            f"On pads it had not seen, {spec.title} is predicted to {rmse:.3g} {unit} (root mean square); "
            f"the mean of other pads is off by {rmse_mean:.3g} {unit}."
        )
    else:
        verdict = (
            f"No better than the mean: on pads it had not seen the model is off by {rmse:.3g} {unit}, "
            f"the mean of other pads by {rmse_mean:.3g} {unit}, and {len(names)} pads cannot tell them apart."
        )
    return {
        "model": spec.name, "outcome": spec.outcome, "unit": unit, "level": spec.level, "rows": used.height,
        "pads": len(names), "wells": used["well_id"].n_unique(), "rows_left_out": left_out,
        "rmse_out_of_pad": rmse, "rmse_of_mean": rmse_mean, "skill": float(skill), "skill_low": float(low),
        "skill_high": float(high), "better_than_mean": better, "verdict": verdict,
        "interval_note": _interval_note(len(names)), "fitted_at": datetime.now(UTC),
    }  # fmt: skip


def _at(pads: list[str], name: str) -> NDArray[np.bool_]:
    return np.asarray([pad == name for pad in pads])


def _interval_note(pads: int) -> str:
    if pads < CONFORMAL_PADS:
        return (
            f"{pads} pads: no distribution-free 90 % interval by pad exists below {CONFORMAL_PADS}; "
            "limits rest on resampling pads and are indicative."
        )
    return f"{pads} pads: limits rest on resampling pads."


def design_matrix(used: pl.DataFrame, columns: list[Column]) -> tuple[Array, list[str], list[str]]:
    """Return a design matrix with constant, the terms' names, and for what change each effect is quoted.

    Numbers are centred and divided by their step; a class's first level (in alphabetical order) is the reference.
    """
    parts, names, per = [np.ones(used.height)], ["constant"], [""]
    for column in columns:
        if column.role == "number":
            values = used[column.name].to_numpy().astype(float)
            parts.append((values - values.mean()) / column.step)
            names.append(column.name)
            per.append(f"+{column.step:g} {column.unit}".strip())
            continue
        levels = sorted(used[column.name].unique().to_list())
        for level in levels[1:]:
            parts.append((used[column.name] == level).to_numpy().astype(float))
            names.append(f"{column.name}: {level}")
            per.append(f"against {levels[0]}")
    return np.column_stack(parts), names, per


def _effects(
    spec: ModelSpec, used: pl.DataFrame, outcome: Array, columns: list[Column], pads: list[str]
) -> list[dict[str, Any]]:
    design, names, per = design_matrix(used, columns)
    fitted = fit_clustered(design, outcome, names, pads)
    unit = COLUMNS[spec.outcome].unit
    alone = _on_one_pad(used, columns)
    for i, name in enumerate(names):
        if name in alone:  # told apart from its pad only by assumption: no number
            fitted.estimate[i] = fitted.low[i] = fitted.high[i] = np.nan
            per[i] = "one pad only: not separable"

    def plain(value: float) -> float | None:
        return None if np.isnan(value) else float(value)

    return [
        {
            "model": spec.name, "term": name, "effect": plain(fitted.estimate[i]), "per": per[i],
            "low": plain(fitted.low[i]), "high": plain(fitted.high[i]), "unit": unit,
        }
        for i, name in enumerate(names)
        if name != "constant"
    ]  # fmt: skip


def _on_one_pad(used: pl.DataFrame, columns: list[Column]) -> set[str]:
    """Names of the terms whose class occurs on a single pad."""
    names = set()
    for column in columns:
        if column.role == "class":
            pads = used.group_by(column.name).agg(pl.col("pad").n_unique())
            names |= {f"{column.name}: {level}" for level, count in pads.iter_rows() if count == 1}
    return names
