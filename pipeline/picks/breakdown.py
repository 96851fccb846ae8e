"""Ball seat and breakdown: what the pressure does between pump-down and the rise to rate."""

from __future__ import annotations

import numpy as np

from pipeline.jit import compiled
from pipeline.picks.arrays import ahead, at_time, highest, largest, median, median3, noise_sigma
from pipeline.picks.timeline import PUMPING_BPM, Timeline
from pipeline.picks.types import Array, Doubts, Method, Pick
from pipeline.units import qty

STEP_S = 10.0
"""A ball seats within about this time. [s]"""
RAISED = 1.2
"""A rate this much above the pump-down rate is 'raised'. [1]"""
SHARP_S = 60.0
"""A sharp breakdown falls within this time. [s]"""

BALL_SEAT = Method("ball_seat", "", "pressure steps up on the pump-down plateau while the rate is held", 1)
BREAKDOWN = Method("breakdown_pressure", "psi", "first local maximum after ball seat, before the rate is raised", 1)


def find_ball_seat(timeline: Timeline) -> Pick:
    """Find the moment the ball lands on the plug.

    Parameters
    ----------
    timeline : Timeline

    Returns
    -------
    Pick
        A moment; none where no step is seen.

    Notes
    -----
    On the plateau before the rate is raised, the largest rise of the smoothed pressure within 10 s that follows the
    first 30 s of the plateau; it must reach max(50 psi, 5 noise sigmas). A rate that moves with it lowers the
    confidence.
    """
    span = _plateau(timeline)
    if span is None:
        return BALL_SEAT.missing("no pump-down plateau before the rate is raised")
    first, stop = span
    time = timeline.record.time_s
    begin = at_time(time, time[first] + 30.0)
    stop = min(stop, time.size)
    if stop - begin < 8:
        return BALL_SEAT.missing("the pump-down plateau is shorter than the ball's landing")
    pressure = median3(timeline.record.pressure_psi[begin:stop])
    clock = time[begin:stop]
    rate = timeline.record.rate_bpm[begin:stop]
    level = median(timeline.record.rate_bpm[first:stop])
    later = ahead(clock, STEP_S)
    rise = pressure[later] - pressure
    if np.isnan(rise).all():
        return BALL_SEAT.missing("pressure is void on the plateau")
    needed = max(50.0, 5.0 * noise_sigma(timeline.record.pressure_psi[begin:stop]))
    steady = np.where(np.abs(rate[later] - level) <= 0.04 * level, rise, np.nan)
    doubts = Doubts()
    if largest(steady, 0.0) >= needed:
        rise = steady
    else:
        doubts.add("the rate moved at the same time")
    top = highest(rise)
    if rise[top] < needed:
        return BALL_SEAT.missing(f"no step of {qty(needed, 'psi')} on the plateau")
    # The step itself: the steepest sample pair inside the window.
    window = slice(top, int(later[top]) + 1)
    steepest = top + highest(np.diff(pressure[window]))
    if rise[top] < 2.0 * needed:
        doubts.add("the step is less than twice the least that counts")
    return BALL_SEAT.at(
        None, float(clock[steepest]), doubts.confidence, doubts.words(f"step of {qty(rise[top], 'psi')} at steady rate")
    )


def find_breakdown(timeline: Timeline, ball_seat_s: float | None) -> tuple[Pick, str]:
    """Find the breakdown pressure and its kind.

    Parameters
    ----------
    timeline : Timeline
    ball_seat_s : float, optional
        Effective moment of the ball seat. [s]

    Returns
    -------
    pick : Pick
        Pressure [psi] and moment.
    kind : str
        ``sharp`` (falls by max(150 psi, 3 %) within 60 s), ``soft`` (falls by more than 3 noise sigmas), ``gradual``
        (no fall before the rate rises), ``unseen``.

    Notes
    -----
    The search begins at ball seat; without one, at the first sustained rate of the injection, with less confidence.
    It ends where the rate is raised by a fifth. Higher pressures on the way to design rate are not the breakdown.
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
    stop = min((span[1] if span is not None else timeline.main) + 3, time.size)
    if stop - begin < 5:
        return BREAKDOWN.missing("too few samples between ball seat and the rise of the rate"), "unseen"
    if np.isnan(pressure[begin:stop]).mean() > 0.2:
        return BREAKDOWN.missing("pressure is void where the breakdown would be"), "unseen"
    return _classify(timeline, begin, stop, doubts)


def _classify(timeline: Timeline, begin: int, stop: int, doubts: Doubts) -> tuple[Pick, str]:
    time = timeline.record.time_s
    smooth = median3(timeline.record.pressure_psi[begin:stop])
    clock = time[begin:stop]
    sigma = max(noise_sigma(timeline.record.pressure_psi[begin:stop]), _still_sigma(timeline, begin), 1.0)
    step = median(np.diff(clock))
    if step > 2.0:
        doubts.add(f"one sample every {step:.0f} s can miss the crest", grave=True)
    running = np.fmax.accumulate(smooth)
    fall = running - smooth
    felled = np.flatnonzero(fall > 3.0 * sigma + 5.0)
    if not felled.size:
        return _gradual(smooth, clock, doubts)
    # The first maximum that is followed by a fall beyond noise; a higher one before a deeper fall takes over,
    # as long as it comes within a minute: formations break in steps.
    top = int(np.flatnonzero(smooth[: felled[0] + 1] == running[felled[0]])[-1])
    within = slice(top, int(np.searchsorted(clock, clock[top] + SHARP_S)))
    higher = top + highest(smooth[within])
    if smooth[higher] > smooth[top] + 3.0 * sigma and largest(fall[higher:], 0.0) > 3.0 * sigma:
        top = higher
    depth = float(smooth[top] + largest(-smooth[top : within.stop], -np.inf))
    top, peak = _crest(timeline.record.pressure_psi[begin:stop], smooth, top, sigma)
    sharp = depth >= max(150.0, 0.03 * smooth[top])
    kind = "sharp" if sharp else "soft"
    if not sharp and depth < 6.0 * sigma + 10.0:
        doubts.add("the fall is hardly more than noise")
    # the highest of a few noisy samples lies above the crest; between samples the crest lies above them
    error = max(2.5 * sigma, 0.25 * depth if not sharp else 0.1 * depth)
    pick = BREAKDOWN.at(
        peak, float(clock[top]), doubts.confidence,
        doubts.words(f"{kind}: falls by {qty(depth, 'psi')} before the rate is raised"), error,
    )  # fmt: skip
    return pick, kind


def _still_sigma(timeline: Timeline, begin: int) -> float:
    """Noise of the pressure over the two minutes before the breakdown, while the rate is steady. [psi]"""
    first = at_time(timeline.record.time_s, timeline.record.time_s[begin] - 120.0)
    return noise_sigma(timeline.record.pressure_psi[max(first, timeline.start or 0) : begin])


def _crest(raw: np.ndarray, smooth: np.ndarray, top: int, sigma: float) -> tuple[int, float]:
    """Return the highest sample at a smoothed maximum, unless it is a spike: the median of three cuts sharp crests."""
    first = max(top - 1, 0)
    near = raw[first : top + 2]
    peak = first + highest(near)
    if raw[peak] - smooth[top] > max(10.0 * sigma, 0.03 * smooth[top]):
        return top, float(smooth[top])
    return peak, float(raw[peak])


def _gradual(smooth: np.ndarray, clock: np.ndarray, doubts: Doubts) -> tuple[Pick, str]:
    slope = np.gradient(smooth, clock)
    running = np.fmax.accumulate(slope)
    slow = np.flatnonzero((slope < 0.5 * running) & (running > 0.0))
    at = int(slow[0]) if slow.size else smooth.size - 1
    doubts.add("no fall before the rate was raised: where the rise slows to half", grave=True)
    spread = float(largest(smooth, -np.inf) - smooth[at])
    pick = BREAKDOWN.at(float(smooth[at]), float(clock[at]), "low", doubts.words(""), max(spread, 50.0))
    return pick, "gradual"


def _plateau(timeline: Timeline) -> tuple[int, int] | None:
    """Samples of the steady low rate before the rate is raised: (first, stop)."""
    if timeline.start is None or timeline.main is None or timeline.main - timeline.start < 8:
        return None
    rate = timeline.record.rate_bpm[timeline.start : timeline.main]
    pumping = rate[rate >= PUMPING_BPM]
    if pumping.size < 8:
        return None
    first, stop = _held(rate, median(pumping))
    return (timeline.start + first, timeline.start + stop) if stop - first >= 8 else None


@compiled
def _held(rate: Array, level: float) -> tuple[int, int]:
    """First sample near a level, and the first from which the rate stays above it for five samples or to the end."""
    size = rate.size
    first, above = size, 0
    for k in range(size):
        if first == size and abs(rate[k] - level) <= 0.15 * level:
            first = k
        above = 0 if rate[k] <= RAISED * level else above + 1
        if above == 5:
            return first, k - 4
    return first, size - above
