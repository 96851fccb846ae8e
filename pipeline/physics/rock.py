"""Rock-side relations: gradients, initiation (as a formula check only), and Nolte's G-function."""

from __future__ import annotations

from typing import Any

from pipeline.physics.fluids import hydrostatic_psi


def pressure_gradient_psi_ft(surface_pressure_psi: Any, density_ppg: Any, tvd_ft: Any) -> Any:
    """Bottomhole pressure of a static column divided by its depth, ``(p + hydrostatic)/TVD``.

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
