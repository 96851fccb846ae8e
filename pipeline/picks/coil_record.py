"""A coil run's samples, and the reliable path of the mill in them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from pipeline.picks.arrays import at_time, lasting, median, runs, sample_seconds
from pipeline.picks.types import Array, Mask

FASTEST_FT_S = 5.0
"""Highest possible coil speed; a faster depth change is a counter jump. [ft/s]"""
JUMP_FT = 8.0
"""A smaller step between two samples is not a counter jump. [ft]"""
SHALLOW_FT = 200.0
"""Above this depth the counter is reset before the run; the later reading is used. [ft]"""
GAP_S = 60.0
"""A longer interval between good depths is a gap; the mill's position in it is unknown. [s]"""
AWAY_FT = 60.0
"""A pull further than this above the deepest point reached is a trip; a shorter one is a pick-up. [ft]"""
ON_FT = 3.0
"""The mill is at the bottom of its hole when it is no further than this above the deepest point reached. [ft]"""
NEAR_FT, REST_S = 15.0, 30.0
"""A mill that comes to rest this close above it, for this time, is back as well: the counter slips. [ft], [s]"""
MOVING_FT_MIN = 5.0
"""Below this speed the coil is stationary. [ft/min]"""
MOST_VOID = 0.1
"""A wellhead pressure with a larger share of void samples is not used. [1]"""
SPEED_S = 4.0
"""Speeds are calculated over this time on either side. [s]"""


@dataclass(frozen=True)
class CoilRecord:
    """One coil run's samples, strictly increasing in time; void samples are NaN, missing channels None.

    Attributes
    ----------
    time_s : array, shape (n,)
        [s]
    depth_ft : array, shape (n,)
        Depth of the mill by the depth counter. [ft]
    pressure_psi : array, shape (n,), optional
        Circulating pressure. [psi]
    pump_bpm, return_bpm : array, shape (n,), optional
        [bbl/min]
    weight_lbf : array, shape (n,), optional
        [lbf]
    sand_ppa : array, shape (n,), optional
        Sand in the fluid pumped. [lbm/gal]
    bypass : array, shape (n,), optional
        1 while the bypass above the motor is open. [1]
    wellhead_psi : array, shape (n,), optional
        Wellhead pressure, against which the coil circulates. [psi]
    """

    time_s: Array
    depth_ft: Array
    pressure_psi: Array | None = None
    pump_bpm: Array | None = None
    return_bpm: Array | None = None
    weight_lbf: Array | None = None
    sand_ppa: Array | None = None
    bypass: Array | None = None
    wellhead_psi: Array | None = None

    @cached_property
    def motor_psi(self) -> Array | None:
        """Circulating pressure less what the wellhead pressure moves: a choke is no motor at work. [psi]"""
        if self.pressure_psi is None or self.wellhead_psi is None or np.isnan(self.wellhead_psi).mean() > MOST_VOID:
            return self.pressure_psi
        seen = ~np.isnan(self.wellhead_psi)
        moved = np.interp(self.time_s, self.time_s[seen], self.wellhead_psi[seen]) - median(self.wellhead_psi)
        return self.pressure_psi - np.where(self.depth_ft > SHALLOW_FT, moved, 0.0)


@dataclass(frozen=True)
class CoilPath:
    """Path of the mill.

    Attributes
    ----------
    time_s, depth_ft : array, shape (n,)
        Depth without void samples and counter jumps. [s], [ft]
    frontier_ft : array, shape (n,)
        Deepest point reached so far. [ft]
    speed_ft_min : array, shape (n,)
        Speed of the coil, downwards positive. [ft/min]
    seconds : array, shape (n,)
        Seconds represented by each sample.
    present_s : array, shape (n,)
        Cumulative seconds at the bottom of the hole or picked up from it, without the trips away. [s]
    pulls : array of int, shape (k, 2)
        First and last index of each trip away from the bottom: from leaving it until the mill is back on it, or until
        the end of the record.
    gaps_s : array, shape (m, 2)
        Start and end of each span of more than a minute without a good depth. [s]
    jumps_ft : list of (time, jump)
        Size of each counter jump, removed from the depths. [s], [ft]
    """

    time_s: Array
    depth_ft: Array
    frontier_ft: Array
    speed_ft_min: Array
    seconds: Array
    present_s: Array
    pulls: NDArray[np.intp]
    gaps_s: Array
    jumps_ft: list[tuple[float, float]] = field(default_factory=list)

    def within(self, spans: Iterable[tuple[float, float]]) -> Mask:
        """Return a mask of the samples inside any of the given spans of seconds."""
        mask = np.zeros(self.time_s.size, dtype=bool)
        for start, stop in spans:
            first, last = np.searchsorted(self.time_s, (start, stop))
            mask[first:last] = True
        return mask

    def gap_in(self, start_s: float, stop_s: float) -> float:
        """Return the seconds of gaps between two times. [s]"""
        if not len(self.gaps_s):
            return 0.0
        both = np.minimum(self.gaps_s[:, 1], stop_s) - np.maximum(self.gaps_s[:, 0], start_s)
        return float(np.clip(both, 0.0, None).sum())

    def gap_touching(self, start_s: float, stop_s: float) -> float:
        """Return the seconds of gaps inside a span, or within 30 s of it: they may hide its beginning or end. [s]"""
        touching = self.gaps_s[(self.gaps_s[:, 0] <= stop_s + REST_S) & (self.gaps_s[:, 1] >= start_s - REST_S)]
        return float(np.diff(touching, axis=1).sum())


def trace(record: CoilRecord) -> CoilPath | None:
    """Return the path of the mill; None if the record has no depth.

    Notes
    -----
    A counter jump (reset or slip) is a step between two samples larger than a coil can move. It is removed by
    shifting the later depths. A jump across a gap is not distinguishable from movement and is kept.
    """
    good = ~np.isnan(record.depth_ft)
    if not good.any():
        return None
    time, depth = record.time_s, _filled(record.depth_ft, good)
    seen = time[good]
    pause = np.flatnonzero(np.diff(seen) > GAP_S)
    gaps = np.stack((seen[pause], seen[pause + 1]), axis=1)
    step, dt = np.diff(depth), np.diff(time)
    shallow = np.maximum(depth[1:], depth[:-1]) < SHALLOW_FT
    jump = (np.abs(step) > JUMP_FT + FASTEST_FT_S * dt) & ~shallow
    for begin, finish in gaps:  # depths in between are filled, not measured
        jump[max(at_time(time, begin) - 1, 0) : at_time(time, finish) + 1] = False
    jumps: list[tuple[float, float]] = []
    if jump.any():
        # the coil movement during that step is unknown and is set to zero
        depth = depth - np.concatenate(([0.0], np.cumsum(np.where(jump, step, 0.0))))
        jumps = [(float(time[i + 1]), float(step[i])) for i in np.flatnonzero(jump)]
    frontier = np.maximum.accumulate(depth)
    speed, seconds = _speed_ft_min(time, depth), sample_seconds(time)
    pulls = _pulls(time, speed, frontier - depth)
    there = np.ones(time.size, dtype=bool)
    for left, back in pulls:
        there[left + 1 : back] = False
    present = np.cumsum(np.where(there, seconds, 0.0))
    return CoilPath(time, depth, frontier, speed, seconds, present, pulls, gaps, jumps)


def _pulls(time: Array, speed: Array, above: Array) -> NDArray[np.intp]:
    """Trips away from the bottom: from the last sample on it to the first one back on it, or to the last sample."""
    far = runs(above > AWAY_FT)
    if not len(far):
        return np.empty((0, 2), np.intp)
    on = np.flatnonzero(_on_bottom(time, speed, above))
    found: list[tuple[int, int]] = []
    for first, stop in far:
        if found and first < found[-1][1]:
            continue
        before, after = np.searchsorted(on, first) - 1, np.searchsorted(on, stop)
        left = int(on[before]) if before >= 0 else int(first)
        found.append((left, int(on[after]) if after < on.size else time.size - 1))
    return np.asarray(found, np.intp)


def _on_bottom(time: Array, speed: Array, above: Array) -> Mask:
    """Samples with the mill at the bottom of its hole, or at rest close above it."""
    on = above <= ON_FT
    still = np.abs(speed) < MOVING_FT_MIN
    for first, stop in lasting(runs(still & (above <= NEAR_FT)), time, REST_S):
        on[first:stop] = True
    return on


def _speed_ft_min(time: Array, depth: Array) -> Array:
    """Return the speed of the coil, downwards positive. [ft/min]"""
    ahead = np.minimum(np.searchsorted(time, time + SPEED_S), time.size - 1)
    behind = np.maximum(np.searchsorted(time, time - SPEED_S, side="right") - 1, 0)
    span = np.maximum(time[ahead] - time[behind], 1.0)
    return np.asarray((depth[ahead] - depth[behind]) / span * 60.0)


def _filled(depth: Array, good: Mask) -> Array:
    """Fill void samples with the last good depth; use the first good depth before it."""
    if good.all():
        return depth
    index = np.where(good, np.arange(depth.size), 0)
    np.maximum.accumulate(index, out=index)
    first = int(np.argmax(good))
    return np.where(np.arange(depth.size) < first, depth[first], depth[index])


def longest_s(mask: Mask, time_s: Array) -> float:
    """Return the longest time for which a condition held. [s]"""
    spans = runs(mask)
    return float((time_s[spans[:, 1] - 1] - time_s[spans[:, 0]]).max()) if len(spans) else 0.0
