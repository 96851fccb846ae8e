"""Ranking uncertainty: rank intervals, expected ranks, and the chance of being best."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
DRAWS = 20_000


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


def chance_of_least(value: Array, covariance: Array, seed: int = 0) -> Array:
    """Return the chance that each value is the smallest, by sampling from a joint normal. [1]"""
    rng = np.random.default_rng(seed)
    drawn = rng.multivariate_normal(value, covariance, size=DRAWS, method="eigh")
    return np.asarray(np.bincount(drawn.argmin(axis=1), minlength=value.size) / DRAWS)
