"""The speed of pressure waves: of a casing from its dimensions, and of a well from the ringing of its stages."""

from __future__ import annotations

import numpy as np

from pipeline.metrics.well import Rows, sections_above
from pipeline.physics.constants import PPG_KG_M3
from pipeline.physics.waves import wave_speed_ft_s
from pipeline.picks.arrays import weighted_quantiles

WATER_BULK_PA = 2.2e9
"""Bulk modulus of water (common practice). [Pa]"""
SCATTER = 0.0025
"""Least scatter of a stage's wave speed about that of its well (chosen on records; see also `FEW_SCATTER`). [1]"""
FEW, FEW_SCATTER = 3, 0.025
"""With fewer stages than this, the scatter is taken from records of other wells. [1], [1]"""


def casing_wave_speed_ft_s(strings: Rows, depth_ft: float, density_ppg: float) -> float | None:
    """Return the wave speed over a casing, section by section; None if a diameter is missing. [ft/s]

    References
    ----------
    Korteweg (1878), with expansion joints (no restraint).
    """
    travelled = seconds = 0.0
    for row, length in sections_above(strings, depth_ft):
        outside, inside = row.get("outside_diameter_in"), row["inside_diameter_in"]
        if length <= 0.0:
            continue
        if outside is None or inside is None or outside <= inside:
            return None
        speed = wave_speed_ft_s(WATER_BULK_PA, density_ppg * PPG_KG_M3, inside, 0.5 * (outside - inside))
        travelled += length
        seconds += length / speed
    return travelled / seconds if seconds > 0.0 else None


def pooled_wave_speed(speeds_ft_s: list[float], errors_ft_s: list[float]) -> tuple[float, float] | None:
    """Pool the wave speeds of a well's stages.

    Parameters
    ----------
    speeds_ft_s, errors_ft_s : list of float
        Of each stage, with its standard error. [ft/s]

    Returns
    -------
    (speed, error), optional
        Weighted median, robust against a stage whose reflector lies elsewhere, and the error with which it predicts
        one more stage: the scatter between stages and that of the median. None without any stage. [ft/s]
    """
    if not speeds_ft_s:
        return None
    speeds, errors = np.asarray(speeds_ft_s), np.asarray(errors_ft_s)
    weights = 1.0 / (np.square(errors) + np.square(SCATTER * speeds))
    pooled = weighted_quantiles(speeds, weights, [0.5])[0]
    scatter = 1.4826 * weighted_quantiles(np.abs(speeds - pooled), weights, [0.5])[0]
    least = (SCATTER if speeds.size >= FEW else FEW_SCATTER) * pooled
    count = weights.sum() ** 2 / np.square(weights).sum()
    return pooled, float(max(scatter, least) * np.sqrt(1.0 + 0.5 * np.pi / count))
