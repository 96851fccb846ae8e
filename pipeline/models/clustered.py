"""Errors clustered by pad that hold with few pads: CR2 with Satterthwaite degrees of freedom."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import NDArray

Array = NDArray[np.float64]
DETERMINED = 1e-8
"""A cluster whose residuals are determined by the fit up to this share adds nothing to the variance. [1]"""


@dataclass(frozen=True)
class Contrast:
    """A contrast of coefficients: estimate, standard error, degrees of freedom; NaN where it cannot be told."""

    estimate: float
    error: float
    freedom: float

    def reach(self, level: float = 0.95) -> float:
        """Half of the width of its limits."""
        return float(scipy.stats.t.ppf(0.5 + level / 2.0, self.freedom) * self.error)

    @property
    def p(self) -> float:
        """Two-sided p value of no effect."""
        return (
            float(2.0 * scipy.stats.t.sf(abs(self.estimate) / self.error, self.freedom)) if self.error > 0.0 else np.nan
        )


@dataclass(frozen=True)
class Clustered:
    """A least-squares fit with errors clustered by pad.

    Attributes
    ----------
    estimate : array, shape (k,)
    covariance : array, shape (k, k), optional
        CR2; None with fewer than two pads, or if there are not more rows than columns.
    pads : int
    residual_sd : float
        Residual standard deviation, in the outcome's unit.
    one_pad : array, shape (m, k)
        Directions of the coefficients that a single pad determines: they are not separable from the pad's effect.
    """

    estimate: Array
    covariance: Array | None
    pads: int
    residual_sd: float
    one_pad: Array
    _bread: Array
    _scores: Array
    _crossed: Array

    def rests_on_one_pad(self, weights: Array) -> bool:
        """Whether a contrast of the coefficients is determined by a single pad alone."""
        scale = np.linalg.norm(weights) * np.linalg.norm(self.one_pad, axis=1)
        return bool((np.abs(self.one_pad @ weights) > 1e-6 * scale).any())

    def contrast(self, weights: Array) -> Contrast:
        """Return a contrast of the coefficients.

        Parameters
        ----------
        weights : array, shape (k,)

        Notes
        -----
        Degrees of freedom by Satterthwaite's approximation under independent rows of equal variance:
        ``(sum of eigenvalues)**2 / sum of squared eigenvalues`` of the quadratic form that estimates the variance.
        """
        value = float(weights @ self.estimate)
        if self.covariance is None:
            return Contrast(value, np.nan, np.nan)
        if self.rests_on_one_pad(weights):
            return Contrast(np.nan, np.nan, np.nan)
        error = max(float(weights @ self.covariance @ weights), 0.0) ** 0.5
        along = self._bread @ weights
        u = self._scores @ along  # X_g' a_g for each pad, shape (pads, k)
        form = np.diag(np.einsum("i,gij,j->g", along, self._crossed, along)) - u @ self._bread @ u.T
        total, square = np.trace(form), np.sum(form * form)
        return Contrast(value, error, float(total**2 / square) if square > 0.0 else np.nan)


def fit_by_pad(design: Array, outcome: Array, pads: Sequence[str]) -> Clustered:
    """Fit by least squares, with the coefficients' covariance clustered by pad.

    Parameters
    ----------
    design : array, shape (n, k)
        Of full column rank.
    outcome : array, shape (n,)
    pads : sequence of str, length n

    References
    ----------
    Bell and McCaffrey, *Survey Methodology* 28 (2002) 169-181; Pustejovsky and Tipton, *J. Bus. Econ. Stat.* 36 (2018)
    672-683: residuals of a cluster are multiplied by ``(I - H_gg)**-0.5``, which makes the variance unbiased if rows
    are independent.

    Notes
    -----
    ``H_gg = Z Z'`` with ``Z = X_g R`` and ``R R' = (X'X)^-1`` has at most k eigenvalues, so that no matrix of the size
    of a cluster is formed.
    """
    n, k = design.shape
    names, code = np.unique(np.asarray(pads), return_inverse=True)
    q, r = np.linalg.qr(design)
    root = np.linalg.inv(r)  # R of the notes: root @ root.T is the inverse of X'X
    bread = root @ root.T
    estimate = root @ (q.T @ outcome)
    residual = outcome - design @ estimate
    sd = float(np.sqrt(residual @ residual / (n - k))) if n > k else np.nan
    none = np.zeros((names.size, k, k))
    if names.size < 2 or n <= k:
        return Clustered(estimate, None, names.size, sd, np.zeros((0, k)), bread, none, none)
    meat, scores, crossed = np.zeros((k, k)), none.copy(), none.copy()
    alone = []
    order = np.argsort(code, kind="stable")
    parts = [np.split(each[order], np.flatnonzero(np.diff(code[order])) + 1) for each in (design, q, residual)]
    for g, (x, z, e) in enumerate(zip(*parts, strict=True)):
        value, vector = np.linalg.eigh(z.T @ z)
        left = 1.0 - value
        alone += [root @ vector[:, i] for i in np.flatnonzero(left <= DETERMINED)]
        scale = np.where(left > DETERMINED, 1.0 / np.sqrt(np.maximum(left, DETERMINED)), 0.0) - 1.0
        step = np.where(value > DETERMINED, scale / np.maximum(value, DETERMINED), 0.0)
        adjust = (vector * step) @ vector.T  # A_g = I + Z adjust Z'
        own = x + z @ (adjust @ (z.T @ x))  # A_g X_g
        score = own.T @ e
        meat += np.outer(score, score)
        scores[g], crossed[g] = x.T @ own, own.T @ own
    one_pad = np.asarray(alone).reshape(-1, k)
    return Clustered(estimate, bread @ meat @ bread, names.size, sd, one_pad, bread, scores, crossed)


def holm(p: Array) -> Array:
    """Return p values adjusted for their number by Holm's method; NaN stays NaN.

    References
    ----------
    Holm, *Scand. J. Statist.* 6 (1979) 65-70.
    """
    adjusted = np.full(p.size, np.nan)
    known = np.flatnonzero(~np.isnan(p))
    order = known[np.argsort(p[known], kind="stable")]
    worst = 0.0
    for place, index in enumerate(order):
        worst = max(worst, min(1.0, (order.size - place) * float(p[index])))
        adjusted[index] = worst
    return adjusted
