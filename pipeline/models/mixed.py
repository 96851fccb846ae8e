"""Fixed effects with random pads and wells: restricted maximum likelihood from sums over wells."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

Array = NDArray[np.float64]
LARGEST = 50.0
"""A variance component this many times the residual's is the upper bound of the search. [1]"""


@dataclass(frozen=True)
class Mixed:
    """A fitted mixed model.

    Attributes
    ----------
    estimate : array, shape (k,)
        Fixed effects, in the outcome's unit over the column's.
    covariance : array, shape (k, k)
        Of the fixed effects.
    pad_variance, well_variance, residual_variance : float
        In the outcome's unit squared.
    criterion : float
        -2 log restricted likelihood.
    pads : array of str, shape (g,)
    pad_effect : array, shape (g,)
        Predicted (shrunken) pad effects, in the outcome's unit.
    """

    estimate: Array
    covariance: Array
    pad_variance: float
    well_variance: float
    residual_variance: float
    criterion: float
    pads: NDArray[np.str_]
    pad_effect: Array


class _Sums:
    """Inputs of the likelihood from the rows: cross products, sums and counts of each well, the pad of each well."""

    def __init__(self, outcome: Array, design: Array, pads: NDArray[np.str_], wells: NDArray[np.str_]) -> None:
        table = np.column_stack((design, outcome))
        self.n, self.k = design.shape
        self.gram = table.T @ table
        self.pads, pad_code = np.unique(pads, return_inverse=True)
        keys = np.char.add(np.char.add(pads.astype(str), "\x1f"), wells.astype(str))
        _, first, well_code = np.unique(keys, return_index=True, return_inverse=True)
        self.count = np.bincount(well_code).astype(float)
        self.sums = np.zeros((self.count.size, self.k + 1))
        np.add.at(self.sums, well_code, table)
        pad_of = pad_code[first]
        self.first_of_pad = np.flatnonzero(np.r_[True, pad_of[1:] != pad_of[:-1]])  # wells are sorted by pad

    def weighed(self, well_ratio: float, pad_ratio: float) -> tuple[Array, float, Array, Array]:
        """Return ``[X y]' V^-1 [X y]``, log|V|, and inputs for pad effects, V in residual variances.

        A well's block of V is ``I + w 11'``, a pad's adds ``p 11'`` over its wells; both are inverted analytically
        (Sherman and Morrison), so rows have no cost after their well is summed.
        """
        shrink = well_ratio / (1.0 + self.count * well_ratio)
        inner = self.gram - (self.sums * shrink[:, None]).T @ self.sums
        left = self.sums / (1.0 + self.count * well_ratio)[:, None]
        size = self.count / (1.0 + self.count * well_ratio)
        pad_sums = np.add.reduceat(left, self.first_of_pad, axis=0)
        pad_size = np.add.reduceat(size, self.first_of_pad)
        factor = pad_ratio / (1.0 + pad_ratio * pad_size)
        whole = inner - (pad_sums * factor[:, None]).T @ pad_sums
        log_det = float(np.log1p(self.count * well_ratio).sum() + np.log1p(pad_ratio * pad_size).sum())
        return np.asarray(whole), log_det, pad_sums, np.asarray(factor)


def _profiled(sums: _Sums, well_ratio: float, pad_ratio: float) -> tuple[float, Array, float, Array]:
    """Return -2 log restricted likelihood at the optimal residual variance, the estimate, that variance, X'V^-1X."""
    whole, log_det, _, _ = sums.weighed(well_ratio, pad_ratio)
    k = sums.k
    normal, right, square = whole[:k, :k], whole[:k, k], whole[k, k]
    factor = np.linalg.cholesky(normal)
    half = np.linalg.solve(factor, right)
    freedom = sums.n - k
    residual = max(float(square - half @ half), 1e-300)
    variance = residual / freedom
    log_normal = 2.0 * float(np.log(np.diag(factor)).sum())
    criterion = freedom * (1.0 + np.log(2.0 * np.pi * variance)) + log_det + log_normal
    return float(criterion), np.linalg.solve(factor.T, half), variance, normal


def fit_mixed(outcome: Array, design: Array, pads: NDArray[np.str_], wells: NDArray[np.str_] | None = None) -> Mixed:
    """Fit fixed effects with random intercepts of pads and, within them, wells.

    Parameters
    ----------
    outcome : array, shape (n,)
    design : array, shape (n, k)
        Of full column rank.
    pads : array of str, shape (n,)
    wells : array of str, shape (n,), optional
        If not given, only pads are random.

    Returns
    -------
    Mixed

    Raises
    ------
    numpy.linalg.LinAlgError
        If the columns of the design are linearly dependent.

    Notes
    -----
    The restricted likelihood is profiled over fixed effects and residual variance; the two variance ratios are
    searched from several starts, including the bound of zero. The library's mixed model takes minutes on 50,000
    rows and stops at a singular matrix on some small ones; this one only needs sums over wells.

    References
    ----------
    Laird and Ware, *Biometrics* 38 (1982) 963-974; Bates et al., *J. Stat. Softw.* 67 (2015) for the criterion.
    """
    scale = float(np.std(outcome)) or 1.0
    sums = _Sums(outcome / scale, design, pads, pads if wells is None else wells)
    single = wells is None

    def criterion(root: Array) -> float:
        pad, well = root[0] ** 2, 0.0 if single else root[1] ** 2
        return _profiled(sums, well, pad)[0]

    starts = [(0.6, 0.4), (0.0, 0.0)]
    bounds = [(0.0, LARGEST**0.5)] * (1 if single else 2)
    found = [
        minimize(criterion, np.asarray(start[: len(bounds)]), method="L-BFGS-B", bounds=bounds, options={"ftol": 1e-10})
        for start in starts
    ]
    best = min(found, key=lambda result: float(result.fun))
    polished = minimize(criterion, best.x, method="Nelder-Mead", bounds=bounds, options={"xatol": 1e-6, "fatol": 1e-9})
    root = polished.x if polished.fun <= best.fun else best.x
    pad_ratio, well_ratio = float(root[0] ** 2), 0.0 if single else float(root[1] ** 2)
    value, estimate, variance, normal = _profiled(sums, well_ratio, pad_ratio)
    _, _, pad_sums, factor = sums.weighed(well_ratio, pad_ratio)
    rest = pad_sums[:, sums.k] - pad_sums[:, : sums.k] @ estimate
    covariance = np.asarray(np.linalg.inv(normal) * variance * scale**2, dtype=np.float64)
    effects = np.asarray(factor * rest * scale, dtype=np.float64)
    return Mixed(
        estimate * scale, covariance, pad_ratio * variance * scale**2, well_ratio * variance * scale**2,
        variance * scale**2, value + 2.0 * (sums.n - sums.k) * float(np.log(scale)), sums.pads, effects,
    )  # fmt: skip


def covariance_of(design: Array, pads: NDArray[np.str_], wells: NDArray[np.str_], fitted: Mixed) -> Array:
    """Return the covariance of a design's fixed effects, given a fitted model's variances.

    Parameters
    ----------
    design : array, shape (n, k)
    pads, wells : array of str, shape (n,)
    fitted : Mixed

    Returns
    -------
    array, shape (k, k)
    """
    sums = _Sums(np.zeros(design.shape[0]), design, pads, wells)
    noise = fitted.residual_variance
    whole, _, _, _ = sums.weighed(fitted.well_variance / noise, fitted.pad_variance / noise)
    return np.asarray(np.linalg.inv(whole[: sums.k, : sums.k]) * noise)
