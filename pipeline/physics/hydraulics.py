"""Power, capacities, velocities and nozzles."""

from __future__ import annotations

from typing import Any

import numpy as np

from pipeline.physics.constants import (
    CAPACITY_IN2_FT_PER_BBL,
    HORSEPOWER_PSI_BPM,
    NOZZLE_GPM,
)


def hydraulic_horsepower(pressure_psi: Any, rate_bpm: Any) -> Any:
    """Hydraulic power, ``p*q/40.816``.

    Parameters
    ----------
    pressure_psi : float or array
        [psi]
    rate_bpm : float or array
        [bbl/min]

    Returns
    -------
    float or array
        [hp]
    """
    return pressure_psi * rate_bpm / HORSEPOWER_PSI_BPM


def pipe_capacity_bbl(inside_diameter_in: Any, length_ft: Any) -> Any:
    """Volume of a round pipe, ``D**2/1029.414`` per foot.

    Parameters
    ----------
    inside_diameter_in : float or array
        [in]
    length_ft : float or array
        Measured length. [ft]

    Returns
    -------
    float or array
        [bbl]

    References
    ----------
    Lapeyrouse, *Formulas and Calculations for Drilling, Production and Workover*.
    """
    return np.square(inside_diameter_in) / CAPACITY_IN2_FT_PER_BBL * length_ft


def annulus_capacity_bbl(outer_in: Any, inner_in: Any, length_ft: Any) -> Any:
    """Volume between a hole and a pipe inside it.

    Parameters
    ----------
    outer_in, inner_in : float or array
        Inside diameter of the casing, outside diameter of the pipe. [in]
    length_ft : float or array
        [ft]

    Returns
    -------
    float or array
        [bbl]
    """
    return (np.square(outer_in) - np.square(inner_in)) / CAPACITY_IN2_FT_PER_BBL * length_ft


def annular_velocity_ft_min(rate_bpm: Any, outer_in: Any, inner_in: Any) -> Any:
    """Mean velocity of the fluid in an annulus, ``1029.414*q/(Dh**2 - Dp**2)``.

    Parameters
    ----------
    rate_bpm : float or array
        Rate in the annulus (with a bypass open: the total rate). [bbl/min]
    outer_in, inner_in : float or array
        [in]

    Returns
    -------
    float or array
        [ft/min]

    References
    ----------
    Lapeyrouse, *Formulas and Calculations for Drilling, Production and Workover*.
    """
    return CAPACITY_IN2_FT_PER_BBL * rate_bpm / (np.square(outer_in) - np.square(inner_in))


def nozzle_area_in2(count: Any, diameter_in: Any) -> Any:
    """Flow area of equal round nozzles [in2]."""
    return count * np.pi * np.square(diameter_in) / 4.0


def nozzle_pressure_drop_psi(
    rate_gpm: Any, density_ppg: Any, area_in2: Any, discharge_coefficient: float = 0.95
) -> Any:
    """Pressure drop through nozzles, ``rho*Q**2/(12033.9*Cd**2*A**2)``.

    Parameters
    ----------
    rate_gpm : float or array
        [gal/min]
    density_ppg : float or array
        Density of the fluid pumped (slurry if cutting with sand). [lbm/gal]
    area_in2 : float or array
        Total flow area. [in2]
    discharge_coefficient : float
        0.95 is the practical limit of short nozzles; 0.80 to 0.95 for jetting carbides is common practice. [1]

    Returns
    -------
    float or array
        [psi]

    References
    ----------
    The form of API RP 13D (from memory); Guo and Liu, *Applied Drilling Circulation Systems* (2011), eq. 2.85.
    """
    return density_ppg * np.square(rate_gpm) / (NOZZLE_GPM * discharge_coefficient**2 * np.square(area_in2))
