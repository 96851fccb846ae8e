"""What no fracture treatment does, by common practice and by mass balance."""

from __future__ import annotations

FAST_BPM, LEAST_FAST_PSI = 50.0, 1200.0
"""At this rate the highest treating pressure is above the other (common practice). [bpm], [psi]"""
BALANCE = (0.4, 2.5)
"""What the slurry rate exceeds the clean rate by, over what the concentration says, with room for metering. [1]"""
LEAST_EXCESS = 0.03
"""Smaller differences of that excess are metering. [1]"""


def too_low(highest_psi: float, rate_bpm: float) -> bool:
    """Whether a highest pressure is too low for a rate: it is another line's, or in another unit.

    Parameters
    ----------
    highest_psi, rate_bpm : float
        [psi], [bbl/min]
    """
    return rate_bpm >= FAST_BPM and highest_psi < LEAST_FAST_PSI


def adds_up(excess: float, grains: float) -> bool:
    """Whether both rates and the concentration of a record agree.

    Parameters
    ----------
    excess : float
        Slurry rate over clean rate, less one. [1]
    grains : float
        Volume of the grains per volume of clean fluid, by the concentration. [1]

    Notes
    -----
    Grains keep their volume: the two are equal, but for metering.
    """
    return abs(excess - grains) < LEAST_EXCESS or BALANCE[0] <= excess / grains <= BALANCE[1]
