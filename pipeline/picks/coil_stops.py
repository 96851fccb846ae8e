"""Depths where the mill stopped, when, and whether the motor was working."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from pipeline.picks.arrays import at_time, joined, lasting, median, noise_sigma, runs
from pipeline.picks.coil_record import NEAR_FT, CoilPath, CoilRecord
from pipeline.picks.types import Array, Mask

SLOW_FOOT_S = 15.0
"""A foot that takes longer than this is slow. [s]"""
CLOSE_FT = 0.5
"""The mill has reached a stop when it is this close above it. [ft]"""
STOP_MIN = 1.0
"""A shorter halt is not a plug. [min]"""
BRIEF_S = 5.0
"""Work of the motor for this long ends a wait. [s]"""
FEWEST = 10
"""Samples of free running that tell the free-spin pressure. [1]"""
WORKING_S = 30.0
"""The motor works for at least this time; shorter pauses do not part it. [s]"""
STOP_FT = 4.0
"""Slow feet closer together than this belong to one stop; the mill has moved on when it has passed them. [ft]"""
FREE_FT_MIN = 10.0
"""A mill that moves down faster than this is free-spinning (off-bottom). [ft/min]"""
MOTOR_PSI = 80.0
"""A working motor raises the circulating pressure by more than this. [psi]"""
WAIT_S = 120.0
"""An idle motor for this long at the end of a stop is a wait, not milling. [s]"""
PASSING_S = 20.0
"""A mill that is on the plug for a shorter time than this after a trip only passes it. [s]"""


Ending = Literal["passed", "pulled off", "record ends"]


@dataclass(frozen=True)
class Stop:
    """A depth where the mill stopped.

    Attributes
    ----------
    depth_ft : float
        Depth where the stop began. [ft]
    spans : tuple of (start, end)
        Time on the stop, from arrival until the mill left it for good; trips away separate the spans. [s]
    ending : {"passed", "pulled off", "record ends"}
        Whether the mill moved on below the stop, was pulled off it for good, or was on it when the record ended.
    minutes : float
        Measured time in the spans. [min]
    differential_psi : float, optional
        Circulating pressure minus free-spin (off-bottom) pressure at the same rate. [psi]
    working : tuple of (start, end)
        The part of the spans with the motor working. [s]
    gap_s : float
        Part of the stop not covered by the record. [s]
    waited_s : float
        Time after the spans with the mill still there and the motor idle. [s]
    met_in_gap : bool
        Whether the record has a gap when the mill arrived at it.
    """

    depth_ft: float
    spans: tuple[tuple[float, float], ...]
    ending: Ending
    minutes: float
    differential_psi: float | None
    working: tuple[tuple[float, float], ...]
    gap_s: float
    waited_s: float = 0.0
    met_in_gap: bool = False

    @property
    def tag_s(self) -> float:
        """Time of arrival. [s]"""
        return self.spans[0][0]

    @property
    def left_s(self) -> float:
        """Time when the mill left the stop for good. [s]"""
        return self.spans[-1][1]

    @property
    def working_min(self) -> float:
        """Time with the motor working. [min]"""
        return sum(end - start for start, end in self.working) / 60.0

    @property
    def at_work(self) -> bool | None:
        """Whether the motor was working, all in all or for a minute or more; None if the pressure does not show it."""
        return None if self.differential_psi is None else self.mostly_at_work or self.working_min >= STOP_MIN

    @property
    def mostly_at_work(self) -> bool:
        """Whether the motor was working for most of the stop."""
        return self.differential_psi is not None and self.differential_psi > MOTOR_PSI


def find_stops(record: CoilRecord, path: CoilPath, from_ft: float) -> list[Stop]:
    """Find the depths where the mill stopped for a minute or more.

    Parameters
    ----------
    record : CoilRecord
    path : CoilPath
    from_ft : float
        Halts above this depth are not plugs. [ft]

    Returns
    -------
    list of Stop
        In depth order, which is also time order, because the deepest point reached never decreases.
    """
    frontier = path.frontier_ft
    grid = np.arange(np.floor(max(from_ft, frontier[0])), np.floor(frontier[-1]) + 1.0)
    if grid.size < 2:
        return []
    passed = np.searchsorted(frontier, grid)
    clock = np.append(path.present_s[passed], path.present_s[-1])
    slow = np.diff(clock) > SLOW_FOOT_S
    feet = _over_trips(joined(runs(slow), np.arange(slow.size, dtype=float), STOP_FT), grid, passed, path)
    stops = []
    for first, last in feet:
        # a mill stopped just short of a whole foot crosses it by noise, long after its arrival
        met = int(np.searchsorted(frontier, grid[first] - CLOSE_FT))
        moved_on = last < grid.size and frontier[-1] > grid[last] + STOP_FT
        done = int(passed[last]) if moved_on else frontier.size - 1
        on = _on_stop(path, met, done)
        differential, working, worked_s = _motor(record, path, on)
        on, waited = _without_wait(path, on, worked_s)
        minutes = float(sum(path.present_s[b] - path.present_s[a] for a, b in on)) / 60.0
        spans = tuple((float(path.time_s[a]), float(path.time_s[b])) for a, b in on)
        ending: Ending = "passed" if moved_on else "pulled off"
        if on[-1][1] == frontier.size - 1:
            ending = "record ends"
        gap = sum(path.gap_touching(*span) for span in spans)
        if minutes + gap / 60.0 < STOP_MIN:
            continue
        in_gap = _met_in_gap(path, met)
        depth = float(frontier[met])
        stops.append(Stop(depth, spans, ending, minutes, differential, working, gap, waited, in_gap))
    return stops


def _on_stop(path: CoilPath, met: int, done: int) -> list[tuple[int, int]]:
    """Return the first and last index of each time on a stop: trips separate them, and a last short one is passing."""
    on, begin = [], met
    for left, back in path.pulls[(path.pulls[:, 1] > met) & (path.pulls[:, 0] < done)]:
        on.append((begin, max(int(left), begin)))
        begin = int(back)
    if begin < done:
        on.append((begin, done))
    while len(on) > 1 and path.time_s[on[-1][1]] - path.time_s[on[-1][0]] < PASSING_S:
        on.pop()
    return on


def _over_trips(
    feet: NDArray[np.intp], grid: Array, passed: NDArray[np.intp], path: CoilPath
) -> NDArray[np.intp]:  # fmt: skip
    """Join slow feet that a trip parted: the counter slips, and the mill is back on the stop some feet deeper."""
    found: list[list[int]] = []
    left_ft = path.frontier_ft[path.pulls[:, 0]]
    back_s = path.present_s[path.pulls[:, 1]]
    for first, stop in feet:
        if found and first - found[-1][1] <= NEAR_FT:
            begin, end = grid[found[-1][0]] - 1.0, grid[min(found[-1][1], grid.size - 1)] + 1.0
            at_once = path.present_s[passed[first]] - back_s <= PASSING_S
            if ((left_ft >= begin) & (left_ft <= end) & at_once).any():
                found[-1][1] = int(stop)
                continue
        found.append([int(first), int(stop)])
    return np.asarray(found, np.intp).reshape(-1, 2)


def _without_wait(
    path: CoilPath, on_stop: list[tuple[int, int]], worked_s: float | None
) -> tuple[list[tuple[int, int]], float]:
    """End a stop with the last work of the motor if a wait with an idle motor follows; return its seconds too."""
    if worked_s is None:
        return on_stop, 0.0
    last = at_time(path.time_s, worked_s)
    kept = [(first, min(end, last)) for first, end in on_stop if first <= last]
    after = [(max(first, last), end) for first, end in on_stop if end > last]
    waited = float(sum(path.present_s[end] - path.present_s[begin] for begin, end in after))
    return (kept, waited) if kept and waited >= WAIT_S else (on_stop, 0.0)


def _met_in_gap(path: CoilPath, met: int) -> bool:
    """Whether the mill was already at the stop when the record resumed after a gap."""
    ended = path.gaps_s[path.gaps_s[:, 1] <= path.time_s[met] + 1.0, 1] if len(path.gaps_s) else path.gaps_s
    if not len(ended):
        return False
    return bool(path.frontier_ft[at_time(path.time_s, ended[-1])] >= path.frontier_ft[met] - NEAR_FT)


def _motor(
    record: CoilRecord, path: CoilPath, on_stop: list[tuple[int, int]]
) -> tuple[float | None, tuple[tuple[float, float], ...], float | None]:
    """Circulating pressure on the stop minus free-spin pressure at the same rate; when the motor worked, and last.

    The free-spin pressure is that of the ten minutes before; None if the mill did not run free at this rate then.
    """
    if record.motor_psi is None:
        return None, (), None
    met = on_stop[0][0]
    begin = at_time(path.time_s, path.time_s[met] - 600.0)
    near = slice(begin, max(on_stop[-1][1], met + 1))  # all that this looks at
    time, pressure = path.time_s[near], record.motor_psi[near]
    rate = None if record.pump_bpm is None else record.pump_bpm[near]
    anywhere = np.zeros(time.size, dtype=bool)
    for first, last in on_stop:
        anywhere[first - begin : max(last, first + 1) - begin] = True
    seen = ~np.isnan(pressure)
    on = anywhere & seen & (path.frontier_ft[near] - path.depth_ft[near] < STOP_FT)
    free = seen & (path.speed_ft_min[near] >= FREE_FT_MIN)
    free[met - begin :] = False
    same = _same_rate(rate, on, free)
    on, free = on & same, free & same
    if np.count_nonzero(free) < FEWEST or not on.any():
        return None, (), None
    level, noise = median(pressure[free]), noise_sigma(pressure[free])
    found = median(pressure[on]) - level
    high = runs(anywhere & same & (pressure > level + max(MOTOR_PSI, 3.0 * noise)))
    brief, spans = (lasting(joined(high, time, least), time, least) for least in (BRIEF_S, WORKING_S))
    working = tuple((float(time[a]), float(time[b - 1])) for a, b in spans)
    worked_s = float(time[brief[-1][1] - 1]) if len(brief) else None
    return (found if found > 3.0 * noise else min(found, 0.0)), working, worked_s


def _same_rate(rate: Array | None, on: Mask, free: Mask) -> Mask:
    """Samples at one pump rate: that of the stop, or, if the mill never ran free at it, that of running free."""
    if rate is None:
        return np.ones(on.size, dtype=bool)
    same = on
    for where in (on, free):
        usual = median(rate[where])
        same = np.abs(rate - usual) < max(0.1, 0.05 * usual)
        if np.count_nonzero(free & same) >= FEWEST:
            break
    return np.asarray(same)
