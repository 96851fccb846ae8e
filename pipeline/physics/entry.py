"""Division of a stage's rate between clusters, and its treating pressure at another rate."""

from __future__ import annotations

from typing import Any

import numpy as np
import scipy
from numpy.typing import NDArray

from pipeline.physics.friction import perforation_friction_psi

Array = NDArray[np.float64]


def limited_entry_split(
    rate_bpm: float, stress_psi: Array, holes: Any, diameter_in: Any, discharge_coefficient: float, density_ppg: float
) -> tuple[float, Array]:
    """Divide a rate between clusters at a common wellbore pressure.

    Parameters
    ----------
    rate_bpm : float
        Total of all clusters, above zero. [bbl/min]
    stress_psi : array, shape (n,)
        Pressure behind each cluster. [psi]
    holes, diameter_in : float or array, shape (n,)
        Open holes of each cluster, and their diameter. [1, in]
    discharge_coefficient : float
        [1]
    density_ppg : float
        [lbm/gal]

    Returns
    -------
    wellbore_psi : float
        [psi]
    cluster_bpm : array, shape (n,)
        A cluster with stress above the wellbore pressure takes no fluid. [bbl/min]

    Notes
    -----
    ``q_i = sqrt((P - s_i)/k_i)`` with ``k_i`` the perforation friction at 1 bbl/min; ``P`` from ``sum(q_i) = Q``.
    """
    stress = np.asarray(stress_psi, dtype=float)
    k = np.broadcast_to(
        perforation_friction_psi(1.0, density_ppg, holes, diameter_in, discharge_coefficient), stress.shape
    )

    def rates(pressure: float) -> Array:
        return np.asarray(np.sqrt(np.maximum(pressure - stress, 0.0) / k))

    highest = float(stress.max() + (k * rate_bpm**2).max())
    pressure = float(
        scipy.optimize.brentq(lambda p: rates(p).sum() - rate_bpm, float(stress.min()), highest, xtol=1e-9)
    )
    return pressure, rates(pressure)


def evenness(cluster_bpm: Array) -> float:
    """Coefficient of variation of the clusters' rates (population); 0 means even distribution. [1]"""
    return float(np.std(cluster_bpm) / np.mean(cluster_bpm))


def pressure_at_reference_rate_psi(
    pressure_psi: Any, rate_bpm: Any, reference_bpm: float, pipe_psi: Any, perforation_psi: Any, exponent: float = 1.75
) -> Any:
    """Convert a treating pressure to another rate; each loss is scaled with its own exponent.

    Parameters
    ----------
    pressure_psi, rate_bpm : float or array
        As measured. [psi, bbl/min]
    reference_bpm : float
        [bbl/min]
    pipe_psi, perforation_psi : float or array
        Losses at the measured rate. [psi]
    exponent : float
        Exponent of pipe friction with rate: 1.75 untreated, about 1.4 at Virk's limit. [1]

    Returns
    -------
    float or array
        [psi]

    Notes
    -----
    ``p - pipe*(1 - (q_ref/q)**m) - perf*(1 - (q_ref/q)**2)``.
    """
    share = reference_bpm / np.asarray(rate_bpm, dtype=float)
    return pressure_psi - pipe_psi * (1.0 - share**exponent) - perforation_psi * (1.0 - share**2)
