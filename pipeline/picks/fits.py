"""Small least-squares fits, compiled because picks run many of them on few samples."""

from __future__ import annotations

import numpy as np

from pipeline.jit import compiled, compiled_sum
from pipeline.picks.types import Array

HARMONIC_DECAY = 2.5
"""The third harmonic of a water hammer dies out this much faster than its first (chosen on records). [1]"""

TURNED, EVEN_S = 32, 1e-9
"""Samples that are turned one after the other, and by how much steps of evenly spaced samples differ. [1], [s]"""


@compiled_sum
def product(one: Array, other: Array) -> float:
    """Sum of the products of two arrays."""
    total = 0.0
    for k in range(one.size):
        total += one[k] * other[k]
    return total


@compiled
def normal(basis: Array, values: Array, size: int) -> Array:
    """Normal equations of a fit by the first rows of a basis: the matrix, with the right-hand side as last column."""
    table = np.empty((size, size + 1))
    for i in range(size):
        table[i, size] = product(basis[i], values)
        for j in range(i + 1):
            table[i, j] = table[j, i] = product(basis[i], basis[j])
    return table


@compiled
def solve(table: Array) -> Array:
    """Solve linear equations, the right side as a last column, by Gauss elimination with pivots; NaN if singular.

    `np.linalg.solve` takes 1.6 times as long for four equations inside compiled code, and raises if they are singular.
    """
    size = len(table)
    rows = table.copy()
    for i in range(size):
        best = i
        for k in range(i + 1, size):
            if abs(rows[k, i]) > abs(rows[best, i]):
                best = k
        for j in range(size + 1):
            rows[i, j], rows[best, j] = rows[best, j], rows[i, j]
        for k in range(i + 1, size):
            factor = rows[k, i] / rows[i, i]
            for j in range(i, size + 1):
                rows[k, j] -= factor * rows[i, j]
    solution = np.empty(size)
    for i in range(size - 1, -1, -1):
        solution[i] = rows[i, size]
        for j in range(i + 1, size):
            solution[i] -= rows[i, j] * solution[j]
        solution[i] /= rows[i, i]
    return solution


@compiled
def intercept(x: Array, y: Array) -> float:
    """Value of the least-squares line at zero."""
    middle, level = x.mean(), y.mean()
    across = along = 0.0
    for k in range(x.size):
        across += (x[k] - middle) * y[k]
        along += (x[k] - middle) ** 2
    return float(level - across / along * middle)


@compiled
def misfit(x: Array, y: Array, intercept: float) -> float:
    """Squared misfit of the least-squares line with a given intercept."""
    slope = (y.mean() - intercept) / x.mean()
    cost = 0.0
    for k in range(x.size):
        cost += (y[k] - intercept - slope * x[k]) ** 2
    return cost


@compiled
def robust_error(x: Array, y: Array, intercept: float) -> float:
    """Standard error of the least-squares line's intercept, valid for autocorrelated residuals.

    Newey and West's estimate with Bartlett's weights over 20 lags, or a quarter of the samples.
    """
    n, middle = x.size, x.mean()
    slope = (y.mean() - intercept) / middle
    along = 0.0
    for value in x:
        along += (value - middle) ** 2
    part = np.empty(n)  # contribution of each sample to the intercept: its weight times its residual
    for k in range(n):
        part[k] = (1.0 / n - middle * (x[k] - middle) / along) * (y[k] - intercept - slope * x[k])
    return newey_west(part)


@compiled
def newey_west(part: Array) -> float:
    """Standard error of a sum of autocorrelated parts: Bartlett's weights over 20 lags, or a quarter of the parts."""
    n = part.size
    lags = min(20, n // 4)
    variance = 0.0
    for lag in range(lags + 1):
        together = product(part[lag:], part[: n - lag])
        variance += (1.0 if lag == 0 else 2.0 * (1.0 - lag / (lags + 1.0))) * together
    return float(np.sqrt(max(variance, 0.0)))


@compiled
def damped_wave(t: Array, omega: float, gamma: float, cosine: Array, sine: Array) -> None:
    """Fill in ``exp(-gamma*t)*cos(omega*t)`` and the same with the sine.

    Evenly spaced samples are turned from one to the next, at most `TURNED` times in a row: a few digits in the last
    place, for a fifth of the time.
    """
    c = s = turn_c = turn_s = 0.0
    step = np.nan
    for k in range(t.size):
        if k % TURNED == 0:
            wave = np.exp(-gamma * t[k])
            c, s = wave * np.cos(omega * t[k]), wave * np.sin(omega * t[k])
        else:
            gap = t[k] - t[k - 1]
            if not abs(gap - step) <= EVEN_S:
                step, wave = gap, np.exp(-gamma * gap)
                turn_c, turn_s = wave * np.cos(omega * gap), wave * np.sin(omega * gap)
            c, s = c * turn_c - s * turn_s, s * turn_c + c * turn_s
        cosine[k], sine[k] = c, s


@compiled
def strongest_wave(t: Array, p: Array, low: float, high: float, ratio: float, gamma: float) -> float:
    """Return the angular frequency at which a damped wave and a square-root decline fit best, on a grid. [rad/s]

    Parameters
    ----------
    t, p : array, shape (n,)
        [s], [psi]
    low, high, ratio : float
        Bounds of the grid [rad/s], and the ratio of its neighbours. [1]
    gamma : float
        Decay of the wave. [1/s]
    """
    n = t.size
    basis = np.empty((4, n))
    for k in range(n):
        basis[0, k], basis[1, k] = 1.0, np.sqrt(t[k])
    count = max(int(np.log(high / low) / np.log(ratio)), 8)
    best, most = np.sqrt(low * high), -np.inf
    for step in range(count):
        omega = low * (high / low) ** (step / (count - 1.0))
        damped_wave(t, omega, gamma, basis[2], basis[3])
        table = normal(basis, p, 4)
        found = solve(table)
        explained = 0.0
        for i in range(4):
            explained += found[i] * table[i, 4]
        if explained > most:
            best, most = omega, explained
    return float(best)


@compiled
def ringing(
    t: Array, p: Array, omega: float, gamma: float, low: float, high: float, power: float, tail_s: float, harmonic: bool
) -> tuple[float, float, float, float, float, float, float]:
    """Fit a decline and a damped wave together (separable least squares, Gauss-Newton on frequency and decay).

    Parameters
    ----------
    t, p : array, shape (n,)
        Seconds since shut-in and pressure. [s], [psi]
    omega, gamma : float
        First guess of angular frequency and decay. [rad/s], [1/s]
    low, high : float
        Bounds of the angular frequency. [rad/s]
    power : float
        Exponent of time in the decline: 0.5 for a square root, 1 for a straight line. [1]
    tail_s : float
        Time constant of a friction tail at the beginning; 0 for none. [s]
    harmonic : bool
        Whether the wave's third harmonic, which dies out sooner, is fitted too.

    Returns
    -------
    omega, omega_error, gamma, amplitude, start, start_error, cost
        [rad/s, rad/s, 1/s, psi, psi, psi, psi**2]; ``start`` is the decline at zero, its error holds for autocorrelated
        residuals. All are NaN if the samples do not determine them; ``cost`` is infinite if the tail would rise.
    """
    n = t.size
    m = 4 + (2 if harmonic else 0) + (1 if tail_s > 0.0 else 0)
    full = np.zeros((m + 2, n))
    for k in range(n):
        full[0, k], full[1, k] = 1.0, t[k] ** power
        if tail_s > 0.0:
            full[m - 1, k] = np.exp(-t[k] / tail_s)
    rest = np.empty(n)
    found = np.zeros(m)
    cost = previous = np.inf
    for _ in range(15):
        damped_wave(t, omega, gamma, full[2], full[3])
        if harmonic:
            damped_wave(t, 3.0 * omega, HARMONIC_DECAY * gamma, full[4], full[5])
        found = solve(normal(full, p, m))
        rest[:] = p
        for i in range(m):
            rest -= found[i] * full[i]
        cost = product(rest, rest)
        for k in range(n):
            full[m, k] = t[k] * (found[3] * full[2, k] - found[2] * full[3, k])
            full[m + 1, k] = -t[k] * (found[2] * full[2, k] + found[3] * full[3, k])
            if harmonic:
                full[m, k] += 3.0 * t[k] * (found[5] * full[4, k] - found[4] * full[5, k])
                full[m + 1, k] -= HARMONIC_DECAY * t[k] * (found[4] * full[4, k] + found[5] * full[5, k])
        step = solve(normal(full, rest, m + 2))
        omega = clip(omega + clip(step[m], -0.1 * omega, 0.1 * omega), low, high)
        gamma = clip(gamma + clip(step[m + 1], -0.5 * gamma, gamma), 1.0 / 300.0, 1.0)
        if abs(previous - cost) < 1e-5 * cost:
            break
        previous = cost
    sigma = np.sqrt(cost / max(n - m - 2, 1))
    table = normal(full, p, m + 2)
    for i in range(m + 2):
        table[i, m + 2] = 1.0 if i == m else 0.0
    omega_error = sigma * np.sqrt(solve(table)[m])
    for i in range(m + 2):
        table[i, m + 2] = 1.0 if i == 0 else 0.0
    weight = solve(table)
    part = np.zeros(n)
    for k in range(n):
        for i in range(m + 2):
            part[k] += weight[i] * full[i, k]
        part[k] *= rest[k]
    amplitude = np.sqrt(found[2] ** 2 + found[3] ** 2)
    if tail_s > 0.0 and not found[m - 1] > 0.0:
        cost = np.inf  # a tail only falls
    return omega, omega_error, gamma, amplitude, found[0], newey_west(part), cost


@compiled
def clip(value: float, low: float, high: float) -> float:
    """Return a value kept between two bounds."""
    return min(max(value, low), high)
