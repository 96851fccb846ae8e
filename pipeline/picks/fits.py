"""Small least-squares fits, compiled because picks run many of them on few samples."""

from __future__ import annotations

import numpy as np

from pipeline.jit import compiled
from pipeline.picks.types import Array


@compiled
def normal(basis: Array, values: Array, size: int) -> Array:
    """Normal equations of a fit by the first rows of a basis: the matrix, with the right-hand side as last column."""
    table = np.zeros((size, size + 1))
    for k in range(values.size):
        for i in range(size):
            table[i, size] += basis[i, k] * values[k]
            for j in range(i + 1):
                table[i, j] += basis[i, k] * basis[j, k]
    for i in range(size):
        for j in range(i):
            table[j, i] = table[i, j]
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
    lags = min(20, n // 4)
    variance = 0.0
    for lag in range(lags + 1):
        together = 0.0
        for k in range(lag, n):
            together += part[k] * part[k - lag]
        variance += (1.0 if lag == 0 else 2.0 * (1.0 - lag / (lags + 1.0))) * together
    return float(np.sqrt(max(variance, 0.0)))
