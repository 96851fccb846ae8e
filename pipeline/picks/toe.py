"""Toe preparation: cement milled, and stations cut with sand through nozzles."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.picks.arrays import joined, lasting, median, runs
from pipeline.picks.coil_record import MOVING_FT_MIN, CoilPath, CoilRecord
from pipeline.picks.types import Method, Pick

STATION_FT = 3.0
"""Largest movement to either side while a station is cut. [ft]"""
STATION_S = 60.0
"""A shorter jet is not a station. [s]"""
SAND_PPA = 0.2
"""More sand than this is a cutting slurry. [lbm/gal]"""
CEMENT_S_FT = (2.5, 60.0)
"""Shortest and longest time to mill one foot of cement. [s]"""
CEMENT_FT = 20.0
"""A shorter slow stretch is not cement. [ft]"""

STATIONS = Method("stations", "", "coil stationary within 3 ft while sand is pumped", 1)


@dataclass(frozen=True)
class Station:
    """A station: depth, start and end, minutes with sand, and circulating pressure while cutting."""

    depth_ft: float
    start_s: float
    end_s: float
    minutes: float
    pressure_psi: float | None
    rate_bpm: float | None


def find_stations(record: CoilRecord, path: CoilPath) -> tuple[list[Station], Pick]:
    """Find the stations that were cut.

    Parameters
    ----------
    record : CoilRecord
    path : CoilPath

    Returns
    -------
    stations : list of Station
    pick : Pick
        Their number; missing without a sand channel, which is needed to separate cutting from circulating.
    """
    if record.sand_ppa is None:
        return [], STATIONS.missing("no sand channel in the record")
    still = np.abs(path.speed_ft_min) < MOVING_FT_MIN
    cutting = still & (record.sand_ppa > SAND_PPA)
    spans = joined(runs(cutting), path.time_s, 120.0)
    found: list[Station] = []
    for first, stop in spans:
        depths = path.depth_ft[first:stop][cutting[first:stop]]
        if float(np.ptp(depths)) > 2.0 * STATION_FT or path.time_s[stop - 1] - path.time_s[first] < STATION_S:
            continue
        on = slice(first, stop)
        minutes = float(path.seconds[on][cutting[on]].sum() / 60.0)
        pressure = None if record.pressure_psi is None else median(record.pressure_psi[on])
        rate = None if record.pump_bpm is None else median(record.pump_bpm[on])
        depth = median(depths)
        if found and abs(found[-1].depth_ft - depth) <= STATION_FT:  # cut again at the same depth
            last = found.pop()
            found.append(
                Station(
                    depth, last.start_s, float(path.time_s[stop - 1]), last.minutes + minutes, last.pressure_psi,
                    last.rate_bpm,
                )
            )  # fmt: skip
            continue
        found.append(Station(depth, float(path.time_s[first]), float(path.time_s[stop - 1]), minutes, pressure, rate))
    return found, STATIONS.at(float(len(found)), None, "high", "stationary within {3 ft} with sand")


def cement_spans(path: CoilPath) -> list[tuple[float, float, float]]:
    """Find the stretches milled foot by foot.

    Returns
    -------
    list of (start, end, footage)
        [s], [s], [ft]
    """
    frontier = path.frontier_ft
    grid = np.arange(np.floor(max(frontier[0], 500.0)), np.floor(frontier[-1]) + 1.0)
    if grid.size < 2:
        return []
    passed = np.searchsorted(frontier, grid)
    feet = np.diff(path.present_s[passed])
    slow = (feet > CEMENT_S_FT[0]) & (feet < CEMENT_S_FT[1])
    depth = np.arange(slow.size, dtype=float)
    spans = joined(runs(slow), depth, 6.0)
    spans = lasting(spans, depth, CEMENT_FT)
    return [(float(path.time_s[passed[a]]), float(path.time_s[passed[b]]), float(b - a)) for a, b in spans]


METHODS = (STATIONS,)
