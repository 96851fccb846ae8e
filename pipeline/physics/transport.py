"""What it takes to carry debris: slip of particles, critical velocities, density on circulation."""

from __future__ import annotations

from typing import Any

import numpy as np

from pipeline.physics.constants import (
    CP_PA_S,
    FT_M,
    HYDROSTATIC_PSI_PER_PPG_FT,
    IN_M,
    JET_PSI,
    PPG_KG_M3,
    STANDARD_GRAVITY_M_S2,
)

REYNOLDS = 928.0
"""Re = 928*rho*v*d/mu with lbm/gal, ft/s, in, cP (book constant)."""


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
    """Slip velocity of an irregular particle in a vertical annulus, one formula for all regimes.

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


def fang_slip_ft_s(
    diameter_in: float, solid_ppg: float, fluid_ppg: float, viscosity_cp: float, sphericity: float = 0.8
) -> float:
    """Slip velocity with a friction factor that knows the particle's sphericity.

    Parameters
    ----------
    diameter_in, solid_ppg, fluid_ppg, viscosity_cp : float
        As for `moore_slip_ft_s`. [in, lbm/gal, lbm/gal, cP]
    sphericity : float
        Surface of the equal sphere over that of the particle. [1]

    Returns
    -------
    float
        [ft/s]

    References
    ----------
    Guo and Liu, *Applied Drilling Circulation Systems* (2011), eqs 2.90-2.96, friction factor of Fang et al. (2008).
    """
    s = sphericity
    a = 2.2954 - 2.2626 * s + 4.4395 * s**2 - 2.9825 * s**3
    b = -0.4193 - 1.9014 * s + 3.3416 * s**2 - 2.0409 * s**3
    c = 0.1117 + 0.0553 * s - 0.1468 * s**2 + 0.1145 * s**3
    velocity = 0.5
    for _ in range(200):
        log_re = np.log10(REYNOLDS * fluid_ppg * velocity * diameter_in / viscosity_cp)
        factor = 10.0 ** (a + b * log_re + c * log_re**2)
        found = 1.89 * np.sqrt(diameter_in / factor * (solid_ppg - fluid_ppg) / fluid_ppg)
        if abs(found - velocity) < 1e-10:
            break
        velocity = 0.5 * (velocity + float(found))
    return float(velocity)


def sphere_settling_ft_s(diameter_in: float, solid_ppg: float, fluid_ppg: float, viscosity_cp: float) -> float:
    """Terminal velocity of a smooth sphere, the fastest that debris of a size can fall.

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
    """Return the lowest and highest slip velocity of the relations above: they differ by a factor of two. [ft/s]"""
    given = (diameter_in, solid_ppg, fluid_ppg, viscosity_cp)
    found = [float(moore_slip_ft_s(*given)), float(chien_slip_ft_s(*given)), sphere_settling_ft_s(*given)]
    return min(found), max(found)


def larsen_critical_velocity_ft_s(
    penetration_ft_h: Any, pipe_in: Any, hole_in: Any, viscosity_cp: Any
) -> tuple[Any, Any]:
    """Annular velocity that keeps a bed from forming at high angle, without Larsen's correction factors.

    Parameters
    ----------
    penetration_ft_h : float or array
        Rate of penetration. [ft/h]
    pipe_in, hole_in : float or array
        [in]
    viscosity_cp : float or array
        Apparent viscosity. [cP]

    Returns
    -------
    cut, slip : float or array
        Velocity of the cuttings and slip velocity; the critical velocity is their sum. [ft/s]

    References
    ----------
    Larsen, Pilehvari and Azar, *SPE Drilling & Completion*, June 1997 (from memory).
    """
    open_share = 1.0 - np.square(pipe_in / hole_in)
    cut = 1.0 / (open_share * (0.64 + 18.16 / penetration_ft_h))
    slip = np.where(viscosity_cp <= 53.0, 0.0051 * viscosity_cp + 3.006, 0.02554 * (viscosity_cp - 53.0) + 3.28)
    return cut, slip


def transport_ratio(velocity_ft_s: Any, slip_ft_s: Any) -> Any:
    """Share of the fluid's velocity at which debris rises in the vertical: ``1 - slip/velocity``. [1]"""
    return 1.0 - slip_ft_s / velocity_ft_s


def equivalent_circulating_density_ppg(
    fluid_ppg: Any, annular_friction_psi: Any, tvd_ft: Any, choke_psi: Any = 0.0
) -> Any:
    """Density that would give the bottomhole pressure at rest.

    Parameters
    ----------
    fluid_ppg : float or array
        [lbm/gal]
    annular_friction_psi : float or array
        Friction in the annulus over its measured length; the lateral adds friction and no depth. [psi]
    tvd_ft : float or array
        [ft]
    choke_psi : float or array
        Back-pressure held at surface. [psi]

    Returns
    -------
    float or array
        [lbm/gal]
    """
    return fluid_ppg + (annular_friction_psi + choke_psi) / (HYDROSTATIC_PSI_PER_PPG_FT * tvd_ft)


def coiled_friction_darcy(reynolds: Any, inside_in: Any, reel_in: Any) -> Any:
    """Darcy friction factor of turbulent flow in pipe on a reel, ``0.336/(Re*sqrt(d/D))**0.2``.

    Parameters
    ----------
    reynolds : float or array
        [1]
    inside_in : float or array
        Inside diameter of the pipe. [in]
    reel_in : float or array
        Diameter of the coils; the relation holds for 0.01 < d/D < 0.15. [in]

    Returns
    -------
    float or array
        [1]

    References
    ----------
    Srinivasan, Nandapurkar and Holland, *The Chemical Engineer* 218 (1970), as given by the library `fluids`.
    """
    return 0.336 / (reynolds * np.sqrt(inside_in / reel_in)) ** 0.2


def jet_velocity_from_drop_ft_s(drop_psi: Any, density_ppg: Any, discharge_coefficient: float = 0.95) -> Any:
    """Velocity through nozzles from their pressure drop, ``Cd*sqrt(dp/(8.073e-4*rho))``.

    Parameters
    ----------
    drop_psi : float or array
        [psi]
    density_ppg : float or array
        Density of the slurry. [lbm/gal]
    discharge_coefficient : float
        [1]

    Returns
    -------
    float or array
        [ft/s]

    References
    ----------
    Guo and Liu (2011), eq. 2.87, with exact units.
    """
    return discharge_coefficient * np.sqrt(drop_psi / (JET_PSI * density_ppg))
