"""Detect whether a stage screened out, as opposed to being cut short."""

from __future__ import annotations

import numpy as np

from pipeline.picks.arrays import at_time, filled, largest, median
from pipeline.picks.proppant import flush_bbl
from pipeline.picks.timeline import Timeline
from pipeline.picks.types import Method, Pick, StageDesign
from pipeline.units import qty

SCREENOUT = Method(
    "screenout", "",
    "pressure climbs at more than twice its earlier slope at held rate, and the rate is cut with the flush short", 1,
)  # fmt: skip
CLIMB_FLOOR_PSI_MIN = 150.0
"""A climb slower than this is not a screen-out. [psi/min]"""
CLIMB_S = 180.0
"""Time before the rate cut in which the climb is searched. [s]"""
EARLIER_S = 600.0
"""Time before the climb over which the earlier slope is measured. [s]"""
SHORT = 0.85
"""A flush of less than this share of the volume to the perforations is short. [1]"""


def find_screenout(timeline: Timeline, design: StageDesign, last_proppant_s: float | None) -> Pick:
    """Detect whether the stage screened out.

    Parameters
    ----------
    timeline : Timeline
    design : StageDesign
    last_proppant_s : float, optional
        Effective end of proppant at surface. [s]

    Returns
    -------
    Pick
        1 for a screen-out, 0 for none; missing if the record is not sufficient.

    Notes
    -----
    The rate is cut where it finally falls below 90 % of its median over the last minutes. In the three minutes before,
    a 30-second slope must exceed both 150 psi/min and twice the slope of the ten minutes before; and the flush
    must be below 85 % of the volume to the perforations (or proppant still running). Proppant that ended early
    with a full flush is a stage intentionally cut short.
    """
    if timeline.main is None or timeline.end is None:
        return SCREENOUT.missing("no end of the treatment in the record")
    if timeline.record.conc_ppa is None:
        return SCREENOUT.missing("no proppant concentration in the record")
    flush = flush_bbl(timeline, last_proppant_s)
    if flush is None:
        return SCREENOUT.at(0.0, None, "high", "no proppant was pumped")
    capacity = design.capacity_bbl
    if capacity is not None and flush >= SHORT * capacity:
        return SCREENOUT.at(
            0.0, None, "high", f"flushed {qty(flush, 'bbl')} of {qty(capacity, 'bbl')} to the perforations"
        )
    cut = _rate_cut(timeline)
    time, pressure = timeline.record.time_s, timeline.record.pressure_psi
    late, early = _slope(time, pressure, cut, CLIMB_S), _earlier_slope(time, pressure, cut)
    climbed = late > max(CLIMB_FLOOR_PSI_MIN, 2.0 * max(early, 0.0))
    seen = f"pressure rose by {qty(late, 'psi/min')} before the rate was cut (earlier {qty(early, 'psi/min')})"
    if capacity is None:
        if climbed:
            return SCREENOUT.at(1.0, float(time[cut]), "low", seen + "; volume to the perforations unknown")
        return SCREENOUT.at(0.0, None, "medium", "no climb before the rate was cut; volume to the perforations unknown")
    short = f"flush short by {qty(capacity - flush, 'bbl')}"
    if climbed:
        return SCREENOUT.at(1.0, float(time[cut]), "high", f"{seen}; {short}")
    return SCREENOUT.at(0.0, None, "medium", f"{short}, but no climb of pressure before the rate was cut")


def _rate_cut(timeline: Timeline) -> int:
    """First sample of the final fall of the rate."""
    assert timeline.main is not None and timeline.end is not None
    span = slice(timeline.main, timeline.end)
    rate = filled(timeline.record.rate_bpm[span], 0.0)
    fast = np.flatnonzero(rate >= timeline.main_bpm)
    tail = rate[fast][-600:]
    level = median(tail) if tail.size else 0.0
    held = np.flatnonzero(rate >= 0.9 * level)
    return timeline.main + (int(held[-1]) if held.size else rate.size - 1)


def _slope(time: np.ndarray, pressure: np.ndarray, cut: int, seconds: float) -> float:
    """Steepest rise over 30 s within the last seconds before the cut. [psi/min]"""
    span = slice(at_time(time, time[cut] - seconds), cut + 1)
    clock, values = time[span], pressure[span]
    if clock.size < 10:
        return 0.0
    ahead = np.searchsorted(clock, clock + 30.0)
    inside = ahead < clock.size
    if not inside.any():
        return 0.0
    rise = (values[ahead[inside]] - values[inside]) / (clock[ahead[inside]] - clock[inside])
    return largest(rise, 0.0) * 60.0


def _earlier_slope(time: np.ndarray, pressure: np.ndarray, cut: int) -> float:
    """Least-squares slope of the ten minutes before the climb. [psi/min]"""
    span = slice(at_time(time, time[cut] - EARLIER_S - CLIMB_S), at_time(time, time[cut] - CLIMB_S))
    clock, values = time[span], pressure[span]
    seen = ~np.isnan(values)
    if seen.sum() < 60:
        return 0.0
    clock, values = clock[seen] - clock[seen][0], values[seen]
    centred = clock - clock.mean()
    return float((centred @ values) / (centred @ centred) * 60.0)
