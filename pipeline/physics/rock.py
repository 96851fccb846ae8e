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


def open_hole_initiation_psi(
    minimum_stress_psi: Any, maximum_stress_psi: Any, pore_pressure_psi: Any, tensile_strength_psi: Any
) -> Any:
    """Pressure that starts a fracture in an open vertical impermeable hole, ``3*sh - sH - p0 + T``.

    Parameters
    ----------
    minimum_stress_psi, maximum_stress_psi : float
        Horizontal stresses. [psi]
    pore_pressure_psi : float
        [psi]
    tensile_strength_psi : float
        [psi]

    Returns
    -------
    float
        [psi]

    Notes
    -----
    For scale only; never applied to perforated laterals.

    References
    ----------
    Hubbert and Willis (1957); Haimson and Fairhurst (1967).
    """
    return 3.0 * minimum_stress_psi - maximum_stress_psi - pore_pressure_psi + tensile_strength_psi


def nolte_g(dimensionless_time: Any, *, high_leakoff: bool = False) -> Any:
    """G-function of time since shut-in over pumping time.

    Parameters
    ----------
    dimensionless_time : float or array
        ``(t - tp)/tp``, zero or more. [1]
    high_leakoff : bool
        False for the low leak-off bound (alpha = 1), True for the high one (alpha = 1/2).

    Returns
    -------
    float or array
        [1]

    References
    ----------
    Nolte, K. G., SPE 8341 (1979): ``G = 4/pi * (g - g0)``.
    """
    d = np.asarray(dimensionless_time, dtype=float)
    if high_leakoff:
        g = (1.0 + d) * np.arcsin((1.0 + d) ** -0.5) + np.sqrt(d)
        g0 = np.pi / 2.0
    else:
        g = 4.0 / 3.0 * ((1.0 + d) ** 1.5 - d**1.5)
        g0 = 4.0 / 3.0
    return 4.0 / np.pi * (g - g0)


def penetrating_initiation_psi(
    minimum_stress_psi: Any,
    maximum_stress_psi: Any,
    pore_pressure_psi: Any,
    tensile_strength_psi: Any,
    poroelastic: Any,
) -> Any:
    """Pressure that starts a fracture in an open vertical permeable hole.

    Parameters
    ----------
    minimum_stress_psi, maximum_stress_psi : float
        Horizontal stresses. [psi]
    pore_pressure_psi, tensile_strength_psi : float
        [psi]
    poroelastic : float
        ``alpha*(1 - 2*nu)/(2*(1 - nu))``, 0 to 0.5. [1]

    Returns
    -------
    float
        [psi]

    Notes
    -----
    ``(3*sh - sH + T - 2*eta*p0)/(2*(1 - eta))``; with ``eta`` of 0.5 the impermeable form. For scale only.

    References
    ----------
    Haimson and Fairhurst (1967), from memory.
    """
    crest = 3.0 * minimum_stress_psi - maximum_stress_psi + tensile_strength_psi
    return (crest - 2.0 * poroelastic * pore_pressure_psi) / (2.0 * (1.0 - poroelastic))


def stress_shadow_share(distance_over_height: Any) -> Any:
    """Stress that a long crack adds beside it, over its net pressure.

    Parameters
    ----------
    distance_over_height : float or array
        Distance along the normal through the middle, over the crack's height. [1]

    Returns
    -------
    float or array
        ``1 - (1 + (h/2x)**2)**-1.5``. [1]

    References
    ----------
    Sneddon and Elliott, *Quarterly of Applied Mathematics* 4 (1946) 262-267.
    """
    return 1.0 - (1.0 + (0.5 / np.asarray(distance_over_height, dtype=float)) ** 2) ** -1.5


def log_log_slope(time: Any, net_pressure_psi: Any) -> float:
    """Slope of net pressure against time on logarithmic scales, by least squares.

    Parameters
    ----------
    time : array, shape (n,)
        From the start of the stage, above zero, any unit.
    net_pressure_psi : array, shape (n,)
        Above zero. [psi]

    Returns
    -------
    float
        About 1/8 to 1/4 in confined growth, about 1 in storage. [1]

    References
    ----------
    Nolte and Smith, *Journal of Petroleum Technology* (September 1981) 1767-1775, from memory.
    """
    return float(np.polyfit(np.log(np.asarray(time, float)), np.log(np.asarray(net_pressure_psi, float)), 1)[0])


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
