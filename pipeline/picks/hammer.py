"""The water hammer after a shut-in."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.picks.arrays import usual_step_s
from pipeline.picks.falloff import Falloff
from pipeline.picks.fits import ringing, strongest_wave
from pipeline.picks.types import Doubts, Method, Pick
from pipeline.units import qty

HAMMER_PERIOD = Method("hammer_period", "s", "damped wave fitted together with the decline", 2)
HAMMER_DECAY = Method("hammer_decay", "s", "time in which the fitted ringing falls to 1/e", 2)
HAMMER_AMPLITUDE = Method("hammer_amplitude", "psi", "amplitude of the fitted ringing at shut-in", 2)
METHODS = (HAMMER_PERIOD, HAMMER_DECAY, HAMMER_AMPLITUDE)
WINDOW_S = 90.0
"""Seconds after shut-in that are fitted. [s]"""
PERIOD_S = (3.0, 40.0)
"""Periods that are looked for if casing or depth is unknown. [s]"""
BAND = 0.25
"""Where they are known, the period lies within this share of 4L/a. [1]"""
FADING = 1.0 / 25.0
"""First guess of the decay. [1/s]"""
SCAN = 1.04
"""Ratio of neighbouring periods of the first search. [1]"""
TAILS_S = (4.0, 7.0, 12.0, 20.0)
"""Time constants that are tried for a tail of friction. [s]"""
EXPLAINED = 1.5
"""A fit that leaves less than this multiple of the noise needs no tail. [1]"""
TAIL_F = 30.0
"""F ratio from which a tail of friction is taken to be there. [1]"""
FEW_SAMPLES, FEWEST_SAMPLES = 6.0, 3.0
"""With fewer samples per period than these, the period is a doubt, or a grave one. [1]"""
SAMPLES = 8.0
"""Samples per period from which the third harmonic is fitted. [1]"""


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
    tail_s : float
        Time constant of a tail of friction beside it; 0 for none. [s]
    """

    period_s: float
    decay_s: float
    amplitude_psi: float
    period_error_s: float
    samples_per_period: float
    tail_s: float = 0.0


def fit_hammer(fall: Falloff, expected_s: float | None = None) -> tuple[Hammer | None, str]:
    """Fit a damped wave on a square-root decline.

    Parameters
    ----------
    fall : Falloff
    expected_s : float, optional
        4L/a where casing and depth are known; the period is looked for within a quarter of it. [s]

    Returns
    -------
    hammer : Hammer or None
    reason : str
        Reason why there is none.

    Notes
    -----
    First guess: the period of the least misfit on a grid, from the samples as they are (gaps are not filled). Then
    Gauss-Newton on period and decay with the linear terms solved exactly at each step. A wave that falls to 1/e within
    one period is no ringing.

    References
    ----------
    Golub and Pereyra, *SIAM J. Numer. Anal.* 10 (1973) 413-432, for the separable problem.
    """
    stop = int(np.searchsorted(fall.time_s, WINDOW_S))
    t, p = fall.time_s[2:stop], fall.pressure_psi[2:stop]
    if t.size < 15:
        return None, "fewer than 15 samples after the shut-in"
    shortest, longest = PERIOD_S if expected_s is None else ((1.0 - BAND) * expected_s, (1.0 + BAND) * expected_s)
    low, high = 2.0 * np.pi / longest, 2.0 * np.pi / shortest
    step = usual_step_s(t)
    first = strongest_wave(t, p, low, high, SCAN, FADING)
    harmonic = bool(2.0 * np.pi / first >= SAMPLES * step)

    def fitted(tail_s: float) -> tuple[float, ...]:
        return ringing(t, p, first, FADING, low, high, 0.5, tail_s, harmonic)

    best, tail_s = fitted(0.0), 0.0
    if np.sqrt(best[-1] / t.size) > EXPLAINED * fall.sigma_psi:
        tails = {tail_s: fitted(tail_s) for tail_s in TAILS_S}
        least = min(TAILS_S, key=lambda tail_s: tails[tail_s][-1])
        if has_tail(best[-1], tails[least][-1], t.size):
            best, tail_s = tails[least], least
    omega, error, gamma, amplitude, _, _, cost = best
    sigma = np.sqrt(cost / max(t.size - 6, 1))
    if not 0.0 < error < np.inf or amplitude < 3.0 * max(sigma, fall.sigma_psi):
        return None, "no ringing above the noise"
    if not low * 1.001 < omega < high * 0.999:
        return None, _outside(expected_s)
    period, decay = 2.0 * np.pi / omega, 1.0 / gamma
    if decay < period:
        return None, f"the oscillation falls to 1/e in {decay:.1f} s, less than one period: no ringing"
    return Hammer(
        float(period), float(decay), float(amplitude), float(error * period / omega), period / step, tail_s
    ), ""


def has_tail(plain: float, tailed: float, samples: int) -> bool:
    """Whether a fit with a tail of friction is so much better that the tail is there (F ratio of two terms)."""
    return (plain - tailed) / 2.0 > TAIL_F * tailed / max(samples - 10, 1)


def _outside(expected_s: float | None) -> str:
    if expected_s is None:
        return f"no period between {PERIOD_S[0]:.0f} and {PERIOD_S[1]:.0f} s"
    return f"no period within {BAND:.0%} of 4L/a, {expected_s:.1f} s"


def hammer_picks(hammer: Hammer | None, absent: str, shut_in_s: float) -> list[Pick]:
    """Return period, decay and amplitude as picks."""
    if hammer is None:
        return [method.missing(absent) for method in METHODS]
    doubts = Doubts()
    if hammer.period_error_s > 0.01 * hammer.period_s:
        doubts.add("the period's standard error is above 1 %")
    if hammer.samples_per_period < FEW_SAMPLES:
        few = f"only {hammer.samples_per_period:.1f} samples per period"
        doubts.add(few, grave=hammer.samples_per_period < FEWEST_SAMPLES)
    words = doubts.words(f"ringing of {qty(hammer.amplitude_psi, 'psi')}")
    sure = doubts.confidence
    return [
        HAMMER_PERIOD.at(hammer.period_s, shut_in_s, sure, words, hammer.period_error_s),
        HAMMER_DECAY.at(hammer.decay_s, shut_in_s, sure, words),
        HAMMER_AMPLITUDE.at(hammer.amplitude_psi, shut_in_s, sure, words),
    ]
