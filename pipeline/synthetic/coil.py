"""A coil run's record: running in, tagging and milling plugs, stalls, wiper trips, pulling out."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.physics.hydraulics import annulus_capacity_bbl, nozzle_area_in2, nozzle_pressure_drop_psi
from pipeline.synthetic.plan import (
    CASING_ID_IN,
    COIL_OD_IN,
    MILL_DRIFT_PER_QUARTER,
    MILL_FACTOR,
    Well,
)

Array = NDArray[np.float64]
MILL_RATE_BPM = 2.6
WIPER_RATE_BPM = 4.2


@dataclass
class PlugTruth:
    """What was planted in a plug. Units in the names; seconds count from the run's first sample."""

    well_id: str
    plug: int
    run: int
    tag_second: float
    mill_min: float
    stalls: int
    hard: bool


@dataclass
class RunTruth:
    """What was planted in a coil run."""

    well_id: str
    run: int
    kind: str
    wiper_trips: int = 0
    hours: float = 0.0
    stations: int = 0
    plugs: list[PlugTruth] = field(default_factory=list)


class _Path:
    """Builds a run from pieces: duration, depth reached, rate, extra pressure, weight shift."""

    def __init__(self) -> None:
        self.second = 0.0
        self.depth = 0.0
        self.knots: list[tuple[float, float]] = [(0.0, 0.0)]
        self.pieces: list[tuple[float, float, float, float, float]] = []

    def go(self, depth: float, speed_ft_min: float, rate: float, extra: float = 0.0, weight: float = 0.0) -> None:
        """Move to a depth."""
        self.hold(abs(depth - self.depth) / speed_ft_min * 60.0, depth, rate, extra, weight)

    def hold(self, seconds: float, depth: float, rate: float, extra: float = 0.0, weight: float = 0.0) -> None:
        """Spend seconds while the depth goes to a value."""
        start, self.second, self.depth = self.second, self.second + max(seconds, 1.0), depth
        self.knots.append((self.second, depth))
        self.pieces.append((start, self.second, rate, extra, weight))


def simulate_mill_out(
    well: Well, plugs: list[tuple[int, float]], hard_plug: int | None, quarter: int, rng: np.random.Generator
) -> tuple[pl.DataFrame, RunTruth]:
    """Simulate a mill-out.

    Parameters
    ----------
    well : Well
    plugs : list of (plug, depth)
        Plug numbers with the depths where they lie. [ft]
    hard_plug : int, optional
        A plug far harder to mill.
    quarter : int
        Quarters since the first.
    rng : numpy Generator

    Returns
    -------
    frame : polars.DataFrame
        ``second`` and the channels at one sample a second.
    truth : RunTruth
    """
    truth = RunTruth(well.well_id, 1, "mill-out")
    path = _Path()
    path.hold(float(rng.uniform(300.0, 900.0)), 0.0, 0.0)
    path.go(well.heel_ft - 100.0, 85.0, 1.0)
    every = 4 if well.coil_crew == "Finch" else 5
    factor = MILL_FACTOR[well.coil_crew] * (1.0 + MILL_DRIFT_PER_QUARTER) ** quarter
    for count, (plug, depth) in enumerate(sorted(plugs, key=lambda item: item[1]), start=1):
        lies = depth + float(rng.normal(0.0, 5.0))
        path.go(lies, float(rng.uniform(38.0, 55.0)), MILL_RATE_BPM)
        minutes = factor * float(rng.gamma(30.0, 9.0 / 30.0)) * (1.0 + 0.012 * count)
        if plug == hard_plug:
            minutes *= 3.5
        truth.plugs.append(_mill(path, well, plug, lies, minutes, plug == hard_plug, rng))
        path.go(lies + float(rng.uniform(12.0, 25.0)), 20.0, MILL_RATE_BPM)
        if count % every == 0 and count < len(plugs):
            truth.wiper_trips += 1
            path.go(well.heel_ft - float(rng.uniform(0.0, 150.0)), 60.0, WIPER_RATE_BPM, weight=4000.0)
            path.hold(float(rng.uniform(60.0, 240.0)), path.depth, WIPER_RATE_BPM)
            path.go(lies + 10.0, 70.0, WIPER_RATE_BPM)
    path.go(well.toe_ft - 60.0, 40.0, MILL_RATE_BPM)
    path.hold(900.0, path.depth, WIPER_RATE_BPM)
    path.go(0.0, 90.0, WIPER_RATE_BPM, weight=5000.0)
    path.hold(240.0, 0.0, 0.0)
    return _sample(path, truth, rng), truth


def _mill(
    path: _Path, well: Well, plug: int, depth: float, minutes: float, hard: bool, rng: np.random.Generator
) -> PlugTruth:
    tag = path.second
    stalls = int(rng.poisson(3.0 if hard else 0.9))
    part = minutes * 60.0 / (stalls + 1)
    pickup_s = 35.0
    for index in range(stalls + 1):
        bite = depth + 1.5 * (index + 1) / (stalls + 1)
        path.hold(max(part - (pickup_s if index < stalls else 0.0), 20.0), bite, MILL_RATE_BPM, 420.0, -2500.0)
        if index < stalls:
            path.hold(5.0, bite, MILL_RATE_BPM, 1500.0, -4000.0)
            path.hold(10.0, bite - 9.0, 0.6 * MILL_RATE_BPM, 0.0, 3000.0)
            path.hold(pickup_s - 15.0, bite, MILL_RATE_BPM)
    return PlugTruth(well.well_id, plug, 1, tag, (path.second - tag) / 60.0, stalls, hard)


def simulate_toe_preparation(well: Well, rng: np.random.Generator) -> tuple[pl.DataFrame, RunTruth]:
    """Simulate a toe preparation in one run: mill cement, jet stations with sand, flush."""
    truth = RunTruth(well.well_id, 1, "toe preparation")
    path = _Path()
    path.hold(400.0, 0.0, 0.0)
    path.go(well.toe_ft - 260.0, 85.0, 1.2)
    path.go(well.toe_ft - 20.0, 6.0, MILL_RATE_BPM, 300.0, -2000.0)
    truth.stations = int(rng.integers(3, 6))
    for station in range(truth.stations):
        path.go(well.toe_ft - 45.0 - 22.0 * station, 15.0, 1.5)
        path.hold(float(rng.uniform(540.0, 720.0)), path.depth, 3.0, 1700.0)
        path.hold(180.0, path.depth, 1.5)
    path.hold(1500.0, path.depth, 3.5)
    path.go(0.0, 90.0, 2.0, weight=5000.0)
    return _sample(path, truth, rng), truth


def _sample(path: _Path, truth: RunTruth, rng: np.random.Generator) -> pl.DataFrame:
    n = int(path.second) + 1
    second = np.arange(n, dtype=float)
    knots = np.array(path.knots)
    depth = np.interp(second, knots[:, 0], knots[:, 1])
    start = np.array([piece[0] for piece in path.pieces])
    piece = np.searchsorted(start, second, side="right") - 1
    _, _, rate, extra, weight = (np.array(column)[piece] for column in zip(*path.pieces, strict=True))
    coil = 0.045 * rate**1.8 * 18000.0 / 60.0
    nozzle = nozzle_pressure_drop_psi(rate * 42.0, 8.4, nozzle_area_in2(1, 0.62))
    moving = np.gradient(depth)
    pressure = coil + nozzle + extra + np.where(rate > 0.1, rng.normal(0.0, 18.0, n), 0.0)
    hanging = 8000.0 + 1.9 * depth - 0.9 * np.maximum(depth - 9500.0, 0.0) + weight
    hanging = hanging - np.sign(moving) * np.minimum(0.12 * depth, 2500.0) + rng.normal(0.0, 150.0, n)
    wellhead = 2600.0 + rng.normal(0.0, 12.0, n)
    delay = int(annulus_capacity_bbl(CASING_ID_IN, COIL_OD_IN, 300.0) / MILL_RATE_BPM * 60.0)
    returns = np.clip(np.roll(rate, delay) * 0.97 + rng.normal(0.0, 0.03, n), 0.0, None)
    truth.hours = float((depth > 50.0).sum() / 3600.0)
    return pl.DataFrame(
        {
            "second": np.arange(n), "depth": depth + rng.normal(0.0, 0.05, n), "weight": hanging, "pressure": pressure,
            "wellhead": wellhead, "pump": np.clip(rate + rng.normal(0.0, 0.01, n), 0.0, None), "returns": returns,
        }
    )  # fmt: skip
