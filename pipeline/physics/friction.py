"""Friction between the gauge and the fracture: pipe, perforations, and the limit of drag reduction."""

from __future__ import annotations

from typing import Any

import numpy as np

from pipeline.jit import elementwise
from pipeline.physics.constants import (
    BPM_M3_S,
    CP_PA_S,
    FT_M,
    IN_M,
    PERFORATION_FRICTION,
    PPG_KG_M3,
    PSI_PA,
)


def perforation_friction_psi(
    rate_bpm: Any, density_ppg: Any, holes: Any, diameter_in: Any, discharge_coefficient: Any
) -> Any:
    """Pressure loss through open perforations.

    Parameters
    ----------
    rate_bpm : float or array
        Slurry rate through all holes. [bbl/min]
    density_ppg : float or array
        Slurry density. [lbm/gal]
    holes : float
        Open holes. [1]
    diameter_in : float
        Hole diameter in the casing. [in]
    discharge_coefficient : float
        About 0.6 for new sharp holes, 0.8 to 0.95 once proppant has rounded them. [1]

    Returns
    -------
    float or array
        [psi]

    Notes
    -----
    ``0.23764 * rho * q**2 / (n**2 * d**4 * Cd**2)``; the exact constant is 0.31 % above the printed 0.2369.

    References
    ----------
    Economides and Nolte, *Reservoir Stimulation* (from memory); Bell, Sukup and Tariq, *Perforating* (1995), p. 79.
    """
    return (
        PERFORATION_FRICTION
        * density_ppg
        * np.square(rate_bpm)
        / (np.square(holes) * np.power(diameter_in, 4.0) * np.square(discharge_coefficient))
    )


@elementwise
def reynolds_number(rate_bpm: Any, density_ppg: Any, diameter_in: float, viscosity_cp: float) -> Any:
    """Reynolds number of pipe flow, ``rho*v*D/mu``.

    Parameters
    ----------
    rate_bpm : float or array
        [bbl/min]
    density_ppg : float or array
        [lbm/gal]
    diameter_in : float
        Inside diameter. [in]
    viscosity_cp : float
        Dynamic viscosity. [cP]

    Returns
    -------
    float or array
        [1]
    """
    diameter_m = diameter_in * IN_M
    velocity = rate_bpm * BPM_M3_S / (np.pi * diameter_m**2 / 4.0)
    return density_ppg * PPG_KG_M3 * velocity * diameter_m / (viscosity_cp * CP_PA_S)


@elementwise
def churchill_darcy(reynolds: Any, relative_roughness: Any) -> Any:
    """Darcy friction factor for all flow regimes.

    Parameters
    ----------
    reynolds : float or array
        Greater than zero. [1]
    relative_roughness : float or array
        Roughness over inside diameter. [1]

    Returns
    -------
    float or array
        [1]

    References
    ----------
    Churchill, S. W., "Friction-factor equation spans all fluid-flow regimes", *Chemical Engineering* 84 (1977).
    """
    a = (2.457 * np.log(1.0 / ((7.0 / reynolds) ** 0.9 + 0.27 * relative_roughness))) ** 16
    b = (37530.0 / reynolds) ** 16
    return 8.0 * ((8.0 / reynolds) ** 12 + (a + b) ** -1.5) ** (1.0 / 12.0)


@elementwise
def virk_maximum_drag_reduction_fanning(reynolds: Any) -> Any:
    """Fanning friction factor at the limit of drag reduction by polymers.

    Parameters
    ----------
    reynolds : float or array
        Above about 4,000; extrapolated beyond one million. [1]

    Returns
    -------
    float or array
        Fanning factor, a quarter of the Darcy factor. [1]

    Notes
    -----
    Solves ``1/sqrt(f) = 19*log10(Re*sqrt(f)) - 32.4`` by Newton's method on ``x = 1/sqrt(f)``; four steps from the
    power law ``f = 0.58*Re**-0.58`` come within 2e-15 for any Re from 4,000 to 1e8.

    References
    ----------
    Virk, P. S., "Drag reduction fundamentals", *AIChE Journal* 21 (1975) 625-656.
    """
    x = 1.0 / np.sqrt(0.58 * reynolds**-0.58)
    for _ in range(4):
        x = x - (x - 19.0 * np.log10(reynolds / x) + 32.4) / (1.0 + 19.0 / (x * np.log(10.0)))
    return x**-2.0


@elementwise
def darcy_weisbach_psi(darcy: Any, length_ft: Any, diameter_in: float, rate_bpm: Any, density_ppg: Any) -> Any:
    """Pressure loss along a round pipe: ``f * L/D * rho*v**2/2``.

    Parameters
    ----------
    darcy : float or array
        Darcy friction factor. [1]
    length_ft : float or array
        Measured length of pipe. [ft]
    diameter_in : float
        Inside diameter. [in]
    rate_bpm : float or array
        [bbl/min]
    density_ppg : float or array
        [lbm/gal]

    Returns
    -------
    float or array
        [psi]
    """
    diameter_m = diameter_in * IN_M
    velocity = rate_bpm * BPM_M3_S / (np.pi * diameter_m**2 / 4.0)
    dynamic = density_ppg * PPG_KG_M3 * velocity**2 / 2.0
    return darcy * length_ft * FT_M / diameter_m * dynamic / PSI_PA


def pipe_friction_psi(
    rate_bpm: Any,
    density_ppg: Any,
    length_ft: Any,
    diameter_in: float,
    *,
    viscosity_cp: float = 1.0,
    roughness_in: float = 0.0018,
    drag_reduction: float = 0.0,
) -> Any:
    """Pipe friction of a water-based fluid, minus the reduction by a friction reducer.

    Parameters
    ----------
    rate_bpm : float or array
        Zero and negative rates give zero. [bbl/min]
    density_ppg : float or array
        [lbm/gal]
    length_ft : float
        Measured length of pipe. [ft]
    diameter_in : float
        Inside diameter. [in]
    viscosity_cp : float
        [cP]
    roughness_in : float
        Wall roughness. [in]
    drag_reduction : float
        Share of the untreated friction removed by the reducer, 0 to below 1. [1]

    Returns
    -------
    float or array
        Never below Virk's limit. [psi]

    Raises
    ------
    ValueError
        If ``drag_reduction`` is outside 0 to 1.

    References
    ----------
    Churchill (1977) for the untreated fluid, Virk (1975) for the limit.
    """
    if not 0.0 <= drag_reduction < 1.0:
        raise ValueError(f"drag_reduction must be at least 0 and below 1, got {drag_reduction}")
    return _friction(rate_bpm, density_ppg, length_ft, diameter_in, viscosity_cp, roughness_in, drag_reduction)


@elementwise
def _friction(
    rate_bpm: float,
    density_ppg: float,
    length_ft: float,
    diameter_in: float,
    viscosity_cp: float,
    roughness_in: float,
    drag_reduction: float,
) -> float:
    if rate_bpm <= 1e-6:
        return 0.0
    reynolds = reynolds_number(rate_bpm, density_ppg, diameter_in, viscosity_cp)
    darcy = churchill_darcy(reynolds, roughness_in / diameter_in)
    if reynolds > 4000.0:
        limit = 4.0 * virk_maximum_drag_reduction_fanning(reynolds)
        darcy = max(darcy * (1.0 - drag_reduction), min(limit, darcy))
    return float(darcy_weisbach_psi(darcy, length_ft, diameter_in, rate_bpm, density_ppg))
