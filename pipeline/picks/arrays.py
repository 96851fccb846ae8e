"""Small operations on samples that every pick needs."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pipeline.picks.record import Array, Mask

GAP_S = 5.0
"""Samples further apart are a gap: nothing is integrated across it. [s]"""


def median(values: Array) -> float:
    """Return the median of the samples that are not void; NaN where there are none.

    The library's own spends most of its time on checks, and picks ask for dozens of medians a stage.
    """
    seen = values[values == values]
    n = seen.size
    if not n:
        return float("nan")
    if n % 2:
        return float(np.partition(seen, n // 2)[n // 2])
    pair = np.partition(seen, (n // 2 - 1, n // 2))
    return float(0.5 * (pair[n // 2 - 1] + pair[n // 2]))


def filled(values: Array, value: float) -> Array:
    """Return the samples with void ones (NaN) set to a value."""
    return np.where(values == values, values, value)


def runs(mask: Mask) -> NDArray[np.intp]:
    """Return the runs of True as rows of (start, stop), stop excluded.

    Parameters
    ----------
    mask : array of bool, shape (n,)

    Returns
    -------
    array of int, shape (m, 2)
    """
    padded = np.zeros(mask.size + 2, dtype=np.int8)
    padded[1:-1] = mask
    edges = np.flatnonzero(np.diff(padded))
    return edges.reshape(-1, 2)


def joined(spans: NDArray[np.intp], time_s: Array, gap_s: float) -> NDArray[np.intp]:
    """Join runs that are less than ``gap_s`` seconds apart."""
    if len(spans) < 2:
        return spans
    gaps = time_s[spans[1:, 0]] - time_s[spans[:-1, 1] - 1]
    keep = gaps >= gap_s
    starts = spans[np.concatenate(([True], keep)), 0]
    stops = spans[np.concatenate((keep, [True])), 1]
    return np.stack((starts, stops), axis=1)


def duration_s(spans: NDArray[np.intp], time_s: Array) -> Array:
    """Return how long each run lasts, from its first to its last sample. [s]"""
    return np.asarray(time_s[spans[:, 1] - 1] - time_s[spans[:, 0]], dtype=float)


def noise_sigma(values: Array) -> float:
    """Estimate the standard deviation of white noise on a slowly changing signal.

    Parameters
    ----------
    values : array, shape (n,)
        NaN is passed over.

    Returns
    -------
    float
        In the unit of the values; 0 for fewer than four samples.

    Notes
    -----
    Median absolute second difference over ``0.6745*sqrt(6)``: trends and single steps do not enter.
    """
    if values.size < 4:
        return 0.0
    second = median(np.abs(values[2:] - 2.0 * values[1:-1] + values[:-2]))
    return 0.0 if second != second else second / (0.6745 * np.sqrt(6.0))


def sample_seconds(time_s: Array) -> Array:
    """Return the time each sample stands for: half the way to each neighbour, nothing across a gap. [s]"""
    step = np.diff(time_s)
    step = np.where(step > GAP_S, 0.0, step)
    weight = np.zeros_like(time_s)
    weight[:-1] += step / 2.0
    weight[1:] += step / 2.0
    return weight


def integral(time_s: Array, values: Array) -> tuple[float, float]:
    """Integrate by trapezoid over true time.

    Parameters
    ----------
    time_s : array, shape (n,)
        [s]
    values : array, shape (n,)
        Per second. NaN is a gap.

    Returns
    -------
    total : float
        Integral over the measured time.
    unmeasured_s : float
        Seconds that no sample pair covers: gaps longer than 5 s and void samples. [s]
    """
    step = np.diff(time_s)
    area = step * (values[1:] + values[:-1]) * 0.5
    bad = (step > GAP_S) | np.isnan(area)
    if bad.any():
        return float(area[~bad].sum()), float(step[bad].sum())
    return float(area.sum()), 0.0


def weighted_quantiles(values: Array, weights: Array, quantiles: list[float]) -> list[float]:
    """Return quantiles of weighted samples (the mass at or below the value)."""
    order = np.argsort(values)
    mass = np.cumsum(weights[order])
    if mass.size == 0 or mass[-1] <= 0.0:
        return [float("nan")] * len(quantiles)
    at = np.searchsorted(mass, np.asarray(quantiles) * mass[-1])
    return [float(v) for v in values[order][np.minimum(at, values.size - 1)]]


def at_time(time_s: Array, moment_s: float) -> int:
    """Return the index of the first sample at or after a moment (the last one where none is)."""
    return min(int(np.searchsorted(time_s, moment_s)), time_s.size - 1)
