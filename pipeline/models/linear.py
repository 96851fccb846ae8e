"""Least squares with intervals clustered by pad, and detection of aliased terms that have none."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats
from statsmodels.regression.linear_model import OLS

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Fitted:
    """A least-squares fit.

    Attributes
    ----------
    names : list of str
    estimate, low, high : array, shape (k,)
        Coefficients and 95 % limits; NaN for aliased terms.
    aliased : list of str
        Terms that are linear combinations of others and were not fitted.
    residual_sd : float
        Residual standard deviation, in the outcome's unit.
    """

    names: list[str]
    estimate: Array
    low: Array
    high: Array
    aliased: list[str]
    residual_sd: float


def aliased_terms(design: Array, names: list[str]) -> list[str]:
    """Return the terms that are linear combinations of earlier terms.

    Parameters
    ----------
    design : array, shape (n, k)
    names : list of str, length k

    Returns
    -------
    list of str

    Notes
    -----
    A term is aliased if the part of its column not explained by earlier columns is only rounding error.
    """
    scale = np.linalg.norm(design, axis=0)
    columns = design / np.where(scale > 0.0, scale, 1.0)
    kept: list[int] = []
    lost = []
    for index, name in enumerate(names):
        candidate = columns[:, [*kept, index]]
        if scale[index] > 0.0 and np.linalg.matrix_rank(candidate, tol=1e-9) == len(kept) + 1:
            kept.append(index)
        else:
            lost.append(name)
    return lost


def fit_clustered(design: Array, outcome: Array, names: list[str], clusters: list[str]) -> Fitted:
    """Fit by least squares (QR) with standard errors clustered by pad.

    Parameters
    ----------
    design : array, shape (n, k)
        Including the constant column.
    outcome : array, shape (n,)
    names : list of str, length k
    clusters : list of str, length n
        The pad of each row.

    Returns
    -------
    Fitted
        Limits from Student's t with (pads - 1) degrees of freedom; NaN if there are fewer than two pads.

    References
    ----------
    Liang and Zeger, *Biometrika* 73 (1986) 13-22; the small-sample factor G/(G-1) * (n-1)/(n-k).
    """
    lost = aliased_terms(design, names)
    keep = [index for index, name in enumerate(names) if name not in lost]
    estimate = np.full(len(names), np.nan)
    low, high = estimate.copy(), estimate.copy()
    fitted = clustered_covariance(design[:, keep], outcome, clusters)
    estimate[keep] = fitted.estimate
    if fitted.covariance is not None:
        reach = stats.t.ppf(0.975, fitted.pads - 1) * np.sqrt(np.diag(fitted.covariance))
        low[keep], high[keep] = fitted.estimate - reach, fitted.estimate + reach
    return Fitted(names, estimate, low, high, lost, fitted.residual_sd)


@dataclass(frozen=True)
class Clustered:
    """A least-squares fit with errors clustered by pad.

    Attributes
    ----------
    estimate : array, shape (k,)
    covariance : array, shape (k, k), optional
        None with fewer than two pads, or if there are not more rows than columns.
    pads : int
    residual_sd : float
        Residual standard deviation, in the outcome's unit.
    """

    estimate: Array
    covariance: Array | None
    pads: int
    residual_sd: float


def clustered_covariance(design: Array, outcome: Array, clusters: list[str]) -> Clustered:
    """Fit by least squares (QR), with the coefficients' covariance clustered by pad.

    Parameters
    ----------
    design : array, shape (n, k)
        Of full column rank.
    outcome : array, shape (n,)
    clusters : list of str, length n
    """
    codes = np.unique(np.asarray(clusters), return_inverse=True)[1]
    pads = int(codes.max()) + 1 if codes.size else 0
    result = OLS(outcome, design).fit(method="qr")
    covariance = None
    if pads >= 2 and outcome.size > design.shape[1]:
        robust = result.get_robustcov_results("cluster", groups=codes, use_correction=True)
        covariance = np.asarray(robust.cov_params())
    return Clustered(np.asarray(result.params), covariance, pads, float(np.sqrt(result.scale)))
