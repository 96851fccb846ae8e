"""The water hammer after a shut-in."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.jit import compiled
from pipeline.picks.arrays import median
from pipeline.picks.falloff import Falloff
from pipeline.picks.fits import normal, solve
from pipeline.picks.types import Array, Doubts, Method, Pick
from pipeline.units import qty

HAMMER_PERIOD = Method("hammer_period", "s", "damped cosine fitted to the detrended falloff", 1)
HAMMER_DECAY = Method("hammer_decay", "s", "time in which the fitted ringing falls to 1/e", 1)
HAMMER_AMPLITUDE = Method("hammer_amplitude", "psi", "amplitude of the fitted ringing at shut-in", 1)
METHODS = (HAMMER_PERIOD, HAMMER_DECAY, HAMMER_AMPLITUDE)
_LINES = 2048
"""Number of samples that the periodogram is padded to."""


@dataclass(frozen=True)
class Hammer:
    """A fitted water hammer.

    Attributes
    ----------
    period_s, decay_s, amplitude_psi : float
        Period, time to fall to 1/e, amplitude at shut-in. [s, s, psi]
    period_error_s : float
        Standard error of the period. [s]
    samples_per_period : float
        [1]
    """

    period_s: float
    decay_s: float
    amplitude_psi: float
    period_error_s: float
    samples_per_period: float


def fit_hammer(fall: Falloff, window_s: float = 90.0) -> Hammer | None:
    """Fit a damped cosine on a straight line and a square-root decline.

    Parameters
    ----------
    fall : Falloff
    window_s : float
        Seconds after shut-in used in the fit. [s]

    Returns
    -------
    Hammer or None
        None if there are fewer than 15 samples or no ringing above the noise.

    Notes
    -----
    First guess from the largest peak of the periodogram between 3 and 40 s, then Gauss-Newton on period and decay
    with the linear terms solved exactly at each step (separable least squares).

    References
    ----------
    Golub and Pereyra, *SIAM J. Numer. Anal.* 10 (1973) 413-432, for the separable problem.
    """
    stop = int(np.searchsorted(fall.time_s, window_s))
    t, p = fall.time_s[2:stop], fall.pressure_psi[2:stop]
    if t.size < 15:
        return None
    trend = np.stack((np.ones_like(t), np.sqrt(t), t))
    rest = p - solve(normal(trend, p, 3)) @ trend
    omega, gamma, amplitude, error, sigma = _separable(t, p, _strongest(t, rest), 1.0 / 25.0)
    if not 0.0 < error < np.inf or amplitude < 3.0 * max(sigma, fall.sigma_psi) or not 2.5 < 2.0 * np.pi / omega < 45.0:
        return None
    period = 2.0 * np.pi / omega
    step = median(np.diff(t))
    return Hammer(period, 1.0 / gamma, amplitude, error * period / omega, period / step)


def _strongest(t: Array, rest: Array) -> float:
    """Angular frequency of the largest peak of the periodogram between periods of 3 and 40 s. [rad/s]"""
    step = median(np.diff(t))
    even = np.arange(t[0], t[-1], step)
    line = np.fft.rfft(np.interp(even, t, rest) * np.exp(-even / 40.0), _LINES)
    first, stop = int(np.ceil(_LINES * step / 40.0)), int(_LINES * step / 3.0) + 1
    band = np.abs(line[first:stop])
    if not band.size:
        return 2.0 * np.pi / 10.0
    return 2.0 * np.pi * (first + int(np.argmax(band))) / (_LINES * step)


@compiled
def _separable(t: Array, p: Array, omega: float, gamma: float) -> tuple[float, float, float, float, float]:
    """Fit ringing and decline by Gauss-Newton on the angular frequency and the decay.

    Returns frequency, decay, amplitude, the standard error of the frequency and that of the samples; NaN if the
    samples do not determine them.
    """
    n = t.size
    full = np.empty((6, n))  # one, root, cosine, sine, and the slopes by omega and gamma
    for k in range(n):
        full[0, k], full[1, k] = 1.0, np.sqrt(t[k])
    rest = np.empty(n)
    cost = previous = np.inf
    a = b = 0.0
    table = np.empty((6, 7))
    for _ in range(12):
        for k in range(n):
            wave, angle = np.exp(-gamma * t[k]), omega * t[k]
            full[2, k], full[3, k] = wave * np.cos(angle), wave * np.sin(angle)
        solution = solve(normal(full, p, 4))
        a, b = solution[2], solution[3]
        cost = 0.0
        for k in range(n):
            fit = solution[0] + solution[1] * full[1, k] + a * full[2, k] + b * full[3, k]
            rest[k] = p[k] - fit
            cost += rest[k] ** 2
            full[4, k] = t[k] * (b * full[2, k] - a * full[3, k])
            full[5, k] = -t[k] * (a * full[2, k] + b * full[3, k])
        table = normal(full, rest, 6)
        step = solve(table)
        omega = _clip(omega + _clip(step[4], -0.1 * omega, 0.1 * omega), 0.14, 2.5)
        gamma = _clip(gamma + _clip(step[5], -0.5 * gamma, gamma), 1.0 / 300.0, 1.0)
        if abs(previous - cost) < 1e-6 * cost:
            break
        previous = cost
    sigma = np.sqrt(cost / max(n - 6, 1))
    for i in range(6):
        table[i, 6] = 1.0 if i == 4 else 0.0
    return omega, gamma, np.sqrt(a * a + b * b), sigma * np.sqrt(solve(table)[4]), sigma


@compiled
def _clip(value: float, low: float, high: float) -> float:
    return min(max(value, low), high)


def hammer_picks(hammer: Hammer | None, shut_in_s: float) -> list[Pick]:
    """Return period, decay and amplitude as picks."""
    if hammer is None:
        reason = "no ringing above the noise"
        return [method.missing(reason) for method in METHODS]
    doubts = Doubts()
    if hammer.period_error_s > 0.01 * hammer.period_s:
        doubts.add("the period's standard error is above 1 %")
    if hammer.samples_per_period < 6.0:
        doubts.add(f"only {hammer.samples_per_period:.1f} samples a period", grave=True)
    words = doubts.words(f"ringing of {qty(hammer.amplitude_psi, 'psi')}")
    sure = doubts.confidence
    return [
        HAMMER_PERIOD.at(hammer.period_s, shut_in_s, sure, words, hammer.period_error_s),
        HAMMER_DECAY.at(hammer.decay_s, shut_in_s, sure, words),
        HAMMER_AMPLITUDE.at(hammer.amplitude_psi, shut_in_s, sure, words),
    ]
