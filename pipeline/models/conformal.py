"""Prediction intervals that are valid on held-out pads: conformal, with the pad as the unit."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def grouped_quantile(scores: Array, groups: NDArray[np.str_], alpha: float) -> float:
    """Return the bound on the score of a row of a held-out pad, from the rows of other pads.

    Parameters
    ----------
    scores : array, shape (n,)
        Absolute errors, each predicted with its own pad held out.
    groups : array of str, shape (n,)
        Pad of each row.
    alpha : float
        Chance of a miss. [1]

    Returns
    -------
    float
        Infinite if there are too few pads (at least nine for 90 %).

    Notes
    -----
    Pads are exchangeable, rows within a pad are not. Each of K pads has weight 1/(K + 1), shared by its rows, and
    the next pad has the same weight at infinity.

    References
    ----------
    Lee, Barber and Willett, *Distribution-free inference with hierarchical data* (2023). With one row per pad it is
    the score of rank ``ceil((n + 1)(1 - alpha))``: Vovk, Gammerman and Shafer, *Algorithmic Learning in a Random World*
    (2005).
    """
    names, code, count = np.unique(groups, return_inverse=True, return_counts=True)
    weight = 1.0 / ((names.size + 1.0) * count[code])
    order = np.argsort(scores)
    mass = np.cumsum(weight[order])
    at = int(np.searchsorted(mass, 1.0 - alpha - 1e-12))
    return float(scores[order][at]) if at < scores.size else float("inf")


def grouped_coverage(scores: Array, groups: NDArray[np.str_], alpha: float) -> tuple[float, float]:
    """Return the mean share of a pad's rows inside the bound from all other pads, and the mean bound.

    NaN if the other pads are too few for a bound.
    """
    names, code, count = np.unique(groups, return_inverse=True, return_counts=True)
    order = np.argsort(scores)
    ordered, pad = scores[order], code[order]
    weight = 1.0 / count[pad]  # one pad fewer bounds each pad; the next pad offsets this
    inside, bounds = [], []
    for name in range(names.size):
        others = pad != name
        mass = np.cumsum(np.where(others, weight, 0.0)) / names.size
        at = int(np.searchsorted(mass, 1.0 - alpha - 1e-12))
        if at >= ordered.size:
            return float("nan"), float("nan")
        inside.append(float((ordered[~others] <= ordered[at]).mean()))
        bounds.append(float(ordered[at]))
    return float(np.mean(inside)), float(np.mean(bounds))
