"""Who may be first: rank intervals, expected ranks, and the chance of being best."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import stats

Array = NDArray[np.float64]
DRAWS = 20_000


def rank_intervals(low: Array, high: Array) -> list[tuple[int, int]]:
    """Return the ranks that joint intervals leave open, the smallest value being first.

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


def bonferroni_limits(value: Array, error: Array, alpha: float = 0.05) -> tuple[Array, Array]:
    """Return joint normal limits of k values: each at ``1 - alpha/k``."""
    reach = stats.norm.ppf(1.0 - alpha / (2.0 * value.size)) * error
    return value - reach, value + reach


def expected_ranks(value: Array, error: Array) -> Array:
    """Return expected ranks under independent normal errors: one plus the chance of each other being smaller."""
    apart = (value[:, None] - value[None, :]) / np.sqrt(error[:, None] ** 2 + error[None, :] ** 2)
    chance = stats.norm.cdf(apart)
    np.fill_diagonal(chance, 0.0)
    return np.asarray(1.0 + chance.sum(axis=1))


def chance_of_least(value: Array, covariance: Array, seed: int = 0) -> Array:
    """Return the chance that each value is the smallest, by drawing from a joint normal. [1]"""
    rng = np.random.default_rng(seed)
    drawn = rng.multivariate_normal(value, covariance, size=DRAWS, method="eigh")
    return np.asarray(np.bincount(drawn.argmin(axis=1), minlength=value.size) / DRAWS)
