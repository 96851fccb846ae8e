"""Design matrices of modelling tables, and effects with intervals clustered by pad."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.models.clustered import holm
from pipeline.models.columns import COLUMNS, Column
from pipeline.models.linear import fit_clustered, inflation
from pipeline.models.specs import ModelSpec

Array = NDArray[np.float64]
Limits = tuple[Array, Array, Array, Array]
"""Estimates, lower and upper limits, p values of no effect."""


def design_matrix(used: pl.DataFrame, columns: list[Column]) -> tuple[Array, list[str], list[str]]:
    """Return a design matrix with constant, the terms' names, and the change for which each effect is quoted.

    Numbers are centred and divided by their step; a class's first level (in alphabetical order) is the reference.
    """
    parts, names, per = [np.ones(used.height)], ["constant"], [""]
    for column in columns:
        if column.role == "number":
            values = used[column.name].to_numpy().astype(float)
            parts.append((values - values.mean()) / column.step)
            names.append(column.name)
            per.append(f"{{+{column.step:g} {column.unit}}}" if column.unit else f"+{column.step:g}")
            continue
        levels = sorted(used[column.name].unique().to_list())
        for level in levels[1:]:
            parts.append((used[column.name] == level).to_numpy().astype(float))
            names.append(f"{column.name}: {level}")
            per.append(f"against {levels[0]}")
    return np.column_stack(parts), names, per


MOST_INFLATION = 1000.0
"""A term whose variance the other terms inflate by more has no effect of its own to tell (error 30 times wider). [1]"""


def effects_of(
    spec: ModelSpec, used: pl.DataFrame, outcome: Array, columns: list[Column], pads: NDArray[np.str_],
    weights: Array, odds: Callable[[], Limits] | None = None,
) -> list[dict[str, Any]]:  # fmt: skip
    """Return rows of `effects`: associations, 95 % limits clustered by pad, p values that allow for their number.

    For a chance they are log odds, from the fit that is served: `odds` returns them for the terms of `design_matrix`.
    """
    design, names, per = design_matrix(used, columns)
    fitted = fit_clustered(design, outcome, names, list(pads), weights)
    estimate, low, high, p = (fitted.estimate, fitted.low, fitted.high, fitted.p) if odds is None else odds()
    unit = "log odds" if spec.chance else COLUMNS[spec.outcome].unit
    kept = [i for i, name in enumerate(names) if name not in fitted.aliased]
    entwined = {kept[at] for at in np.flatnonzero(inflation(design[:, kept]) > MOST_INFLATION)}
    for i, name in enumerate(names):  # separable from others only by assumption: no number
        if i not in kept or i in entwined or name in fitted.one_pad:
            estimate[i] = low[i] = high[i] = p[i] = np.nan
        if i in entwined:
            per[i] = "nearly a combination of other terms: not separable"
        elif name in fitted.one_pad:
            per[i] = "one pad only: not separable"
    shown = [i for i, name in enumerate(names) if name != "constant"]
    p[shown] = holm(p[shown])

    def plain(value: float) -> float | None:
        return None if np.isnan(value) else float(value)

    return [
        {
            "model": spec.name, "term": name, "effect": plain(estimate[i]), "per": per[i], "low": plain(low[i]),
            "high": plain(high[i]), "p_value": plain(p[i]), "unit": unit,
        }
        for i, name in enumerate(names)
        if name != "constant"
    ]  # fmt: skip
