"""Proportions of crews against limits that depend on the number of stages and on how much pads of a crew differ."""

from __future__ import annotations

from typing import Any

import numpy as np
import scipy
from numpy.typing import NDArray

Array = NDArray[np.float64]


def counts_by_chance(count: int, target: float, inflation: float = 1.0) -> Any:
    """Return the distribution of events among stages: binomial, or beta-binomial with a larger variance.

    Parameters
    ----------
    count : int
        Stages.
    target : float
        Expected proportion. [1]
    inflation : float
        Variance over that of the binomial; 1 if stages are independent. [1]
    """
    if inflation <= 1.0 or count < 2:
        return scipy.stats.binom(count, target)
    correlation = min((inflation - 1.0) / (count - 1.0), 0.99)
    size = (1.0 - correlation) / correlation
    return scipy.stats.betabinom(count, target * size, (1.0 - target) * size)


def exact_limit(count: int, target: float, tail: float, inflation: float = 1.0) -> float:
    """Return an exact limit of a proportion, interpolated between counts; can be outside 0 to 1.

    Parameters
    ----------
    count, target, inflation
        As in `counts_by_chance`.
    tail : float
        Probability below the limit. [1]

    Returns
    -------
    float
        [1]

    References
    ----------
    Spiegelhalter, *Stat. Med.* 24 (2005) 1185-1202, appendix A.1 (from memory).
    """
    chance = counts_by_chance(count, target, inflation)
    below = np.cumsum(chance.pmf(np.arange(count + 1)))  # its cdf would sum them anew for each count
    r = min(int(np.searchsorted(below, tail, side="right")), count)  # first count whose probability is above the tail
    before = float(below[r - 1]) if r else 0.0
    return float((r - (float(below[r]) - tail) / (float(below[r]) - before)) / count)


def funnel_limits(
    counts: Array, target: float, inflation: float | Array = 1.0, z: float = 1.959964
) -> tuple[Array, Array]:
    """Return limits of proportions, clipped to 0 and 1.

    Parameters
    ----------
    counts : array, shape (k,)
    target : float
        [1]
    inflation : float or array, shape (k,)
        As in `counts_by_chance`.
    z : float
        Normal quantile of the upper tail. [1]
    """
    tail = float(scipy.stats.norm.sf(z))
    each = np.broadcast_to(np.asarray(inflation, dtype=float), counts.shape)
    low = [exact_limit(int(n), target, tail, phi) for n, phi in zip(counts, each, strict=True)]
    high = [exact_limit(int(n), target, 1.0 - tail, phi) for n, phi in zip(counts, each, strict=True)]
    return np.clip(np.asarray(low), 0.0, 1.0), np.clip(np.asarray(high), 0.0, 1.0)


def tail_chance(events: int, count: int, target: float, inflation: float = 1.0) -> float:
    """Return twice the smaller chance of as many events or fewer, or as many or more, at most 1."""
    chance = counts_by_chance(count, target, inflation).pmf(np.arange(count + 1))
    return float(min(1.0, 2.0 * min(chance[: events + 1].sum(), chance[events:].sum())))


def pad_correlation(events: Array, counts: Array, crews: NDArray[np.str_]) -> float | None:
    """Return the correlation of an event between two stages of one crew on one pad, beyond the crew's own proportion.

    Parameters
    ----------
    events, counts : array, shape (m,)
        Of each pad of each crew.
    crews : array of str, shape (m,)

    Returns
    -------
    float or None
        0 if pads of a crew differ no more than by chance; None if no crew worked two pads. [1]

    References
    ----------
    Analysis-of-variance estimator: Ridout, Demétrio and Firth, *Biometrics* 55 (1999) 137-148, here within crews, so
    that a crew that differs from the others does not widen its own limits.
    """
    names, code = np.unique(crews, return_inverse=True)
    n = np.bincount(code, counts)
    own = np.bincount(code, events) / n
    share = events / counts
    between = float(np.sum(counts * (share - own[code]) ** 2))
    within = float(np.sum(counts * share * (1.0 - share)))
    freedom, rest = counts.size - names.size, float(counts.sum()) - counts.size
    if freedom < 1 or rest < 1.0:
        return None
    usual = float(counts.sum() - np.sum(np.bincount(code, counts**2) / n)) / freedom
    above, inside = between / freedom, within / rest
    spread = above + (usual - 1.0) * inside
    return max(0.0, (above - inside) / spread) if spread > 0.0 else 0.0


def inflations(counts: Array, crews: NDArray[np.str_], correlation: float) -> dict[str, float]:
    """Return each crew's variance over that of independent stages: ``sum(n_p*(1 + (n_p - 1)*rho))/n`` over its pads."""
    parts = counts * (1.0 + (counts - 1.0) * correlation)
    return {str(crew): float(parts[crews == crew].sum() / counts[crews == crew].sum()) for crew in np.unique(crews)}
