"""The plug at each depth where the mill stopped, and the minutes on it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.physics.constants import FT_M
from pipeline.picks.arrays import median
from pipeline.picks.coil_record import CoilPath
from pipeline.picks.coil_stops import STOP_MIN, Stop
from pipeline.picks.types import Doubts, Method, Pick
from pipeline.units import qty

COUNTER_FT = 60.0
"""Upper bound of coil stretch and counter error together. [ft]"""
SAME_FT = 12.0
"""Largest scatter of tags about the run's own depth error. [ft]"""
MATCH_FT = 25.0
"""A stop further than this from the expected depth of a plug is not matched to it. [ft]"""
LONG_STOP = 1.5
"""A stop this much longer than the others can cover more than one plug. [1]"""

TAG = Method("tag", "ft", "depth where the deepest point reached stops increasing; matched to plugs in depth order", 3)
MILL_MIN = Method("mill_min", "min", "time with the mill on the plug, from the tag until it leaves it for good", 4)


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
    if stop.met_in_gap:
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
