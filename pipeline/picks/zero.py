"""What the gauge reads when there is no pressure."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pipeline.picks.arrays import duration_s, noise_sigma, runs
from pipeline.picks.record import Method, Pick, StageRecord

LARGEST_PSI = 100.0
"""A reading beyond this at rest is a pressure, not an offset. [psi]"""
SMALLEST_PSI = 5.0
"""A smaller offset is left alone. [psi]"""
LASTING_S = 20.0
"""The gauge must rest this long. [s]"""

ZERO_OFFSET = Method(
    "zero_offset", "psi", "median reading while the lines stand open: no rate, steady, under 100 psi", 1
)


def find_zero_offset(record: StageRecord) -> Pick:
    """Find the gauge's reading at zero pressure.

    Parameters
    ----------
    record : StageRecord

    Returns
    -------
    Pick
        Offset [psi]; 0 where it is below 5 psi, none where the record never rests at zero.
    """
    pressure = record.pressure_psi
    resting = runs((np.abs(pressure) < LARGEST_PSI) & (np.nan_to_num(record.rate_bpm, nan=9.0) < 0.5))
    resting = resting[duration_s(resting, record.time_s) >= LASTING_S] if len(resting) else resting
    best: tuple[float, float] | None = None
    for start, stop in resting[:4]:
        span = pressure[start:stop]
        wander = float(np.percentile(span, 90.0) - np.percentile(span, 10.0))
        if wander < max(15.0, 4.0 * noise_sigma(span)) and (best is None or abs(np.median(span)) < abs(best[0])):
            best = (float(np.median(span)), float(record.time_s[start]))
    if best is None:
        return ZERO_OFFSET.missing("the record never rests at zero pressure")
    if abs(best[0]) < SMALLEST_PSI:
        return ZERO_OFFSET.at(0.0, best[1], "high", f"reads {best[0]:+.1f} psi at rest", 1.0)
    return ZERO_OFFSET.at(best[0], best[1], "high", f"reads {best[0]:+.0f} psi at rest: taken off the record", 1.0)


def without_offset(record: StageRecord, offset_psi: float | None) -> StageRecord:
    """Return the record with the offset taken off its pressure."""
    if not offset_psi:
        return record
    return replace(record, pressure_psi=record.pressure_psi - offset_psi)
