"""Coil activity second by second: stalls, wiper trips, stations, and the hours of each state."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from pipeline.picks.arrays import at_time, joined, lasting, median, noise_sigma, runs
from pipeline.picks.coil_record import AWAY_FT, MOVING_FT_MIN, CoilPath, CoilRecord, longest_s
from pipeline.picks.coil_stops import CLOSE_FT, Stop
from pipeline.picks.types import Array, Mask, Method, Pick

IN_HOLE_FT = 50.0
"""The coil is in the hole while the mill is deeper than this. [ft]"""
WIPER_FT = 300.0
"""A shorter pull is a short trip, not a wiper trip. [ft]"""
HEEL_FT = 500.0
"""A wiper trip reaches to within this distance of the heel. [ft]"""
BLIND_PULL_FT = 1000.0
"""If the depth of the heel is unknown, a pull of this length counts. [ft]"""
SURGE_PSI = 350.0
"""A stalled motor raises the circulating pressure by more than this above milling. [psi]"""
SURGE_S = 5.0
"""A surge lasts about this long; a record with longer steps can miss one. [s]"""
PICK_UP_FT, PICK_UP_S = 2.0, 60.0
"""After a stall the mill is picked up by this much within this time. [ft], [s]"""
FASTER = 1.1
"""A surge at a pump rate above this multiple of the rate on the plug is friction, not a stall. [1]"""
PULLING_FT_MIN, BAND_FT = 20.0, 500.0
"""The pulling weight is taken from faster moves, in depth bands. [ft/min], [ft]"""
BACK_FT = 0.15
"""The mill is back at the bottom when it is within this distance of its earlier depth. [ft]"""
OVERPULL_LBF = 8000.0
"""Weight above the pulling weight nearby by more than this is an overpull. [lbf]"""
SLACK_LBF = 4000.0
"""Weight below the running-in weight by more than this is slacked off. [lbf]"""
LOST_RETURNS = 0.7
"""Returns are lost below this share of the pumped rate. [1]"""

STALLS = Method("stalls", "", "surges of circulating pressure on the plug followed by a pick-up", 3)
WIPER_TRIPS = Method("wiper_trips", "", "pulls back to the heel followed by a return to the deepest point reached", 2)


@dataclass(frozen=True)
class Trip:
    """One pull with a return: start and end [s], shallowest depth [ft], and whether it reached the heel."""

    start_s: float
    end_s: float
    shallowest_ft: float
    wiper: bool


@dataclass(frozen=True)
class States:
    """Masks over the samples; every sample in the hole has exactly one state.

    Attributes
    ----------
    in_hole, milling, stalled, wiping, short_trip, jetting, running_in, pulling_out, stationary : array of bool
        Shape (n,).
    """

    in_hole: Mask
    milling: Mask
    stalled: Mask
    wiping: Mask
    short_trip: Mask
    jetting: Mask
    running_in: Mask
    pulling_out: Mask
    stationary: Mask


def find_stalls(record: CoilRecord, path: CoilPath, stop: Stop) -> list[tuple[float, float]] | None:
    """Find the stalls of the motor on a plug.

    Returns
    -------
    list of (start, end), optional
        From the pressure surge until the mill is back at the bottom. None if circulating pressure is missing. [s]
    """
    if record.motor_psi is None:
        return None
    first, last = at_time(path.time_s, stop.tag_s), at_time(path.time_s, stop.left_s) + 1
    near = slice(first, last)
    on = path.within(stop.spans)[near]
    pressure = record.motor_psi[near]
    milling = on & (path.frontier_ft[near] - path.depth_ft[near] <= CLOSE_FT)
    usual = pressure[milling if milling.any() else on]
    high = on & (pressure > median(usual) + max(SURGE_PSI, 8.0 * noise_sigma(usual)))
    if record.pump_bpm is not None:
        rate = record.pump_bpm[near]
        high &= ~(rate > FASTER * median(rate[on]))
    found: list[tuple[float, float]] = []
    for span in stop.spans:
        found += _stalls_in(path, first, high, span, leaving=record.pump_bpm is not None)
    return found


def _stalls_in(
    path: CoilPath, offset: int, high: Mask, span: tuple[float, float], *, leaving: bool
) -> list[tuple[float, float]]:
    """Surges with a pick-up in one span on the plug; with `leaving`, one that ends in leaving the plug counts too.

    `high` begins with the sample of the path at `offset`.
    """
    first, last = at_time(path.time_s, span[0]), at_time(path.time_s, span[1]) + 1
    time, depth = path.time_s[first:last], path.depth_ft[first:last]
    found = []
    for begin, finish in joined(runs(high[first - offset : last - offset]), time, 15.0):
        if finish - begin < 2 and begin + 1 < time.size and time[begin + 1] - time[begin] < 2.0:
            continue  # a single sample of a fast record is a spike
        until = int(np.searchsorted(time, time[finish - 1] + PICK_UP_S))
        level = depth[begin]
        up = np.flatnonzero(depth[begin:until] < level - PICK_UP_FT)
        left = leaving and time[finish - 1] + PICK_UP_S >= span[1]
        if not up.size and not left:
            continue
        at = begin + int(up[0]) if up.size else finish - 1
        back = np.flatnonzero(depth[at:] >= level - BACK_FT) if up.size else np.empty(0)
        if up.size and not back.size and not left:
            continue
        found.append((float(time[begin]), float(time[at + int(back[0]) if back.size else time.size - 1])))
    return found


def find_trips(path: CoilPath, heel_md_ft: float | None, from_ft: float = 0.0) -> list[Trip]:
    """Find the pulls with a return to the bottom; the final pull out of the hole is not one.

    Parameters
    ----------
    path : CoilPath
    heel_md_ft : float, optional
        A trip that reaches to within 500 ft of it is a wiper trip; if unknown, one of 1,000 ft or more. [ft]
    from_ft : float
        Pulls from above this depth are weight checks on the way in, not trips. [ft]
    """
    trips = []
    above = path.frontier_ft - path.depth_ft
    for left, back in path.pulls:
        if above[back] > AWAY_FT or path.frontier_ft[left] < from_ft:
            continue
        shallowest = float(path.depth_ft[left : back + 1].min())
        pulled = path.frontier_ft[left] - shallowest
        to_heel = pulled >= BLIND_PULL_FT if heel_md_ft is None else shallowest <= heel_md_ft + HEEL_FT
        if shallowest <= IN_HOLE_FT + AWAY_FT:
            continue
        wiper = bool(pulled >= WIPER_FT and to_heel)
        trips.append(Trip(float(path.time_s[left]), float(path.time_s[back]), shallowest, wiper))
    return trips


def wiper_pick(trips: Sequence[Trip], path: CoilPath, heel_md_ft: float | None) -> Pick:
    """Return the number of wiper trips as a pick."""
    if heel_md_ft is None:
        return WIPER_TRIPS.at(float(len(trips)), None, "low", "heel depth unknown: pulls of {1000 ft} counted")
    if len(path.gaps_s) and np.diff(path.gaps_s, axis=1).max() > 900.0:
        return WIPER_TRIPS.at(float(len(trips)), None, "low", "a gap in the record may hide a wiper trip")
    return WIPER_TRIPS.at(
        float(len(trips)), None, "high", "pulls to within {500 ft} of the heel that returned to bottom"
    )


def find_states(
    path: CoilPath, milling: list[tuple[float, float]], stalls: list[tuple[float, float]],
    trips: Sequence[Trip], jetting: list[tuple[float, float]],
) -> States:  # fmt: skip
    """Assign one state to every sample in the hole.

    Parameters
    ----------
    path : CoilPath
    milling, stalls, jetting : list of (start, end)
        [s]
    trips : sequence of Trip

    Returns
    -------
    States
        Priority: trips, stall, milling, jetting; the other samples are classified by speed.
    """
    in_hole = path.depth_ft > IN_HOLE_FT
    wiping, short = (
        path.within([(trip.start_s, trip.end_s) for trip in trips if trip.wiper is wiper]) & in_hole
        for wiper in (True, False)
    )
    free = in_hole & ~wiping & ~short
    stalled = path.within(stalls) & free
    free = free & ~stalled
    at_plug = path.within(milling) & free
    free = free & ~at_plug
    cutting = path.within(jetting) & free
    free = free & ~cutting
    speed = path.speed_ft_min
    down, up = free & (speed >= MOVING_FT_MIN), free & (speed <= -MOVING_FT_MIN)
    return States(in_hole, at_plug, stalled, wiping, short, cutting, down, up, free & ~down & ~up)


def over_motor_limit(pump_bpm: Any, bypass: Any, limit_bpm: float, tolerance: float = 0.05) -> Mask:
    """Return the samples above the motor's limit: rate too high with the bypass closed."""
    return np.asarray((np.asarray(pump_bpm) > limit_bpm * (1.0 + tolerance)) & (np.asarray(bypass) < 0.5))


def weight_is_reversed(record: CoilRecord, path: CoilPath) -> bool:
    """Whether the weight has the wrong sign: the weight of coil hanging in the vertical cannot be negative."""
    if record.weight_lbf is None:
        return False
    hanging = record.weight_lbf[(path.depth_ft > 2000.0) & (path.depth_ft < 8000.0)]
    hanging = hanging[~np.isnan(hanging)]
    return bool(hanging.size >= 60 and np.median(hanging) < -2000.0)


def overpulls(path: CoilPath, weight_lbf: Array) -> list[tuple[float, float, float]]:
    """Find pulls above the pulling weight nearby.

    Returns
    -------
    list of (time, depth, excess)
        [s], [ft], [lbf]
    """
    seen = (path.depth_ft > IN_HOLE_FT) & ~np.isnan(weight_lbf)
    up = seen & (path.speed_ft_min <= -PULLING_FT_MIN)
    band = np.maximum(path.depth_ft // BAND_FT, 0.0).astype(int)
    usual = np.full(int(band.max()) + 1, np.nan)
    for level in np.unique(band[up]):
        inside = weight_lbf[up & (band == level)]
        if inside.size >= 20:
            usual[level] = median(inside)
    excess = np.where(seen & (path.speed_ft_min < MOVING_FT_MIN), weight_lbf - usual[band], 0.0)
    spans = joined(runs(excess > OVERPULL_LBF), path.time_s, 30.0)
    spans = lasting(spans, path.time_s, 5.0)
    return [
        (float(path.time_s[a]), float(path.depth_ft[a]), float(np.nanmax(excess[a:b]))) for a, b in spans
    ]  # fmt: skip


def lock_up_ft(path: CoilPath, weight_lbf: Array, stops: Sequence[Stop], from_ft: float) -> float | None:
    """Return the depth at which the coil stopped advancing with weight slacked off and the motor idle. [ft]"""
    weights = weight_lbf[(path.speed_ft_min > MOVING_FT_MIN) & (path.depth_ft > from_ft)]
    if np.count_nonzero(~np.isnan(weights)) < 60:
        return None
    usual = median(weights[-1800:])
    for stop in stops:
        if stop.at_work or stop.depth_ft < path.frontier_ft[-1] - 10.0:
            continue
        on = path.within([(stop.tag_s, stop.left_s)])
        slack = on & (weight_lbf < usual - SLACK_LBF) & (path.frontier_ft - path.depth_ft < 5.0)
        if path.seconds[slack].sum() >= 120.0:
            return stop.depth_ft
    return None


def lost_returns_min(path: CoilPath, record: CoilRecord) -> float | None:
    """Return the longest time with less than 70 % of the pumped rate returning. [min]"""
    if record.return_bpm is None or record.pump_bpm is None:
        return None
    pumping = (record.pump_bpm > 1.0) & (path.depth_ft > IN_HOLE_FT)
    with np.errstate(invalid="ignore"):
        lost = pumping & (record.return_bpm < LOST_RETURNS * record.pump_bpm)
    return longest_s(lost, path.time_s) / 60.0


METHODS = (STALLS, WIPER_TRIPS)
