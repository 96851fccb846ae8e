"""Rock-side relations: gradients, initiation (as a formula check only), and Nolte's G-function."""

from __future__ import annotations

from typing import Any

import numpy as np

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
