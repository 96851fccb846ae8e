"""Limits of a mixed model's fixed effects that allow for variances estimated from few pads and wells."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.models.clustered import Contrast

Array = NDArray[np.float64]
SINGULAR = 1e-8
"""Information on the variances, each scaled to 1, with a smaller eigenvalue is singular. [1]"""


@dataclass(frozen=True)
class Adjusted:
    """Covariance of fixed effects, adjusted for the estimation of the variances, and its degrees of freedom.

    Attributes
    ----------
    covariance : array, shape (k, k)
    """

    covariance: Array
    _plain: Array
    _slopes: Array
    _of_variances: Array

    def contrast(self, weights: Array, estimate: Array) -> Contrast:
        """Return a contrast of the fixed effects.

        Parameters
        ----------
        weights, estimate : array, shape (k,)
        """
        error = float(np.sqrt(max(float(weights @ self.covariance @ weights), 0.0)))
        slope = np.einsum("i,qij,j->q", weights, self._slopes, weights) / float(weights @ self._plain @ weights)
        spread = float(slope @ self._of_variances @ slope)  # relative variance of the contrast's variance
        return Contrast(float(weights @ estimate), error, 2.0 / spread if spread > 0.0 else np.nan)


def adjust(
    gram: Array, sums: Array, count: Array, first_of_pad: NDArray[np.int64], variances: tuple[float, float, float],
    rows: int, *, nested: bool,
) -> Adjusted | None:  # fmt: skip
    """Adjust the covariance of a mixed model's fixed effects.

    Parameters
    ----------
    gram : array, shape (k, k)
        Cross products of the design, weighted if rows have weights.
    sums : array, shape (m, k)
        Sums of the design over each well, wells sorted by pad; weighted likewise.
    count : array, shape (m,)
        Rows of each well, or the sum of their weights.
    first_of_pad : array, shape (g,)
        Where each pad begins.
    variances : tuple of float
        Of a row, a well and a pad; that of the pad is infinite if pads are fixed.
    rows : int
        Rows beyond the wells.
    nested : bool
        Whether wells have an effect of their own.

    Returns
    -------
    Adjusted or None
        None if the information on the variances is singular: too few pads and wells.

    Notes
    -----
    V is linear in the variances, so the adjustment has no term of second derivatives. For one contrast the scale of
    the F statistic is 1, and the degrees of freedom are Satterthwaite's. Deviations of rows from their well and the
    wells' sums over the root of their rows are independent; only the second have V that is not diagonal, and it has
    the size of a pad's wells. Fixed pads are projected out of it.

    References
    ----------
    Kenward and Roger, *Biometrics* 53 (1997) 983-997.
    """
    noise, well, pad = variances
    fixed = np.isinf(pad)
    parts = 1 + nested + (not fixed)
    k = gram.shape[0]
    within = gram - (sums / count[:, None]).T @ sums
    normal, slope = within / noise, np.zeros((parts, k, k))
    cross, trace = np.zeros((parts, parts, k, k)), np.zeros((parts, parts))
    slope[0], cross[0, 0], trace[0, 0] = within / noise**2, within / noise**3, rows / noise**2
    for start, stop in zip(first_of_pad, [*first_of_pad[1:], count.size], strict=True):
        root = np.sqrt(count[start:stop])
        x = sums[start:stop] / root[:, None]
        along = [np.eye(root.size)]
        along += [np.diag(root**2)] * nested + [np.outer(root, root)] * (not fixed)
        held = (noise, *[well] * nested, *[pad] * (not fixed))
        inverse = np.linalg.inv(sum(value * one for value, one in zip(held, along, strict=True)))
        if fixed:
            ray = inverse @ root
            inverse = inverse - np.outer(ray, ray) / float(root @ ray)
        weighed = [inverse @ one for one in along]
        solved = inverse @ x
        normal = normal + x.T @ solved
        moved = [one @ solved for one in along]
        for i in range(parts):
            slope[i] += solved.T @ moved[i]
            for j in range(parts):
                cross[i, j] += moved[i].T @ inverse @ moved[j]
                trace[i, j] += float(np.sum(weighed[i] * weighed[j].T))
    plain = np.linalg.inv(normal)
    turned = np.stack([plain @ one @ plain for one in slope])
    first = np.einsum("ij,pqji->pq", plain, cross)
    second = np.einsum("pij,qji->pq", turned, slope)
    information = 0.5 * (trace - 2.0 * first + second)
    size = np.sqrt(np.maximum(np.diag(information), 0.0))
    if (size <= 0.0).any() or np.linalg.eigvalsh(information / np.outer(size, size)).min() < SINGULAR:
        return None
    of_variances = np.linalg.inv(information)
    bent = cross - np.einsum("pij,jk,qkl->pqil", slope, plain, slope)
    more = np.einsum("pq,pqij->ij", of_variances, bent)
    return Adjusted(np.asarray(plain + 2.0 * plain @ more @ plain), np.asarray(plain), turned, of_variances)
