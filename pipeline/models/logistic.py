"""Logistic regression for rare events, with errors clustered by pad and detection of separation."""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import scipy
from numpy.typing import NDArray

if TYPE_CHECKING:
    from sklearn.linear_model import LogisticRegression

Array = NDArray[np.float64]
PENALTY = 1.0
"""Ridge penalty of the model of a chance; on the sample, one chosen with held-out pads predicted no better. [1]"""
LARGEST_ERROR = 1e3
"""A larger standard error indicates that the outcome is separated. [1]"""


@dataclass(frozen=True)
class Logistic:
    """A fitted logistic regression.

    Attributes
    ----------
    estimate, error : array, shape (k,)
        Log odds, and their model-based standard errors.
    covariance : array, shape (k, k)
        Clustered by pad; NaN without clusters.
    log_likelihood : float
    separated : bool
        Whether a combination of columns separates the outcome; if so, unpenalised estimates are meaningless.
    model : LogisticRegression
        For predictions.
    """

    estimate: Array
    error: Array
    covariance: Array
    log_likelihood: float
    separated: bool
    model: LogisticRegression


def fit_logistic(
    design: Array, outcome: Array, *, penalty: float = PENALTY, clusters: NDArray[np.str_] | None = None
) -> Logistic:
    """Fit by penalised maximum likelihood (scikit-learn); the constant, the first column, is not penalised.

    Parameters
    ----------
    design : array, shape (n, k)
        Constant column first; other columns of about unit scale if a penalty is given.
    outcome : array, shape (n,)
        0 or 1.
    penalty : float
        Ridge penalty on the log odds. [1]
    clusters : array of str, shape (n,), optional
        Pad of each row.

    Returns
    -------
    Logistic

    References
    ----------
    le Cessie and van Houwelingen, *Appl. Statist.* 41 (1992) for the ridge; Liang and Zeger (1986) for clusters.
    """
    from sklearn.exceptions import ConvergenceWarning  # takes a second, and most commands fit nothing
    from sklearn.linear_model import LogisticRegression

    model = LogisticRegression(
        C=1.0 / penalty if penalty else np.inf, solver="newton-cholesky", tol=1e-10, max_iter=200
    )
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", ConvergenceWarning)  # separation is judged below
        model.fit(design[:, 1:], outcome)
    beta = np.concatenate((model.intercept_, model.coef_[0]))
    chance = model.predict_proba(design[:, 1:])[:, 1]
    ridge = np.diag(np.concatenate(([0.0], np.full(beta.size - 1, penalty))))
    weight = np.maximum(chance * (1.0 - chance), 1e-12)
    bread = np.linalg.inv((design * weight[:, None]).T @ design + ridge)
    error = np.sqrt(np.diag(bread))
    likelihood = float(np.sum(np.log(np.where(outcome > 0.5, chance, 1.0 - chance))))
    covariance = np.full((beta.size, beta.size), np.nan)
    if clusters is not None and np.unique(clusters).size >= 2:
        names, code = np.unique(clusters, return_inverse=True)
        score = np.zeros((names.size, beta.size))
        np.add.at(score, code, design * (outcome - chance)[:, None])
        meat = score.T @ score * names.size / (names.size - 1.0)
        covariance = bread @ meat @ bread
    separated = bool(np.abs(error).max() > LARGEST_ERROR or likelihood > -1e-3)
    return Logistic(beta, error, covariance, likelihood, separated, model)


def odds_limits(
    fitted: Logistic, contrasts: Array, pads: int, level: float = 0.95
) -> tuple[Array, Array, Array, Array]:
    """Return estimates and limits of contrasts of the log odds, from Student's t with pads - 1 degrees of freedom.

    Parameters
    ----------
    fitted : Logistic
    contrasts : array, shape (m, k)
        Weights of the fit's columns, one row per contrast.
    pads : int
    level : float

    Returns
    -------
    estimate, low, high, p : array, shape (m,)
        p of no effect, two-sided.
    """
    estimate = contrasts @ fitted.estimate
    error = np.sqrt(np.einsum("ij,jk,ik->i", contrasts, fitted.covariance, contrasts))
    freedom = max(pads - 1, 1)
    reach = scipy.stats.t.ppf(0.5 + level / 2.0, freedom) * error
    p = 2.0 * scipy.stats.t.sf(np.abs(estimate) / error, freedom)
    return estimate, estimate - reach, estimate + reach, p
