"""Fluid and slurry columns: hydrostatic pressure, density and rate with proppant."""

from __future__ import annotations

from typing import Any

from pipeline.physics.constants import GAL_PER_BBL, HYDROSTATIC_PSI_PER_PPG_FT, WATER_DENSITY_PPG


def hydrostatic_psi(density_ppg: Any, tvd_ft: Any) -> Any:
    """Pressure of a column of fluid.

    Parameters
    ----------
    density_ppg : float or array
        Density of the fluid in the column. [lbm/gal]
    tvd_ft : float or array
        True vertical height of the column, never measured depth. [ft]

    Returns
    -------
    float or array
        Pressure at the bottom of the column. [psi]

    Notes
    -----
    ``p = 12/231 * density * tvd``; the exact factor follows from the unit definitions (NIST SP 811). The usual
    rounded value 0.052 is 0.1 % high.
    """
    return HYDROSTATIC_PSI_PER_PPG_FT * density_ppg * tvd_ft


def absolute_volume_gal_per_lbm(specific_gravity: Any) -> Any:
    """Volume of a pound of proppant grains.

    Parameters
    ----------
    specific_gravity : float
        Grain density over 1,000 kg/m3 (sand about 2.65). [1]

    Returns
    -------
    float
        [gal/lbm]

    Notes
    -----
    ``v = 1/(SG * 8.345404)``. Printed tables give 0.0456 for sand, which corresponds to SG 2.628: use the factor that
    the provider states, if there is one.
    """
    return 1.0 / (specific_gravity * WATER_DENSITY_PPG)


def slurry_density_ppg(fluid_density_ppg: Any, concentration_ppa: Any, absolute_volume: Any) -> Any:
    """Density of clean fluid with proppant added.

    Parameters
    ----------
    fluid_density_ppg : float or array
        Density of the clean fluid. [lbm/gal]
    concentration_ppa : float or array
        Proppant added per gallon of clean fluid. [lbm/gal]
    absolute_volume : float
        Volume of a pound of grains. [gal/lbm]

    Returns
    -------
    float or array
        [lbm/gal]

    Notes
    -----
    Mass balance: ``(rho + c)/(1 + c*v)``.
    """
    return (fluid_density_ppg + concentration_ppa) / (1.0 + concentration_ppa * absolute_volume)


def clean_fraction(concentration_ppa: Any, absolute_volume: Any) -> Any:
    """Share of the slurry's volume that is clean fluid: ``1/(1 + c*v)``.

    Parameters
    ----------
    concentration_ppa : float or array
        Proppant added per gallon of clean fluid. [lbm/gal]
    absolute_volume : float
        Volume of a pound of grains. [gal/lbm]

    Returns
    -------
    float or array
        [1]
    """
    return 1.0 / (1.0 + concentration_ppa * absolute_volume)


def added_concentration_ppa(slurry_concentration: Any, absolute_volume: Any) -> Any:
    """Proppant per gallon of clean fluid from proppant per gallon of slurry: ``c/(1 - c*v)``.

    Parameters
    ----------
    slurry_concentration : float or array
        Proppant in a gallon of slurry, as a densitometer sees it. [lbm/gal]
    absolute_volume : float
        Volume of a pound of grains. [gal/lbm]

    Returns
    -------
    float or array
        [lbm/gal]; negative where the grains would fill more than the gallon.

    Notes
    -----
    Mass balance: a gallon of slurry holds ``1 - c*v`` of clean fluid.
    """
    return slurry_concentration / (1.0 - slurry_concentration * absolute_volume)


def proppant_rate_lbm_min(clean_rate_bpm: Any, concentration_ppa: Any) -> Any:
    """Mass rate of proppant leaving the blender, per minute: ``q_clean * 42 * c``.

    Parameters
    ----------
    clean_rate_bpm : float or array
        Clean (not slurry) rate. [bbl/min]
    concentration_ppa : float or array
        Proppant added per gallon of clean fluid. [lbm/gal]

    Returns
    -------
    float or array
        [lbm/min]
    """
    return clean_rate_bpm * GAL_PER_BBL * concentration_ppa
