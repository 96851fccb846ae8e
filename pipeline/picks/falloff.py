"""The static record after a shut-in, and the pressures several minutes later."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.picks.arrays import ahead, at_time, first_gap, largest, median, noise_sigma, runs
from pipeline.picks.timeline import Timeline
from pipeline.picks.types import Array, Method, Pick

BLED_S, BLED_PSI = 10.0, 300.0
"""A pressure that moves by this much within this time, and stays there, is bled off. [s], [psi]"""
FRICTION_S, RINGING_S, BLED_SHARE = 20.0, 120.0, 0.25
"""Until the first time friction fades; until the second the pressure rings: it is bled off if it loses this share and
does not come back. [s], [s], [1]"""
GAP_S = 30.0
"""A longer time without pressure ends a falloff; at its beginning, there is none. [s]"""
STAYS_S = 40.0
"""Time before and after whose medians tell a bleed-off from ringing: several periods. [s]"""

LATER = {
    minutes: Method(f"pressure_{minutes}min", "psi", f"pressure {minutes} min after shut-in at zero rate", 1)
    for minutes in (5, 10, 15)
}


@dataclass(frozen=True)
class Falloff:
    """The static record after a shut-in: seconds since shut-in and pressure, without rate, gap or bleed-off."""

    time_s: Array
    pressure_psi: Array
    sigma_psi: float


def falloff(timeline: Timeline, shut_in_s: float, longest_s: float = 1000.0) -> Falloff:
    """Extract the falloff that follows a shut-in.

    Parameters
    ----------
    timeline : Timeline
    shut_in_s : float
        Time of the shut-in. [s]
    longest_s : float
        [s]

    Returns
    -------
    Falloff
        Ends when the rate returns, the record ends or has no pressure for 30 s, or the pressure is bled off: it
        changes by more than 300 psi within 10 s and stays there; in the first two minutes by a quarter, because
        ringing comes back.
    """
    time = timeline.record.time_s
    begin = at_time(time, shut_in_s)
    stop = int(np.searchsorted(time, time[begin] + longest_s, side="right"))
    span, void = slice(begin, stop), np.isnan(timeline.record.pressure_psi[begin:stop])
    clock, pressure, rate = time[span] - time[begin], timeline.record.pressure_psi[span], timeline.record.rate_bpm[span]
    if void.any():
        clock, pressure, rate = clock[~void], pressure[~void], rate[~void]
    ends = [clock.size]
    flowing = runs(rate > 0.5 * timeline.pumping_bpm)
    lasting = flowing[(flowing[:, 1] - flowing[:, 0]) >= 3]
    if len(lasting):
        ends.append(int(lasting[0, 0]))
    ends.append(0 if clock.size and clock[0] > GAP_S else first_gap(clock, GAP_S))
    bled = _bled_off(clock, pressure)
    if bled is not None:
        ends.append(bled)
    end = min(ends)
    clock, pressure = clock[:end], pressure[:end]
    quiet = pressure[int(np.searchsorted(clock, 90.0)) :]
    return Falloff(clock, pressure, noise_sigma(quiet if quiet.size > 30 else pressure))


def _bled_off(clock: Array, pressure: Array) -> int | None:
    """Return the index where the pressure is bled off (or pumped up); None if it is not."""
    first = int(np.searchsorted(clock, FRICTION_S))
    later = ahead(clock, BLED_S)
    moved = np.abs(pressure[later] - pressure) > BLED_PSI
    for k in first + np.flatnonzero(moved[first:]):
        before = median(pressure[at_time(clock, clock[k] - STAYS_S) : k + 1])
        after = pressure[later[k] : at_time(clock, clock[later[k]] + STAYS_S) + 1]
        if clock[k] < RINGING_S:
            bled = largest(after, -np.inf) < min(before - BLED_PSI, (1.0 - BLED_SHARE) * before)
        else:
            bled = not abs(median(after) - before) <= BLED_PSI
        if bled:
            return int(k)
    return None


def last_pumping_psi(timeline: Timeline, shut_in_s: float) -> float | None:
    """Return the pressure of the last ten seconds at a steady rate before a shut-in; None if void. [psi]

    The rate is steady up to the last sample at 90 % of the median rate of the half minute before the shut-in.
    """
    record = timeline.record
    end = at_time(record.time_s, shut_in_s)
    first = at_time(record.time_s, shut_in_s - 30.0)
    rate = record.rate_bpm[first:end]
    if rate.size < 2:
        return None
    held = np.flatnonzero(rate >= 0.9 * median(rate))
    if not held.size:
        return None
    last = first + int(held[-1])
    value = median(record.pressure_psi[at_time(record.time_s, record.time_s[last] - 10.0) : last + 1])
    return None if np.isnan(value) else value


def later_pressures(fall: Falloff, shut_in_s: float) -> list[Pick]:
    """Return the pressures 5, 10 and 15 minutes after shut-in; never extrapolated."""
    picks = []
    for minutes, method in LATER.items():
        moment = 60.0 * minutes
        if not fall.time_s.size or fall.time_s[-1] < moment:
            picks.append(method.missing(f"fewer than {minutes} min at zero rate in the record"))
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
