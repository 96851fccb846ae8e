"""Ball seat and breakdown: pressure events between pump-down and the rise to rate."""

from __future__ import annotations

import numpy as np

from pipeline.jit import compiled
from pipeline.picks.arrays import (
    ahead,
    at_time,
    filled,
    first_above,
    first_gap,
    highest,
    largest,
    median,
    median3,
    noise_sigma,
    percentile,
    usual_step_s,
)
from pipeline.picks.timeline import Timeline
from pipeline.picks.types import Array, Doubts, Method, Pick
from pipeline.units import qty

STEP_S = 10.0
"""Window in which a ball seats. [s]"""
GAIN_PSI_BPM = 30.0
"""Pressure that a rate change explains at pump-down rates: an upper bound (chosen on records). [psi/bpm]"""
HELD = 0.04
"""The rate is held if it changes by less than this share. [1]"""
CONTINUES = 1.5
"""A crest that rises by up to this multiple of the rise before it continues that rise; a spike does not. [1]"""
MISSED_S = 3.0
"""A longer time without samples between ball seat and the fall may hide the peak. [s]"""
NEAR_PSI, NEAR = 50.0, 0.01
"""A peak that can lie higher than its sample by more than both is a doubt. [psi], [1]"""
COARSE_S = 2.5
"""With a longer time between samples a peak is one of them: it is not smoothed, the samples around it tell nothing of
the noise, and the pick is never sure. [s]"""
RAISED = 1.2
"""A rate above this multiple of the pump-down rate counts as raised. [1]"""
AFTER_S = 3.0
"""Of the rise to rate, this much is searched too: the fall of a late breakdown. [s]"""
SHARP_S = 60.0
"""Window for the pressure fall of a sharp breakdown. [s]"""
HIGHER, FALLS, BELOW = 1.2, 0.15, 0.6
"""A later crest is a doubt from this multiple of the peak on, if it falls by this share at a held rate below this share
of the treating rate. On the field records, whose peaks engineers confirmed, none falls by more than 0.10. [1]"""

BALL_SEAT = Method(
    "ball_seat", "", "largest step of pressure on the pump-down plateau that the rate does not explain", 2
)
BREAKDOWN = Method("breakdown_pressure", "psi", "first local maximum after ball seat, before the rate is raised", 4)


def find_ball_seat(timeline: Timeline) -> Pick:
    """Find the time when the ball lands on the plug.

    Parameters
    ----------
    timeline : Timeline

    Returns
    -------
    Pick
        A time; none if no step is found.

    Notes
    -----
    On the plateau before the rate is raised, the largest rise of the smoothed pressure within 10 s that follows the
    first 30 s of the plateau, less what a rate change can explain; it must reach max(50 psi, 5 noise sigmas). A rate
    change at the same time lowers the confidence.
    """
    span = _plateau(timeline)
    if span is None:
        return BALL_SEAT.missing("no pump-down plateau before the rate is raised")
    first, stop = span
    time = timeline.record.time_s
    begin = at_time(time, time[first] + 30.0)
    stop = min(stop, time.size)
    if stop - begin < 8:
        return BALL_SEAT.missing("the pump-down plateau is shorter than the ball-seat window")
    pressure = median3(timeline.record.pressure_psi[begin:stop])
    clock = time[begin:stop]
    rate = timeline.record.rate_bpm[begin:stop]
    level = median(timeline.record.rate_bpm[first:stop])
    later = ahead(clock, STEP_S)
    rise = pressure[later] - pressure
    if np.isnan(rise).all():
        return BALL_SEAT.missing("pressure is void on the plateau")
    needed = max(50.0, 5.0 * noise_sigma(timeline.record.pressure_psi[begin:stop]))
    moved = rate[later] - rate
    rise = rise - GAIN_PSI_BPM * filled(np.abs(moved), 0.0)
    doubts = Doubts()
    top = highest(rise)
    if rise[top] < needed:
        return BALL_SEAT.missing(f"no step of {qty(needed, 'psi')} on the plateau")
    if not abs(moved[top]) <= HELD * level:
        doubts.add("the rate changed at the same time")
    # Time of the step: the steepest sample pair in the window.
    window = slice(top, int(later[top]) + 1)
    steepest = top + highest(np.diff(pressure[window]))
    if rise[top] < 2.0 * needed:
        doubts.add("the step is less than twice the threshold")
    return BALL_SEAT.at(
        None, float(clock[steepest]), doubts.confidence, doubts.words(f"step of {qty(rise[top], 'psi')} at steady rate")
    )


def find_breakdown(timeline: Timeline, ball_seat_s: float | None) -> tuple[Pick, str]:
    """Find the breakdown pressure and its type.

    Parameters
    ----------
    timeline : Timeline
    ball_seat_s : float, optional
        Effective time of the ball seat. [s]

    Returns
    -------
    pick : Pick
        Pressure [psi] and time.
    kind : str
        ``sharp`` (falls by max(150 psi, 3 %) within 60 s), ``soft`` (falls by more than 3 noise sigmas), ``gradual``
        (no fall before the rate rises), ``unseen``.

    Notes
    -----
    The search begins at ball seat, or, without one, at the first sustained rate of the injection (lower confidence).
    It ends when the rate is raised by a fifth. Higher pressures on the way to design rate are not the breakdown.
    """
    if timeline.start is None or timeline.main is None:
        return BREAKDOWN.missing("no injection in the record"), "unseen"
    if timeline.start == 0:
        return BREAKDOWN.missing("the record begins while pumping"), "unseen"
    time, pressure = timeline.record.time_s, timeline.record.pressure_psi
    span = _plateau(timeline)
    doubts = Doubts()
    if ball_seat_s is not None:
        begin = max(at_time(time, ball_seat_s) - 2, timeline.start)
    else:
        begin = timeline.start
        doubts.add("no ball seat: first maximum at injection rate", grave=True)
    raised = min(span[1] if span is not None else timeline.main, time.size - 1)
    stop = max(at_time(time, time[raised] + AFTER_S), raised + 1)
    if stop - begin < 5:
        return BREAKDOWN.missing("too few samples between ball seat and the rate increase"), "unseen"
    if np.count_nonzero(np.isnan(pressure[begin:stop])) > 0.2 * (stop - begin):
        return BREAKDOWN.missing("pressure is void in the breakdown window"), "unseen"
    return _classify(timeline, begin, stop, doubts)


def _classify(timeline: Timeline, begin: int, stop: int, doubts: Doubts) -> tuple[Pick, str]:
    time = timeline.record.time_s
    raw, clock = timeline.record.pressure_psi[begin:stop], time[begin:stop]
    step = usual_step_s(clock)
    coarse, still = step > COARSE_S, _still_sigma(timeline, begin)
    smooth = raw if coarse else median3(raw)
    sigma = max(still if coarse and still > 0.0 else noise_sigma(raw), still, 1.0)
    if step > 1.5:
        doubts.add(f"one sample every {step:.0f} s can miss the peak", grave=coarse)
    running = np.fmax.accumulate(smooth)
    fall = running - smooth
    felled = np.flatnonzero(fall > 3.0 * sigma + 5.0)
    if not felled.size:
        return _gradual(smooth, clock, doubts)
    # Take the first maximum followed by a fall beyond noise. A higher one before a deeper fall replaces it
    # if it comes within a minute, because formations break in steps.
    top = int(np.flatnonzero(smooth[: felled[0] + 1] == running[felled[0]])[-1])
    within = slice(top, int(np.searchsorted(clock, clock[top] + SHARP_S)))
    higher = top + highest(smooth[within])
    if smooth[higher] > smooth[top] + 3.0 * sigma and largest(fall[higher:], 0.0) > 3.0 * sigma:
        top = higher
    depth = float(smooth[top] + largest(-smooth[top : within.stop], -np.inf))
    measured = clock[~np.isnan(raw) & (clock <= clock[top] + SHARP_S)]
    if first_gap(measured, max(MISSED_S, 2.0 * step)) < measured.size:
        doubts.add("a gap in the record may hide the peak", grave=True)
    top, peak = _crest(raw, smooth, top, sigma)
    above = _above_sample(raw, top)
    if above > max(NEAR_PSI, NEAR * peak):
        doubts.add(f"between two samples the pressure can have been {qty(above, 'psi')} higher")
    if (crest := _later_crest(timeline, stop, peak)) > 0.0:
        doubts.add(f"a crest of {qty(crest, 'psi')} at a higher rate falls as a breakdown does")
    sharp = depth >= max(150.0, 0.03 * smooth[top])
    kind = "sharp" if sharp else "soft"
    if not sharp and depth < 6.0 * sigma + 10.0:
        doubts.add("the fall is barely above noise")
    # the highest of a few noisy samples is above the true peak; between samples the true peak is above them
    error = float(np.hypot(max(2.5 * sigma, 0.25 * depth if not sharp else 0.1 * depth), 0.5 * above))
    if coarse:  # what happened between the peak and the samples beside it is not on record
        beside = raw[max(top - 1, 0) : top + 2]
        error = max(error, 0.5 * (peak - float(np.nanmin(beside))))
    pick = BREAKDOWN.at(
        peak, float(clock[top]), doubts.confidence,
        doubts.words(f"{kind}: falls by {qty(depth, 'psi')} before the rate is raised"), error,
    )  # fmt: skip
    return pick, kind


def _later_crest(timeline: Timeline, begin: int, peak: float) -> float:
    """Return the highest crest on the way to the treating rate that falls as a breakdown does; 0 if none does. [psi]

    The spike of a seating ball is taken for the breakdown where the rock breaks only at a higher rate.
    """
    record, main = timeline.record, timeline.main
    if main is None:
        return 0.0
    treating = record.rate_bpm[main : timeline.end]
    fast = begin + first_above(record.rate_bpm[begin:], BELOW * percentile(treating[~np.isnan(treating)], 80.0))
    span = slice(begin, fast if fast < record.rate_bpm.size else timeline.end)
    return _falling_crest(record.time_s[span], median3(record.pressure_psi[span]), record.rate_bpm[span], HIGHER * peak)


@compiled
def _falling_crest(time: Array, pressure: Array, rate: Array, least: float) -> float:
    """Highest pressure of at least `least` that falls by the share of a breakdown while the rate is held; 0 if none."""
    found = 0.0
    for k in range(pressure.size):
        if not pressure[k] > max(least, found):
            continue
        for j in range(k + 1, pressure.size):
            if time[j] > time[k] + SHARP_S or not abs(rate[j] - rate[k]) <= HELD * rate[k]:
                break
            if pressure[j] < (1.0 - FALLS) * pressure[k]:
                found = pressure[k]
                break
    return found


def _still_sigma(timeline: Timeline, begin: int) -> float:
    """Noise of the pressure over the two minutes before the breakdown, while the rate is steady. [psi]"""
    first = at_time(timeline.record.time_s, timeline.record.time_s[begin] - 120.0)
    return noise_sigma(timeline.record.pressure_psi[max(first, timeline.start or 0) : begin])


def _crest(raw: np.ndarray, smooth: np.ndarray, top: int, sigma: float) -> tuple[int, float]:
    """Return the highest sample at a smoothed maximum, unless it is a spike: the median of three clips sharp peaks.

    A crest continues the rise before it; a spike stands on its own.
    """
    first = max(top - 1, 0)
    near = raw[first : top + 2]
    peak = first + highest(near)
    rise = raw[peak] - raw[peak - 1] if peak > 0 else np.nan
    before = raw[peak - 1] - raw[peak - 2] if peak > 1 else np.nan
    continues = rise <= CONTINUES * max(before, 0.0) + 3.0 * sigma
    if not continues and raw[peak] - smooth[top] > max(10.0 * sigma, 0.03 * smooth[top]):
        return top, float(smooth[top])
    return peak, float(raw[peak])


def _above_sample(raw: np.ndarray, peak: int) -> float:
    """Return how far a peak between samples can lie above its highest sample: where rise and fall would meet. [psi]"""
    if peak < 2 or peak + 2 >= raw.size:
        return 0.0
    rise, fall = raw[peak - 1] - raw[peak - 2], raw[peak + 1] - raw[peak + 2]
    last, drop = raw[peak] - raw[peak - 1], raw[peak] - raw[peak + 1]
    if last >= rise > 0.0 and drop > last:  # still rising faster when it broke: half a step more
        return float(0.5 * last)
    if not min(rise, fall) > 0.0:
        return 0.0
    steps = (raw[peak + 1] - raw[peak - 1] + 2.0 * fall) / (rise + fall)  # from the sample before the peak
    return float(max(raw[peak - 1] + rise * steps - raw[peak], 0.0)) if 0.0 < steps < 2.0 else 0.0


def _gradual(smooth: np.ndarray, clock: np.ndarray, doubts: Doubts) -> tuple[Pick, str]:
    slope = np.gradient(smooth, clock)
    running = np.fmax.accumulate(slope)
    slow = np.flatnonzero((slope < 0.5 * running) & (running > 0.0))
    at = int(slow[0]) if slow.size else smooth.size - 1
    doubts.add("no fall before the rate was raised: picked where the rise slows to half", grave=True)
    spread = float(largest(smooth, -np.inf) - smooth[at])
    pick = BREAKDOWN.at(float(smooth[at]), float(clock[at]), "low", doubts.words(""), max(spread, 50.0))
    return pick, "gradual"


def _plateau(timeline: Timeline) -> tuple[int, int] | None:
    """Samples of the steady low rate before the rate is raised: (first, stop)."""
    if timeline.start is None or timeline.main is None or timeline.main - timeline.start < 8:
        return None
    rate = timeline.record.rate_bpm[timeline.start : timeline.main]
    pumping = rate[rate >= timeline.pumping_bpm]
    if pumping.size < 8:
        return None
    first, stop = _held(rate, median(pumping))
    return (timeline.start + first, timeline.start + stop) if stop - first >= 8 else None


@compiled
def _held(rate: Array, level: float) -> tuple[int, int]:
    """First sample near a level, and the first of five or more samples above it (or above it to the end)."""
    size = rate.size
    first, above = size, 0
    for k in range(size):
        if first == size and abs(rate[k] - level) <= 0.15 * level:
            first = k
        above = 0 if rate[k] <= RAISED * level else above + 1
        if above == 5:
            return first, k - 4
    return first, size - above
