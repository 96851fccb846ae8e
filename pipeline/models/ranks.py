"""Ranking uncertainty: rank intervals, expected ranks, and the chance of being best."""

from __future__ import annotations

import numpy as np
import scipy
from numpy.typing import NDArray

Array = NDArray[np.float64]
DRAWS = 20_000
GRID = 50
"""Points of the grids over the spread between units and the factor of the covariance."""


def rank_intervals(low: Array, high: Array) -> list[tuple[int, int]]:
    """Return the ranks that are possible under joint intervals; the smallest value is first.

    Parameters
    ----------
    low, high : array, shape (k,)
        Joint limits, in one unit.

    References
    ----------
    Klein, Wright and Wieczorek, *JRSS A* 183 (2020) (from memory).
    """
    below = (high[None, :] < low[:, None]).sum(axis=1)
    apart = (high[None, :] < low[:, None]) | (low[None, :] > high[:, None])
    overlapping = (~apart).sum(axis=1) - 1
    return [(int(1 + b), int(1 + b + o)) for b, o in zip(below, overlapping, strict=True)]


def chance_of_least(value: Array, covariance: Array, freedom: float = np.inf, seed: int = 0) -> Array:
    """Return the chance that each of several units is the smallest. [1]

    Parameters
    ----------
    value : array, shape (k,)
        Estimates in one unit; only their differences count.
    covariance : array, shape (k, k)
    freedom : float
        Degrees of freedom of the covariance.
    seed : int

    Notes
    -----
    Units differ by a normal distribution whose standard deviation is not known: its prior is half-Cauchy, with the
    typical error of a difference as scale (Gelman, *Bayesian Analysis* 1 (2006) 515-534). The covariance is known up
    to a factor with a chi-square distribution. The posterior is summed over a grid of both and sampled.
    """
    k = value.size
    basis = scipy.linalg.null_space(np.ones((1, k)))
    noise, turn = np.linalg.eigh(basis.T @ covariance @ basis)
    noise, seen = np.maximum(noise, 1e-300), turn.T @ (basis.T @ value)
    at = (np.arange(GRID) + 0.5) / GRID
    spread = np.sqrt(noise.mean()) * np.tan(0.5 * np.pi * at)  # equal shares of the prior
    factor = np.ones(1) if np.isinf(freedom) else freedom / scipy.stats.chi2.ppf(at, freedom)
    between, within = spread[None, :, None] ** 2, factor[:, None, None] * noise
    total = between + within
    fit = -0.5 * (np.log(total) + seen**2 / total).sum(axis=2)
    weight = np.exp(fit - fit.max()).ravel()
    rng = np.random.default_rng(seed)
    cell = rng.choice(weight.size, size=DRAWS, p=weight / weight.sum())
    keep = (between / total).reshape(weight.size, -1)[cell]
    noises = np.broadcast_to(within, total.shape).reshape(weight.size, -1)[cell]
    drawn = keep * seen + np.sqrt(keep * noises) * rng.standard_normal(keep.shape)
    least = (drawn @ (basis @ turn).T).argmin(axis=1)
    return np.asarray(np.bincount(least, minlength=k) / DRAWS)
