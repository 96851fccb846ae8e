"""Debris transport: particle slip, critical velocities, equivalent circulating density."""

from __future__ import annotations

from typing import Any

import numpy as np

from pipeline.physics.constants import (
    CP_PA_S,
    FT_M,
    IN_M,
    PPG_KG_M3,
    STANDARD_GRAVITY_M_S2,
)

REYNOLDS = PPG_KG_M3 * FT_M * IN_M / CP_PA_S
"""Re = 927.69*rho*v*d/mu with lbm/gal, ft/s, in, cP."""


def moore_slip_ft_s(diameter_in: Any, solid_ppg: Any, fluid_ppg: Any, viscosity_cp: Any) -> Any:
    """Slip velocity of a particle in a vertical annulus, by Moore's three branches.

    Parameters
    ----------
    diameter_in : float or array
        Equivalent diameter of the particle. [in]
    solid_ppg, fluid_ppg : float or array
        Densities. [lbm/gal]
    viscosity_cp : float or array
        Apparent viscosity. [cP]

    Returns
    -------
    float or array
        [ft/s]

    References
    ----------
    Moore (1974), in Bourgoyne et al., *Applied Drilling Engineering* (SPE, 1986), section 4.13 (from memory).
    """
    lighter = solid_ppg - fluid_ppg
    turbulent = 1.54 * np.sqrt(diameter_in * lighter / fluid_ppg)
    between = 2.90 * diameter_in * lighter**0.667 / (fluid_ppg**0.333 * viscosity_cp**0.333)
    laminar = 82.87 * np.square(diameter_in) * lighter / viscosity_cp
    unit = REYNOLDS * fluid_ppg * diameter_in / viscosity_cp
    return np.where(unit * turbulent > 300.0, turbulent, np.where(unit * laminar < 3.0, laminar, between))


def chien_slip_ft_s(diameter_in: Any, solid_ppg: Any, fluid_ppg: Any, viscosity_cp: Any) -> Any:
    """Slip velocity of an irregular particle in a vertical annulus, one formula for all flow regimes.

    Parameters
    ----------
    diameter_in, solid_ppg, fluid_ppg, viscosity_cp : float or array
        As for `moore_slip_ft_s`. [in, lbm/gal, lbm/gal, cP]

    Returns
    -------
    float or array
        [ft/s]

    References
    ----------
    Chien (1971), in Bourgoyne et al. (1986), section 4.13 (from memory).
    """
    a = viscosity_cp / (fluid_ppg * diameter_in)
    inside = 36800.0 * diameter_in / np.square(a) * (solid_ppg - fluid_ppg) / fluid_ppg
    return 0.0075 * a * (np.sqrt(inside + 1.0) - 1.0)


def sphere_settling_ft_s(diameter_in: float, solid_ppg: float, fluid_ppg: float, viscosity_cp: float) -> float:
    """Terminal velocity of a smooth sphere, the upper limit for debris of a given size.

    Parameters
    ----------
    diameter_in, solid_ppg, fluid_ppg, viscosity_cp : float
        As for `moore_slip_ft_s`. [in, lbm/gal, lbm/gal, cP]

    Returns
    -------
    float
        [ft/s]

    References
    ----------
    Drag of Haider and Levenspiel, *Powder Technology* 58 (1989) 63-70, for spheres (from memory).
    """
    d, rho = diameter_in * IN_M, fluid_ppg * PPG_KG_M3
    weight = 4.0 / 3.0 * STANDARD_GRAVITY_M_S2 * d * (solid_ppg - fluid_ppg) / fluid_ppg
    velocity = 0.1
    for _ in range(200):
        re = rho * velocity * d / (viscosity_cp * CP_PA_S)
        drag = 24.0 / re * (1.0 + 0.1806 * re**0.6459) + 0.4251 / (1.0 + 6880.95 / re)
        found = np.sqrt(weight / drag)
        if abs(found - velocity) < 1e-12:
            break
        velocity = 0.5 * (velocity + float(found))
    return float(velocity / FT_M)


def slip_band_ft_s(diameter_in: float, solid_ppg: float, fluid_ppg: float, viscosity_cp: float) -> tuple[float, float]:
    """Return the lowest and highest slip velocity from the relations above, which differ by a factor of two. [ft/s]"""
    given = (diameter_in, solid_ppg, fluid_ppg, viscosity_cp)
    found = [float(moore_slip_ft_s(*given)), float(chien_slip_ft_s(*given)), sphere_settling_ft_s(*given)]
    return min(found), max(found)


def transport_ratio(velocity_ft_s: Any, slip_ft_s: Any) -> Any:
    """Rise velocity of debris in the vertical, as a share of the fluid velocity: ``1 - slip/velocity``. [1]"""
    return 1.0 - slip_ft_s / velocity_ft_s
