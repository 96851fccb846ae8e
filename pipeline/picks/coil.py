"""What a coil run did: when it met each plug, how long it milled, how often it wiped the hole."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.picks.arrays import runs, sample_seconds
from pipeline.picks.record import Array, Doubts, Method, Pick

COUNTER_ERROR_FT = 45.0
"""A plug is looked for this far from its set depth: coil stretch and counter error. [ft]"""
ON_PLUG_FT = 4.0
"""The mill has moved on when it is this far below the depth of the tag. [ft]"""
DWELL_MIN = 1.0
"""A mill that passes a depth faster than this met no plug there. [min]"""
SLOW_FOOT_S = 15.0
"""A foot that takes longer is not run through. [s]"""
WIPER_FT = 300.0
"""A shorter pull is a pick-up, no wiper trip. [ft]"""
HEEL_FT = 500.0
"""A wiper trip comes back to within this distance of the heel. [ft]"""
AWAY_FT = 60.0
"""The mill is off the bottom of its hole when it is this far above the deepest point reached. [ft]"""

TAG = Method("tag", "ft", "where the deepest point reached stands still near the plug's set depth", 1)
MILL_MIN = Method("mill_min", "min", "from tag until the mill moves on below, trips away from the plug taken out", 1)
WIPER_TRIPS = Method("wiper_trips", "", "pulls back to the heel that return to the deepest point reached", 1)


@dataclass(frozen=True)
class CoilRecord:
    """One coil run's samples, strictly rising in time; void samples are NaN.

    Attributes
    ----------
    time_s : array, shape (n,)
        [s]
    depth_ft : array, shape (n,)
        Depth of the mill by the counter. [ft]
    pressure_psi : array, shape (n,)
        Circulating pressure. [psi]
    pump_bpm : array, shape (n,)
        [bbl/min]
    """

    time_s: Array
    depth_ft: Array
    pressure_psi: Array
    pump_bpm: Array


@dataclass(frozen=True)
class PlugPicks:
    """Tag and milling of one plug.

    Attributes
    ----------
    tag, mill : Pick
        Depth [ft] and moment of the tag; minutes on the plug and the moment they ended.
    """

    tag: Pick
    mill: Pick


@dataclass(frozen=True)
class WiperTrip:
    """One pull back towards the heel: seconds of its start and end, and how shallow it came. [s, s, ft]"""

    start_s: float
    end_s: float
    shallowest_ft: float


def filled_depth(record: CoilRecord) -> Array:
    """Depth with void samples filled by the last good one."""
    depth = record.depth_ft
    bad = np.isnan(depth)
    if not bad.any():
        return depth
    index = np.where(~bad, np.arange(depth.size), 0)
    np.maximum.accumulate(index, out=index)
    return np.where(np.isnan(depth[index]), 0.0, depth[index])


def frontier_ft(depth_ft: Array) -> Array:
    """Deepest point reached so far. [ft]"""
    return np.maximum.accumulate(depth_ft)


def present_s(record: CoilRecord, depth: Array, frontier: Array) -> Array:
    """Seconds spent so far with the mill at the bottom of its hole (not more than 60 ft above it)."""
    there = frontier - depth <= AWAY_FT
    return np.cumsum(np.where(there, sample_seconds(record.time_s), 0.0))


def pick_plug(record: CoilRecord, present: Array, frontier: Array, set_depth_ft: float) -> PlugPicks:
    """Find when a plug was met and when the mill moved on.

    Parameters
    ----------
    record : CoilRecord
    present : array, shape (n,)
        Seconds at the bottom of the hole so far. [s]
    frontier : array, shape (n,)
        Deepest point so far. [ft]
    set_depth_ft : float
        Where the plug was set. [ft]

    Returns
    -------
    PlugPicks

    Notes
    -----
    While a plug is milled the deepest point stands still, whatever the mill does above it (pick-ups, stalls). Within
    45 ft of the set depth, the four feet that the frontier took longest to pass are the plug; time away on a wiper
    trip does not count.
    """
    low, high = set_depth_ft - COUNTER_ERROR_FT, set_depth_ft + COUNTER_ERROR_FT
    if frontier[-1] < low:
        return _no_plug(f"the run reached {frontier[-1]:.0f} ft, the plug lies at {set_depth_ft:.0f} ft")
    grid = np.arange(low, high + 1.0, 1.0)
    passed = np.searchsorted(frontier, grid, side="left")
    clock = present[np.minimum(passed, present.size - 1)]
    width = int(ON_PLUG_FT)
    dwell = clock[width:] - clock[:-width]
    longest = int(np.argmax(dwell))
    if dwell[longest] < 60.0 * DWELL_MIN:
        return _no_plug(f"the mill passed {set_depth_ft:.0f} ft without a stop")
    # the mill meets the plug at the first foot of these that holds it up
    feet = np.diff(clock[longest : longest + width + 1])
    start = int(passed[longest + int(np.argmax(feet > SLOW_FOOT_S))])
    start_depth = float(frontier[min(start + 2, frontier.size - 1)])
    met = start
    done = int(np.searchsorted(frontier, start_depth + ON_PLUG_FT))
    doubts = Doubts()
    if done >= frontier.size:
        return _unfinished(record, start_depth, met)
    offset = start_depth - set_depth_ft
    if abs(offset) > 25.0:
        doubts.add(f"tagged {offset:+.0f} ft from the set depth")
    minutes = (present[done] - present[met]) / 60.0
    away = (record.time_s[done] - record.time_s[met]) / 60.0 - minutes
    if away > 1.0:
        doubts.add(f"{away:.0f} min away from the plug taken out")
    sure = doubts.confidence
    return PlugPicks(
        TAG.at(start_depth, float(record.time_s[met]), sure, doubts.words(f"{offset:+.0f} ft from the set depth"), 1.0),
        MILL_MIN.at(float(minutes), float(record.time_s[done]), sure, doubts.words("moved on below"), 0.2),
    )


def _no_plug(reason: str) -> PlugPicks:
    return PlugPicks(TAG.missing(reason), MILL_MIN.missing(reason))


def _unfinished(record: CoilRecord, depth_ft: float, met: int) -> PlugPicks:
    reason = "the run ended on the plug"
    return PlugPicks(TAG.at(depth_ft, float(record.time_s[met]), "medium", reason, 1.0), MILL_MIN.missing(reason))


def wiper_trips(record: CoilRecord, depth: Array, frontier: Array, heel_md_ft: float | None) -> list[WiperTrip]:
    """Find the pulls back towards the heel that came back.

    Parameters
    ----------
    record : CoilRecord
    depth, frontier : array, shape (n,)
        [ft]
    heel_md_ft : float, optional
        Where the lateral begins; without it, a pull of 1,000 ft counts. [ft]

    Returns
    -------
    list of WiperTrip
        The last pull out of the hole is none.
    """
    away = runs(frontier - depth > AWAY_FT)
    trips = []
    for start, stop in away:
        if stop >= depth.size:
            continue
        shallowest = float(depth[start:stop].min())
        pulled = frontier[start] - shallowest
        to_heel = shallowest <= heel_md_ft + HEEL_FT if heel_md_ft is not None else pulled >= 1000.0
        if pulled >= WIPER_FT and to_heel and shallowest > 100.0:
            trips.append(WiperTrip(float(record.time_s[start]), float(record.time_s[stop]), shallowest))
    return trips


def wiper_pick(trips: list[WiperTrip], heel_md_ft: float | None) -> Pick:
    """Return the number of wiper trips as a pick."""
    if heel_md_ft is None:
        return WIPER_TRIPS.at(float(len(trips)), None, "low", "depth of the heel unknown: pulls of 1,000 ft counted")
    return WIPER_TRIPS.at(float(len(trips)), None, "high", "pulls to within 500 ft of the heel that came back")


METHODS = (TAG, MILL_MIN, WIPER_TRIPS)
