"""Pressure waves in the wellbore: water hammer, wave speed and surge."""

from __future__ import annotations

import math
from typing import Any

from pipeline.physics.constants import BPM_M3_S, FT_M, IN_M, PPG_KG_M3, PSI_PA


def hammer_period_s(reflector_depth_ft: Any, wave_speed_ft_s: Any) -> Any:
    """Period of the ringing after shut-in between a closed valve and an open fracture, ``4L/a``.

    Parameters
    ----------
    reflector_depth_ft : float or array
        Measured depth to the reflector. [ft]
    wave_speed_ft_s : float
        [ft/s]

    Returns
    -------
    float or array
        [s]

    Notes
    -----
    A closed far end (screened-out perforations) reflects with the same sign, and the period is ``2L/a``.

    References
    ----------
    Wylie and Streeter, *Fluid Transients in Systems* (1993).
    """
    return 4.0 * reflector_depth_ft / wave_speed_ft_s


def wave_speed_ft_s(
    bulk_modulus_pa: float,
    density_kg_m3: float,
    inside_diameter_in: float,
    wall_in: float,
    youngs_modulus_pa: float = 207e9,
    restraint: float = 1.0,
) -> float:
    """Speed of a pressure wave in a liquid-filled elastic pipe.

    Parameters
    ----------
    bulk_modulus_pa : float
        Bulk modulus of the liquid. [Pa]
    density_kg_m3 : float
        Density of the liquid. [kg/m3]
    inside_diameter_in, wall_in : float
        Inside diameter and wall thickness of the pipe. [in]
    youngs_modulus_pa : float
        Young's modulus of the pipe. [Pa]
    restraint : float
        1 with expansion joints, ``1 - nu/2`` anchored at one end, ``1 - nu**2`` anchored along its length. [1]

    Returns
    -------
    float
        [ft/s]

    References
    ----------
    Korteweg (1878): ``a = sqrt(K/rho) / sqrt(1 + c*K*D/(E*e))``.
    """
    rigid = math.sqrt(bulk_modulus_pa / density_kg_m3)
    compliance = restraint * bulk_modulus_pa * inside_diameter_in / (youngs_modulus_pa * wall_in)
    return rigid / math.sqrt(1.0 + compliance) / FT_M


def joukowsky_surge_psi(density_ppg: Any, wave_speed_ft_s: Any, rate_change_bpm: Any, inside_diameter_in: float) -> Any:
    """Pressure step from a sudden rate change, ``rho*a*dv``.

    Parameters
    ----------
    density_ppg : float or array
        [lbm/gal]
    wave_speed_ft_s : float
        [ft/s]
    rate_change_bpm : float or array
        Change completed within 2L/a. [bbl/min]
    inside_diameter_in : float
        [in]

    Returns
    -------
    float or array
        [psi]

    References
    ----------
    Joukowsky (1898); Wylie and Streeter, *Fluid Transients in Systems* (1993).
    """
    area_m2 = math.pi * (inside_diameter_in * IN_M) ** 2 / 4.0
    velocity_change = rate_change_bpm * BPM_M3_S / area_m2
    return density_ppg * PPG_KG_M3 * wave_speed_ft_s * FT_M * velocity_change / PSI_PA
