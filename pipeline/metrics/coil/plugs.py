"""Plug metrics: one row per plug."""

from __future__ import annotations

from datetime import datetime, timedelta

from pipeline.metrics.coil.view import PLUG, PlugView
from pipeline.metrics.declare import Missing, known
from pipeline.picks.types import Pick


def _moment(p: PlugView, pick: Pick) -> datetime:
    if pick.time_s is None:
        raise Missing(pick.reason)
    return p.origin + timedelta(seconds=pick.time_s)


def _value(pick: Pick) -> float:
    return known(pick.value, pick.reason)


@PLUG.metric("", "coil run that tagged the plug", kind="count")
def run(p: PlugView) -> int:
    return p.run


@PLUG.metric("", "time when the mill tagged the plug", kind="time", version=2)
def tag_time(p: PlugView) -> datetime:
    return _moment(p, p.picks.tag)


@PLUG.metric("", "time when the mill left the plug for good", kind="time", version=3)
def done_time(p: PlugView) -> datetime:
    return _moment(p, p.picks.mill)


@PLUG.metric("ft", "tagged depth of the plug, by the depth counter", version=2)
def tag_depth_ft(p: PlugView) -> float:
    return _value(p.picks.tag)


@PLUG.metric("ft", "tag depth minus set depth, by the depth counter", version=2)
def depth_error_ft(p: PlugView) -> float:
    tag = p.picks.tag
    if tag.value is None or p.row.get("set_depth_ft") is None:
        raise Missing(tag.reason if tag.value is None else "no set depth")
    return float(tag.value - p.row["set_depth_ft"])


@PLUG.metric("ft", "tag depth minus set depth, corrected for the run's depth error")
def off_depth_ft(p: PlugView) -> float:
    error, offset = depth_error_ft(p), p.view.assigned.offset_ft
    if offset is None:
        raise Missing("fewer than two plugs tell the run's depth error")
    return error - offset


@PLUG.metric(
    "min", "time with the mill on the plug, over all runs, excluding trips away", source="trade convention", version=3
)
def mill_min(p: PlugView) -> float:
    return _value(p.picks.mill)


@PLUG.metric("min", "standard error of the mill time")
def mill_error_min(p: PlugView) -> float:
    return known(p.picks.mill.standard_error, p.picks.mill.reason)


@PLUG.metric("", "confidence of the mill time, or amended or confirmed", kind="text", version=2)
def mill_confidence(p: PlugView) -> str:
    return p.picks.mill.confidence


@PLUG.metric("min", "time from leaving the previous plug of the run to leaving this one", version=2)
def cycle_min(p: PlugView) -> float:
    done = p.done_s
    if done is None:
        raise Missing(p.picks.mill.reason)
    if p.previous_done_s is None:
        raise Missing("the first plug of the run")
    return (done - p.previous_done_s) / 60.0


@PLUG.metric("", "stalls of the motor: surges of pressure with a pick-up", kind="count")
def stalls(p: PlugView) -> int:
    return int(_value(p.stall_pick))


@PLUG.metric("bpm", "time mean of pump rate on the plug, excluding stalls", version=2)
def mill_rate_bpm(p: PlugView) -> float:
    return p.view.mean(p.view.record.pump_bpm, p.on_plug, "not milled, or no pump rate")


@PLUG.metric("psi", "time mean of circulating pressure on the plug, excluding stalls", version=2)
def mill_pressure_psi(p: PlugView) -> float:
    return p.view.mean(p.view.record.pressure_psi, p.on_plug, "not milled, or no circulating pressure")


@PLUG.metric("psi", "circulating pressure on the plug minus free-spin (off-bottom) pressure at the same rate")
def mill_differential_psi(p: PlugView) -> float:
    stop = p.view.assigned.stops.get(p.plug)
    if stop is None:
        raise Missing(p.picks.tag.reason)
    return known(stop.differential_psi, "no free running at this rate before the plug")


@PLUG.metric("", "plugs milled since the last wiper trip, whose debris is still in the hole", kind="count")
def plugs_since_wiper(p: PlugView) -> int:
    return p.since_wiper


@PLUG.metric("", "whether a wiper trip was run before the next plug", kind="flag")
def wiper_before_next(p: PlugView) -> bool:
    done = p.done_s
    if done is None:
        raise Missing(p.picks.mill.reason)
    tags = [other.tag.time_s for other in p.last.plugs.values() if other.tag.time_s is not None]
    following = min((tag for tag in tags if tag > done), default=float("inf"))
    return any(done - 60.0 <= trip.start_s < following for trip in p.last.trips)
