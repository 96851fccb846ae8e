"""How much of an outcome's spread is the picker's own error, and what weight each row has because of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.models.columns import COLUMNS

Array = NDArray[np.float64]
LEAST_OWN = 0.1
"""Least share of the spread that is taken as the jobs' own. [1]"""


def picker_errors(used: pl.DataFrame, outcome: str) -> Array | None:
    """Return the standard error of each row's outcome, in its unit; None if the outcome is not picked.

    A pick without a standard error has the median of the others.
    """
    name = COLUMNS[outcome].error
    if name is None or name not in used.columns or used[name].is_null().all():
        return None
    errors = used[name].fill_null(used[name].median())
    return np.asarray(np.abs(errors.to_numpy().astype(float)))


@dataclass(frozen=True)
class Picker:
    """The picker's part of a spread.

    Attributes
    ----------
    share : float
        Of the residual variance of a fit without weights; above 1 if the picker's errors are larger than the spread.
    own_variance : float
        What is left for the jobs themselves, in the outcome's squared unit.
    """

    share: float
    own_variance: float

    @property
    def words(self) -> str:
        """The share as a text."""
        return "under 1 %" if self.share < 0.01 else f"{100.0 * min(self.share, 1.0):.0f} %"

    def weights(self, errors: Array) -> Array:
        """Weights of rows: ``own/(own + error**2)``, so that rows that were picked badly count less."""
        return np.asarray(self.own_variance / (self.own_variance + np.square(errors)))


def picker_of(errors: Array | None, variance: float) -> Picker | None:
    """Split a residual variance into the picker's part and the jobs' own.

    Parameters
    ----------
    errors : array, shape (n,), optional
        Standard errors, in the outcome's unit; None if the outcome is not picked.
    variance : float
        In the squared unit.

    Notes
    -----
    The jobs' own variance is what the picker's leaves (method of moments, as DerSimonian and Laird do for studies), but
    a tenth of the whole at least.
    """
    if errors is None or not variance > 0.0:
        return None
    share = float(np.square(errors).mean() / variance)
    return Picker(share, variance * max(1.0 - share, LEAST_OWN))
