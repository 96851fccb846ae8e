"""Weight, drag and buckling of coil in a horizontal well: the straight limits of the textbook torque and drag model."""

from __future__ import annotations

from typing import Any

import numpy as np

STEEL_PPG = 65.5
"""Density of steel. [lbm/gal]"""
STEEL_LB_FT_IN2 = 2.6704
"""Weight of a steel tube per foot and square inch of its outside less inside diameter squared (API 5CT). [lb/ft/in2]"""
YOUNG_PSI = 30.0e6
"""Young's modulus of steel. [psi]"""


def buoyed_weight_lb_ft(outside_in: Any, inside_in: Any, fluid_ppg: Any) -> Any:
    """Weight of coil in a fluid that also fills it.

    Parameters
    ----------
    outside_in, inside_in : float or array
        Diameters. [in]
    fluid_ppg : float or array
        [lbm/gal]

    Returns
    -------
    float or array
        [lb/ft]
    """
    return STEEL_LB_FT_IN2 * (outside_in**2 - inside_in**2) * (1.0 - fluid_ppg / STEEL_PPG)


def drag_lbf(friction: Any, weight_lb_ft: Any, lateral_ft: Any) -> Any:
    """Coulomb drag of coil that lies in a horizontal hole: coefficient times weight.

    Parameters
    ----------
    friction : float or array
        Coefficient of friction. [1]
    weight_lb_ft : float or array
        Buoyed weight. [lb/ft]
    lateral_ft : float or array
        Length in the horizontal hole. [ft]

    Returns
    -------
    float or array
        [lbf]

    References
    ----------
    Johancsik, Friesen and Dawson, *J. Pet. Technol.* 36 (1984) 987-992, for an inclination of 90 degrees.
    """
    return friction * weight_lb_ft * lateral_ft


def helical_buckling_lbf(outside_in: Any, inside_in: Any, hole_in: Any, weight_lb_ft: Any) -> Any:
    """Compression at which coil in a horizontal hole begins to form a helix, ``2*sqrt(2)*sqrt(E*I*w/r)``.

    Parameters
    ----------
    outside_in, inside_in : float or array
        Diameters of the coil. [in]
    hole_in : float or array
        Inside diameter of the casing. [in]
    weight_lb_ft : float or array
        Buoyed weight. [lb/ft]

    Returns
    -------
    float or array
        [lbf]

    References
    ----------
    Chen, Lin and Cheatham, *J. Energy Resour. Technol.* 112 (1990) 74-82.
    """
    inertia_in4 = np.pi / 64.0 * (outside_in**4 - inside_in**4)
    clearance_in = 0.5 * (hole_in - outside_in)
    return 2.0 * np.sqrt(2.0) * np.sqrt(YOUNG_PSI * inertia_in4 * weight_lb_ft / 12.0 / clearance_in)
