"""Gauge reading at zero pressure."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pipeline.picks.arrays import lasting, median, noise_sigma, runs
from pipeline.picks.types import Method, Pick, StageRecord
from pipeline.units import qty

LARGEST_PSI = 100.0
"""A larger reading at rest is a pressure, not an offset. [psi]"""
ACCURACY_PSI = 30.0
"""A 15,000 psi gauge rarely has a more accurate zero (common practice); smaller offsets are not removed. [psi]"""
AGREE_PSI = 20.0
"""Readings at rest that differ by more than this do not share one offset. [psi]"""
LASTING_S = 20.0
"""Shortest time that the gauge must rest. [s]"""

ZERO_OFFSET = Method("zero_offset", "psi", "median reading with the lines open: no rate, steady, under 100 psi", 1)


def find_zero_offset(record: StageRecord) -> Pick:
    """Find the gauge's reading at zero pressure.

    Parameters
    ----------
    record : StageRecord

    Returns
    -------
    Pick
        Offset [psi]; missing if the record never rests at zero.

    Notes
    -----
    Only a reading below zero is certainly an offset; one above may be residual line pressure. Offsets within the
    gauge's accuracy, and readings that disagree with each other, are recorded as zero.
    """
    pressure = record.pressure_psi
    resting = runs((np.abs(pressure) < LARGEST_PSI) & (record.rate_bpm < 0.5))
    resting = lasting(resting, record.time_s, LASTING_S)
    levels: list[float] = []
    for start, stop in resting:
        span = pressure[start:stop]
        level = median(span)
        if 3.0 * median(np.abs(span - level)) < max(15.0, 4.0 * noise_sigma(span)):
            levels.append(level)
    if not levels:
        return ZERO_OFFSET.missing("the record never rests at zero pressure")
    moment, level = float(record.time_s[resting[0, 0]]), median(np.asarray(levels))
    if max(levels) - min(levels) > AGREE_PSI:
        seen = (
            f"readings at rest disagree, {qty(min(levels), 'psi', plus=True)} to {qty(max(levels), 'psi', plus=True)}: "
            "no offset removed"
        )
        return ZERO_OFFSET.at(0.0, moment, "low", seen, ACCURACY_PSI)
    if level > -ACCURACY_PSI:
        return ZERO_OFFSET.at(
            0.0,
            moment,
            "high",
            f"gauge reads {qty(level, 'psi', plus=True)} at rest: within the gauge's accuracy",
            1.0,
        )
    return ZERO_OFFSET.at(
        level, moment, "high", f"gauge reads {qty(level, 'psi', plus=True)} at rest: removed from the record", 1.0
    )


def without_offset(record: StageRecord, offset_psi: float | None) -> StageRecord:
    """Return the record with the offset subtracted from its pressure."""
    if not offset_psi:
        return record
    return replace(record, pressure_psi=record.pressure_psi - offset_psi)
