"""The static record after a shut-in, and the pressures several minutes later."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.picks.arrays import at_time, median, noise_sigma, runs
from pipeline.picks.timeline import Timeline
from pipeline.picks.types import Array, Method, Pick

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
        Ends when the rate returns, the record ends or has a gap, or the pressure is bled off (falls by more than
        300 psi within 10 s after the first two minutes).
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
