"""Predictions of pads that a model has not seen: each held out, or later than all that it was fitted on."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import polars as pl

from pipeline.models.fitters import Fitter, Linear, pad_folds
from pipeline.models.training import Array, Mask, Places

FEWEST_PADS = 3
OUTER_FOLDS = 8


def out_of_pad(fitter: Fitter, folds: int = OUTER_FOLDS) -> tuple[Array, Array]:
    """Predict every row with its whole pad held out; all fitting uses only other pads.

    Parameters
    ----------
    fitter : Fitter
        A penalty is chosen inside each fold, also with whole pads held out.
    folds : int
        Most groups of pads.

    Returns
    -------
    predicted, mean : array, shape (n,)
        Prediction, and mean of the training rows. With few pads, each pad is held out alone; with more, pads are
        held out in groups.
    """
    table = fitter.table
    names, place = table.by_pad
    fold = pad_folds(np.bincount(place), min(names.size, folds))
    predicted, mean = np.empty_like(table.outcome), np.empty_like(table.outcome)
    for number in range(fold.max() + 1):
        test = table.rows_of(fold == number)
        predicted[test], mean[test] = _predicted(fitter, fold != number, test)
    return predicted, mean


def _predicted(fitter: Fitter, members: Mask, rows: Places) -> tuple[Array, Array]:
    """Predict rows from some pads; the mean of those pads, also where nothing varies on them."""
    outcome = fitter.table.outcome[fitter.table.rows_of(members)]
    mean = np.full(rows.size, outcome.mean())
    if not np.ptp(outcome) > 0.0:
        return mean, mean
    return fitter.fit(members).predict(fitter.table.features[rows]), mean


@dataclass(frozen=True)
class Later:
    """Predictions of pads from earlier pads only: which rows, the model's prediction and the mean of earlier pads."""

    rows: Places
    predicted: Array
    mean: Array


def from_earlier_pads(linear: Linear) -> Later | None:
    """Predict each pad from the pads before it: what a plan for the next pad does.

    Parameters
    ----------
    linear : Linear

    Returns
    -------
    Later or None
        Pads in order of their first quarter, from the fourth on, in up to eight steps; None if the table has no
        calendar time or fewer than four pads.
    """
    table = linear.table
    if "quarters" not in table.used.columns:
        return None
    first = table.used.group_by("pad").agg(pl.col("quarters").min()).drop_nulls().sort("quarters", "pad")
    order = first["pad"].to_numpy().astype(str)
    if order.size <= FEWEST_PADS:
        return None
    rows, predicted, mean = [], [], []
    ends = np.unique(np.linspace(FEWEST_PADS, order.size, min(OUTER_FOLDS, order.size - FEWEST_PADS) + 1).round())
    for start, stop in pairwise(ends.astype(int)):
        test = table.rows_of(np.isin(table.names, order[start:stop]))
        told, plain = _predicted(linear, np.isin(table.names, order[:start]), test)
        rows.append(test)
        predicted.append(told)
        mean.append(plain)
    return Later(np.concatenate(rows), np.concatenate(predicted), np.concatenate(mean))
