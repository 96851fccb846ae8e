"""Coil activity second by second: stalls, wiper trips, stations, and the hours of each state."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from pipeline.picks.arrays import at_time, duration_s, joined, median, noise_sigma, runs
from pipeline.picks.coil_record import AWAY_FT, CoilPath, CoilRecord, longest_s
from pipeline.picks.coil_stops import Stop
from pipeline.picks.types import Array, Mask, Method, Pick

IN_HOLE_FT = 50.0
"""The coil is in the hole while the mill is deeper than this. [ft]"""
MOVING_FT_MIN = 5.0
"""Below this speed the coil is stationary. [ft/min]"""
WIPER_FT = 300.0
"""A shorter pull is a pick-up, not a wiper trip. [ft]"""
HEEL_FT = 500.0
"""A wiper trip reaches to within this distance of the heel. [ft]"""
BLIND_PULL_FT = 1000.0
"""If the depth of the heel is unknown, a pull of this length counts. [ft]"""
SURGE_PSI = 350.0
"""A stalled motor raises the circulating pressure by more than this above milling. [psi]"""
PICK_UP_FT, PICK_UP_S = 2.0, 60.0
"""After a stall the mill is picked up by this much within this time. [ft], [s]"""
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

STALLS = Method("stalls", "", "surges of circulating pressure followed by a pick-up", 2)
WIPER_TRIPS = Method("wiper_trips", "", "pulls back to the heel followed by a return to the deepest point reached", 2)


@dataclass(frozen=True)
class WiperTrip:
    """One pull back towards the heel: start and end in seconds, and shallowest depth. [s, s, ft]"""

    start_s: float
    end_s: float
    shallowest_ft: float


@dataclass(frozen=True)
class States:
    """Masks over the samples; every sample in the hole has exactly one state.

    Attributes
    ----------
    in_hole, milling, stalled, wiping, jetting, running_in, pulling_out, stationary : array of bool, shape (n,)
    """

    in_hole: Mask
    milling: Mask
    stalled: Mask
    wiping: Mask
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
    if record.pressure_psi is None:
        return None
    first = at_time(path.time_s, stop.tag_s)
    last = at_time(path.time_s, stop.done_s) + 1 if stop.done_s is not None else path.time_s.size
    time, depth = path.time_s[first:last], path.depth_ft[first:last]
    pressure = record.pressure_psi[first:last]
    floor = median(pressure) + max(SURGE_PSI, 8.0 * noise_sigma(pressure))
    surges = joined(runs(pressure > floor), time, 15.0)
    found = []
    for begin, finish in surges:
        if finish - begin < 2 and begin + 1 < time.size and time[begin + 1] - time[begin] < 2.0:
            continue  # a single sample of a fast record is a spike
        until = int(np.searchsorted(time, time[finish - 1] + PICK_UP_S))
        level = depth[begin]
        up = np.flatnonzero(depth[begin:until] < level - PICK_UP_FT)
        if not up.size:
            continue
        back = np.flatnonzero(depth[begin + up[0] :] >= level - BACK_FT)
        end = begin + int(up[0]) + int(back[0]) if back.size else time.size - 1
        found.append((float(time[begin]), float(time[end])))
    return found


def find_wiper_trips(path: CoilPath, heel_md_ft: float | None) -> list[WiperTrip]:
    """Find the pulls towards the heel with a return; the final pull out of the hole is not counted."""
    above = path.frontier_ft - path.depth_ft
    trips = []
    for start, stop in runs(above > AWAY_FT):
        if stop >= above.size:
            continue
        shallowest = float(path.depth_ft[start:stop].min())
        pulled = path.frontier_ft[start] - shallowest
        to_heel = pulled >= BLIND_PULL_FT if heel_md_ft is None else shallowest <= heel_md_ft + HEEL_FT
        if pulled < WIPER_FT or not to_heel or shallowest <= IN_HOLE_FT + AWAY_FT:
            continue
        left = np.flatnonzero(above[:start] <= 3.0)
        back = np.flatnonzero(above[stop:] <= 3.0)
        begin = int(left[-1]) if left.size else int(start)
        end = int(stop) + int(back[0]) if back.size else int(stop)
        trips.append(WiperTrip(float(path.time_s[begin]), float(path.time_s[end]), shallowest))
    return trips


def wiper_pick(trips: Sequence[WiperTrip], path: CoilPath, heel_md_ft: float | None) -> Pick:
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
    trips: Sequence[WiperTrip], jetting: list[tuple[float, float]],
) -> States:  # fmt: skip
    """Assign one state to every sample in the hole.

    Parameters
    ----------
    path : CoilPath
    milling, stalls, jetting : list of (start, end)
        [s]
    trips : sequence of WiperTrip

    Returns
    -------
    States
        Priority: wiper trip, stall, milling, jetting; the other samples are classified by speed.
    """
    in_hole = path.depth_ft > IN_HOLE_FT
    wiping = path.within([(trip.start_s, trip.end_s) for trip in trips]) & in_hole
    free = in_hole & ~wiping
    stalled = path.within(stalls) & free
    free = free & ~stalled
    at_plug = path.within(milling) & free
    free = free & ~at_plug
    cutting = path.within(jetting) & free
    free = free & ~cutting
    speed = path.speed_ft_min
    down, up = free & (speed >= MOVING_FT_MIN), free & (speed <= -MOVING_FT_MIN)
    return States(in_hole, at_plug, stalled, wiping, cutting, down, up, free & ~down & ~up)


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
    spans = spans[duration_s(spans, path.time_s) >= 5.0] if len(spans) else spans
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
        on = path.within([(stop.tag_s, stop.done_s if stop.done_s is not None else path.time_s[-1] + 1.0)])
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
