"""Rows that a model is fitted on: features as floats, outcome, pads, weights."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.models.columns import Column, predictors
from pipeline.models.design_matrix import design_matrix
from pipeline.models.picker import Picker, picker_errors, picker_of
from pipeline.models.specs import ModelSpec

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
Places = NDArray[np.int64]


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

    @cached_property
    def by_pad(self) -> tuple[NDArray[np.str_], Places]:
        """Names of the pads in alphabetical order, and the place of each row's pad among them."""
        names, place = np.unique(self.pads, return_inverse=True)
        return names, place

    @property
    def names(self) -> NDArray[np.str_]:
        """The pads, in alphabetical order."""
        return self.by_pad[0]

    def rows_of(self, members: Mask) -> Places:
        """Return the rows of some pads, given as a mask of `names`."""
        return np.flatnonzero(members[self.by_pad[1]])


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
