"""Logistic regression for rare events, with errors clustered by pad and detection of separation."""

from __future__ import annotations

import warnings
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats
from sklearn.exceptions import ConvergenceWarning
from sklearn.linear_model import LogisticRegression

Array = NDArray[np.float64]
LARGEST_ERROR = 1e3
"""A larger standard error indicates that the outcome is separated. [1]"""


@dataclass(frozen=True)
class Logistic:
    """A fitted logistic regression.

    Attributes
    ----------
    estimate, error : array, shape (k,)
        Log odds, and their model-based standard errors.
    clustered : array, shape (k,)
        Standard errors clustered by pad; NaN without clusters.
    log_likelihood : float
    separated : bool
        Whether a combination of columns separates the outcome; if so, unpenalised estimates are meaningless.
    """

    estimate: Array
    error: Array
    clustered: Array
    log_likelihood: float
    separated: bool


def fit_logistic(
    design: Array, outcome: Array, *, penalty: float = 1.0, clusters: NDArray[np.str_] | None = None
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
    clustered = np.full(beta.size, np.nan)
    if clusters is not None and np.unique(clusters).size >= 2:
        names, code = np.unique(clusters, return_inverse=True)
        score = np.zeros((names.size, beta.size))
        np.add.at(score, code, design * (outcome - chance)[:, None])
        meat = score.T @ score * names.size / (names.size - 1.0)
        clustered = np.sqrt(np.diag(bread @ meat @ bread))
    separated = bool(np.abs(error).max() > LARGEST_ERROR or likelihood > -1e-3)
    return Logistic(beta, error, clustered, likelihood, separated)


def odds_limits(fitted: Logistic, pads: int, level: float = 0.95) -> tuple[Array, Array]:
    """Return limits of the log odds from Student's t with pads - 1 degrees of freedom."""
    reach = stats.t.ppf(0.5 + level / 2.0, max(pads - 1, 1)) * fitted.clustered
    return fitted.estimate - reach, fitted.estimate + reach
