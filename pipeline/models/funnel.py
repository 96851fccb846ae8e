"""Proportions of crews against limits that depend on the number of stages."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

Array = NDArray[np.float64]
WINSOR = 0.1
"""Share of values winsorised at each end before over-dispersion is estimated. [1]"""


def binomial_limit(count: int, target: float, tail: float) -> float:
    """Return an exact binomial limit of a proportion, interpolated between counts; can be outside 0 to 1.

    Parameters
    ----------
    count : int
        Stages.
    target : float
        Expected proportion of all crews. [1]
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
    r = int(stats.binom.ppf(tail, count, target))
    while stats.binom.cdf(r, count, target) <= tail:
        r += 1
    above, below = stats.binom.cdf(r, count, target), stats.binom.cdf(r - 1, count, target)
    return float((r - (above - tail) / (above - below)) / count)


@dataclass(frozen=True)
class Dispersion:
    """Over-dispersion of crews: z scores, their mean square, the winsorised mean square, and the added variance."""

    z: Array
    phi: float
    phi_winsorised: float
    tau2: float


def over_dispersion(events: Array, counts: Array, target: float) -> Dispersion:
    """Test whether proportions scatter by more than chance.

    Parameters
    ----------
    events, counts : array, shape (k,)
    target : float
        [1]

    References
    ----------
    Spiegelhalter, *Qual. Saf. Health Care* 14 (2005) 347-351: the additive random-effects form.
    """
    error = np.sqrt(target * (1.0 - target) / counts)
    z = (events / counts - target) / error
    k, cut = z.size, int(np.floor(WINSOR * z.size))
    ordered = np.sort(z)
    pulled = np.clip(z, ordered[cut], ordered[k - 1 - cut])
    phi, phi_w = float(np.mean(z**2)), float(np.mean(pulled**2))
    w = 1.0 / error**2
    spare = w.sum() - np.square(w).sum() / w.sum()
    tau2 = max(0.0, (k * phi_w - (k - 1)) / spare) if spare > 0.0 else 0.0
    return Dispersion(z, phi, phi_w, float(tau2))


def funnel_limits(counts: Array, target: float, tau2: float, z: float = 1.959964) -> tuple[Array, Array]:
    """Return limits that allow for over-dispersion, clipped to 0 and 1; exact binomial if there is none.

    Parameters
    ----------
    counts : array, shape (k,)
    target, tau2 : float
    z : float
        Normal quantile of the upper tail. [1]
    """
    if tau2 > 0.0:
        reach = z * np.sqrt(target * (1.0 - target) / counts + tau2)
        return np.clip(target - reach, 0.0, 1.0), np.clip(target + reach, 0.0, 1.0)
    tail = float(stats.norm.sf(z))
    low = np.asarray([binomial_limit(int(n), target, tail) for n in counts])
    high = np.asarray([binomial_limit(int(n), target, 1.0 - tail) for n in counts])
    return np.clip(low, 0.0, 1.0), np.clip(high, 0.0, 1.0)
