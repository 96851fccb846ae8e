"""Fixed effects with pads removed or random, and random wells: restricted maximum likelihood from sums over wells."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import NDArray

from pipeline.models.kenward_roger import Adjusted, adjust

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
        Of the fixed effects, with the variances taken as known.
    pad_variance, well_variance, residual_variance : float
        In the outcome's unit squared; the pads' is infinite if their effects are fixed.
    criterion : float
        -2 log restricted likelihood.
    pads : array of str, shape (g,)
    pad_effect : array, shape (g,)
        Predicted (shrunken) pad effects, in the outcome's unit.
    adjusted : Adjusted, optional
        Covariance and degrees of freedom that allow for the variances being estimated; None if the data hold too
        little information on them.
    """

    estimate: Array
    covariance: Array
    pad_variance: float
    well_variance: float
    residual_variance: float
    criterion: float
    pads: NDArray[np.str_]
    pad_effect: Array
    adjusted: Adjusted | None


class _Sums:
    """Inputs of the likelihood from the rows: cross products, sums and counts of each well, the pad of each well."""

    def __init__(
        self,
        outcome: Array,
        design: Array,
        pads: NDArray[np.str_],
        wells: NDArray[np.str_],
        weights: Array | None = None,
    ) -> None:
        table = np.column_stack((design, outcome))  # several outcomes have a column each
        self.n, self.k = design.shape
        weight = np.ones(self.n) if weights is None else weights
        table_weighed = table * weight[:, None]
        self.gram = table.T @ table_weighed
        self.log_weight = float(np.log(weight).sum())
        self.pads, pad_code = np.unique(pads, return_inverse=True)
        keys = np.char.add(np.char.add(pads.astype(str), "\x1f"), wells.astype(str))
        _, first, well_code = np.unique(keys, return_index=True, return_inverse=True)
        self.count = np.asarray(np.bincount(well_code, weight), dtype=np.float64)
        self.sums = np.zeros((self.count.size, table.shape[1]))
        np.add.at(self.sums, well_code, table_weighed)
        self.well_code, self.pad_of = well_code, pad_code[first]
        self.first_of_pad = np.flatnonzero(np.r_[True, self.pad_of[1:] != self.pad_of[:-1]])  # wells are sorted by pad

    def weighed(self, well_ratio: float, pad_ratio: float) -> tuple[Array, float, Array, Array]:
        """Return ``[X y]' V^-1 [X y]``, log|V|, and inputs for pad effects, V in residual variances.

        A well's block of V is ``I + w 11'``, a pad's adds ``p 11'`` over its wells; both are inverted analytically
        (Sherman and Morrison), so rows have no cost after their well is summed. With p infinite the pads are fixed
        effects, and log|V| has the part that the restricted likelihood adds for them.
        """
        shrink = well_ratio / (1.0 + self.count * well_ratio)
        inner = self.gram - (self.sums * shrink[:, None]).T @ self.sums
        left = self.sums / (1.0 + self.count * well_ratio)[:, None]
        size = self.count / (1.0 + self.count * well_ratio)
        pad_sums = np.add.reduceat(left, self.first_of_pad, axis=0)
        pad_size = np.add.reduceat(size, self.first_of_pad)
        fixed = np.isinf(pad_ratio)
        factor = 1.0 / pad_size if fixed else pad_ratio / (1.0 + pad_ratio * pad_size)
        whole = inner - (pad_sums * factor[:, None]).T @ pad_sums
        of_pads = np.log(pad_size) if fixed else np.log1p(pad_ratio * pad_size)
        log_det = float(np.log1p(self.count * well_ratio).sum() + of_pads.sum()) - self.log_weight
        return np.asarray(whole), log_det, pad_sums, np.asarray(factor)


def _profiled(sums: _Sums, well_ratio: float, pad_ratio: float) -> tuple[float, Array, float, Array]:
    """Return -2 log restricted likelihood at the optimal residual variance, the estimate, that variance, X'V^-1X."""
    whole, log_det, _, _ = sums.weighed(well_ratio, pad_ratio)
    k = sums.k
    normal, right, square = whole[:k, :k], whole[:k, k], whole[k, k]
    factor = np.linalg.cholesky(normal)
    half = np.linalg.solve(factor, right)
    freedom = sums.n - k - (sums.pads.size if np.isinf(pad_ratio) else 0)
    residual = max(float(square - half @ half), 1e-300)
    variance = residual / freedom
    log_normal = 2.0 * float(np.log(np.diag(factor)).sum())
    criterion = freedom * (1.0 + np.log(2.0 * np.pi * variance)) + log_det + log_normal
    return float(criterion), np.linalg.solve(factor.T, half), variance, normal


def fit_mixed(
    outcome: Array,
    design: Array,
    pads: NDArray[np.str_],
    wells: NDArray[np.str_] | None = None,
    *,
    within_pads: bool = False,
    weights: Array | None = None,
) -> Mixed:
    """Fit fixed effects with intercepts of pads and, within them, random intercepts of wells.

    Parameters
    ----------
    outcome : array, shape (n,)
    design : array, shape (n, k)
        Of full column rank, within pads if `within_pads`.
    pads : array of str, shape (n,)
    wells : array of str, shape (n,), optional
        If not given, wells have no effect of their own.
    within_pads : bool
        Whether the effects of pads are fixed: only differences within pads count, so that a crew that was sent to
        harder pads is not charged for them (the estimate with a pad's means as further columns, Mundlak 1978).
        Otherwise they are random.
    weights : array, shape (n,), optional
        A row's variance is the residual variance over its weight.

    Returns
    -------
    Mixed

    Raises
    ------
    numpy.linalg.LinAlgError
        If the columns of the design are linearly dependent.
    ValueError
        If there are not more rows than effects.

    Notes
    -----
    The restricted likelihood is profiled over fixed effects and residual variance; the variance ratios are searched
    from several starts, including the bound of zero. The library's mixed model takes minutes on 50,000 rows and stops
    at a singular matrix on some small ones; this one only needs sums over wells.

    References
    ----------
    Laird and Ware, *Biometrics* 38 (1982) 963-974; Bates et al., *J. Stat. Softw.* 67 (2015) for the criterion;
    Mundlak, *Econometrica* 46 (1978) 69-85.
    """
    scale = float(np.std(outcome)) or 1.0
    sums = _Sums(outcome / scale, design, pads, pads if wells is None else wells, weights)
    if sums.n <= sums.k + (sums.pads.size if within_pads else 0):
        raise ValueError("not more rows than effects")
    free = [name for name, known in (("pad", within_pads), ("well", wells is None)) if not known]

    def ratios(root: Array) -> tuple[float, float]:
        found = dict(zip(free, np.square(root).tolist(), strict=True))
        return found.get("well", 0.0), found.get("pad", np.inf)

    well_ratio, pad_ratio = ratios(_search(lambda root: _profiled(sums, *ratios(root))[0], free))
    value, estimate, variance, normal = _profiled(sums, well_ratio, pad_ratio)
    _, _, pad_sums, factor = sums.weighed(well_ratio, pad_ratio)
    rest = pad_sums[:, sums.k] - pad_sums[:, : sums.k] @ estimate
    covariance = np.asarray(np.linalg.inv(normal) * variance * scale**2, dtype=np.float64)
    effects = np.asarray(factor * rest * scale, dtype=np.float64)
    pad_variance, well_variance, noise = (float(x * variance * scale**2) for x in (pad_ratio, well_ratio, 1.0))
    freedom = sums.n - sums.k - (sums.pads.size if within_pads else 0)
    return Mixed(
        estimate * scale, covariance, pad_variance, well_variance, noise,
        value + 2.0 * freedom * float(np.log(scale)), sums.pads, effects,
        _adjusted(sums, noise, well_variance, pad_variance, wells is not None),
    )  # fmt: skip


def _search(criterion: Callable[[Array], float], free: list[str]) -> Array:
    """Return the square roots of the free variance ratios that minimise a criterion."""
    if not free:
        return np.zeros(0)
    bounds = [(0.0, LARGEST**0.5)] * len(free)
    found = [
        scipy.optimize.minimize(
            criterion, np.asarray(start[: len(free)]), method="L-BFGS-B", bounds=bounds, options={"ftol": 1e-10}
        )
        for start in ((0.6, 0.4), (0.0, 0.0))
    ]
    best = min(found, key=lambda result: float(result.fun))
    polished = scipy.optimize.minimize(
        criterion, best.x, method="Nelder-Mead", bounds=bounds, options={"xatol": 1e-6, "fatol": 1e-9}
    )
    return np.asarray(polished.x if polished.fun <= best.fun else best.x)


def _adjusted(sums: _Sums, noise: float, well: float, pad: float, nested: bool) -> Adjusted | None:
    k = sums.k
    if not noise**3 > 0.0:  # the columns explain everything
        return None
    rows = sums.n - sums.count.size
    return adjust(
        sums.gram[:k, :k], sums.sums[:, :k], sums.count, sums.first_of_pad, (noise, well, pad), rows, nested=nested
    )


def row_weights(
    fitted: Mixed, design: Array, pads: NDArray[np.str_], wells: NDArray[np.str_], weights: Array | None = None
) -> Array:
    """Return what each row contributes to the fixed effects at the variances of a fitted model.

    Parameters
    ----------
    fitted : Mixed
    design : array, shape (n, k)
    pads, wells : array of str, shape (n,)
    weights : array, shape (n,), optional

    Returns
    -------
    array, shape (k, n)
        The estimate of an outcome is ``row_weights @ outcome``.
    """
    sums = _Sums(np.zeros(design.shape[0]), design, pads, wells, weights)
    noise = fitted.residual_variance
    ratio, k = fitted.well_variance / noise, sums.k
    whole, _, pad_sums, factor = sums.weighed(ratio, fitted.pad_variance / noise)
    keep = 1.0 / (1.0 + sums.count * ratio)
    of_well = (
        ratio * keep[:, None] * sums.sums[:, :k] + keep[:, None] * (factor[:, None] * pad_sums[:, :k])[sums.pad_of]
    )
    weight = np.ones(sums.n) if weights is None else weights
    return np.asarray(np.linalg.solve(whole[:k, :k], ((design - of_well[sums.well_code]) * weight[:, None]).T))


def adjusted_for(
    fitted: Mixed, design: Array, pads: NDArray[np.str_], wells: NDArray[np.str_] | None
) -> Adjusted | None:
    """Return covariance and degrees of freedom of another design's fixed effects at a fitted model's variances.

    Parameters
    ----------
    fitted : Mixed
    design : array, shape (n, k)
    pads : array of str, shape (n,)
    wells : array of str, shape (n,), optional
    """
    sums = _Sums(np.zeros(design.shape[0]), design, pads, pads if wells is None else wells)
    return _adjusted(sums, fitted.residual_variance, fitted.well_variance, fitted.pad_variance, wells is not None)
