"""Depths where the mill stopped, and the plug at each of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.physics.constants import FT_M
from pipeline.picks.arrays import at_time, joined, median, noise_sigma, runs
from pipeline.picks.coil_record import CoilPath, CoilRecord
from pipeline.picks.types import Doubts, Method, Pick
from pipeline.units import qty

SLOW_FOOT_S = 15.0
"""A foot that takes longer than this is slow. [s]"""
CLOSE_FT = 0.5
"""The mill has reached a stop when it is this close above it. [ft]"""
STOP_MIN = 1.0
"""A shorter halt is not a plug. [min]"""
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
LONG_STOP = 1.5
"""A stop this much longer than the others can cover more than one plug. [1]"""

TAG = Method("tag", "ft", "depth where the deepest point reached stops increasing; matched to plugs in depth order", 3)
MILL_MIN = Method("mill_min", "min", "from the tag until the mill moves past the plug, excluding trips away from it", 3)


@dataclass(frozen=True)
class Stop:
    """A depth where the mill stopped.

    Attributes
    ----------
    depth_ft : float
        Depth where the stop began. [ft]
    tag_s, done_s : float
        Times of arrival and of moving past; ``done_s`` is None if the record ends first. [s]
    minutes : float
        Time at the bottom of the hole in between. [min]
    differential_psi : float, optional
        Circulating pressure minus free-spin (off-bottom) pressure at the same rate. [psi]
    gap_s : float
        Part of the stop not covered by the record. [s]
    met_unseen : bool
        Whether the record has a gap when the mill arrived at it.
    """

    depth_ft: float
    tag_s: float
    done_s: float | None
    minutes: float
    differential_psi: float | None
    gap_s: float
    met_unseen: bool = False

    @property
    def at_work(self) -> bool | None:
        """Whether the motor was working; None if the pressure does not show it."""
        return None if self.differential_psi is None else self.differential_psi > MOTOR_PSI


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
        Stops with the motor working that match no plug.
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
    spans = joined(runs(slow), np.arange(slow.size, dtype=float), STOP_FT)
    stops = []
    for first, last in spans:
        # a mill stopped just short of a whole foot crosses it by noise, long after its arrival
        met = int(np.searchsorted(frontier, grid[first] - CLOSE_FT))
        ended = last >= grid.size
        done = frontier.size - 1 if ended else int(passed[last])
        minutes = float(path.present_s[done] - path.present_s[met]) / 60.0
        tag_s, done_s = float(path.time_s[met]), float(path.time_s[done])
        gap = path.gap_in(tag_s, done_s)
        if minutes + gap / 60.0 < STOP_MIN:
            continue
        stops.append(
            Stop(
                float(frontier[met]), tag_s, None if ended else done_s, minutes, _differential(record, path, met, done),
                gap, _met_unseen(path, met),
            )
        )  # fmt: skip
    return stops


def _met_unseen(path: CoilPath, met: int) -> bool:
    """Whether the mill was already at the stop when the record resumed after a gap."""
    ended = path.gaps_s[path.gaps_s[:, 1] <= path.time_s[met] + 1.0, 1] if len(path.gaps_s) else path.gaps_s
    if not len(ended):
        return False
    return bool(path.frontier_ft[at_time(path.time_s, ended[-1])] >= path.frontier_ft[met] - STOP_FT)


def _differential(record: CoilRecord, path: CoilPath, met: int, done: int) -> float | None:
    """Circulating pressure on the stop minus free-spin pressure at the same rate in the ten minutes before."""
    if record.pressure_psi is None:
        return None
    stop = slice(met, max(done, met + 1))
    on = path.frontier_ft[stop] - path.depth_ft[stop] < STOP_FT
    pressure = median(record.pressure_psi[stop][on])
    rate = median(record.pump_bpm[stop][on]) if record.pump_bpm is not None else None
    before = slice(at_time(path.time_s, path.time_s[met] - 600.0), met)
    free = np.where(path.speed_ft_min[before] >= FREE_FT_MIN, record.pressure_psi[before], np.nan)
    if rate is not None and record.pump_bpm is not None:
        free = free[np.abs(record.pump_bpm[before] - rate) < max(0.1, 0.05 * rate)]
    free = free[~np.isnan(free)]
    if free.size < 10 or np.isnan(pressure):
        return None
    level, noise = median(free), noise_sigma(free)
    found = float(pressure - level)
    return found if found > 3.0 * noise else min(found, 0.0)


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
    other = [stop for stop in usable if id(stop) not in taken and stop.at_work]
    moved = _moved(other, ordered, mine, offset, path) if votes >= 2 else {}
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
        return max(working, key=lambda stop: stop.minutes)
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
    if stop.done_s is None:
        return PlugPicks(tag, MILL_MIN.missing("the run ended on the plug"))
    away = (stop.done_s - stop.tag_s) / 60.0 - stop.minutes
    if away > 1.0:
        doubts.add(f"{away:.0f} min away from the plug excluded")
    return PlugPicks(
        tag, MILL_MIN.at(stop.minutes, stop.done_s, doubts.confidence, doubts.words("mill moved past it"), 0.2)
    )


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
