"""Coil runs: running in, tagging and milling plugs, stalls, wiper trips, trips for a motor, cutting stations."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field, replace

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.demo.basin import (
    CASING_ID_IN,
    COIL_FRICTION,
    COIL_ID_IN,
    COIL_OD_IN,
    FLUID_PPG,
    MILL_DRIFT_PER_QUARTER,
    MILL_FACTOR,
    MOTOR_LIMIT_BPM,
    Well,
)
from pipeline.physics.coil import buoyed_weight_lb_ft, drag_lbf
from pipeline.physics.constants import GAL_PER_BBL
from pipeline.physics.hydraulics import annulus_capacity_bbl, nozzle_area_in2, nozzle_pressure_drop_psi

Array = NDArray[np.float64]
MILL_RATE_BPM = 2.6
WIPER_RATE_BPM = 4.2
FREE_SPIN_PSI, STALL_PSI = 420.0, 1500.0
WELLHEAD_PSI = 2600.0
COIL_FRICTION_PSI = 1900.0
"""Friction of slickwater in 22,000 ft of coil at 3 bpm (common practice). [psi]"""
STRIPPER_LBF = 400.0
"""Drag of the stripper at the wellhead. [lbf]"""
NOZZLES = (3, 0.1875)
"""Count and diameter of the jetting nozzles. [in]"""


@dataclass
class PlugTruth:
    """Planted truth of a plug. Units in the names; seconds count from the run's first sample."""

    well_id: str
    plug: int
    run: int
    fate: str
    tag_second: float | None = None
    mill_min: float | None = None
    stalls: int | None = None
    hard: bool = False


@dataclass
class RunTruth:
    """Planted truth of a coil run."""

    well_id: str
    run: int
    kind: str
    wiper_trips: int = 0
    wiper_min: float | None = None
    hours: float = 0.0
    stations: int = 0
    cement_ft: float = 0.0
    running_in_hours: float = 0.0
    milling_hours: float = 0.0
    stalled_hours: float = 0.0
    wiper_hours: float = 0.0
    short_hours: float = 0.0
    stationary_hours: float = 0.0
    pulling_out_hours: float = 0.0
    jetting_hours: float = 0.0
    locked_up: bool = False
    planted: list[str] = field(default_factory=list)
    plugs: list[PlugTruth] = field(default_factory=list)


@dataclass(frozen=True)
class CoilScript:
    """Events of a mill-out in addition to its plugs.

    Attributes
    ----------
    counter_ft, stretch : float
        Error of the depth counter, and coil stretch as a share of the depth. [ft], [1]
    fates : dict of int to str
        Plugs that are ``missing``, ``pushed`` onto the next one or ``moved``.
    hard_plug : int, optional
        A plug that is much harder to mill.
    motor_trip_after : int, optional
        Number of plugs after which the coil is pulled for a motor.
    motor_fails_at : float
        Share of the next plug that is milled before the motor fails; 0 if it fails between plugs, 1 if the plug is
        milled through and the mill pulled off it. [1]
    off_plug : frozenset of int
        Plugs followed by a short trip right off the plug, before the mill moves on.
    wiper_off_plug : bool
        Whether wiper trips start right off the plug.
    ends_on_plug : bool
        Whether the last run pulls out from its deepest plug, without going on to the target.
    tags_bottom : bool
        Whether the mill works at the bottom of the hole at the end.
    lock_up, overpull, lost_returns, no_bypass : bool
        Other planted problems.
    """

    counter_ft: float = 0.0
    stretch: float = 0.0
    fates: dict[int, str] = field(default_factory=dict)
    hard_plug: int | None = None
    motor_trip_after: int | None = None
    motor_fails_at: float = 0.0
    off_plug: frozenset[int] = frozenset()
    wiper_off_plug: bool = False
    ends_on_plug: bool = False
    tags_bottom: bool = False
    lock_up: bool = False
    overpull: bool = False
    lost_returns: bool = False
    no_bypass: bool = False


def draw_coil_script(plugs: list[int], rng: np.random.Generator) -> CoilScript:
    """Draw the usual course of a mill-out: depth errors, plugs that are not at their set depths, trips off a plug."""
    fates: dict[int, str] = {}
    for plug in plugs[1:-1]:  # counted from the toe: the deepest and the shallowest are not moved
        if rng.random() < 0.06 and not {plug - 1, plug + 1} & fates.keys():
            fates[plug] = str(rng.choice(["missing", "pushed", "moved"]))
    counter, stretch = float(rng.uniform(-12.0, 12.0)), float(rng.uniform(-0.0004, 0.0004))
    off_plug = frozenset(plug for plug in plugs if plug not in fates and rng.random() < 0.15)
    ending = float(rng.random())
    return CoilScript(
        counter, stretch, fates, off_plug=off_plug, wiper_off_plug=bool(rng.random() < 0.5),
        ends_on_plug=ending < 0.15, tags_bottom=ending > 0.8,
    )  # fmt: skip


class _Path:
    """Builds a run from pieces: state, duration, depth reached, rate, extra pressure, weight shift, sand."""

    def __init__(self) -> None:
        self.second = 0.0
        self.depth = 0.0
        self.knots: list[tuple[float, float]] = [(0.0, 0.0)]
        self.pieces: list[tuple[float, ...]] = []
        self.states: dict[str, float] = defaultdict(float)

    def go(self, state: str, depth: float, speed_ft_min: float, rate: float, **more: float) -> None:
        """Move the coil to a depth."""
        self.hold(state, abs(depth - self.depth) / speed_ft_min * 60.0, depth, rate, **more)

    def hold(
        self, state: str, seconds: float, depth: float, rate: float, *, extra: float = 0.0, weight: float = 0.0,
        sand: float = 0.0, lost: float = 0.0,
    ) -> None:  # fmt: skip
        """Spend seconds in a state while the depth changes to a value."""
        start, self.second = self.second, self.second + float(max(round(seconds), 1))
        if max(depth, self.depth) > 50.0:
            self.states[state] += self.second - start
        self.depth = depth
        self.knots.append((self.second, depth))
        self.pieces.append((start, rate, extra, weight, sand, lost))


def simulate_mill_out(
    well: Well, plugs: list[tuple[int, float]], script: CoilScript, quarter: int, rng: np.random.Generator
) -> list[tuple[pl.DataFrame, RunTruth]]:
    """Simulate a mill-out.

    Parameters
    ----------
    well : Well
    plugs : list of (plug, depth)
        Plug numbers with the depths where they were set. [ft]
    script : CoilScript
    quarter : int
        Quarters since the first.
    rng : numpy Generator

    Returns
    -------
    list of (frame, truth)
        One item per run. A frame holds ``second`` and the channels at one sample per second.
    """
    ordered = sorted(plugs, key=lambda item: item[1])
    cut, fails = script.motor_trip_after, script.motor_fails_at
    if cut is None:
        shares = [[(*plug, 1.0) for plug in ordered]]
    else:
        shares = [[(*plug, 1.0) for plug in ordered[:cut]], [(*plug, 1.0) for plug in ordered[cut:]]]
        if fails:
            plug, depth, _ = shares[1][0]
            shares[0].append((plug, depth, fails))
            shares[1][0] = (plug, depth, 1.0 - fails)
    runs = []
    known: dict[int, PlugTruth] = {}
    for index, share in enumerate(shares):
        first = 0 if index == 0 else len(shares[0])
        runs.append(_mill_out_run(well, share, first, script, quarter, rng, known, last=index == len(shares) - 1))
    return runs


def _mill_out_run(
    well: Well, plugs: list[tuple[int, float, float]], before: int, script: CoilScript, quarter: int,
    rng: np.random.Generator, known: dict[int, PlugTruth], *, last: bool,
) -> tuple[pl.DataFrame, RunTruth]:  # fmt: skip
    truth = RunTruth(well.well_id, 1, "mill-out")
    path = _Path()
    wiper_rate = MILL_RATE_BPM if script.no_bypass else WIPER_RATE_BPM
    path.hold("surface", float(rng.uniform(300.0, 900.0)), 0.0, 0.0)
    path.go("running in", well.heel_ft - 2500.0, 85.0, 1.0)
    path.hold("stationary", float(rng.uniform(60.0, 180.0)), path.depth, 1.0)
    path.go("pulling out", path.depth - 60.0, 50.0, 1.0)
    path.go("running in", well.heel_ft - 100.0, 85.0, 1.0)
    every = 4 if well.coil_crew == "Finch" else 5
    factor = MILL_FACTOR[well.coil_crew] * (1.0 + MILL_DRIFT_PER_QUARTER) ** quarter
    carried = 0.0
    wiped: list[float] = []
    for count, (plug, depth, share) in enumerate(plugs, start=1):
        fate = script.fates.get(plug, "milled")
        minutes = factor * float(rng.gamma(30.0, 9.0 / 30.0)) * (1.0 + 0.012 * (before + count))
        if fate == "missing":
            truth.plugs.append(PlugTruth(well.well_id, plug, 1, fate))
            continue
        lies = depth + float(rng.normal(0.0, 4.0)) + (float(rng.uniform(30.0, 75.0)) if fate == "moved" else 0.0)
        path.go("running in", lies, float(rng.uniform(38.0, 55.0)), MILL_RATE_BPM)
        if fate == "pushed":
            path.hold("running in", float(rng.uniform(15.0, 35.0)), lies, MILL_RATE_BPM, extra=150.0, weight=-2000.0)
            carried = minutes
            truth.plugs.append(PlugTruth(well.well_id, plug, 1, fate))
            continue
        hard = plug == script.hard_plug
        minutes = (minutes + carried) * (3.5 if hard else 1.0)
        carried = 0.0
        if share > 0.0:
            milled = _mill(path, well, plug, lies, minutes * share, hard, rng)
            if plug in known:
                known[plug].mill_min = (known[plug].mill_min or 0.0) + (milled.mill_min or 0.0)
                known[plug].stalls = (known[plug].stalls or 0) + (milled.stalls or 0)
            else:
                known[plug] = replace(milled, fate=fate)
                truth.plugs.append(known[plug])
        final = count == len(plugs)
        if final and (script.ends_on_plug if last else script.motor_fails_at > 0.0):
            break
        due = (before + count) % every == 0 and not final
        if plug in script.off_plug:
            _short_trip(path, rng)
        if due and script.wiper_off_plug:
            wiped.append(_wipe(path, well, wiper_rate, script, first=not wiped, rng=rng))
        path.go("running in", lies + float(rng.uniform(12.0, 25.0)), 20.0, MILL_RATE_BPM)
        if rng.random() < 0.12:  # a wait between plugs while circulating
            path.hold("stationary", float(rng.uniform(180.0, 480.0)), path.depth, MILL_RATE_BPM)
        if rng.random() < 0.1:
            _short_trip(path, rng)
        if due and not script.wiper_off_plug:
            wiped.append(_wipe(path, well, wiper_rate, script, first=not wiped, rng=rng))
    if last and script.ends_on_plug:
        truth.planted.append("ends on plug")
    elif last:
        _to_target(path, well, script, truth)
    path.go("pulling out", 0.0, 90.0, wiper_rate)
    path.hold("surface", 240.0, 0.0, 0.0)
    truth.wiper_trips = len(wiped)
    truth.wiper_min = float(np.mean(wiped)) if wiped else None
    truth.planted += [name for name in ("overpull", "lost_returns") if getattr(script, name) and wiped]
    return _sample(path, well, truth, rng, script), truth


def _short_trip(path: _Path, rng: np.random.Generator) -> None:
    """Pull some joints and come back; it is not a wiper trip."""
    back = path.depth
    path.go("short trip", back - float(rng.uniform(90.0, 220.0)), 60.0, MILL_RATE_BPM)
    path.go("short trip", back, 60.0, MILL_RATE_BPM)


def _wipe(path: _Path, well: Well, rate: float, script: CoilScript, *, first: bool, rng: np.random.Generator) -> float:
    """Pull to the heel and come back; return the minutes."""
    back, begin = path.depth, path.second
    top = well.heel_ft - float(rng.uniform(0.0, 150.0))
    if first and script.overpull:
        middle = 0.5 * (back + top)
        path.go("wiper trip", middle, 60.0, rate)
        path.hold("wiper trip", 25.0, middle - 4.0, rate, weight=15000.0)
    path.go("wiper trip", top, 60.0, rate)
    path.hold("wiper trip", float(rng.uniform(60.0, 240.0)), top, rate)
    if first and script.lost_returns:
        path.hold("wiper trip", 720.0, top, rate, lost=0.7)
    path.go("wiper trip", back, 70.0, rate)
    return (path.second - begin) / 60.0


def _to_target(path: _Path, well: Well, script: CoilScript, truth: RunTruth) -> None:
    target = well.toe_ft - 60.0
    if not script.lock_up:
        path.go("running in", target, 40.0, MILL_RATE_BPM)
        if script.tags_bottom:
            path.hold("milling", 240.0, target + 0.8, MILL_RATE_BPM, extra=FREE_SPIN_PSI, weight=-2500.0)
        path.hold("stationary", 900.0, path.depth, WIPER_RATE_BPM)
        return
    truth.locked_up = True
    stuck = target - 110.0
    path.go("running in", stuck, 30.0, MILL_RATE_BPM)
    for _ in range(3):
        path.hold("stationary", 150.0, stuck, MILL_RATE_BPM, weight=-9000.0)
        path.go("pulling out", stuck - 50.0, 40.0, MILL_RATE_BPM)
        path.go("running in", stuck, 30.0, MILL_RATE_BPM)
    path.hold("stationary", 120.0, stuck, MILL_RATE_BPM, weight=-9000.0)


def _mill(
    path: _Path, well: Well, plug: int, depth: float, minutes: float, hard: bool, rng: np.random.Generator
) -> PlugTruth:
    tag = path.second
    stalls = int(rng.poisson(3.0 if hard else 0.9))
    stalled = [float(rng.uniform(25.0, 60.0)) for _ in range(stalls)]
    part = max((minutes * 60.0 - sum(stalled)) / (stalls + 1), 25.0)
    for index in range(stalls + 1):
        bite = depth + 1.5 * (index + 1) / (stalls + 1)
        path.hold("milling", part, bite, MILL_RATE_BPM, extra=FREE_SPIN_PSI, weight=-2500.0)
        if index < stalls:
            path.hold("stalled", 5.0, bite, MILL_RATE_BPM, extra=STALL_PSI, weight=-4000.0)
            path.hold("stalled", 10.0, bite - 9.0, 0.6 * MILL_RATE_BPM, weight=3000.0)
            path.hold("stalled", stalled[index] - 15.0, bite, MILL_RATE_BPM)
    return PlugTruth(well.well_id, plug, 1, "milled", tag, (path.second - tag) / 60.0, stalls, hard)


def simulate_toe_preparation(
    well: Well, script: CoilScript, rng: np.random.Generator, *, one_run: bool
) -> list[tuple[pl.DataFrame, RunTruth]]:
    """Simulate a toe preparation: in one run (mill cement, cut stations with sand, flush) or in two (mill; guns).

    Parameters
    ----------
    well : Well
    script : CoilScript
        Only its depth errors are used.
    rng : numpy Generator
    one_run : bool

    Returns
    -------
    list of (frame, truth)
        One item per run.
    """
    runs = []
    truth = RunTruth(well.well_id, 1, "toe preparation" if one_run else "toe milling")
    path = _Path()
    path.hold("surface", 400.0, 0.0, 0.0)
    truth.cement_ft = float(rng.uniform(150.0, 280.0))
    bottom = well.toe_ft - 20.0
    path.go("running in", bottom - truth.cement_ft, 85.0, 1.2)
    path.go("milling", bottom, 6.0, MILL_RATE_BPM, extra=300.0, weight=-2000.0)
    if one_run:
        _cut(path, well, truth, rng)
    path.hold("stationary", 1500.0, path.depth, 3.5)
    path.go("pulling out", 0.0, 90.0, 2.0)
    runs.append((_sample(path, well, truth, rng, script), truth))
    if not one_run:
        guns = RunTruth(well.well_id, 1, "toe perforating")
        path = _Path()
        path.hold("surface", 600.0, 0.0, 0.0)
        path.go("running in", well.toe_ft - 45.0, 70.0, 0.8)
        path.hold("stationary", float(rng.uniform(1500.0, 2700.0)), path.depth, 0.8)
        path.go("pulling out", 0.0, 90.0, 0.8)
        runs.append((_sample(path, well, guns, rng, script), guns))
    return runs


def _cut(path: _Path, well: Well, truth: RunTruth, rng: np.random.Generator) -> None:
    truth.stations = int(rng.integers(3, 6))
    for station in range(truth.stations):
        path.go("pulling out", well.toe_ft - 45.0 - 22.0 * station, 15.0, 1.5)
        path.hold("jetting", float(rng.uniform(540.0, 720.0)), path.depth, 3.0, extra=1700.0, sand=1.0)
        path.hold("stationary", float(rng.uniform(150.0, 240.0)), path.depth, 3.0, extra=1500.0)


def _vertical_ft(well: Well, depth: Array) -> Array:
    """Vertical depth along a well of a straight hole, an arc to the horizontal, and a lateral. [ft]"""
    radius = (well.heel_ft - well.tvd_ft) / (0.5 * np.pi - 1.0)
    turn = np.clip((depth - well.tvd_ft + radius) / radius, 0.0, 0.5 * np.pi)
    return np.asarray(np.minimum(depth, well.tvd_ft - radius) + radius * np.sin(turn))


def _sample(path: _Path, well: Well, truth: RunTruth, rng: np.random.Generator, script: CoilScript) -> pl.DataFrame:
    n = int(path.second) + 1
    second = np.arange(n, dtype=float)
    knots = np.array(path.knots)
    depth = np.interp(second, knots[:, 0], knots[:, 1])
    start = np.array([piece[0] for piece in path.pieces])
    piece = np.searchsorted(start, second, side="right") - 1
    _, rate, extra, weight, sand, lost = (np.array(column)[piece] for column in zip(*path.pieces, strict=True))
    coil = COIL_FRICTION_PSI * (rate / 3.0) ** 1.8
    nozzle = nozzle_pressure_drop_psi(rate * GAL_PER_BBL, 8.4, nozzle_area_in2(1, 0.62))
    moving = np.gradient(depth)
    pressure = coil + nozzle + extra + np.where(rate > 0.1, WELLHEAD_PSI + rng.normal(0.0, 18.0, n), 0.0)
    friction = COIL_FRICTION[well.coil_crew]
    per_ft = float(buoyed_weight_lb_ft(COIL_OD_IN, COIL_ID_IN, FLUID_PPG))
    pushed = WELLHEAD_PSI * np.pi / 4.0 * COIL_OD_IN**2 * np.minimum(depth / 50.0, 1.0)
    drag = STRIPPER_LBF + drag_lbf(friction, per_ft, np.maximum(depth - well.heel_ft, 0.0))
    last = np.maximum.accumulate(
        np.where(moving != 0.0, np.arange(n), 0)
    )  # a coil at rest keeps the drag of its last way
    way = np.sign(moving)[last]
    hanging = per_ft * _vertical_ft(well, depth) - pushed - way * drag + weight + rng.normal(0.0, 150.0, n)
    drift = 90.0 * np.sin(second / 7_000.0 + rng.uniform(0.0, 6.0)) + 25.0 * np.sin(second / 900.0)
    wellhead = WELLHEAD_PSI + drift + rng.normal(0.0, 12.0, n)
    delay = int(annulus_capacity_bbl(CASING_ID_IN, COIL_OD_IN, 300.0) / MILL_RATE_BPM * 60.0)
    returns = np.clip(np.roll(rate, delay) * 0.97 * (1.0 - lost) + rng.normal(0.0, 0.03, n), 0.0, None)
    for state, seconds in path.states.items():
        name = f"{state.removesuffix(' trip').replace(' ', '_')}_hours"
        setattr(truth, name, seconds / 3600.0)
    truth.hours = sum(path.states.values()) / 3600.0
    counted = np.where(depth > 50.0, depth + script.counter_ft + script.stretch * depth, depth)
    return pl.DataFrame(
        {
            "second": np.arange(n), "depth": counted + rng.normal(0.0, 0.05, n), "weight": hanging,
            "pressure": pressure, "wellhead": wellhead, "pump": np.clip(rate + rng.normal(0.0, 0.01, n), 0.0, None),
            "returns": returns, "sand": np.where(sand > 0.0, sand + rng.normal(0.0, 0.02, n), 0.0),
            "bypass": (rate > MOTOR_LIMIT_BPM).astype(float),
        }
    )  # fmt: skip
