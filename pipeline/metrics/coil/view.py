"""Inputs of the coil-run and plug metrics."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime, timedelta
from functools import cached_property
from typing import Any

import numpy as np

from pipeline.metrics.declare import Level, Missing
from pipeline.metrics.well import Rows, sections_above
from pipeline.physics.hydraulics import annular_velocity_ft_min, annulus_capacity_bbl
from pipeline.picks.coil_plugs import Assigned, PlugPicks
from pipeline.picks.coil_record import CoilPath, CoilRecord
from pipeline.picks.coil_states import States, Trip, overpulls
from pipeline.picks.toe import Station
from pipeline.picks.types import Array, Mask, Pick

PLUG = Level["PlugView"]("plug_metrics", "a measured plug", {"plug": "plug, numbered by the stage it was set for"})
RUN = Level["RunView"]("coil_run_metrics", "a measured coil run", {"run": "coil run, in chronological order"})
TOE = Level["ToeView"]("toe_prep_metrics", "a well's toe preparation", {})
NO_DEPTH = "no depth in the record"

Span = tuple[float, float]


@dataclass(frozen=True)
class Annulus:
    """Flow path from the mill to surface: diameter and length of each casing section, and the coil in it. [in, ft]"""

    sections: list[tuple[float, float]]
    coil_in: float

    @property
    def volume_bbl(self) -> float:
        """Volume to surface. [bbl]"""
        return float(sum(annulus_capacity_bbl(inside, self.coil_in, length) for inside, length in self.sections))

    def slowest_ft_min(self, rate_bpm: float) -> float:
        """Velocity in the widest section, where debris settles first. [ft/min]"""
        widest = max(inside for inside, _ in self.sections)
        return float(annular_velocity_ft_min(rate_bpm, widest, self.coil_in))

    def lateral_ft_min(self, rate_bpm: float) -> float:
        """Velocity in the deepest section (the lateral). [ft/min]"""
        return float(annular_velocity_ft_min(rate_bpm, self.sections[-1][0], self.coil_in))


def annulus(strings: Rows, coil_in: float | None, depth_ft: float) -> Annulus:
    """Return the annulus above a depth from the casing of the `strings` table."""
    rows = sections_above(strings, depth_ft)
    if not rows or coil_in is None:
        raise Missing("no casing or coil diameter in the tables")
    sections = []
    for row, length in rows:
        inside = row["inside_diameter_in"]
        if inside is None or inside <= coil_in:
            raise Missing("casing diameter unknown, or no larger than the coil")
        if length > 0.0:
            sections.append((float(inside), float(length)))
    if not sections:
        raise Missing("no casing above that depth")
    return Annulus(sections, coil_in)


@dataclass
class RunView:
    """Inputs of the coil-run metrics.

    Attributes
    ----------
    record : CoilRecord
    path : CoilPath, optional
        None if the record has no depth.
    assigned : Assigned
        Stops matched to plugs.
    plugs : dict of int to PlugPicks
        Effective picks of the plugs met in this run; a plug milled over two runs has its tag in the first one and its
        mill time in the last one.
    stalls : dict of int to list of spans, optional
        By plug; None if the pressure is missing. [s]
    trips : list of Trip
        Wiper trips.
    trip_pick, station_pick : Pick
        Effective numbers of wiper trips and stations.
    stations : list of Station
    cement : list of (start, end, footage)
        [s], [s], [ft]
    states : States, optional
    row : dict
        The run's row of the coil_runs table; empty if there is none.
    strings : list of dict
        The well's rows of the strings table.
    left : int
        Plugs of the well not met by this run or any earlier run.
    lock_up_ft : float, optional
        Where the coil locked up. [ft]
    reversed_weight : bool
        Whether the weight was recorded with the wrong sign; it is corrected in the record.
    origin : datetime
    debris_velocity_ft_min : float
        Annular velocity that the team plans wiper trips with. [ft/min]
    heel_ft : float, optional
        [ft]
    """

    record: CoilRecord
    path: CoilPath | None
    assigned: Assigned
    plugs: dict[int, PlugPicks]
    stalls: dict[int, list[Span] | None]
    trips: list[Trip]
    trip_pick: Pick
    station_pick: Pick
    stations: list[Station]
    cement: list[tuple[float, float, float]]
    states: States | None
    row: dict[str, Any]
    strings: Rows
    left: int
    lock_up_ft: float | None
    reversed_weight: bool
    origin: datetime
    debris_velocity_ft_min: float
    heel_ft: float | None = None

    @cached_property
    def seconds(self) -> Array:
        """Seconds represented by each sample."""
        assert self.path is not None
        return self.path.seconds

    @cached_property
    def overpulls(self) -> list[tuple[float, float, float]]:
        """Moment, depth and excess of each overpull. [s, ft, lbf]"""
        weight = self.record.weight_lbf
        return [] if self.path is None or weight is None else overpulls(self.path, weight)

    @property
    def coil_in(self) -> float | None:
        """Outside diameter of the coil. [in]"""
        return self.row.get("coil_diameter_in")

    def hours_in(self, state: str) -> float:
        """Return the hours of a state."""
        if self.states is None:
            raise Missing(NO_DEPTH)
        return float(self.seconds[getattr(self.states, state)].sum() / 3600.0)

    def minutes_on(self, plug: int) -> float:
        """Return the minutes that this run spent on a plug."""
        stop = self.assigned.stops.get(plug)
        return 0.0 if stop is None else stop.minutes

    def highest_rate(self, mask: Mask) -> float:
        """Return the pump rate exceeded by one per cent of the selected samples. [bbl/min]"""
        if self.record.pump_bpm is None:
            raise Missing("no pump rate in the record")
        rate = self.record.pump_bpm[mask]
        rate = rate[~np.isnan(rate)]
        if not rate.size:
            raise Missing("no pump rate there")
        return float(np.percentile(rate, 99.0))

    def mean(self, values: Array | None, mask: Mask, absent: str) -> float:
        """Return the time mean of a channel over selected samples."""
        if values is None:
            raise Missing(absent)
        mask = mask & ~np.isnan(values)
        weight = self.seconds[mask]
        if not weight.sum() > 0.0:
            raise Missing(absent)
        return float((values[mask] * weight).sum() / weight.sum())

    def moment(self, seconds: float) -> datetime:
        """Return the UTC time of a second of the record."""
        return self.origin + timedelta(seconds=seconds)


@dataclass
class PlugView:
    """Inputs of the plug metrics.

    Attributes
    ----------
    plug : int
    picks : PlugPicks
        Effective picks; their times count from the start of the run that met the plug first. [s]
    stall_pick : Pick
    row : dict
        The plug's row of the plugs table.
    run : int
        Run that met the plug first.
    origin : datetime
        First sample of that run, UTC.
    view : RunView
        Run that milled most of it.
    last : RunView
        Run that left it last.
    previous_done_s : float, optional
        When that run left the plug before, in its own seconds. [s]
    since_wiper : int
    """

    plug: int
    picks: PlugPicks
    stall_pick: Pick
    row: dict[str, Any]
    run: int
    origin: datetime
    view: RunView
    last: RunView
    previous_done_s: float | None
    since_wiper: int

    @property
    def done_s(self) -> float | None:
        """When the mill left the plug for good, in seconds of the last run. [s]"""
        done = self.picks.mill.time_s
        return None if done is None else done - (self.last.origin - self.origin).total_seconds()

    @cached_property
    def on_plug(self) -> Mask:
        """Samples of the run that milled most of it, on the plug, excluding trips and stalls."""
        tag, done = self.picks.tag.time_s, self.picks.mill.time_s
        path, states, stop = self.view.path, self.view.states, self.view.assigned.stops.get(self.plug)
        if path is None or states is None or tag is None or done is None:
            return np.zeros(self.view.record.time_s.size, dtype=bool)
        shift = (self.view.origin - self.origin).total_seconds()
        spans = [(tag - shift, done - shift)]
        on = path.within(spans) & ~states.wiping & ~states.short_trip & ~states.stalled
        if stop is None or self.picks.tag.by_engineer or self.picks.mill.by_engineer:
            return np.asarray(on)
        return np.asarray(on & path.within(stop.spans))


@dataclass
class ToeView:
    """Inputs of the toe-preparation metrics.

    Attributes
    ----------
    runs : list of RunView
        The well's toe-preparation runs, in order.
    tests : dict
        The well's row of the toe_tests table; empty if there is none.
    stage_1 : dict
        The well's first stage as measured; empty if not measured.
    """

    runs: list[RunView]
    tests: dict[str, Any]
    stage_1: dict[str, Any] = field(default_factory=dict)
