"""Rock-side relations: gradients, initiation (as a formula check only), and Nolte's G-function."""

from __future__ import annotations

from typing import Any

import numpy as np
from scipy.optimize import curve_fit

from pipeline.physics.fluids import hydrostatic_psi


def pressure_gradient_psi_ft(surface_pressure_psi: Any, density_ppg: Any, tvd_ft: Any) -> Any:
    """Bottomhole pressure of a static column over its depth, ``(p + hydrostatic)/TVD``.

    Parameters
    ----------
    surface_pressure_psi : float or array
        At the wellhead, with no flow. [psi]
    density_ppg : float
        Of the column. [lbm/gal]
    tvd_ft : float or array
        True vertical depth of the perforations. [ft]

    Returns
    -------
    float or array
        [psi/ft]
    """
    return (surface_pressure_psi + hydrostatic_psi(density_ppg, tvd_ft)) / tvd_ft


def isip_escalation(isip_psi: Any) -> tuple[float, float, float]:
    """Fit how ISIPs rise from stage to stage under the stress of the stages before.

    Parameters
    ----------
    isip_psi : array, shape (n,)
        From the toe on, four or more, brought to one depth and density. [psi]

    Returns
    -------
    first_psi, plateau_psi, stages : float
        ``first + plateau*(1 - exp(-(n - 1)/stages))``. [psi, psi, 1]

    References
    ----------
    The form of Roussel, SPE 184865 (2017), from memory.
    """
    isip = np.asarray(isip_psi, dtype=float)
    n = np.arange(isip.size)

    def curve(n: Any, first: float, plateau: float, stages: float) -> Any:
        return first + plateau * (1.0 - np.exp(-n / stages))

    (first, plateau, stages), _ = curve_fit(curve, n, isip, p0=(isip[0], np.ptp(isip), 3.0), maxfev=10_000)
    return float(first), float(plateau), float(stages)
