"""Instantaneous shut-in pressure: the falloff after the water hammer, extrapolated back to the shut-in."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.picks.falloff import Falloff
from pipeline.picks.fits import intercept, robust_error
from pipeline.picks.hammer import Hammer
from pipeline.picks.types import Array, Doubts, Method, Pick
from pipeline.units import qty

SHORTEST_FALLOFF_S = 90.0
"""A shorter recorded shut-in gives no ISIP. [s]"""
WINDOW_S = (60.0, 120.0)
"""Shortest and longest window of the falloff fit: long enough for several periods, early enough for sqrt(t). [s]"""
FADED_PSI = 25.0
"""Ringing below this amplitude does not affect a fit over several periods. [psi]"""
SHIFT_S = 30.0
"""The fit is repeated with its window shifted by this much in both directions. [s]"""

ISIP = Method("isip", "psi", "falloff after the water hammer fitted by a - b*sqrt(t), extrapolated to shut-in", 1)
INITIAL_ISIP = Method("initial_isip", "psi", "the same at the first shut-in before the last", 1)


def quiet_after_s(fall: Falloff, hammer: Hammer | None) -> float:
    """Return when the ringing has ended: three periods, and its envelope below 3 noise sigmas (at most 180 s). [s]

    The gauge noise at rest is a stricter limit than needed: below 25 psi, whole periods average out in the fit.
    """
    if hammer is None:
        return 30.0
    floor = max(3.0 * fall.sigma_psi, FADED_PSI)
    faded = hammer.decay_s * np.log(max(hammer.amplitude_psi / floor, 1.0))
    return float(min(max(3.0 * hammer.period_s, faded), 180.0))


def fit_isip(method: Method, fall: Falloff, hammer: Hammer | None, shut_in_s: float) -> Pick:
    """Extrapolate the falloff back to the shut-in.

    Parameters
    ----------
    method : Method
    fall : Falloff
    hammer : Hammer, optional
    shut_in_s : float
        Time of the shut-in in the record. [s]

    Returns
    -------
    Pick
        Value of the square-root fit. Its standard error includes the fit's autocorrelation-robust error, the spread
        over windows moved by 30 s in both directions, and half of the difference from a straight line: no record shows
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
        doubts.add(f"shifting the window by {SHIFT_S:.0f} s changes it by {qty(spread, 'psi')}")
    if not fall.pressure_psi[0] > 0.0 or value <= 0.0:
        doubts.add("no pressure at shut-in", grave=True)
    words = (
        f"square-root fit from {quiet:.0f} s over {length:.0f} s; "
        f"a straight line gives {qty(difference, 'psi', plus=True)}"
    )
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


def root_at_zero(fall: Falloff, begin_s: float, length_s: float) -> float:
    """Fit ``a - b*sqrt(t)`` over one window by least squares and return ``a``. [psi]"""
    t, p = _window(fall, begin_s, length_s)
    return intercept(np.sqrt(t), p)


def fit_window(fall: Falloff, begin_s: float, length_s: float) -> Window:
    """Fit ``a - b*sqrt(t)`` and ``a - b*t`` over one window by least squares."""
    t, p = _window(fall, begin_s, length_s)
    x = np.sqrt(t)
    root = intercept(x, p)
    return Window(root, robust_error(x, p, root), intercept(t, p))
