"""Coil-run metrics: one row per run."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

import numpy as np

from pipeline.metrics.coil.view import NO_DEPTH, RUN, Annulus, RunView, annulus
from pipeline.metrics.declare import Missing, known
from pipeline.physics.constants import WATER_DENSITY_PPG
from pipeline.physics.transport import slip_band_ft_s, transport_ratio
from pipeline.picks.arrays import filled, integral
from pipeline.picks.coil_record import longest_s
from pipeline.picks.coil_states import lost_returns_min as longest_loss_min
from pipeline.picks.coil_states import over_motor_limit

DEBRIS = (0.25, 1.9 * WATER_DENSITY_PPG, WATER_DENSITY_PPG, 1.0)
"""A chip of a composite plug in water: diameter, density, fluid density, viscosity. [in, lbm/gal, lbm/gal, cP]"""


@RUN.metric("", "first sample in the hole", kind="time")
def start_time(r: RunView) -> datetime:
    return _edge(r, 0)


@RUN.metric("", "last sample in the hole", kind="time")
def end_time(r: RunView) -> datetime:
    return _edge(r, -1)


def _edge(r: RunView, index: int) -> datetime:
    if r.states is None:
        raise Missing(NO_DEPTH)
    inside = np.flatnonzero(r.states.in_hole)
    if not inside.size:
        raise Missing("the mill never went below {50 ft}")
    return r.moment(float(r.record.time_s[inside[index]]))


@RUN.metric("", "first sample of the record", kind="time")
def record_start(r: RunView) -> datetime:
    return r.origin


@RUN.metric("h", "hours with the mill in the hole")
def hours(r: RunView) -> float:
    return r.hours_in("in_hole")


@RUN.metric("h", "hours of running in, including between plugs", version=3)
def running_in_hours(r: RunView) -> float:
    return r.hours_in("running_in")


@RUN.metric("h", "hours of milling plugs or cement, excluding stalls", version=3)
def milling_hours(r: RunView) -> float:
    return r.hours_in("milling")


@RUN.metric("h", "hours from a stall until the mill returned to the bottom", version=2)
def stalled_hours(r: RunView) -> float:
    if r.record.pressure_psi is None and r.assigned.stops:
        raise Missing("no circulating pressure in the record: stalls are part of the milling hours")
    return r.hours_in("stalled")


@RUN.metric("h", "hours of wiper trips", version=3)
def wiper_hours(r: RunView) -> float:
    return r.hours_in("wiping")


@RUN.metric("h", "hours of short trips: pulls of more than 60 ft that returned to bottom before the heel")
def short_trip_hours(r: RunView) -> float:
    return r.hours_in("short_trip")


@RUN.metric("h", "hours of cutting stations with sand")
def jetting_hours(r: RunView) -> float:
    return r.hours_in("jetting")


@RUN.metric("h", "hours stationary for other reasons", version=3)
def stationary_hours(r: RunView) -> float:
    return r.hours_in("stationary")


@RUN.metric("h", "hours of pulling out, excluding trips that returned to bottom", version=2)
def pulling_out_hours(r: RunView) -> float:
    return r.hours_in("pulling_out")


@RUN.metric(
    "", "plugs whose milling ended in the run; a plug milled over two runs counts once", kind="count", version=2
)
def plugs_milled(r: RunView) -> int:
    if r.path is None:
        raise Missing(NO_DEPTH)
    return sum(plug.mill.value is not None for plug in r.plugs.values())


@RUN.metric("", "plugs of the well not met by this run or any earlier run", kind="count")
def plugs_left(r: RunView) -> int:
    return r.left


@RUN.metric("", "pulls back to the heel followed by a return to bottom", kind="count", version=2)
def wiper_trips(r: RunView) -> int:
    return int(known(r.trip_pick.value, r.trip_pick.reason))


@RUN.metric("min", "mean minutes per wiper trip", version=2)
def wiper_min(r: RunView) -> float:
    if not r.trips:
        raise Missing("no wiper trip")
    return float(np.mean([trip.end_s - trip.start_s for trip in r.trips]) / 60.0)


@RUN.metric("ratio", "plugs milled per wiper trip")
def plugs_per_wiper(r: RunView) -> float:
    if not r.trips:
        raise Missing("no wiper trip")
    return float(plugs_milled(r) / len(r.trips))


@RUN.metric("ft", "deepest point reached")
def deepest_ft(r: RunView) -> float:
    if r.path is None:
        raise Missing(NO_DEPTH)
    return float(r.path.frontier_ft[-1])


@RUN.metric("ft", "planned depth minus deepest point reached; negative if the run went deeper")
def short_of_target_ft(r: RunView) -> float:
    reached, target = deepest_ft(r), r.row.get("target_depth_ft")
    if target is None:
        raise Missing("no planned depth in the tables")
    return float(target - reached)


@RUN.metric("", "whether the coil stopped advancing with weight slacked off and the motor idle", kind="flag")
def locked_up(r: RunView) -> bool:
    if r.path is None or r.record.weight_lbf is None:
        raise Missing("no depth or no weight in the record")
    return r.lock_up_ft is not None


@RUN.metric("ft", "depth of lock-up")
def lock_up_depth_ft(r: RunView) -> float:
    return known(r.lock_up_ft, "no lock-up")


@RUN.metric("ft", "the run's depth error, from the agreement of its tags")
def depth_offset_ft(r: RunView) -> float:
    return known(r.assigned.offset_ft, r.assigned.unusable or "fewer than two plugs tell it")


@RUN.metric("bpm", "highest circulation rate on wiper trips")
def wiper_rate_bpm(r: RunView) -> float:
    if r.states is None or not r.trips:
        raise Missing("no wiper trip")
    return r.highest_rate(r.states.wiping)


@RUN.metric("bpm", "highest circulation rate while milling")
def milling_rate_bpm(r: RunView) -> float:
    milling = None if r.states is None else r.states.milling
    if milling is None or not milling.any():
        raise Missing("nothing milled")
    return r.highest_rate(milling)


@RUN.metric(
    "ft/min", "annular velocity in the widest casing at that rate on wiper trips", source="Lapeyrouse", version=2
)
def wiper_annular_velocity_ft_min(r: RunView) -> float:
    return _velocity(r, wiper_rate_bpm(r))


@RUN.metric(
    "ft/min", "annular velocity in the widest casing at that rate while milling", source="Lapeyrouse", version=2
)
def milling_annular_velocity_ft_min(r: RunView) -> float:
    return _velocity(r, milling_rate_bpm(r))


def _velocity(
    r: RunView, rate_bpm: float, section: Callable[[Annulus, float], float] = Annulus.slowest_ft_min
) -> float:
    path = known(r.path, NO_DEPTH)
    return section(annulus(r.strings, r.coil_in, float(path.frontier_ft[-1])), rate_bpm)


@RUN.metric("ft/min", "annular velocity in the lateral's casing on wiper trips", source="Lapeyrouse")
def wiper_lateral_velocity_ft_min(r: RunView) -> float:
    return _velocity(r, wiper_rate_bpm(r), Annulus.lateral_ft_min)


@RUN.metric("ratio", "mean annular volumes to surface pumped per wiper trip", version=2)
def bottoms_up_per_wiper(r: RunView) -> float:
    shares = _bottoms_up(r)
    return float(np.mean(shares))


@RUN.metric("ratio", "fewest annular volumes to surface pumped on any wiper trip of the run")
def fewest_bottoms_up(r: RunView) -> float:
    shares = _bottoms_up(r)
    return float(np.min(shares))


def _bottoms_up(r: RunView) -> list[float]:
    """Annular volumes to surface pumped on each wiper trip covered by the record."""
    if r.path is None or not r.trips or r.record.pump_bpm is None:
        raise Missing("no wiper trip, or no pump rate")
    shares = []
    for trip in r.trips:
        first, last = np.searchsorted(r.record.time_s, (trip.start_s, trip.end_s))
        around = annulus(r.strings, r.coil_in, float(r.path.depth_ft[first]))
        pumped, unmeasured = integral(r.record.time_s[first:last], r.record.pump_bpm[first:last] / 60.0)
        if unmeasured < 60.0:
            shares.append(pumped / around.volume_bbl)
    if not shares:
        raise Missing("gaps in every wiper trip")
    return shares


@RUN.metric(
    "ratio", "net rise velocity of a slow chip over fluid velocity, vertical, wiper trips", source="Moore; Chien"
)
def wiper_transport_ratio_high(r: RunView) -> float:
    return _transport(r, 0)


@RUN.metric("ratio", "the same for a fast chip: a smooth sphere of that size", source="Haider and Levenspiel")
def wiper_transport_ratio_low(r: RunView) -> float:
    return _transport(r, 1)


def _transport(r: RunView, end: int) -> float:
    velocity = wiper_annular_velocity_ft_min(r)
    return float(transport_ratio(velocity / 60.0, slip_band_ft_s(*DEBRIS)[end]))


@RUN.metric(
    "ft/min",
    "annular velocity that the team plans wiper trips with, from the settings; 180 ft/min if they state none",
    source="3 ft/s keep debris moving at high angle without rotation (Pilehvari, Azar and Shirazi 1999)",
)
def planned_velocity_ft_min(r: RunView) -> float:
    return r.debris_velocity_ft_min


@RUN.metric("ratio", "lateral velocity on wiper trips over the planned one")
def lateral_margin(r: RunView) -> float:
    return wiper_lateral_velocity_ft_min(r) / r.debris_velocity_ft_min


@RUN.metric("ratio", "volume returned over volume pumped while in the hole")
def returns_ratio(r: RunView) -> float:
    pump, back = r.record.pump_bpm, r.record.return_bpm
    if r.states is None or pump is None or back is None:
        raise Missing("no pump rate or no return rate in the record")
    both = r.states.in_hole & ~np.isnan(pump) & ~np.isnan(back)
    pumped = float((pump[both] * r.seconds[both]).sum())
    if not pumped > 0.0:
        raise Missing("nothing pumped")
    return float((back[both] * r.seconds[both]).sum()) / pumped


@RUN.metric("min", "longest time with less than 70 % of the pumped rate returning")
def lost_returns_min(r: RunView) -> float:
    return known(
        None if r.path is None else longest_loss_min(r.path, r.record), "no pump rate or no return rate in the record"
    )


@RUN.metric("", "pulls more than 8,000 lbf above the pulling weight nearby", kind="count")
def overpulls(r: RunView) -> int:
    if r.path is None or r.record.weight_lbf is None:
        raise Missing("no depth or no weight in the record")
    return len(r.overpulls)


@RUN.metric("s", "longest time above the motor's limit with the bypass closed")
def over_motor_limit_s(r: RunView) -> float:
    limit, bypass, pump = r.row.get("motor_limit_bpm"), r.record.bypass, r.record.pump_bpm
    if limit is None or bypass is None or pump is None:
        raise Missing("no motor limit in the tables, or no bypass or pump rate in the record")
    return longest_s(over_motor_limit(filled(pump, 0.0), filled(bypass, 0.0), limit), r.record.time_s)


@RUN.metric("", "whether wiper trips were pumped above the motor's limit through a bypass", kind="flag")
def bypass_used(r: RunView) -> bool:
    limit = known(r.row.get("motor_limit_bpm"), "no motor limit in the tables")
    return bool(wiper_rate_bpm(r) > limit)


@RUN.metric("", "stations cut with sand", kind="count")
def stations(r: RunView) -> int:
    return int(known(r.station_pick.value, r.station_pick.reason))
