"""Instantaneous shut-in pressure: the falloff after the water hammer, extrapolated back to the shut-in."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.picks.falloff import Falloff
from pipeline.picks.fits import intercept, misfit, ringing, robust_error
from pipeline.picks.hammer import FEW_SAMPLES, SAMPLES, Hammer, has_tail
from pipeline.picks.types import Array, Doubts, Method, Pick
from pipeline.units import qty

SHORTEST_FALLOFF_S = 90.0
"""A shorter recorded shut-in gives no ISIP. [s]"""
WINDOW_S = (60.0, 120.0)
"""Shortest and longest window of the falloff fit: long enough for several periods, early enough for sqrt(t). [s]"""
FADED_PSI = 25.0
"""Ringing below this amplitude does not affect a fit over several periods. [psi]"""
SURE_SHARE = 0.35
"""Share of the difference from a straight line that counts as error where the root fits better (chosen on records)."""
CLEARLY = 0.8
"""A square root fits clearly better if its squared misfit is below this share of the straight line's. [1]"""
ROOT, STEEP = 0.5, 0.25
"""Exponents of time: the square root of the fit, and a decline that begins steeper. [1]"""
SURE_PSI = 20.0
"""A larger standard error is a doubt: a sure ISIP is right within 30 psi. [psi]"""
SHIFT_S = 30.0
"""The fit is repeated with its window shifted by this much in both directions. [s]"""

LONGEST_RING_S = 180.0
"""The window begins by then, even if the ringing lasts. [s]"""
LAW_S = 600.0
"""Time after the ringing over which a square root and a straight line are compared. [s]"""
JOINT_S = 120.0
"""The decline and the ringing are fitted together over this time. [s]"""
APART_PSI = 75.0
"""Values of different windows or fits further apart than this are a doubt (chosen on records). [psi]"""

ISIP = Method(
    "isip", "psi", "falloff fitted by a - b*sqrt(t), with or after the water hammer, extrapolated to shut-in", 2
)
INITIAL_ISIP = Method("initial_isip", "psi", "the same at the first shut-in before the last", 2)


def quiet_after_s(fall: Falloff, hammer: Hammer | None) -> float:
    """Return when the ringing has ended: three periods, and its envelope below 3 noise sigmas (at most 180 s). [s]

    The gauge noise at rest is a stricter limit than needed: below 25 psi, whole periods average out in the fit.
    """
    if hammer is None:
        return 30.0
    floor = max(3.0 * fall.sigma_psi, FADED_PSI)
    faded = hammer.decay_s * np.log(max(hammer.amplitude_psi / floor, 1.0))
    return float(min(max(3.0 * hammer.period_s, faded), LONGEST_RING_S))


def fit_isip(
    method: Method, fall: Falloff, hammer: Hammer | None, shut_in_s: float, pumping_psi: float | None = None
) -> Pick:
    """Extrapolate the falloff back to the shut-in.

    Parameters
    ----------
    method : Method
    fall : Falloff
    hammer : Hammer, optional
    shut_in_s : float
        Time of the shut-in in the record. [s]
    pumping_psi : float, optional
        Last pressure while pumping; no ISIP lies above it. [psi]

    Returns
    -------
    Pick
        Value of a square-root decline: fitted together with the ringing, from the shut-in on, where that explains the
        record down to its noise or the ringing outlasts the record; else over a window after the ringing. The standard
        error includes that fit's autocorrelation-robust error, the spread over windows moved by 30 s in both
        directions, half of what the two fits differ by, and a share of the difference from a straight line.

    References
    ----------
    Newey and West, *Econometrica* 55 (1987) 703-708, for the robust error.
    """
    made = extrapolate(fall, hammer)
    if made is None:
        return method.missing(f"less than {SHORTEST_FALLOFF_S:.0f} s of falloff at zero rate")
    best, after, joint = made.best, made.after, made.joint
    quiet, length = after.begin_s, after.length_s
    doubts = Doubts()
    if joint is None and length < 0.67 * WINDOW_S[1]:
        doubts.add(f"only {length:.0f} s of quiet falloff")
    if best is after and after.spread > APART_PSI:
        doubts.add(f"shifting the window by {SHIFT_S:.0f} s changes it by {qty(after.spread, 'psi')}")
    if best is joint and joint.spread > APART_PSI:
        doubts.add(f"with or without a tail of friction it differs by {qty(joint.spread, 'psi')}")
    apart = 0.0
    if joint is not None:
        apart = joint.root - after.root
        if abs(apart) > APART_PSI:
            doubts.add(f"fitted with the ringing it differs by {qty(apart, 'psi', plus=True)} from the fit after it")
    if best is joint and hammer is not None and hammer.samples_per_period < FEW_SAMPLES:
        doubts.add(f"the ringing has only {hammer.samples_per_period:.1f} samples per period")
    difference = best.line - best.root
    power = _law(fall, quiet)
    law = (SURE_SHARE if power == ROOT else 0.5) * difference
    if power > ROOT and abs(difference) > 2.0 * best.error:
        doubts.add(f"a straight line fits as well and differs by {qty(difference, 'psi', plus=True)}")
    if power < ROOT:
        steeper = start_of(fall, quiet, length, STEEP) - after.root
        law = float(np.hypot(law, SURE_SHARE * steeper))
        doubts.add(f"the falloff begins steeper than a square root: it may be {qty(steeper, 'psi', plus=True)}")
    tail = 0.5 * best.spread if best is joint else 0.0
    total = float(np.sqrt(best.error**2 + (0.5 * apart) ** 2 + law**2 + tail**2))
    if total > SURE_PSI and not doubts.reasons:
        doubts.add(f"its standard error is {qty(total, 'psi')}")
    if not fall.pressure_psi[0] > 0.0 or best.root <= 0.0:
        doubts.add("no pressure at shut-in", grave=True)
    if pumping_psi is not None and best.root > pumping_psi:
        doubts.add(f"it lies above the last pumping pressure, {qty(pumping_psi, 'psi')}")
    words = f"{best.words}; a straight line differs by {qty(difference, 'psi', plus=True)}"
    return method.at(best.root, shut_in_s, doubts.confidence, doubts.words(words), total)


@dataclass(frozen=True)
class Fit:
    """One way to extrapolate.

    Attributes
    ----------
    root, line : float
        Value at shut-in of the square-root decline, and of a straight line. [psi]
    error : float
        Standard error of the root, without other laws. [psi]
    spread : float
        Difference between windows, or with and without a tail. [psi]
    words : str
    begin_s, length_s : float
        Its window, from the shut-in. [s]
    moved : tuple of (begin, root)
        What the window gives when it begins earlier or later. [s], [psi]
    """

    root: float
    line: float
    error: float
    spread: float
    words: str
    begin_s: float
    length_s: float
    moved: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True)
class Extrapolated:
    """The fits of a falloff: after the ringing, together with it (None if there is none), and the one that counts."""

    after: Fit
    joint: Fit | None
    best: Fit


def extrapolate(fall: Falloff, hammer: Hammer | None) -> Extrapolated | None:
    """Fit a falloff back to its shut-in; None if it is too short."""
    if fall.time_s.size < 30 or fall.time_s[-1] < SHORTEST_FALLOFF_S:
        return None
    quiet = min(quiet_after_s(fall, hammer), fall.time_s[-1] - WINDOW_S[0])
    length = min(WINDOW_S[1], fall.time_s[-1] - quiet)
    after = _after_ringing(fall, quiet, length)
    joint, rest = (None, np.inf) if hammer is None else _with_ringing(fall, hammer)
    return Extrapolated(after, joint, joint if joint is not None and _explains(fall, hammer, rest) else after)


def slope_through(fall: Falloff, fit: Fit, start_psi: float, power: float = ROOT) -> float:
    """Return b of ``start - b*t**power`` through the mean of a fit's window: whole periods of ringing average out."""
    t, p = _window(fall, fit.begin_s, fit.length_s)
    return float((start_psi - p.mean()) / (t**power).mean())


def _explains(fall: Falloff, hammer: Hammer | None, rest_psi: float) -> bool:
    """Whether the joint fit counts: it leaves little more than noise, or the ringing outlasts the record."""
    outlasts = quiet_after_s(fall, hammer) > min(fall.time_s[-1] - WINDOW_S[0], LONGEST_RING_S - 1.0)
    return bool(outlasts or rest_psi <= 3.0 * fall.sigma_psi + 2.0)


def _law(fall: Falloff, quiet_s: float) -> float:
    """Exponent of time that fits the falloff after the ringing over up to ten minutes: a root, if it fits clearly."""
    t, p = _window(fall, quiet_s, LAW_S)
    steep, root, line = (misfit(t**power, p, intercept(t**power, p)) for power in (STEEP, ROOT, 1.0))
    if steep < CLEARLY * root:
        return STEEP
    return ROOT if root < CLEARLY * line else 1.0


def _after_ringing(fall: Falloff, quiet_s: float, length_s: float) -> Fit:
    """Fit a window that begins when the ringing has ended."""
    best = fit_window(fall, quiet_s, length_s)
    moved = tuple(
        (quiet_s + shift, start_of(fall, quiet_s + shift, length_s))
        for shift in (-SHIFT_S, SHIFT_S)
        if quiet_s + shift >= 0.0 and quiet_s + shift + 0.5 * length_s <= fall.time_s[-1]
    )
    spread = max((abs(other - best.root) for _, other in moved), default=0.0)
    words = f"square-root fit from {quiet_s:.0f} s over {length_s:.0f} s"
    return Fit(best.root, best.line, float(np.hypot(best.error, spread)), spread, words, quiet_s, length_s, moved)


def _with_ringing(fall: Falloff, hammer: Hammer) -> tuple[Fit | None, float]:
    """Fit decline and ringing together, with a tail of friction where the record shows one.

    Returns the fit, None if the samples do not determine it, and what it leaves (root mean square). [psi]
    """
    t, p = _window(fall, 2.0, JOINT_S)
    omega, gamma = 2.0 * np.pi / hammer.period_s, 1.0 / hammer.decay_s
    harmonic = hammer.samples_per_period >= SAMPLES

    def fitted(power: float, tail_s: float) -> tuple[float, float, float]:
        *_, start, error, cost = ringing(t, p, omega, gamma, 0.8 * omega, 1.25 * omega, power, tail_s, harmonic)
        return start, error, cost

    plain = fitted(ROOT, 0.0)
    tailed = fitted(ROOT, hammer.tail_s) if hammer.tail_s else plain
    there = hammer.tail_s > 0.0 and has_tail(plain[2], tailed[2], t.size)
    root, error, cost = tailed if there else plain
    line, _, _ = fitted(1.0, hammer.tail_s if there else 0.0)
    if not (np.isfinite(root) and np.isfinite(error) and np.isfinite(line)):
        return None, np.inf
    words = f"square-root decline and ringing fitted together over {t[-1]:.0f} s"
    if there:
        words += f", with a tail of friction (without it {qty(plain[0] - root, 'psi', plus=True)})"
    rest = np.sqrt(cost / max(int(np.searchsorted(fall.time_s, JOINT_S)) - 8, 1))
    return Fit(root, line, error, abs(plain[0] - root), words, float(t[0]), float(t[-1] - t[0])), float(rest)


@dataclass(frozen=True)
class Window:
    """Both fits of one window: value at shut-in of the root and of the line, and the root's robust error. [psi]"""

    root: float
    error: float
    line: float


def _window(fall: Falloff, begin_s: float, length_s: float) -> tuple[Array, Array]:
    begin_s = max(begin_s, 1.0)
    first, last = np.searchsorted(fall.time_s, (begin_s, begin_s + length_s))
    return fall.time_s[first : last + 1], fall.pressure_psi[first : last + 1]


def start_of(fall: Falloff, begin_s: float, length_s: float, power: float = ROOT) -> float:
    """Fit ``a - b*t**power`` over one window by least squares and return ``a``. [psi]"""
    t, p = _window(fall, begin_s, length_s)
    return intercept(t**power, p)


def fit_window(fall: Falloff, begin_s: float, length_s: float) -> Window:
    """Fit ``a - b*sqrt(t)`` and ``a - b*t`` over one window by least squares."""
    t, p = _window(fall, begin_s, length_s)
    x = np.sqrt(t)
    root = intercept(x, p)
    return Window(root, robust_error(x, p, root), intercept(t, p))
