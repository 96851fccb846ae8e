"""Plug metrics and coil-run metrics: one row a plug, one row a run."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cached_property
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from pipeline.metrics.declare import Level, Unseen
from pipeline.physics.hydraulics import annular_velocity_ft_min, annulus_capacity_bbl
from pipeline.picks.arrays import integral, sample_seconds
from pipeline.picks.coil import CoilRecord, PlugPicks, WiperTrip
from pipeline.picks.record import Array, Pick

PLUG = Level["PlugView"]("plug_metrics", "a measured plug", {"plug": "plug, by the stage it was set for"})
RUN = Level["RunView"]("coil_run_metrics", "a measured coil run", {"run": "coil run, in order of time"})
IN_HOLE_FT = 50.0
"""The run lasts while the mill is deeper than this. [ft]"""
MOVING_FT_MIN = 5.0
"""Slower than this the coil is stationary. [ft/min]"""


@dataclass
class RunView:
    """What coil-run metrics are computed from.

    Attributes
    ----------
    record : CoilRecord
    depth : array
        Depth without voids. [ft]
    trips : list of WiperTrip
    trip_pick : Pick
        Effective number of wiper trips.
    plugs : dict of int to PlugPicks
        Plugs milled in this run.
    row : dict
        The run's row of the coil_runs table; empty where there is none.
    casing_in : float, optional
        Inside diameter of the casing. [in]
    origin : datetime
    zone : str
    """

    record: CoilRecord
    depth: Array
    trips: list[WiperTrip]
    trip_pick: Pick
    plugs: dict[int, PlugPicks]
    row: dict[str, Any]
    casing_in: float | None
    origin: datetime
    zone: str

    @cached_property
    def seconds(self) -> Array:
        """Seconds that each sample stands for."""
        return sample_seconds(self.record.time_s)

    @cached_property
    def in_hole(self) -> np.ndarray:
        """Samples with the mill in the well."""
        return np.asarray(self.depth > IN_HOLE_FT)

    @cached_property
    def speed(self) -> Array:
        """Speed of the coil over half a minute, downwards positive. [ft/min]"""
        time = self.record.time_s
        ahead = np.minimum(np.searchsorted(time, time + 15.0), time.size - 1)
        behind = np.maximum(np.searchsorted(time, time - 15.0), 0)
        span = np.maximum(time[ahead] - time[behind], 1.0)
        return np.asarray((self.depth[ahead] - self.depth[behind]) / span * 60.0)

    @cached_property
    def wiping(self) -> np.ndarray:
        """Samples of wiper trips."""
        return self.within([(trip.start_s, trip.end_s) for trip in self.trips])

    @cached_property
    def milling(self) -> np.ndarray:
        """Samples between a plug's tag and its end, wiper trips taken out."""
        spans = [
            (plug.tag.time_s, plug.mill.time_s)
            for plug in self.plugs.values()
            if plug.tag.time_s is not None and plug.mill.time_s is not None
        ]
        return np.asarray(self.within(spans) & ~self.wiping)

    def within(self, spans: list[tuple[float, float]]) -> np.ndarray:
        """Return which samples lie in any of some spans of seconds."""
        mask = np.zeros(self.record.time_s.size, dtype=bool)
        for start, stop in spans:
            first, last = np.searchsorted(self.record.time_s, (start, stop))
            mask[first:last] = True
        return mask

    def hours_in(self, mask: np.ndarray) -> float:
        """Return the hours of some samples."""
        return float(self.seconds[mask].sum() / 3600.0)

    def highest_rate(self, mask: np.ndarray) -> float | Unseen:
        """Return the highest half-minute median rate of some samples. [bbl/min]"""
        rate = self.record.pump_bpm[mask]
        rate = rate[~np.isnan(rate)]
        return float(np.percentile(rate, 99.0)) if rate.size else Unseen("no pump rate there")


@dataclass
class PlugView:
    """What plug metrics are computed from: the picks, the plug's row, and its run."""

    picks: PlugPicks
    row: dict[str, Any]
    run: int
    view: RunView
    previous_done_s: float | None

    @cached_property
    def on_plug(self) -> np.ndarray:
        """Samples between tag and the mill moving on."""
        tag, done = self.picks.tag.time_s, self.picks.mill.time_s
        if tag is None or done is None:
            return np.zeros(self.view.record.time_s.size, dtype=bool)
        return np.asarray(self.view.within([(tag, done)]) & ~self.view.wiping)


def _moment(view: RunView, pick: Pick) -> datetime | Unseen:
    return Unseen(pick.reason) if pick.time_s is None else view.origin + timedelta(seconds=pick.time_s)


@PLUG.metric("", "coil run that milled the plug", kind="count")
def run(p: PlugView) -> int:
    return p.run


@PLUG.metric("", "when the mill met the plug", kind="time")
def tag_time(p: PlugView) -> datetime | Unseen:
    return _moment(p.view, p.picks.tag)


@PLUG.metric("", "when the mill moved on below", kind="time")
def done_time(p: PlugView) -> datetime | Unseen:
    return _moment(p.view, p.picks.mill)


@PLUG.metric("ft", "where the mill met the plug")
def tag_depth_ft(p: PlugView) -> float | Unseen:
    tag = p.picks.tag
    return Unseen(tag.reason) if tag.value is None else tag.value


@PLUG.metric("ft", "tag less set depth")
def depth_error_ft(p: PlugView) -> float | Unseen:
    tag = p.picks.tag
    if tag.value is None or p.row.get("set_depth_ft") is None:
        return Unseen(tag.reason if tag.value is None else "no set depth")
    return float(tag.value - p.row["set_depth_ft"])


@PLUG.metric("min", "from tag until the mill moves on below; trips away taken out", source="trade convention")
def mill_min(p: PlugView) -> float | Unseen:
    mill = p.picks.mill
    return Unseen(mill.reason) if mill.value is None else mill.value


@PLUG.metric("", "confidence of the mill time", kind="text")
def mill_confidence(p: PlugView) -> str:
    return p.picks.mill.confidence


@PLUG.metric("min", "from passing the previous plug to passing this one")
def cycle_min(p: PlugView) -> float | Unseen:
    done = p.picks.mill.time_s
    if done is None:
        return Unseen(p.picks.mill.reason)
    if p.previous_done_s is None:
        return Unseen("the first plug of the run")
    return (done - p.previous_done_s) / 60.0


@PLUG.metric("bpm", "time mean of pump rate on the plug")
def mill_rate_bpm(p: PlugView) -> float | Unseen:
    return _mean(p, p.view.record.pump_bpm)


@PLUG.metric("psi", "time mean of circulating pressure on the plug")
def mill_pressure_psi(p: PlugView) -> float | Unseen:
    return _mean(p, p.view.record.pressure_psi)


def _mean(p: PlugView, values: Array) -> float | Unseen:
    mask = p.on_plug & ~np.isnan(values)
    weight = p.view.seconds[mask]
    return float((values[mask] * weight).sum() / weight.sum()) if weight.sum() > 0.0 else Unseen("not milled")


@PLUG.metric("", "quarter in which the plug was met, on the pad's clock", kind="text")
def quarter(p: PlugView) -> str | Unseen:
    moment = _moment(p.view, p.picks.tag)
    return moment if isinstance(moment, Unseen) else _quarter(moment, p.view.zone)


def _quarter(moment: datetime, zone: str) -> str:
    local = moment.astimezone(ZoneInfo(zone))
    return f"{local.year}Q{(local.month - 1) // 3 + 1}"


@RUN.metric("", "first sample in the hole", kind="time")
def start_time(r: RunView) -> datetime | Unseen:
    inside = np.flatnonzero(r.in_hole)
    if not inside.size:
        return Unseen("the mill never went below 50 ft")
    return r.origin + timedelta(seconds=float(r.record.time_s[inside[0]]))


@RUN.metric("", "quarter in which the run began, on the pad's clock", kind="text")
def run_quarter(r: RunView) -> str:
    return _quarter(r.origin, r.zone)


@RUN.metric("h", "hours with the mill in the hole")
def hours(r: RunView) -> float:
    return r.hours_in(r.in_hole)


@RUN.metric("h", "hours of milling plugs")
def milling_hours(r: RunView) -> float:
    return r.hours_in(r.milling)


@RUN.metric("h", "hours of wiper trips")
def wiper_hours(r: RunView) -> float:
    return r.hours_in(r.wiping)


@RUN.metric("h", "hours of moving, wiper trips apart")
def running_hours(r: RunView) -> float:
    moving = np.abs(r.speed) >= MOVING_FT_MIN
    return r.hours_in(r.in_hole & moving & ~r.wiping & ~r.milling)


@RUN.metric("h", "hours stationary, milling apart")
def stationary_hours(r: RunView) -> float:
    still = np.abs(r.speed) < MOVING_FT_MIN
    return r.hours_in(r.in_hole & still & ~r.wiping & ~r.milling)


@RUN.metric("", "plugs milled in the run", kind="count")
def plugs_milled(r: RunView) -> int:
    return sum(plug.mill.value is not None for plug in r.plugs.values())


@RUN.metric("", "pulls back to the heel that came back", kind="count")
def wiper_trips(r: RunView) -> int | Unseen:
    value = r.trip_pick.value
    return Unseen(r.trip_pick.reason) if value is None else int(value)


@RUN.metric("min", "mean minutes of a wiper trip")
def wiper_min(r: RunView) -> float | Unseen:
    if not r.trips:
        return Unseen("no wiper trip")
    return float(np.mean([trip.end_s - trip.start_s for trip in r.trips]) / 60.0)


@RUN.metric("ft", "deepest point reached")
def deepest_ft(r: RunView) -> float:
    return float(r.depth.max())


@RUN.metric("bpm", "highest circulation on wiper trips")
def wiper_rate_bpm(r: RunView) -> float | Unseen:
    return r.highest_rate(r.wiping) if r.trips else Unseen("no wiper trip")


@RUN.metric("ft/min", "annular velocity at the highest circulation on wiper trips", source="Lapeyrouse")
def wiper_annular_velocity_ft_min(r: RunView) -> float | Unseen:
    return _velocity(r, wiper_rate_bpm(r))


@RUN.metric("bpm", "highest circulation while milling")
def milling_rate_bpm(r: RunView) -> float | Unseen:
    return r.highest_rate(r.milling) if r.milling.any() else Unseen("no plug milled")


@RUN.metric("ft/min", "annular velocity at the highest circulation while milling", source="Lapeyrouse")
def milling_annular_velocity_ft_min(r: RunView) -> float | Unseen:
    return _velocity(r, milling_rate_bpm(r))


def _velocity(r: RunView, rate: float | Unseen) -> float | Unseen:
    coil = r.row.get("coil_diameter_in")
    if isinstance(rate, Unseen):
        return rate
    if r.casing_in is None or coil is None:
        return Unseen("no casing or coil diameter in the tables")
    return float(annular_velocity_ft_min(rate, r.casing_in, coil))


@RUN.metric("ratio", "mean annular volumes to surface pumped on a wiper trip")
def bottoms_up_per_wiper(r: RunView) -> float | Unseen:
    coil = r.row.get("coil_diameter_in")
    if not r.trips:
        return Unseen("no wiper trip")
    if r.casing_in is None or coil is None:
        return Unseen("no casing or coil diameter in the tables")
    shares = []
    for trip in r.trips:
        first, last = np.searchsorted(r.record.time_s, (trip.start_s, trip.end_s))
        pumped, _ = integral(r.record.time_s[first:last], r.record.pump_bpm[first:last] / 60.0)
        shares.append(pumped / annulus_capacity_bbl(r.casing_in, coil, r.depth[first]))
    return float(np.mean(shares))
