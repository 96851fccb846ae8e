"""How a stage ended: screened out, pressured out with a full flush, or neither."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.jit import compiled
from pipeline.physics.constants import CAPACITY_IN2_FT_PER_BBL
from pipeline.physics.fluids import hydrostatic_psi, slurry_density_ppg
from pipeline.picks.arrays import (
    at_time,
    filled,
    highest_of_last,
    integral,
    largest,
    lasting,
    median,
    runs,
    usual_step_s,
)
from pipeline.picks.proppant import flush_bbl
from pipeline.picks.timeline import Timeline
from pipeline.picks.types import Array, Method, Pick, StageDesign
from pipeline.units import qty

SCREENOUT = Method(
    "screenout", "",
    "with proppant at the perforations, pressure climbs at held rate at more than twice its earlier slope, and the "
    "rate is cut with the flush short", 4,
)  # fmt: skip
PRESSURE_OUT = Method(
    "pressure_out", "", "pressure climbs at held rate to the limit and the rate is cut, but the flush is full", 2
)
METHODS = (SCREENOUT, PRESSURE_OUT)
CLIMB_FLOOR_PSI_MIN = 150.0
"""A climb slower than this is not a screen-out. [psi/min]"""
CLIMB_S = 180.0
"""Time before a rate cut in which the climb is searched. [s]"""
EARLIER_S = 600.0
"""Time before the climb over which the earlier slope is measured. [s]"""
RISE_S = 30.0
"""The climb is measured over this time. [s]"""
SHORT = 0.85
"""A flush of less than this share of the volume to the perforations is short. [1]"""
FEWEST = 4
"""Samples of a slope. [1]"""
LATE_S = 1200.0
"""Rate cuts are searched this long before the shut-in: a rate stepped down after a climb ends within it. [s]"""
CUT = 0.9
"""A rate that stays below this share of the highest of the last two minutes was cut. [1]"""
HELD = 0.05
"""A rate that changes by less than this share within 30 s is held. [1]"""
AT_LIMIT = 0.97
"""Pressure above this share of the limit is at the limit. [1]"""


@dataclass(frozen=True)
class Climb:
    """A climb of pressure at held rate before the rate was cut.

    Sample of the cut, where its steepest half minute begins, its slope, the earlier slope, and the top.
    """

    cut: int
    begin_s: float
    late_psi_min: float
    early_psi_min: float
    top_psi: float

    def clear(self, explained_psi_min: float = 0.0) -> bool:
        """Whether the climb, without the part that is explained, is that of a stage that ends."""
        return self.late_psi_min - explained_psi_min > max(CLIMB_FLOOR_PSI_MIN, 2.0 * max(self.early_psi_min, 0.0))

    @property
    def words(self) -> str:
        """The climb for the reason of a pick."""
        late, early = qty(self.late_psi_min, "psi/min"), qty(self.early_psi_min, "psi/min")
        return f"pressure rose by {late} before the rate was cut (earlier {early})"


def find_screenout(
    timeline: Timeline, design: StageDesign, first_proppant_s: float | None, last_proppant_s: float | None
) -> tuple[Pick, Pick]:
    """Detect whether the stage screened out or pressured out.

    Parameters
    ----------
    timeline : Timeline
    design : StageDesign
    first_proppant_s, last_proppant_s : float, optional
        Effective begin and end of proppant at surface. [s]

    Returns
    -------
    screenout, pressure_out : Pick
        1 or 0; missing if the record is not sufficient.

    Notes
    -----
    A rate is cut where it stays below 90 % of the highest rate of the two minutes before: the final shut-down, or the
    first step of a rate that is stepped down. In the three minutes before, a 30-second slope at held rate must exceed
    both 150 psi/min and twice the slope of the ten minutes before; in a short flush, without what the lighter fluid
    in the vertical part of the pipe explains. It is a screen-out if proppant had reached the
    perforations and the flush is below 85 % of the volume to them (or proppant still running). With a full flush it is
    a pressure-out if the pressure reached the limit: without the weight of the slurry the surface pressure climbs in
    every flush; where the volume to the perforations is unknown, such a climb tells neither. Proppant that ended early
    with a full flush and no climb is a stage intentionally cut short.
    """
    if timeline.main is None or timeline.end is None:
        return _both("no end of the treatment in the record")
    if timeline.record.conc_ppa is None:
        return _both("no proppant concentration in the record")
    flush, capacity, climb = flush_bbl(timeline, last_proppant_s), design.capacity_bbl, find_climb(timeline)
    no_out = PRESSURE_OUT.at(0.0, None, "high", "no climb of pressure to the limit before the rate was cut")
    if flush is None:
        return SCREENOUT.at(0.0, None, "high", "no proppant was pumped"), _pressure_out(timeline, design, climb)
    if capacity is None:
        if climb is None:
            why = "no climb before the rate was cut; volume to the perforations unknown"
            return SCREENOUT.at(0.0, None, "medium", why), no_out
        at, why = float(timeline.record.time_s[climb.cut]), f"{climb.words}; volume to the perforations unknown"
        if last_proppant_s is not None and climb.begin_s > last_proppant_s:
            return _both(f"{why}, and the pressure climbs in every flush")
        return SCREENOUT.at(1.0, at, "low", why), PRESSURE_OUT.missing(why)
    if flush >= SHORT * capacity:
        why = f"flushed {qty(flush, 'bbl')} of {qty(capacity, 'bbl')} to the perforations"
        return SCREENOUT.at(0.0, None, "high", why), _pressure_out(timeline, design, climb)
    short = f"flush short by {qty(capacity - flush, 'bbl')}"
    if climb is None:
        why = f"{short}, but no climb of pressure at held rate before the rate was cut"
        return SCREENOUT.at(0.0, None, "medium", why), no_out
    lighter = _lighter_psi_min(timeline, design, climb)
    if not climb.clear(lighter):
        why = f"{short}; {climb.words}, of which the lighter fluid of the flush explains {qty(lighter, 'psi/min')}"
        return SCREENOUT.at(0.0, None, "medium", why), _pressure_out(timeline, design, climb)
    if first_proppant_s is not None and _pumped_bbl(timeline, first_proppant_s, climb.cut) < capacity:
        why = f"{climb.words}; no proppant had reached the perforations"
        return SCREENOUT.at(0.0, None, "medium", why), _pressure_out(timeline, design, climb)
    at = float(timeline.record.time_s[climb.cut])
    return SCREENOUT.at(1.0, at, "high", f"{climb.words}; {short}"), no_out


def _both(reason: str) -> tuple[Pick, Pick]:
    return SCREENOUT.missing(reason), PRESSURE_OUT.missing(reason)


def _pressure_out(timeline: Timeline, design: StageDesign, climb: Climb | None) -> Pick:
    limit = design.pressure_limit_psi
    if climb is None:
        return PRESSURE_OUT.at(0.0, None, "high", "no climb of pressure at held rate before the rate was cut")
    if limit is None:
        return PRESSURE_OUT.missing(f"{climb.words}; no pressure limit in the stages table")
    reached = (
        f"the pressure reached {qty(climb.top_psi, 'psi')} before the rate was cut, the limit is {qty(limit, 'psi')}"
    )
    if climb.top_psi < AT_LIMIT * limit:
        return PRESSURE_OUT.at(0.0, None, "high", reached)
    return PRESSURE_OUT.at(1.0, float(timeline.record.time_s[climb.cut]), "medium", f"{climb.words}; {reached}")


def _lighter_psi_min(timeline: Timeline, design: StageDesign, climb: Climb) -> float:
    """Climb that lighter fluid can cause where it replaces slurry in the vertical part of the pipe. [psi/min]"""
    record, pipe = timeline.record, design.pipe
    if pipe is None or record.conc_ppa is None:
        return 0.0
    first, last = (at_time(record.time_s, climb.begin_s + after) for after in (0.0, RISE_S))
    before = slice(at_time(record.time_s, climb.begin_s - EARLIER_S), first + 1)
    heavy, light = (
        slurry_density_ppg(pipe.density_ppg, conc, design.absolute_volume_gal_lbm)
        for conc in (largest(record.conc_ppa[before], 0.0), median(record.conc_ppa[first : last + 1]))
    )
    down_ft_min = CAPACITY_IN2_FT_PER_BBL * median(record.rate_bpm[first : last + 1]) / pipe.inside_in**2
    found = float(hydrostatic_psi(heavy - light, down_ft_min))
    return found if found > 0.0 else 0.0


def _pumped_bbl(timeline: Timeline, from_s: float, cut: int) -> float:
    span = slice(at_time(timeline.record.time_s, from_s), cut + 1)
    return integral(timeline.record.time_s[span], timeline.record.rate_bpm[span] / 60.0)[0]


def find_climb(timeline: Timeline) -> Climb | None:
    """Return the first climb at held rate that ends with a rate cut; None if the treatment's end is not on record."""
    if timeline.main is None or timeline.end is None:
        return None
    time, pressure = timeline.record.time_s, timeline.record.pressure_psi
    rate = filled(timeline.record.rate_bpm, 0.0)
    for cut in _rate_cuts(timeline, rate):
        (begin, late), early = _slope(time, pressure, rate, cut), _earlier_slope(time, pressure, cut)
        near = pressure[at_time(time, time[cut] - RISE_S) : cut + 1]
        climb = Climb(cut, begin, late, early, largest(near, -np.inf))
        if climb.clear():
            return climb
    return None


def _rate_cuts(timeline: Timeline, rate: Array) -> list[int]:
    """Last samples before the rate is cut, in order; the last one is the final shut-down."""
    assert timeline.main is not None and timeline.end is not None
    time = timeline.record.time_s
    first = max(timeline.main, at_time(time, time[timeline.end] - LATE_S))
    span = slice(first, timeline.end + 1)
    if timeline.end <= first:
        return []
    step = max(usual_step_s(time[span]), 1e-3)
    size = max(round(120.0 / step), 1)
    usual = highest_of_last(rate[span], size)
    fallen = lasting(runs((rate[span] < CUT * usual) | (rate[span] < timeline.main_bpm)), time[span], 5.0)
    cuts = [first + int(start) - 1 for start, _ in fallen if start > 0]
    fast = np.flatnonzero(rate[span] >= timeline.main_bpm)
    last = first + int(fast[-1]) if fast.size else timeline.end
    return [*(cut for cut in cuts if cut < last), last]


def _slope(time: Array, pressure: Array, rate: Array, cut: int) -> tuple[float, float]:
    """Begin and slope of the steepest rise at held rate over 30 s within the last minutes before the cut.

    [s], [psi/min]
    """
    span = slice(at_time(time, time[cut] - CLIMB_S), cut + 1)
    begin, rise = _steepest(time[span] - time[span.start], pressure[span], rate[span])
    return float(time[span.start + begin]), 60.0 * rise


@compiled
def _steepest(time: Array, values: Array, flow: Array) -> tuple[int, float]:
    """Begin and least-squares slope of the steepest rise at held rate over 30 s; 0 and 0 if nothing rises. [psi/s]

    Fewer than four samples have no slope: two alone would give the noise of a gauge, of which 12 psi are 60 psi/min
    over half a minute.
    """
    sums = np.zeros((time.size + 1, 5))  # until each sample: of 1, x, y, x*x, x*y
    for k in range(time.size):
        x, y = time[k], values[k]
        sums[k + 1] = sums[k]
        if y == y:
            for i, part in enumerate((1.0, x, y, x * x, x * y)):
                sums[k + 1, i] += part
    best, most, last = 0, 0.0, 0
    for first in range(time.size if time.size >= 10 else 0):
        while last < time.size and time[last] < time[first] + RISE_S:
            last += 1
        if last == time.size:
            break
        if not abs(flow[last] - flow[first]) <= HELD * max(flow[first], 1e-9):
            continue
        n, sx, sy, sxx, sxy = sums[last + 1] - sums[first]
        spread = n * sxx - sx * sx
        slope = (n * sxy - sx * sy) / spread if n >= FEWEST and spread > 0.0 else 0.0
        if slope > most:
            best, most = first, slope
    return best, most


def earlier_span(cut_s: float) -> tuple[float, float]:
    """Return begin and end of the time over which the earlier slope is measured. [s]"""
    return cut_s - EARLIER_S - CLIMB_S, cut_s - CLIMB_S


def _earlier_slope(time: np.ndarray, pressure: np.ndarray, cut: int) -> float:
    """Least-squares slope of the ten minutes before the climb. [psi/min]"""
    begin, stop = (at_time(time, moment) for moment in earlier_span(float(time[cut])))
    clock, values = time[begin:stop], pressure[begin:stop]
    seen = ~np.isnan(values)
    if seen.sum() < 60:
        return 0.0
    clock, values = clock[seen] - clock[seen][0], values[seen]
    centred = clock - clock.sum() / clock.size
    return float((centred @ values) / (centred @ centred) * 60.0)
