"""Trends with few points, and the parts of a change: other jobs, or different performance."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

Array = NDArray[np.float64]
FEWEST_FOR_P = 8
"""With fewer quarters no p value is quoted."""


@dataclass(frozen=True)
class Trend:
    """Kendall's tau against time and its two-sided p; the Theil-Sen slope per step with 95 % limits."""

    tau: float
    p: float
    slope: float
    low: float
    high: float


def mann_kendall(values: Array) -> Trend:
    """Test a monotone trend without assuming its shape.

    Parameters
    ----------
    values : array, shape (n,)
        Equally spaced, three or more.

    Returns
    -------
    Trend

    Notes
    -----
    Kendall's tau-b, from scipy: the p value is exact up to 33 values without ties, else from the normal distribution
    with the variance corrected for ties and no correction for continuity. Serial correlation makes p too small: use
    quarters, not stages.

    References
    ----------
    Mann, *Econometrica* 13 (1945); Kendall (1975); Sen, *JASA* 63 (1968) for the slope.
    """
    tau = stats.kendalltau(np.arange(values.size), values)
    known = bool(np.isfinite(tau.statistic))  # not where all values are the same
    slope = stats.theilslopes(values)
    return Trend(
        float(tau.statistic) if known else 0.0, float(tau.pvalue) if known else 1.0, float(slope.slope),
        float(slope.low_slope), float(slope.high_slope),
    )  # fmt: skip


def trend_p(values: Sequence[float] | None) -> float | None:
    """Return the p value of a trend, or None if there are too few values to quote one."""
    return mann_kendall(np.asarray(values)).p if values and len(values) >= FEWEST_FOR_P else None


def trend_slope(values: Sequence[float] | None) -> float | None:
    """Return Theil and Sen's slope per step, or None with fewer than three values."""
    return mann_kendall(np.asarray(values)).slope if values and len(values) >= 3 else None


def mix_and_performance(
    before: dict[str, tuple[float, int]], after: dict[str, tuple[float, int]]
) -> tuple[float, float, float]:
    """Split the change of a mean between two quarters into mix and performance.

    Parameters
    ----------
    before, after : dict of str to (mean, rows)
        Keyed by class of job (design, rock).

    Returns
    -------
    change, mix, performance : float
        Change of the mean; part due to different shares of the classes; part due to changes within the classes. A
        class present in only one quarter counts as mix. ``change = mix + performance``.

    Notes
    -----
    Shares and means are averaged over both quarters, so that the split does not depend on which comes first.

    References
    ----------
    Kitagawa, *JASA* 50 (1955) 1168-1194.
    """
    total_before, total_after = sum(n for _, n in before.values()), sum(n for _, n in after.values())
    mean_before = sum(value * n for value, n in before.values()) / total_before
    mean_after = sum(value * n for value, n in after.values()) / total_after
    performance = 0.0
    for name in before.keys() & after.keys():
        share = 0.5 * (before[name][1] / total_before + after[name][1] / total_after)
        performance += share * (after[name][0] - before[name][0])
    change = mean_after - mean_before
    return change, change - performance, performance
