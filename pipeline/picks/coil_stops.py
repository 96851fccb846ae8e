"""Depths where the mill stopped, and the plug at each of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from pipeline.physics.constants import FT_M
from pipeline.picks.arrays import at_time, duration_s, joined, median, noise_sigma, runs
from pipeline.picks.coil_record import NEAR_FT, CoilPath, CoilRecord
from pipeline.picks.types import Array, Doubts, Mask, Method, Pick
from pipeline.units import qty

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
COUNTER_FT = 60.0
"""Upper bound of coil stretch and counter error together. [ft]"""
SAME_FT = 12.0
"""Largest scatter of tags about the run's own depth error. [ft]"""
MATCH_FT = 25.0
"""A stop further than this from the expected depth of a plug is not matched to it. [ft]"""
FREE_FT_MIN = 10.0
"""A mill that moves down faster than this is free-spinning (off-bottom). [ft/min]"""
MOTOR_PSI = 80.0
"""A working motor raises the circulating pressure by more than this. [psi]"""
WAIT_S = 120.0
"""An idle motor for this long at the end of a stop is a wait, not milling. [s]"""
PASSING_S = 20.0
"""A mill that is on the plug for a shorter time than this after a trip only passes it. [s]"""
LONG_STOP = 1.5
"""A stop this much longer than the others can cover more than one plug. [1]"""

TAG = Method("tag", "ft", "depth where the deepest point reached stops increasing; matched to plugs in depth order", 3)
MILL_MIN = Method("mill_min", "min", "time with the mill on the plug, from the tag until it leaves it for good", 4)

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
    met_unseen : bool
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
    met_unseen: bool = False

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


@dataclass(frozen=True)
class PlugPicks:
    """Tag and milling of one plug: depth [ft] and time of the tag; minutes on the plug and their end time."""

    tag: Pick
    mill: Pick


@dataclass(frozen=True)
class Assigned:
    """The stops of a run, matched to plugs.

    Attributes
    ----------
    plugs : dict of int to PlugPicks
        Every plug within the depth range of the run.
    stops : dict of int to Stop
        The stop of each matched plug.
    other : list of Stop
        Stops that match no plug, with the motor working for a minute or more.
    offset_ft : float, optional
        Depth error of the run, from its own tags. [ft]
    unusable : str
        Reason why no plug was assigned; empty if plugs were assigned.
    """

    plugs: dict[int, PlugPicks]
    stops: dict[int, Stop]
    other: list[Stop]
    offset_ft: float | None
    unusable: str = ""


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
        unseen = _met_unseen(path, met)
        depth = float(frontier[met])
        stops.append(Stop(depth, spans, ending, minutes, differential, working, gap, waited, unseen))
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


def _met_unseen(path: CoilPath, met: int) -> bool:
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
    if record.pressure_psi is None:
        return None, (), None
    met = on_stop[0][0]
    begin = at_time(path.time_s, path.time_s[met] - 600.0)
    near = slice(begin, max(on_stop[-1][1], met + 1))  # all that this looks at
    time, pressure = path.time_s[near], record.pressure_psi[near]
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
    brief, spans = (
        joining[duration_s(joining, time) >= least] if len(joining) else joining
        for least in (BRIEF_S, WORKING_S)
        for joining in (joined(high, time, least),)
    )
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


def assign(stops: Sequence[Stop], plugs: dict[int, float], path: CoilPath) -> Assigned:
    """Match stops to plugs.

    Parameters
    ----------
    stops : sequence of Stop
        In depth order.
    plugs : dict of int to float
        Set depth of each plug that could still be in the hole. [ft]
    path : CoilPath

    Returns
    -------
    Assigned

    Notes
    -----
    The run's depth error (counter, stretch) is the offset that puts most stops within 12 ft of a plug. A stop within
    25 ft of its plug's expected depth is matched to it; of several, the longest one with the motor working.
    Other stops are matched only if the motor was working and exactly one plug is missing between the neighbours;
    plugs are never guessed.
    """
    deepest = float(path.frontier_ft[-1])
    unusable = _unusable(plugs, deepest)
    if unusable:
        return Assigned({}, {}, [], None, unusable)
    usable = [stop for stop in stops if stop.at_work is not False]
    offset, votes = _offset(usable, list(plugs.values()))
    reach = MATCH_FT if votes >= 2 else COUNTER_FT - SAME_FT
    ordered = sorted(plugs.items(), key=lambda item: item[1])
    mine: dict[int, Stop] = {}
    for plug, depth in ordered:
        found = _own([stop for stop in usable if abs(stop.depth_ft - depth - offset) <= reach], depth + offset)
        if found is not None:
            mine[plug] = found
    taken = {id(stop) for stop in mine.values()}
    other = [stop for stop in stops if id(stop) not in taken and stop.working_min >= STOP_MIN]
    moved = _moved([stop for stop in other if stop.mostly_at_work], ordered, mine, offset, path) if votes >= 2 else {}
    mine |= moved
    other = [stop for stop in other if not any(stop is found for found in moved.values())]
    known = offset if votes >= 2 else None
    usual = median(np.asarray([stop.minutes for stop in mine.values()])) if len(mine) > 2 else None
    picks: dict[int, PlugPicks] = {}
    for index, (plug, depth) in enumerate(ordered):
        if plug in mine:
            skipped = index > 0 and ordered[index - 1][0] not in mine
            doubled = bool(skipped and usual and mine[plug].minutes > LONG_STOP * usual)
            picks[plug] = _plug_picks(mine[plug], depth, known, plug in moved, doubled)
        elif depth + offset <= deepest + MATCH_FT:
            below = mine.get(ordered[index + 1][0]) if index + 1 < len(ordered) else None
            picks[plug] = _unmet(plug, depth + offset, below, usual, path)
    return Assigned(picks, mine, other, known)


def _own(near: list[Stop], expected_ft: float) -> Stop | None:
    """Return the stop of a plug among those near it: the longest with the motor working.

    If the pressure does not show it, use the only stop within 12 ft, if there is just one; waits look the same.
    """
    working = [stop for stop in near if stop.at_work]
    if working:
        there = [stop for stop in working if abs(stop.depth_ft - expected_ft) <= SAME_FT]
        return max(there or working, key=lambda stop: stop.minutes)
    if len(near) == 1:
        return near[0]
    close = [stop for stop in near if abs(stop.depth_ft - expected_ft) <= SAME_FT]
    return close[0] if len(close) == 1 else None


def _unusable(plugs: dict[int, float], deepest_ft: float) -> str:
    """Reason why the depths of a run cannot match its plugs."""
    if not plugs:
        return ""
    shallowest, lowest = min(plugs.values()), max(plugs.values())
    if deepest_ft < 0.5 * shallowest and shallowest - COUNTER_FT <= deepest_ft / FT_M <= 1.1 * lowest:
        return f"the deepest depth, {deepest_ft:.0f}, matches the plugs only in metres: fix the unit in the map"
    return ""


def _offset(stops: Sequence[Stop], depths: list[float]) -> tuple[float, int]:
    """Depth error of a run: the offset shared by most stops, and their number. [ft]"""
    apart = np.asarray([stop.depth_ft - depth for stop in stops for depth in depths])
    apart = apart[np.abs(apart) <= COUNTER_FT]
    if not apart.size:
        return 0.0, 0
    near = np.abs(apart[:, None] - apart[None, :]) <= SAME_FT
    votes = near.sum(axis=1)
    best = np.flatnonzero(votes == votes.max())
    chosen = best[np.argmin(np.abs(apart[best]))]
    return median(apart[near[chosen]]), int(votes[chosen])


def _moved(
    stops: list[Stop], ordered: list[tuple[int, float]], mine: dict[int, Stop], offset_ft: float, path: CoilPath
) -> dict[int, Stop]:
    """Match stops away from every set depth to the missing plug there, if exactly one is missing."""
    found: dict[int, Stop] = {}
    for stop in stops:
        before = [plug for plug, _ in ordered if plug in mine and mine[plug].tag_s < stop.tag_s]
        after = [plug for plug, _ in ordered if plug in mine and mine[plug].tag_s > stop.tag_s]
        if not before or path.gap_in(mine[before[-1]].tag_s, stop.tag_s) > 0.0:
            continue
        names = [plug for plug, _ in ordered]
        first = names.index(before[-1]) + 1
        last = names.index(after[0]) if after else min(first + 1, len(names))
        between = [(plug, depth) for plug, depth in ordered[first:last]]
        rivals = [other for other in stops if other is not stop and mine[before[-1]].tag_s < other.tag_s]
        rivals = [other for other in rivals if not after or other.tag_s < mine[after[0]].tag_s]
        if len(between) == 1 and not rivals and abs(stop.depth_ft - between[0][1] - offset_ft) < 100.0:
            found[between[0][0]] = stop
    return found


def _plug_picks(stop: Stop, set_ft: float, offset_ft: float | None, moved: bool, doubled: bool) -> PlugPicks:
    doubts = Doubts()
    off = stop.depth_ft - set_ft
    beyond = off - (offset_ft or 0.0)
    if moved:
        doubts.add(
            f"found {qty(beyond, 'ft', plus=True)} from its set depth: the only stop and plug between two others",
            grave=True,
        )
    elif abs(beyond) > (SAME_FT if offset_ft is not None else MATCH_FT):
        doubts.add(
            f"tagged {qty(beyond, 'ft', plus=True)} from its set depth after correction for the run's depth error"
        )
    if stop.at_work is None:
        doubts.add("no circulating pressure to show whether the motor was working")
    if doubled:
        doubts.add("no stop at the plug above: this stop may cover both plugs")
    if stop.met_unseen:
        reason = "a gap in the record when the mill arrived at the plug"
        return PlugPicks(TAG.missing(reason), MILL_MIN.missing(reason))
    note = f"{qty(off, 'ft', plus=True)} from the set depth"
    if stop.gap_s > 0.0:
        reason = f"a gap of {stop.gap_s / 60.0:.0f} min in the record while on the plug"
        doubts.add(reason)
        tag = TAG.at(stop.depth_ft, stop.tag_s, doubts.confidence, doubts.words(note), 1.0)
        return PlugPicks(tag, MILL_MIN.missing(reason))
    sure = doubts.confidence
    tag = TAG.at(stop.depth_ft, stop.tag_s, sure, doubts.words(note), 1.0)
    if stop.ending == "record ends":
        return PlugPicks(tag, MILL_MIN.missing("the record ends with the mill on the plug"))
    away = (stop.left_s - stop.tag_s) / 60.0 - stop.minutes
    if stop.ending == "pulled off":
        doubts.add("the run ended on the plug: it is not known to be milled through")
    words = doubts.words("mill moved past it")
    if stop.waited_s > 0.0:
        words += f"; {stop.waited_s / 60.0:.0f} min of waiting with an idle motor excluded"
    if len(stop.spans) > 1:
        words += f"; {away:.0f} min of trips away from the plug excluded"
    return PlugPicks(tag, MILL_MIN.at(stop.minutes, stop.left_s, doubts.confidence, words, 0.2))


def _unmet(plug: int, expected_ft: float, below: Stop | None, usual: float | None, path: CoilPath) -> PlugPicks:
    """Return the reason why a plug within reach has no stop."""
    reason = f"the mill passed {qty(expected_ft, 'ft')} without a stop: no plug there"
    crossed = np.searchsorted(path.frontier_ft, (expected_ft - MATCH_FT, expected_ft + MATCH_FT))
    first, last = (float(path.time_s[min(int(index), path.time_s.size - 1)]) for index in crossed)
    if path.gap_in(first - 1.0, last + 1.0) > 0.0:
        reason = "a gap in the record at the depth of the plug"
    elif below is not None and usual is not None and below.minutes > LONG_STOP * usual:
        reason += "; it was possibly pushed onto the next plug, which took longer to mill than the others"
    return PlugPicks(TAG.missing(reason), MILL_MIN.missing(reason))


METHODS = (TAG, MILL_MIN)
