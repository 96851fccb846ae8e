"""Shrinkage of uncertain differences towards no difference."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Shrunken:
    """Shrunken values of several units.

    Attributes
    ----------
    value, error : array, shape (k,)
        Shrunken values and their standard errors, in the unit of the input.
    tau2 : float
        Variance between units beyond sampling error, in the squared unit.
    mean, mean_error : float
        Weighted mean towards which the values are shrunken, and its standard error.
    heterogeneity : float
        Cochran's Q. [1]
    """

    value: Array
    error: Array
    tau2: float
    mean: float
    mean_error: float
    heterogeneity: float


def empirical_bayes(value: Array, error: Array) -> Shrunken:
    """Shrink values with known standard errors towards their weighted mean.

    Parameters
    ----------
    value, error : array, shape (k,)
        Estimates and their standard errors, in one unit.

    Returns
    -------
    Shrunken

    Notes
    -----
    ``B_i = v_i/(v_i + tau2)``; the shrunken value is ``B_i*mean + (1 - B_i)*y_i``. Its error is that of the posterior
    given ``tau2``, including the error of the mean.

    References
    ----------
    DerSimonian and Laird, *Controlled Clinical Trials* 7 (1986) 177-188; Efron and Morris, *JASA* 70 (1975) 311-319.
    """
    variance = np.square(error)
    with np.errstate(divide="ignore"):
        weight = 1.0 / variance
    total = weight.sum()
    q = float((weight * np.square(value - (weight * value).sum() / total)).sum())
    spare = total - np.square(weight).sum() / total
    tau2 = max(0.0, (q - (value.size - 1)) / float(spare)) if value.size > 1 else 0.0
    joint = 1.0 / (variance + tau2)
    mean = float((joint * value).sum() / joint.sum())
    mean_error = float(np.sqrt(1.0 / joint.sum()))
    share = variance / (variance + tau2)
    shrunken = share * mean + (1.0 - share) * value
    spread = np.sqrt((1.0 - share) * variance + np.square(share) * mean_error**2)
    return Shrunken(shrunken, spread, tau2, mean, mean_error, q)
