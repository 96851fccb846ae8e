"""Friction at the stage's own steady rates: drag reduction, and separation of entry friction by a step-down."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy

from pipeline.physics.friction import perforation_friction_psi, pipe_friction_psi
from pipeline.picks.arrays import at_time, deviation, filled, lasting, median, runs
from pipeline.picks.timeline import Timeline
from pipeline.picks.types import Array, Doubts, Method, Pick, StageDesign
from pipeline.units import qty

PLATEAU_S = 10.0
"""Shortest step-down plateau. [s]"""
SETTLED_S = 5.0
"""The pressure of a plateau is the median of its last seconds. [s]"""

STATED_ERROR = 0.03
"""Standard error of a drag reduction that the tables state from a flow loop (common practice). [1]"""

DRAG_REDUCTION = Method(
    "drag_reduction", "ratio", "1 - (friction lost at shut-in - modelled perforation friction)/plain pipe friction", 2
)  # fmt: skip
STEP_DOWN_KP = Method(
    "step_down_kp", "psi/bpm**2", "non-negative least squares of kp*q**2 + kt*sqrt(q) on the plateaus", 2
)
STEP_DOWN_KT = Method("step_down_kt", "psi/bpm**0.5", "the same fit: near-wellbore term", 2)
METHODS = (DRAG_REDUCTION, STEP_DOWN_KP, STEP_DOWN_KT)


def separate(rate_bpm: Array, loss_psi: Array) -> tuple[float, float, Array]:
    """Split entry friction into a perforation and a near-wellbore part.

    Parameters
    ----------
    rate_bpm : array, shape (n,)
        Rates of the plateaus, two or more. [bbl/min]
    loss_psi : array, shape (n,)
        Pressure above ISIP, after subtracting pipe friction. [psi]

    Returns
    -------
    kp, kt : float
        [psi/bpm**2, psi/bpm**0.5]
    error : array, shape (2,)
        Their standard errors; NaN with two points.

    Notes
    -----
    ``loss = kp*q**2 + kt*sqrt(q)``, both non-negative. With few plateaus the two columns are strongly collinear: the
    errors show it.

    References
    ----------
    Economides and Nolte, *Reservoir Stimulation* (from memory), for the step-down test; Lawson and Hanson, *Solving
    Least Squares Problems* (1974), for the non-negative solution.
    """
    design = np.stack((np.square(rate_bpm), np.sqrt(rate_bpm)), axis=1)
    (kp, kt), residual = scipy.optimize.nnls(design, loss_psi)
    freedom = rate_bpm.size - 2
    if freedom < 1:
        return float(kp), float(kt), np.array([np.nan, np.nan])
    covariance = np.linalg.inv(design.T @ design) * residual**2 / freedom
    return float(kp), float(kt), np.sqrt(np.diag(covariance))


@dataclass(frozen=True)
class Plateau:
    """A steady rate at the end of the treatment: start and end [s], rate [bbl/min], settled pressure [psi]."""

    start_s: float
    end_s: float
    rate_bpm: float
    pressure_psi: float


def find_friction(timeline: Timeline, design: StageDesign, isip: Pick) -> list[Pick]:
    """Calibrate the drag reduction, and separate entry friction if the rate was stepped down.

    Parameters
    ----------
    timeline : Timeline
    design : StageDesign
    isip : Pick
        Effective ISIP.

    Returns
    -------
    list of Pick
        ``drag_reduction``, ``step_down_kp``, ``step_down_kt``.
    """
    if timeline.end is None or timeline.main is None or isip.value is None:
        return [method.missing("no ISIP to measure friction from") for method in METHODS]
    geometry = design.pipe
    if geometry is None:
        return [method.missing("no casing, perforation depth or fluid density in the tables") for method in METHODS]
    last = _last_at_rate(timeline)
    if last is None:
        return [method.missing("no steady rate before the shut-in") for method in METHODS]
    rate, pressure, moment = last.rate_bpm, last.pressure_psi, last.end_s
    plain = float(pipe_friction_psi(rate, geometry.density_ppg, geometry.length_ft, geometry.inside_in))
    reduction = _drag_reduction(design, rate, pressure - isip.value, plain, moment, isip.standard_error or 0.0)
    known, error = design.drag_reduction, STATED_ERROR
    if known is None:
        known, error = reduction.value, reduction.standard_error or 0.0
    if known is None:
        return [reduction, STEP_DOWN_KP.missing(reduction.reason), STEP_DOWN_KT.missing(reduction.reason)]
    return [reduction, *_step_down(timeline, design, isip, (known, error), last)]


def _last_at_rate(timeline: Timeline) -> Plateau | None:
    """Return rate and pressure over the last 30 s before the rate falls."""
    assert timeline.main is not None and timeline.end is not None
    rate = filled(timeline.record.rate_bpm[timeline.main : timeline.end], 0.0)
    fast = rate[rate >= timeline.main_bpm]
    if fast.size < 30:
        return None
    level = median(fast[-600:])
    held = np.flatnonzero(rate >= 0.97 * level)
    if held.size < 20:
        return None
    stop = timeline.main + int(held[-1]) - 1
    start = at_time(timeline.record.time_s, timeline.record.time_s[stop - 1] - 30.0)
    span = slice(max(start, timeline.main), stop)
    steady = timeline.record.rate_bpm[span]
    if steady.size < 10 or deviation(steady) > 0.03 * level:
        return None
    time = timeline.record.time_s[span]
    return Plateau(float(time[0]), float(time[-1]), median(steady), median(timeline.record.pressure_psi[span]))


def _drag_reduction(
    design: StageDesign, rate: float, loss: float, plain: float, moment: float, isip_error: float
) -> Pick:
    geometry, discharge = design.pipe, design.discharge
    assert geometry is not None
    if design.holes is None or design.hole_in is None or design.holes <= 0:
        return DRAG_REDUCTION.missing("no holes or hole diameter in the tables")
    perf = float(perforation_friction_psi(rate, geometry.density_ppg, design.holes, design.hole_in, discharge))
    value = 1.0 - (loss - perf) / plain
    if not 0.0 <= value < 1.0:
        return DRAG_REDUCTION.missing(
            f"friction lost at shut-in ({qty(loss, 'psi')}) minus modelled perforation friction ({qty(perf, 'psi')}) "
            f"is outside 0 to {qty(plain, 'psi')} of untreated pipe friction"
        )
    doubts = Doubts()
    doubts.add(
        f"assumes all holes open and a discharge coefficient of {discharge:g}: {qty(perf, 'psi')} in the perforations"
    )
    error = float(np.hypot(0.5 * perf, isip_error)) / plain
    return DRAG_REDUCTION.at(value, moment, doubts.confidence, doubts.words(""), error)


def _step_down(
    timeline: Timeline, design: StageDesign, isip: Pick, reduction: tuple[float, float], last: Plateau
) -> list[Pick]:
    """Separate entry friction; its errors carry the fit, the ISIP's error and that of the drag reduction."""
    geometry = design.pipe
    assert geometry is not None and timeline.end is not None and isip.value is not None
    held = _plateaus_after(timeline, last)
    rates = np.asarray([one.rate_bpm for one in held])
    pressures = np.asarray([one.pressure_psi for one in held])
    if rates.size < 4:
        reason = f"the rate fell in {max(rates.size - 1, 0)} plateaus of {PLATEAU_S:.0f} s, three are required"
        return [STEP_DOWN_KP.missing(reason), STEP_DOWN_KT.missing(reason)]

    def solved(isip_psi: float, reduced: float) -> tuple[float, float, Array]:
        pipe = pipe_friction_psi(
            rates, geometry.density_ppg, geometry.length_ft, geometry.inside_in,
            drag_reduction=min(max(reduced, 0.0), 0.99),
        )  # fmt: skip
        return separate(rates, np.maximum(pressures - isip_psi - pipe, 0.0))

    value, off = reduction
    kp, kt, fitted = solved(isip.value, value)
    moved = [solved(isip.value + (isip.standard_error or 0.0), value), solved(isip.value, value + off)]
    error = np.sqrt(np.square(fitted) + sum(np.square((a - kp, b - kt)) for a, b, _ in moved))
    doubts = Doubts()
    if design.drag_reduction is None:
        doubts.add("drag reduction calibrated on the same stage, not stated in the tables", grave=True)
    else:
        doubts.add(f"pipe friction is modelled with a drag reduction of {value:.0%}")
    if kp == 0.0 or kt == 0.0:
        doubts.add("one of the two terms vanishes: the plateaus do not separate them", grave=True)
    moment = float(timeline.record.time_s[timeline.end])
    words = doubts.words(f"{rates.size} rates from {qty(rates[0], 'bpm')} to {qty(rates[-1], 'bpm')}")
    return [
        STEP_DOWN_KP.at(kp, moment, doubts.confidence, words, float(error[0])),
        STEP_DOWN_KT.at(kt, moment, doubts.confidence, words, float(error[1])),
    ]


def find_plateaus(timeline: Timeline) -> list[Plateau]:
    """Return the last steady rate of the treatment, then each lower one held before the shut-in."""
    last = None if timeline.end is None or timeline.main is None else _last_at_rate(timeline)
    return [] if last is None else _plateaus_after(timeline, last)


def _plateaus_after(timeline: Timeline, last: Plateau) -> list[Plateau]:
    """Return a steady rate, then each lower one held between it and the shut-in."""
    assert timeline.end is not None
    span = slice(at_time(timeline.record.time_s, last.end_s) + 1, timeline.end + 1)
    time, rate = timeline.record.time_s[span], filled(timeline.record.rate_bpm[span], 0.0)
    values = timeline.record.pressure_psi[span]
    found, level = [last], last.rate_bpm
    if time.size < 5:
        return found
    steady = np.concatenate((np.abs(np.diff(rate)) < 0.02 * level, [False]))
    held = runs(steady & (rate > 0.05 * level) & (rate < 0.95 * level))
    for start, end in lasting(held, time, PLATEAU_S - 2.0):
        settled = slice(max(start, int(np.searchsorted(time, time[end - 1] - SETTLED_S))), end)
        plateau = median(rate[start:end])
        if plateau < 0.95 * found[-1].rate_bpm:
            found.append(Plateau(float(time[start]), float(time[end - 1]), plateau, median(values[settled])))
    return found
