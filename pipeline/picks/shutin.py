"""After the pumps stop: water hammer, instantaneous shut-in pressure, and the pressures minutes later."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.picks.arrays import at_time, median, noise_sigma, runs
from pipeline.picks.record import Array, Doubts, Method, Pick
from pipeline.picks.timeline import Timeline

SHORTEST_FALLOFF_S = 90.0
"""A shut-in seen for less gives no ISIP. [s]"""
WINDOW_S = (60.0, 120.0)
"""Shortest and longest window of the falloff fit: long enough for several periods, early enough for sqrt(t). [s]"""
FADED_PSI = 25.0
"""Ringing below this does not move the fit of a window of several periods. [psi]"""
SHIFT_S = 30.0
"""The fit is repeated with its window moved by this much either way. [s]"""

ISIP = Method("isip", "psi", "falloff after the water hammer fitted by a - b*sqrt(t), carried back to shut-in", 1)
INITIAL_ISIP = Method("initial_isip", "psi", "the same at the first shut-in before the last", 1)
HAMMER_PERIOD = Method("hammer_period", "s", "damped cosine fitted to the detrended falloff", 1)
HAMMER_DECAY = Method("hammer_decay", "s", "time in which the fitted ringing falls to 1/e", 1)
HAMMER_AMPLITUDE = Method("hammer_amplitude", "psi", "amplitude of the fitted ringing at shut-in", 1)
LATER = {
    minutes: Method(f"pressure_{minutes}min", "psi", f"pressure {minutes} min after shut-in at zero rate", 1)
    for minutes in (5, 10, 15)
}


@dataclass(frozen=True)
class Hammer:
    """A fitted ringing.

    Attributes
    ----------
    period_s, decay_s, amplitude_psi : float
        Period, time to fall to 1/e, amplitude at shut-in. [s, s, psi]
    period_error_s : float
        Standard error of the period. [s]
    samples_a_period : float
        [1]
    """

    period_s: float
    decay_s: float
    amplitude_psi: float
    period_error_s: float
    samples_a_period: float


@dataclass(frozen=True)
class Falloff:
    """The static record after a shut-in: seconds since shut-in and pressure, no rate, no gap, no bleed-off."""

    time_s: Array
    pressure_psi: Array
    sigma_psi: float


def falloff(timeline: Timeline, shut_in_s: float, longest_s: float = 1000.0) -> Falloff:
    """Cut out the falloff that follows a shut-in.

    Parameters
    ----------
    timeline : Timeline
    shut_in_s : float
        Moment of the shut-in. [s]
    longest_s : float
        [s]

    Returns
    -------
    Falloff
        Ends where the rate comes back, the record ends or breaks, or the pressure is bled off (falls by more than
        300 psi within 10 s once two minutes have passed).
    """
    time = timeline.record.time_s
    begin = at_time(time, shut_in_s)
    stop = int(np.searchsorted(time, time[begin] + longest_s, side="right"))
    clock = time[begin:stop] - time[begin]
    pressure = timeline.record.pressure_psi[begin:stop]
    rate = timeline.record.rate_bpm[begin:stop]
    ends = [clock.size]
    flowing = runs(rate > 1.0)
    lasting = flowing[(flowing[:, 1] - flowing[:, 0]) >= 3]
    if len(lasting):
        ends.append(int(lasting[0, 0]))
    breaks = np.flatnonzero(np.diff(clock) > 30.0)
    if breaks.size:
        ends.append(int(breaks[0]) + 1)
    late = int(np.searchsorted(clock, 120.0))
    if late + 11 < clock.size:
        drop = pressure[late:-10] - pressure[late + 10 :]
        bled = np.flatnonzero(np.abs(drop) > 300.0)
        if bled.size:
            ends.append(late + int(bled[0]))
    end = min(ends)
    clock, pressure = clock[:end], pressure[:end]
    seen = ~np.isnan(pressure)
    clock, pressure = clock[seen], pressure[seen]
    quiet = pressure[int(np.searchsorted(clock, 90.0)) :]
    return Falloff(clock, pressure, noise_sigma(quiet if quiet.size > 30 else pressure))


def fit_hammer(fall: Falloff, window_s: float = 90.0) -> Hammer | None:
    """Fit a damped cosine on a straight line and a square-root decline.

    Parameters
    ----------
    fall : Falloff
    window_s : float
        Seconds after shut-in that are fitted. [s]

    Returns
    -------
    Hammer or None
        None where there are fewer than 15 samples or no ringing stands out.

    Notes
    -----
    First guess from the largest line of the periodogram between 3 and 40 s, then Gauss-Newton on period and decay
    with the linear terms solved exactly at each step (separable least squares).

    References
    ----------
    Golub and Pereyra, *SIAM J. Numer. Anal.* 10 (1973) 413-432, for the separable problem.
    """
    stop = int(np.searchsorted(fall.time_s, window_s))
    t, p = fall.time_s[2:stop], fall.pressure_psi[2:stop]
    if t.size < 15:
        return None
    trend = np.stack((np.ones_like(t), np.sqrt(t), t), axis=1)
    rest = p - trend @ np.linalg.lstsq(trend, p, rcond=None)[0]
    try:
        fitted = _separable(t, p, _strongest(t, rest), 1.0 / 25.0)
    except np.linalg.LinAlgError:  # the samples do not determine a ringing
        fitted = None
    if fitted is None:
        return None
    omega, gamma, amplitude, error, sigma = fitted
    if amplitude < 3.0 * max(sigma, fall.sigma_psi) or not 2.5 < 2.0 * np.pi / omega < 45.0:
        return None
    period = 2.0 * np.pi / omega
    step = median(np.diff(t))
    return Hammer(period, 1.0 / gamma, amplitude, error * period / omega, period / step)


def _strongest(t: Array, rest: Array) -> float:
    """Angular frequency of the largest line of the periodogram between periods of 3 and 40 s. [rad/s]"""
    step = median(np.diff(t))
    even = np.arange(t[0], t[-1], step)
    line = np.abs(np.fft.rfft(np.interp(even, t, rest) * np.exp(-even / 40.0), 2048))
    frequency = np.arange(line.size) / (2048 * step)
    band = (frequency >= 1.0 / 40.0) & (frequency <= 1.0 / 3.0)
    if not band.any():
        return 2.0 * np.pi / 10.0
    return float(2.0 * np.pi * frequency[band][np.argmax(line[band])])


def _separable(t: Array, p: Array, omega: float, gamma: float) -> tuple[float, float, float, float, float] | None:
    previous = np.inf
    full = np.empty((6, t.size))  # one, root, cosine, sine, and the slopes by omega and gamma
    full[0], full[1] = 1.0, np.sqrt(t)
    basis, cosine, sine = full[:4], full[2], full[3]
    for _ in range(12):
        wave, angle = np.exp(-gamma * t), omega * t
        np.multiply(wave, np.cos(angle), out=cosine)
        np.multiply(wave, np.sin(angle), out=sine)
        solution = np.linalg.solve(basis @ basis.T, basis @ p)
        rest = p - solution @ basis
        a, b = solution[2], solution[3]
        full[4] = t * (b * cosine - a * sine)
        full[5] = -t * (a * cosine + b * sine)
        normal = full @ full.T
        step = np.linalg.solve(normal, full @ rest)[-2:]
        omega = float(np.clip(omega + np.clip(step[0], -0.1 * omega, 0.1 * omega), 0.14, 2.5))
        gamma = float(np.clip(gamma + np.clip(step[1], -0.5 * gamma, gamma), 1.0 / 300.0, 1.0))
        cost = float(rest @ rest)
        if abs(previous - cost) < 1e-6 * cost:
            break
        previous = cost
    sigma = float(np.sqrt(cost / max(t.size - 6, 1)))
    variance = float(np.linalg.inv(normal)[-2, -2])
    if not variance > 0.0:  # the samples do not determine the period
        return None
    error = sigma * float(np.sqrt(variance))
    return omega, gamma, float(np.hypot(a, b)), error, sigma


def quiet_after_s(fall: Falloff, hammer: Hammer | None) -> float:
    """Return when the ringing is over: three periods, and its envelope below 3 noise sigmas (at most 180 s). [s]

    Gauges at rest are quieter than the falloff needs: below 25 psi, whole periods average out of the fit.
    """
    if hammer is None:
        return 30.0
    floor = max(3.0 * fall.sigma_psi, FADED_PSI)
    faded = hammer.decay_s * np.log(max(hammer.amplitude_psi / floor, 1.0))
    return float(min(max(3.0 * hammer.period_s, faded), 180.0))


def fit_isip(method: Method, fall: Falloff, hammer: Hammer | None, shut_in_s: float) -> Pick:
    """Carry the falloff back to the shut-in.

    Parameters
    ----------
    method : Method
    fall : Falloff
    hammer : Hammer, optional
    shut_in_s : float
        Moment of the shut-in in the record. [s]

    Returns
    -------
    Pick
        The square-root fit's value. Its standard error joins the autocorrelation-robust error of the fit, the spread
        over windows moved by 30 s either way, and half of the difference to a straight line's value: no record tells
        which of the two a falloff follows before its first quiet sample.

    References
    ----------
    Newey and West, *Econometrica* 55 (1987) 703-708, for the robust error.
    """
    if fall.time_s.size < 30 or fall.time_s[-1] < SHORTEST_FALLOFF_S:
        return method.missing(f"less than {SHORTEST_FALLOFF_S:.0f} s of falloff at zero rate")
    quiet = min(quiet_after_s(fall, hammer), fall.time_s[-1] - WINDOW_S[0])
    length = min(WINDOW_S[1], fall.time_s[-1] - quiet)
    best = fit_window(fall, max(quiet, 1.0), length)
    value, difference = best.root, best.line - best.root
    moved = [
        root_at_zero(fall, max(quiet + shift, 1.0), length)
        for shift in (-SHIFT_S, SHIFT_S)
        if quiet + shift >= 0.0 and quiet + shift + 0.5 * length <= fall.time_s[-1]
    ]
    spread = max((abs(other - value) for other in moved), default=0.0)
    total = float(np.hypot(np.hypot(best.error, spread), 0.5 * difference))
    doubts = Doubts()
    if length < 0.67 * WINDOW_S[1]:
        doubts.add(f"only {length:.0f} s of quiet falloff")
    if spread > 75.0:
        doubts.add(f"moving the window by {SHIFT_S:.0f} s moves it by {spread:.0f} psi")
    if not fall.pressure_psi[0] > 0.0 or value <= 0.0:
        doubts.add("no pressure at shut-in", grave=True)
    words = f"square-root fit from {quiet:.0f} s over {length:.0f} s; a straight line reads {difference:+.0f} psi"
    return method.at(value, shut_in_s, doubts.confidence, doubts.words(words), total)


@dataclass(frozen=True)
class Window:
    """Both fits of one window: intercept of the square-root fit, its robust error, intercept of the line. [psi]"""

    root: float
    error: float
    line: float


def _window(fall: Falloff, begin_s: float, length_s: float) -> tuple[Array, Array]:
    first, last = np.searchsorted(fall.time_s, (begin_s, begin_s + length_s))
    return fall.time_s[first : last + 1], fall.pressure_psi[first : last + 1]


def _intercept(x: Array, y: Array) -> float:
    centred = x - x.mean()
    return float(y.mean() - (centred @ y) / (centred @ centred) * x.mean())


def root_at_zero(fall: Falloff, begin_s: float, length_s: float) -> float:
    """Fit ``a - b*sqrt(t)`` over one window by least squares and return ``a``. [psi]"""
    t, p = _window(fall, begin_s, length_s)
    return _intercept(np.sqrt(t), p)


def fit_window(fall: Falloff, begin_s: float, length_s: float) -> Window:
    """Fit ``a - b*sqrt(t)`` and ``a - b*t`` over one window by least squares."""
    t, p = _window(fall, begin_s, length_s)
    design = np.stack((np.ones_like(t), np.sqrt(t)), axis=1)
    bread = np.linalg.inv(design.T @ design)
    solution = bread @ (design.T @ p)
    score = design * (p - design @ solution)[:, None]
    lags = min(20, t.size // 4)
    bartlett = 1.0 - np.abs(np.arange(-lags, lags + 1)) / (lags + 1.0)
    meat = score.T @ np.stack([np.convolve(column, bartlett, "same") for column in score.T], axis=1)
    variance = (bread @ meat @ bread)[0, 0]
    return Window(float(solution[0]), float(np.sqrt(max(variance, 0.0))), _intercept(t, p))


def hammer_picks(hammer: Hammer | None, shut_in_s: float) -> list[Pick]:
    """Return period, decay and amplitude as picks."""
    if hammer is None:
        reason = "no ringing stands out of the noise"
        return [m.missing(reason) for m in (HAMMER_PERIOD, HAMMER_DECAY, HAMMER_AMPLITUDE)]
    doubts = Doubts()
    if hammer.period_error_s > 0.01 * hammer.period_s:
        doubts.add("the period's standard error is above 1 %")
    if hammer.samples_a_period < 6.0:
        doubts.add(f"only {hammer.samples_a_period:.1f} samples a period", grave=True)
    words = doubts.words(f"ringing of {hammer.amplitude_psi:.0f} psi")
    sure = doubts.confidence
    return [
        HAMMER_PERIOD.at(hammer.period_s, shut_in_s, sure, words, hammer.period_error_s),
        HAMMER_DECAY.at(hammer.decay_s, shut_in_s, sure, words),
        HAMMER_AMPLITUDE.at(hammer.amplitude_psi, shut_in_s, sure, words),
    ]


def later_pressures(fall: Falloff, shut_in_s: float) -> list[Pick]:
    """Return the pressures 5, 10 and 15 minutes after shut-in; never extrapolated."""
    picks = []
    for minutes, method in LATER.items():
        moment = 60.0 * minutes
        if not fall.time_s.size or fall.time_s[-1] < moment:
            picks.append(method.missing(f"not {minutes} min at zero rate on record"))
            continue
        near = np.abs(fall.time_s - moment) <= 5.0
        if not near.any():
            picks.append(method.missing("a gap in the record"))
            continue
        value = median(fall.pressure_psi[near])
        picks.append(
            method.at(value, shut_in_s + moment, "high", "median of the samples within 5 s", max(fall.sigma_psi, 1.0))
        )
    return picks
