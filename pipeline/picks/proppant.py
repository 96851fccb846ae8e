"""Proppant: begin and end, number of rising steps, and number of sweeps between them."""

from __future__ import annotations

import numpy as np

from pipeline.picks.arrays import ahead, at_time, integral, lasting, median, runs
from pipeline.picks.timeline import Timeline
from pipeline.picks.types import Array, Confidence, Method, Pick

LOADED_PPA = 0.1
"""A lower concentration is meter noise. [ppa]"""
LASTING_S = 10.0
"""Proppant for a shorter time is ignored. [s]"""
STEP_PPA = 0.12
"""A smaller change of concentration is not a step. [ppa]"""
PLATEAU_S = 20.0
"""A step is held for at least this time. [s]"""
SWEEP_SHARE = 0.6
"""A plateau below this share of the previous one, followed by a higher one, is a sweep. [1]"""

FIRST_PROPPANT = Method("first_proppant", "", "first sustained proppant at surface", 1)
LAST_PROPPANT = Method("last_proppant", "", "last proppant at surface before the shut-in", 1)
PROPPANT_STEPS = Method("proppant_steps", "", "plateaus of concentration that rise above the previous one", 1)
SWEEPS = Method("sweeps", "", "plateaus that fall below 60 % of the previous one, followed by a higher one", 1)
METHODS = (FIRST_PROPPANT, LAST_PROPPANT, PROPPANT_STEPS, SWEEPS)


def find_proppant(timeline: Timeline) -> list[Pick]:
    """Find the begin, end, steps and sweeps of proppant at surface.

    Parameters
    ----------
    timeline : Timeline

    Returns
    -------
    list of Pick
        ``first_proppant`` and ``last_proppant`` (times), ``proppant_steps`` and ``sweeps`` (counts).
    """
    conc = timeline.record.conc_ppa
    if conc is None or timeline.start is None:
        reason = "no proppant concentration in the record" if conc is None else "no injection in the record"
        return [method.missing(reason) for method in METHODS]
    time = timeline.record.time_s
    stop = timeline.end if timeline.end is not None else time.size
    loaded = runs(conc[timeline.start : stop] > LOADED_PPA) + timeline.start
    sustained = lasting(loaded, time, LASTING_S)
    if not len(sustained):
        return [
            FIRST_PROPPANT.missing("no proppant was pumped"), LAST_PROPPANT.missing("no proppant was pumped"),
            PROPPANT_STEPS.at(0.0, None, "high", "no proppant was pumped"),
            SWEEPS.at(0.0, None, "high", "no proppant was pumped"),
        ]  # fmt: skip
    first, last = int(sustained[0, 0]), int(sustained[-1, 1]) - 1
    levels = plateaus(time[first : last + 1], conc[first : last + 1])
    steps, sweeps = _steps(levels)
    sure: Confidence = "high" if levels.size else "low"
    held = f"{levels.size} plateau{'s'[: levels.size != 1]} of concentration"
    return [
        FIRST_PROPPANT.at(None, float(time[first]), "high", "concentration rises and remains"),
        LAST_PROPPANT.at(None, float(time[last]), "high", "no proppant after it"),
        PROPPANT_STEPS.at(float(steps), None, sure, f"{steps} of {held} rise above the one before"),
        SWEEPS.at(float(sweeps), None, sure, f"{sweeps} of {held} fall and are followed by a higher one"),
    ]  # fmt: skip


def plateaus(time_s: Array, conc_ppa: Array) -> Array:
    """Return the levels at which the concentration was held for 20 s or more, in order. [ppa]"""
    if time_s.size < 30:
        return np.empty(0)
    held = runs(~(np.abs(conc_ppa[ahead(time_s, LASTING_S)] - conc_ppa) > 0.5 * STEP_PPA))
    held = lasting(held, time_s, PLATEAU_S)
    levels: list[float] = []
    for start, stop in held:
        level = median(conc_ppa[start:stop])
        if not levels or abs(level - levels[-1]) > STEP_PPA:
            levels.append(level)
    return np.asarray(levels)


def _steps(levels: Array) -> tuple[int, int]:
    rises = sweeps = 0
    for index, level in enumerate(levels):
        before = levels[index - 1] if index else 0.0
        falls = index > 0 and level < SWEEP_SHARE * before
        if falls and index + 1 < levels.size and levels[index + 1] > level + STEP_PPA:
            sweeps += 1
        elif level > before + STEP_PPA:
            rises += 1
    return rises, sweeps


def flush_bbl(timeline: Timeline, last_proppant_s: float | None) -> float | None:
    """Slurry pumped from the end of proppant at surface to the shut-in. [bbl]

    None if either time is unknown.
    """
    if last_proppant_s is None or timeline.end is None:
        return None
    span = slice(at_time(timeline.record.time_s, last_proppant_s), timeline.end + 1)
    volume, _ = integral(timeline.record.time_s[span], timeline.record.rate_bpm[span] / 60.0)
    return volume
