"""Least squares with intervals clustered by pad, and detection of aliased terms that have none."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.models.clustered import fit_by_pad

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Fitted:
    """A least-squares fit.

    Attributes
    ----------
    names : list of str
    estimate, low, high : array, shape (k,)
        Coefficients and 95 % limits of each; NaN for aliased terms and those that a single pad determines.
    p : array, shape (k,)
        Two-sided p values of no effect, of each term on its own.
    one_pad : list of str
        Terms that a single pad determines: they are not separable from its effect.
    aliased : list of str
        Terms that are linear combinations of others and were not fitted.
    residual_sd : float
        Residual standard deviation, in the outcome's unit.
    """

    names: list[str]
    estimate: Array
    low: Array
    high: Array
    p: Array
    one_pad: list[str]
    aliased: list[str]
    residual_sd: float


def aliased_terms(design: Array, names: list[str]) -> list[str]:
    """Return the terms that are linear combinations of earlier terms.

    Parameters
    ----------
    design : array, shape (n, k)
    names : list of str, length k

    Returns
    -------
    list of str

    Notes
    -----
    A term is aliased if the part of its column not explained by earlier columns is only rounding error.
    """
    scale = np.linalg.norm(design, axis=0)
    columns = design / np.where(scale > 0.0, scale, 1.0)
    kept: list[int] = []
    lost = []
    for index, name in enumerate(names):
        candidate = columns[:, [*kept, index]]
        if scale[index] > 0.0 and np.linalg.matrix_rank(candidate, tol=1e-9) == len(kept) + 1:
            kept.append(index)
        else:
            lost.append(name)
    return lost


def inflation(design: Array) -> Array:
    """Return how much the other terms inflate the variance of each term; the first column is the constant. [1]

    Notes
    -----
    The variance inflation factor, 1 / (1 - R²) of the term on the others.
    """
    centred = design[:, 1:] - design[:, 1:].mean(axis=0)
    root = np.linalg.inv(np.linalg.qr(centred, mode="r"))
    return np.concatenate(([1.0], np.square(root).sum(axis=1) * np.square(centred).sum(axis=0)))


def fit_clustered(
    design: Array, outcome: Array, names: list[str], clusters: list[str], weights: Array | None = None
) -> Fitted:
    """Fit by least squares with standard errors clustered by pad (CR2).

    Parameters
    ----------
    design : array, shape (n, k)
        Including the constant column.
    outcome : array, shape (n,)
    names : list of str, length k
    clusters : list of str, length n
        The pad of each row.
    weights : array, shape (n,), optional
        Of the rows.

    Returns
    -------
    Fitted
        Limits from Student's t with Satterthwaite's degrees of freedom; NaN with fewer than two pads, and for a term
        that a single pad determines.
    """
    lost = aliased_terms(design, names)
    keep = [index for index, name in enumerate(names) if name not in lost]
    estimate, low, high, p = (np.full(len(names), np.nan) for _ in range(4))
    root = np.ones(outcome.size) if weights is None else np.sqrt(weights)
    fitted = fit_by_pad(design[:, keep] * root[:, None], outcome * root, clusters)
    alone = []
    for weights, index in zip(np.eye(len(keep)), keep, strict=True):
        if fitted.rests_on_one_pad(weights):
            alone.append(names[index])
        term = fitted.contrast(weights)
        reach = term.reach()
        estimate[index], low[index], high[index], p[index] = (
            term.estimate, term.estimate - reach, term.estimate + reach, term.p
        )  # fmt: skip
    return Fitted(names, estimate, low, high, p, alone, lost, fitted.residual_sd)
