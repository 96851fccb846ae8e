"""Small operations on samples that every pick needs.

Numba knows numpy's own functions. Where they were slower on 7,200 samples, a loop is kept: compiled, `np.where` takes
1.9 times as long as `filled`. What orders many samples is numpy's, called from Python.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from pipeline.jit import compiled, compiled_sum
from pipeline.picks.types import Array, Mask

GAP_S = 5.0
"""Samples further apart than this, and than three usual steps, form a gap; nothing is integrated across it. [s]"""
GAP_STEPS = 3.0
"""Usual (median) steps that a gap is longer than. [1]"""
MANY = 500
"""Samples from which numpy, which orders several at a time, is faster than a loop. [1]"""


def median(values: Array) -> float:
    """Return the median of the samples that are not void; NaN if there are none."""
    if values.size < MANY:
        return _median(values)
    seen = values[~np.isnan(values)] if np.isnan(values.min()) else values
    half = seen.size // 2
    if seen.size < MANY:
        return _median(seen)
    parted = np.partition(seen, half)
    return float(parted[half] if seen.size % 2 else 0.5 * (parted[:half].max() + parted[half]))


@compiled
def _median(values: Array) -> float:
    seen = np.empty(values.size)
    n = 0
    for value in values:
        if value == value:
            seen[n] = value
            n += 1
    return _middle(seen, n)


@compiled
def _middle(seen: Array, n: int) -> float:
    """Median of the first n samples, none of which may be void; the samples are reordered in place."""
    if n == 0:
        return np.nan
    half = n // 2
    upper = _nth(seen, n, half)
    if n % 2:
        return upper
    lower = seen[0]
    for k in range(1, half):
        lower = max(lower, seen[k])
    return float(0.5 * (lower + upper))


@compiled
def _nth(seen: Array, n: int, k: int) -> float:
    """Value at index k if the first n were sorted; smaller values are moved before it (Hoare's selection)."""
    low, high = 0, n - 1
    while low < high:
        i, j, _ = _parted(seen, None, low, high)
        if k <= j:
            high = j
        elif k >= i:
            low = i
        else:
            break
    return float(seen[k])


@compiled
def _parted(seen: Array, weights: Array | None, low: int, high: int) -> tuple[int, int, float]:
    """Partition samples by a pivot: up to j none is larger, from i on none is smaller. Weights are moved with them."""
    pivot = seen[(low + high) // 2]
    i, j = low, high
    while i <= j:
        while seen[i] < pivot:
            i += 1
        while seen[j] > pivot:
            j -= 1
        if i <= j:
            seen[i], seen[j] = seen[j], seen[i]
            if weights is not None:
                weights[i], weights[j] = weights[j], weights[i]
            i += 1
            j -= 1
    return i, j, float(pivot)


def percentile(values: Array, percent: float) -> float:
    """Return a percentile of samples, interpolated as in numpy; NaN if any of them is void."""
    n = values.size
    if n == 0 or np.isnan(values.min()):
        return float("nan")
    place = percent / 100.0 * (n - 1)
    k = int(place)
    parted = np.partition(values, k)
    if k + 1 >= n:
        return float(parted[k])
    return float(parted[k] + (place - k) * (parted[k + 1 :].min() - parted[k]))


@compiled
def filled(values: Array, value: float) -> Array:
    """Return the samples with void samples (NaN) set to a value."""
    out = values.copy()
    for k in range(out.size):
        if out[k] != out[k]:
            out[k] = value
    return out


@compiled
def highest(values: Array) -> int:
    """Return the index of the first highest sample that is not void; 0 if all are void."""
    top = -1
    for k in range(values.size):
        if values[k] == values[k] and (top < 0 or values[k] > values[top]):
            top = k
    return max(top, 0)


@compiled
def highest_of_last(values: Array, size: int) -> Array:
    """Return, for each sample, the highest of so many samples that end with it; the first ones look ahead instead."""
    found = np.empty(values.size)
    falling = np.empty(values.size, np.intp)  # places of samples of the window that no later one exceeds
    head = tail = 0
    for k in range(values.size):
        while tail > head and values[falling[tail - 1]] <= values[k]:
            tail -= 1
        falling[tail] = k
        tail += 1
        if falling[head] <= k - size:
            head += 1
        found[k] = values[falling[head]]
    first = found[: size - 1].copy()
    for k in range(first.size):
        found[k] = first[min(max(k, size - 2 - k), first.size - 1)]
    return found


@compiled
def largest(values: Array, least: float) -> float:
    """Return the largest of a lower bound and the samples that are not void."""
    top = least
    for value in values:
        if value > top:
            top = value
    return top


@compiled
def mean(values: Array) -> float:
    """Return the mean of the samples that are not void; NaN if there are none."""
    total, seen = 0.0, 0
    for value in values:
        if value == value:
            total += value
            seen += 1
    return total / seen


@compiled
def first_above(values: Array, limit: float) -> int:
    """Return the index of the first sample above a limit; as many as there are samples if none is."""
    for k in range(values.size):
        if values[k] > limit:
            return k
    return int(values.size)


@compiled
def deviation(values: Array) -> float:
    """Return the standard deviation of the samples that are not void; NaN if there are none."""
    return float(np.nanstd(values))


@compiled
def runs(mask: Mask) -> NDArray[np.intp]:
    """Return the runs of True as rows of (start, stop), stop exclusive.

    Parameters
    ----------
    mask : array of bool, shape (n,)

    Returns
    -------
    array of int, shape (m, 2)
    """
    count, before = 0, False
    for now in mask:
        if now and not before:
            count += 1
        before = now
    spans = np.empty((count, 2), np.intp)
    row, before = 0, False
    for k in range(mask.size):
        now = mask[k]
        if now and not before:
            spans[row, 0] = k
        elif before and not now:
            spans[row, 1] = k
            row += 1
        before = now
    if before:
        spans[row, 1] = mask.size
    return spans


@compiled
def joined(spans: NDArray[np.intp], time_s: Array, gap_s: float) -> NDArray[np.intp]:
    """Join runs separated by less than ``gap_s`` seconds."""
    out = spans.copy()
    last = 0
    for row in range(1, len(spans)):
        if time_s[spans[row, 0]] - time_s[spans[row - 1, 1] - 1] >= gap_s:
            last += 1
            out[last, 0] = spans[row, 0]
        out[last, 1] = spans[row, 1]
    return out[: min(last + 1, len(spans))]


@compiled
def duration_s(spans: NDArray[np.intp], time_s: Array) -> Array:
    """Return the duration of each run, from its first to its last sample. [s]"""
    found = np.empty(len(spans))
    for row in range(len(spans)):
        found[row] = time_s[spans[row, 1] - 1] - time_s[spans[row, 0]]
    return found


@compiled
def lasting(spans: NDArray[np.intp], time_s: Array, least_s: float) -> NDArray[np.intp]:
    """Return the runs that last for a time or longer."""
    return spans[duration_s(spans, time_s) >= least_s]


@compiled
def noise_sigma(values: Array) -> float:
    """Estimate the standard deviation of white noise on a slowly changing signal.

    Parameters
    ----------
    values : array, shape (n,)
        NaN is skipped.

    Returns
    -------
    float
        In the unit of the values; 0 for fewer than four samples.

    Notes
    -----
    Median absolute second difference over ``0.6745*sqrt(6)``: trends and single steps have no effect.
    """
    if values.size < 4:
        return 0.0
    seen = np.empty(values.size - 2)
    n = 0
    for k in range(seen.size):
        second = values[k + 2] - 2.0 * values[k + 1] + values[k]
        if second == second:
            seen[n] = abs(second)
            n += 1
    return 0.0 if n == 0 else _middle(seen, n) / (0.6745 * np.sqrt(6.0))


@compiled
def noisier(values: Array, sigma: float) -> bool:
    """Return whether `noise_sigma` is above a limit: mostly clear from counting, without a median."""
    limit = sigma * 0.6745 * np.sqrt(6.0)
    seen = above = below = 0
    for k in range(values.size - 2):
        second = abs(values[k + 2] - 2.0 * values[k + 1] + values[k])
        if second == second:
            seen += 1
            above += second > 1.01 * limit
            below += second < 0.99 * limit
    if above > seen // 2 and values.size >= 4:
        return True
    return False if below > seen // 2 else bool(noise_sigma(values) > sigma)


def usual_step_s(time_s: Array) -> float:
    """Return the median step between samples; NaN for fewer than two. [s]"""
    steps = time_s[1:] - time_s[:-1]
    usual = _of_most(steps)
    return median(steps) if np.isnan(usual) else usual


@compiled
def _of_most(values: Array) -> float:
    """Return the value that more than half of the samples have, which is their median; NaN if there is none."""
    chosen, lead = np.nan, 0  # Boyer and Moore's vote
    for value in values:
        if value == chosen:
            lead += 1
        elif lead:
            lead -= 1
        else:
            chosen, lead = value, 1
    return chosen if np.count_nonzero(values == chosen) > values.size // 2 else np.nan


@compiled
def first_gap(time_s: Array, longest_s: float) -> int:
    """Return the index of the first sample after a step longer than a limit; as many as there are if none is."""
    for k in range(1, time_s.size):
        if time_s[k] - time_s[k - 1] > longest_s:
            return k
    return int(time_s.size)


@compiled
def gap_limit_s(time_s: Array) -> float:
    """Return the longest step between samples that is not a gap: 5 s, or three median steps if that is longer. [s]"""
    short = 0
    for k in range(1, time_s.size):
        if time_s[k] - time_s[k - 1] <= GAP_S / GAP_STEPS:
            short += 1
    if short > (time_s.size - 1) // 2 or time_s.size < 2:  # so is the median step
        return GAP_S
    return max(GAP_S, GAP_STEPS * _median(time_s[1:] - time_s[:-1]))


@compiled
def sample_seconds(time_s: Array) -> Array:
    """Return the time represented by each sample: half the interval to each neighbour, nothing across a gap. [s]"""
    weight, limit = np.zeros(time_s.size), gap_limit_s(time_s)
    for k in range(1, time_s.size):
        step = time_s[k] - time_s[k - 1]
        if step <= limit:
            weight[k - 1] += 0.5 * step
            weight[k] += 0.5 * step
    return weight


@compiled
def integral(time_s: Array, values: Array) -> tuple[float, float]:
    """Integrate by the trapezoidal rule over true time.

    Parameters
    ----------
    time_s : array, shape (n,)
        [s]
    values : array, shape (n,)
        Per second. A NaN is no sample: the time between its neighbours counts if it is no gap.

    Returns
    -------
    total : float
        Integral over the measured time.
    unmeasured_s : float
        Seconds not covered by a pair of samples: gaps (see `gap_limit_s`), and void samples before the first or after
        the last value. [s]
    """
    limit = gap_limit_s(time_s)
    total = unmeasured = 0.0
    before = -1
    for k in range(values.size):
        if values[k] != values[k]:
            continue
        if before < 0:
            unmeasured += time_s[k] - time_s[0]
        else:
            step = time_s[k] - time_s[before]
            if step > limit:
                unmeasured += step
            else:
                total += 0.5 * step * (values[k] + values[before])
        before = k
    if values.size:
        unmeasured += time_s[values.size - 1] - time_s[max(before, 0)]
    return total, unmeasured


@compiled
def most_in_gaps(time_s: Array, values: Array) -> float:
    """Return the most that the unmeasured time can hold: its seconds times the higher of the values beside it.

    The gaps are those that `integral` leaves out; values are per second.
    """
    limit, most, before = gap_limit_s(time_s), 0.0, 0
    for k in range(1, values.size):
        if values[k] != values[k]:
            continue
        step = time_s[k] - time_s[before]
        if step > limit or values[before] != values[before]:
            known = values[before] if values[before] == values[before] else 0.0
            most += step * max(known, values[k])
        before = k
    return most


@compiled_sum
def weighted_mean(values: Array, weights: Array, mask: Mask) -> tuple[float, float]:
    """Return the weighted mean of samples, NaN if any of them is void, and their total weight."""
    total = mass = 0.0
    for k in range(values.size):
        total += values[k] * weights[k] if mask[k] else 0.0
        mass += weights[k] if mask[k] else 0.0
    return total / mass, mass


def weighted_quantiles(values: Array, weights: Array, shares: Sequence[float]) -> list[float]:
    """Return quantiles of weighted samples: the lowest value with at least a share of the weight at or below it."""
    seen, mass = values.copy(), weights.copy()
    total = mass.sum()
    if not total > 0.0:
        return [float("nan")] * len(shares)
    if mass.min() == mass.max():  # as many samples as make up the share
        places = [min(max(math.ceil(share * seen.size) - 1, 0), seen.size - 1) for share in shares]
        seen.partition(places)
        return [float(seen[place]) for place in places]
    return [_weighted_nth(seen, mass, share * total) for share in shares]


@compiled
def pumped_in(rate: Array, conc: Array, seconds: Array) -> tuple[Array, Array]:
    """Return the volume pumped in until each sample [bbl], and the concentration times volume. [ppa*bbl]

    Parameters
    ----------
    rate, conc, seconds : array, shape (n,)
        [bbl/min], [ppa], [s]; void samples add nothing.
    """
    pumped, loaded = np.empty(rate.size), np.empty(rate.size)
    volume_in = load_in = 0.0
    for k in range(rate.size):
        step = rate[k] * seconds[k] / 60.0 if rate[k] == rate[k] else 0.0
        volume_in += step
        load_in += step * conc[k] if conc[k] > 0.0 else 0.0
        pumped[k], loaded[k] = volume_in, load_in
    return pumped, loaded


@compiled
def behind(pumped: Array, loaded: Array, volume: float) -> Array:
    """Return what of the load has left a pipe of a volume [bbl] until each sample, if nothing mixes in it.

    The volume pumped in and its load are as of `pumped_in`.
    """
    out = np.zeros(pumped.size)
    at = 0
    for k in range(pumped.size):
        left = pumped[k] - volume
        if left < pumped[0]:
            continue
        while at < k and pumped[at + 1] <= left:
            at += 1
        out[k] = loaded[at]
        if pumped[at] < left and at < k:
            out[k] += (loaded[at + 1] - loaded[at]) / (pumped[at + 1] - pumped[at]) * (left - pumped[at])
    return out


@compiled
def _weighted_nth(seen: Array, weights: Array, target: float) -> float:
    """Lowest value whose cumulative weight reaches a target; the samples are reordered in place."""
    low, high, below = 0, seen.size - 1, 0.0
    while low < high:
        i, j, pivot = _parted(seen, weights, low, high)
        left = below
        for k in range(low, j + 1):
            left += weights[k]
        if left >= target:
            high = j
            continue
        for k in range(j + 1, i):  # at most one: equal to the pivot
            left += weights[k]
        if left >= target:
            return pivot
        low, below = i, left
    return float(seen[low]) if low < seen.size else float(seen.max())


@compiled
def at_time(time_s: Array, moment_s: float) -> int:
    """Return the index of the first sample at or after a moment (the last one where there is none)."""
    index: int = np.searchsorted(time_s, moment_s)  # type: ignore[assignment]
    return min(index, time_s.size - 1)


@compiled
def ahead(time_s: Array, seconds: float) -> NDArray[np.intp]:
    """Return, for each sample, the first sample later by a number of seconds (the last sample if there is none)."""
    n = time_s.size
    index = np.empty(n, np.intp)
    later = 0
    for k in range(n):
        while later < n - 1 and time_s[later] < time_s[k] + seconds:
            later += 1
        index[k] = later
    return index


@compiled
def median3(values: Array) -> Array:
    """Running median of three: removes single-sample spikes and keeps edges in place."""
    out = values.copy()
    for k in range(1, values.size - 1):
        one, two, three = values[k - 1], values[k], values[k + 1]
        if one != one or three != three:
            out[k] = np.nan
        elif two == two:
            out[k] = max(min(one, two), min(max(one, two), three))
    return out
