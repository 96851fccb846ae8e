"""One stage's record from physics: ball, breakdown, ramp, slurry, flush, shut-in, falloff."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from pipeline.demo.basin import (
    CASING_ID_IN,
    FLUID_PPG,
    KICK_OUT_PSI,
    LINE_TEST_PSI,
    RAMP_MIN,
    SAND_GAL_PER_LB,
    WAVE_SPEED_FT_S,
    Design,
    Well,
    perforations_ft,
    pump_down_min,
)
from pipeline.physics.constants import GAL_PER_BBL
from pipeline.physics.fluids import hydrostatic_psi, slurry_density_ppg
from pipeline.physics.friction import perforation_friction_psi, pipe_friction_psi
from pipeline.physics.hydraulics import pipe_capacity_bbl
from pipeline.physics.waves import hammer_period_s

Array = NDArray[np.float64]
REDUCER_PSI_GPT = -150.0
"""Planted: change of treating pressure with the loading of friction reducer. [psi/gpt]"""
SMALLEST_CLIMB_PSI = 500.0
CLIMB_S = 95.0
"""Duration of the pressure climb in a screen-out, to the kick-out. [s]"""


@dataclass
class StageTruth:
    """Planted truth of a stage; None if the feature does not exist. Units in the names."""

    well_id: str
    stage: int
    crew: str
    screenout: bool = False
    cut_short: bool = False
    breakdown_psi: float | None = None
    breakdown_kind: str | None = "sharp"
    isip_psi: float | None = None
    falloff_law: str = "square root"
    hammer_period_s: float | None = None
    at_rate_psi: float = 0.0
    at_rate_bpm: float = 0.0
    clean_bbl: float = 0.0
    slurry_bbl: float = 0.0
    proppant_lbm: float = 0.0
    max_psi: float = 0.0
    pump_time_min: float = 0.0
    line_test_psi: float | None = None
    pump_down_min: float | None = None
    step_down_kp: float | None = None
    step_down_kt: float | None = None
    reducer_psi_gpt: float | None = None
    sample_s: int = 1
    mess: list[str] = field(default_factory=list)


@dataclass
class StageSignal:
    """Channels at one sample per second, before recorder errors are added."""

    pressure_psi: Array
    slurry_bpm: Array
    clean_bpm: Array
    conc_ppa: Array
    reducer_gpt: Array
    first_injection: int
    shut_in: int


@dataclass(frozen=True)
class Script:
    """Events of a stage in addition to its design.

    `seat`: the ball's landing shows in the pressure; where it is missed, the rate is raised into open rock.
    `crest`: the breakdown is one sample wide. `rate_at_seat`: change of the rate when the ball lands, as a share.
    `law`: of the falloff: its leak-off can change on the way, and friction can fade in a tail after the shut-in.
    """

    screenout: bool
    cut_short: bool
    early_shut_in: bool
    leaking_plug: bool
    breakdown_kind: str
    line_test_before: bool
    line_test_after: bool
    pump_down_after: bool
    falloff_min: float
    seat: bool = True
    crest: bool = False
    rate_at_seat: float = 0.0
    strong_ringing: bool = False
    law: str = "square root"


def draw_script(rng: np.random.Generator, *, first: bool, leaking: bool) -> Script:
    """Draw the events of a stage."""
    return Script(
        screenout=bool(rng.random() < 0.015),
        cut_short=bool(rng.random() < 0.03),
        early_shut_in=bool(rng.random() < 0.06),
        leaking_plug=leaking,
        breakdown_kind=str(rng.choice(["sharp", "soft", "gradual"], p=[0.4, 0.54, 0.06])),
        line_test_before=bool(rng.random() < 0.85),
        line_test_after=bool(rng.random() < 0.15),
        pump_down_after=bool(not first and rng.random() < 0.2),
        falloff_min=float(rng.choice([3.5, 6.0, 11.0, 16.0], p=[0.1, 0.4, 0.3, 0.2])),
        seat=bool(first or rng.random() < 0.96),
        crest=bool(rng.random() < 0.25),
        rate_at_seat=float(rng.choice([0.0, 0.07, -0.07], p=[0.7, 0.2, 0.1])),
        strong_ringing=bool(rng.random() < 0.15),
        law=str(rng.choice(["square root", "straight line", "change", "tail"], p=[0.76, 0.08, 0.08, 0.08])),
    )


def simulate_stage(
    well: Well, stage: int, crew: str, script: Script, rng: np.random.Generator
) -> tuple[StageSignal, StageTruth]:
    """Simulate one stage.

    Parameters
    ----------
    well : Well
    stage : int
    crew : str
        Fracturing crew that pumps it.
    script : Script
    rng : numpy Generator

    Returns
    -------
    StageSignal, StageTruth
    """
    truth = StageTruth(well.well_id, stage, crew, script.screenout, script.cut_short and not script.screenout)
    _, bottom_ft = perforations_ft(well, stage)
    capacity = float(pipe_capacity_bbl(CASING_ID_IN, bottom_ft))
    rate, conc, marks = _schedule(well.design, crew, script, capacity, rng)
    pressure = _pressure(well, stage, script, truth, rate, conc, marks, bottom_ft, rng)
    clean = rate / (1.0 + conc * SAND_GAL_PER_LB)
    reducer = np.where(rate > 18.0, rng.normal(0.9, 0.08) + rng.normal(0.0, 0.02, rate.size), 0.0)
    if rng.random() < 0.3:  # the loading is raised for the second half of the pad fluid
        half = round(30.0 * well.design.pad_min)
        raised = slice(marks["at_rate"] + half, marks["at_rate"] + 2 * half)
        reducer[raised] += 0.3
        pressure[raised] += 0.3 * REDUCER_PSI_GPT
        truth.reducer_psi_gpt = REDUCER_PSI_GPT
    signal = StageSignal(pressure, rate, clean, conc, np.clip(reducer, 0.0, None), marks["ball"], marks["end"])
    _totals(signal, truth, well.design.rate_bpm)
    if script.pump_down_after and stage < well.stages:
        truth.pump_down_min = pump_down_min(well, stage + 1, rng)
    return _with_surroundings(signal, script, truth, rng), truth


class _Schedule:
    """Rate and concentration second by second, and the seconds of the main events."""

    def __init__(self) -> None:
        self.rate: list[Array] = []
        self.conc: list[Array] = []
        self.marks: dict[str, int] = {}

    def hold(self, seconds: float, bpm: float, ppa: float = 0.0) -> None:
        """Pump at one rate and concentration."""
        n = max(round(seconds), 1)
        self.add(np.full(n, bpm), ppa)

    def ramp(self, seconds: float, start: float, stop: float, steps: int) -> None:
        """Change the rate in equal steps."""
        for level in np.linspace(start, stop, steps + 1)[1:]:
            n = max(round(seconds / steps), 2)
            rise = min(6, n)
            self.add(np.concatenate((np.linspace(start, level, rise), np.full(n - rise, level))))
            start = level

    def add(self, rate: Array, ppa: float = 0.0) -> None:
        """Add samples of the rate."""
        self.rate.append(rate)
        self.conc.append(np.full(rate.size, ppa))

    def mark(self, name: str) -> None:
        """Note the present second as an event."""
        self.marks[name] = sum(part.size for part in self.rate)


def _schedule(
    design: Design, crew: str, script: Script, capacity: float, rng: np.random.Generator
) -> tuple[Array, Array, dict[str, int]]:
    """Rate and concentration from ball pump-down to the end of the falloff, and the seconds of the main events."""
    ball_bpm = min(float(rng.uniform(12.0, 16.0)), 0.4 * design.rate_bpm)
    plan = _Schedule()
    plan.mark("ball")
    plan.ramp(12.0, 0.0, ball_bpm, 2)
    plan.hold(0.62 * capacity / ball_bpm * 60.0, ball_bpm)
    plan.mark("seat")
    plan.hold(float(rng.uniform(22.0, 40.0)), ball_bpm * (1.0 + script.rate_at_seat))
    plan.mark("raise")
    ramp_s = 60.0 * RAMP_MIN[crew]
    if script.early_shut_in:
        plan.ramp(0.3 * ramp_s, ball_bpm, 0.6 * design.rate_bpm, 3)
        plan.mark("early_end")
        plan.hold(240.0, 0.0)
        plan.mark("early_back")
        plan.ramp(0.7 * ramp_s, 0.0, design.rate_bpm, 6)
    else:
        plan.ramp(ramp_s, ball_bpm, design.rate_bpm, 8)
    plan.mark("at_rate")
    plan.hold(60.0 * design.pad_min, design.rate_bpm)
    if design.proppant_lbm:
        _pump_slurry(plan, script, design, capacity, rng)
    last = float(design.rate_bpm)
    if design.proppant_lbm and not script.screenout and rng.random() < 0.3:
        for fraction in (0.75, 0.5, 0.25):
            plan.hold(15.0, fraction * design.rate_bpm)
            last = fraction * design.rate_bpm
    plan.add(np.array([0.5 * last, 0.1 * last]))
    plan.marks["last_rate_x10"] = round(10.0 * last)
    plan.mark("end")
    plan.hold(60.0 * script.falloff_min, 0.0)
    return np.concatenate(plan.rate), np.concatenate(plan.conc), plan.marks


def _pump_slurry(plan: _Schedule, script: Script, design: Design, capacity: float, rng: np.random.Generator) -> None:
    """Pump proppant step by step, and flush it."""
    steps = [0.25, 0.5, 0.75, 1.0, 1.25, 1.5, 1.75, 2.0]
    share = design.proppant_lbm / _steps_lbm(steps, design.rate_bpm, 60.0 * design.proppant_min / len(steps))
    placed = 1.0
    if script.screenout:
        placed = float(rng.uniform(0.6, 0.9))
    elif script.cut_short:
        placed = float(rng.uniform(0.5, 0.8))
    left = placed * 60.0 * design.proppant_min
    for ppa in steps:
        seconds = min(60.0 * design.proppant_min / len(steps), left)
        if seconds < 1.0:
            break
        plan.hold(seconds, design.rate_bpm, ppa * share)
        left -= seconds
        if ppa == 1.0 and not script.screenout and not script.cut_short:
            plan.hold(90.0, design.rate_bpm, 0.25)  # a sweep
    plan.mark("slurry_end")
    if script.screenout:
        plan.hold(CLIMB_S, design.rate_bpm, plan.conc[-1][-1] if rng.random() < 0.5 else 0.0)
    else:
        plan.hold(capacity * float(rng.uniform(1.03, 1.12)) / design.rate_bpm * 60.0, design.rate_bpm)


def _steps_lbm(steps: list[float], rate: float, seconds: float) -> float:
    return sum(rate / (1.0 + c * SAND_GAL_PER_LB) * GAL_PER_BBL * c * seconds / 60.0 for c in steps)


def _pressure(
    well: Well,
    stage: int,
    script: Script,
    truth: StageTruth,
    rate: Array,
    conc: Array,
    marks: dict[str, int],
    bottom_ft: float,
    rng: np.random.Generator,
) -> Array:
    """Surface pressure from bottomhole pressure, column weight and friction."""
    design = well.design
    n = rate.size
    clock = np.arange(n, dtype=float)
    pumped = np.cumsum(rate) / 60.0
    vertical = float(pipe_capacity_bbl(CASING_ID_IN, well.tvd_ft))
    loaded = np.cumsum(conc * rate) / 60.0
    behind = np.interp(pumped - vertical, pumped, loaded, left=0.0)
    column_ppa = (loaded - behind) / vertical
    column_ppg = slurry_density_ppg(FLUID_PPG, column_ppa, SAND_GAL_PER_LB)
    weight = hydrostatic_psi(column_ppg, well.tvd_ft)
    surface_ppg = slurry_density_ppg(FLUID_PPG, conc, SAND_GAL_PER_LB)
    pipe = pipe_friction_psi(rate, surface_ppg, bottom_ft, CASING_ID_IN, drag_reduction=well.drag_reduction(truth.crew))
    open_share = float(rng.uniform(0.8, 1.0))
    eroded = 1.0 + 0.10 * np.clip(np.cumsum(conc * rate) / max((conc * rate).sum(), 1.0), 0.0, 1.0)
    perf = perforation_friction_psi(rate, surface_ppg, design.holes * open_share, design.hole_in * eroded, 0.75)
    tortuous = float(rng.uniform(20.0, 60.0))
    tortuosity = tortuous * np.sqrt(np.maximum(rate, 0.0))
    if marks["last_rate_x10"] < round(10.0 * design.rate_bpm):  # the rate was stepped down
        before = marks["end"] - 3
        truth.step_down_kp, truth.step_down_kt = float(perf[before] / rate[before] ** 2), tortuous
    stress = well.stress_psi_ft * well.tvd_ft + float(rng.normal(0.0, 40.0))
    shadow = 350.0 * (1.0 - np.exp(-(stage - 1) / 4.0))
    growth = 250.0 * (np.clip((clock - marks["seat"]) / 3600.0, 0.0, None) + 1e-9) ** 0.25
    bottom = stress + shadow + growth
    pressure = bottom - weight + pipe + perf + tortuosity

    before = int(marks["seat"])
    static = float(bottom[before] - weight[before]) - float(rng.uniform(150.0, 500.0))
    climb = np.clip(clock[:before] / 60.0, 0.0, 1.0)
    pressure[:before] = static + (300.0 + pipe[:before]) * climb - 20.0 * np.exp(-clock[:before] / 200.0)
    _break_down(pressure, script, truth, marks, rng)
    if script.screenout:
        start, stop = marks["slurry_end"], marks["end"] - 2
        seconds = np.arange(stop - start, dtype=float)
        base = pressure[start:stop]
        top = max(KICK_OUT_PSI, float(base.max()) + SMALLEST_CLIMB_PSI)
        pressure[start:stop] += (top - base) * (np.exp(seconds / 30.0) - 1.0) / (np.exp(CLIMB_S / 30.0) - 1.0)
    if script.early_shut_in:
        _shut(
            pressure, marks["early_end"], marks["early_back"], bottom, weight, 0.5 * design.rate_bpm, bottom_ft, rng,
            replace(script, law="square root", strong_ringing=False),
        )  # fmt: skip
    reach = bottom_ft + (design.stage_length_ft * 1.5 if script.leaking_plug else 0.0)
    period, isip = _shut(
        pressure, marks["end"], n, bottom, weight, marks["last_rate_x10"] / 10.0, reach, rng, script,
        extra=700.0 if script.screenout else 0.0,
    )  # fmt: skip
    truth.isip_psi, truth.hammer_period_s, truth.falloff_law = isip, period, script.law
    return np.asarray(pressure)


def _break_down(
    pressure: Array, script: Script, truth: StageTruth, marks: dict[str, int], rng: np.random.Generator
) -> None:
    """Ball lands; the wellbore is compressed until the rock breaks down. A missed landing shows in nothing."""
    seat, raised = marks["seat"], marks["raise"]
    start = float(pressure[seat - 1])
    if not script.seat:
        pressure[seat:] += (start - pressure[seat]) * np.exp(-np.arange(pressure.size - seat) / 120.0)
        truth.breakdown_psi = truth.breakdown_kind = None
        return
    rise = float(rng.uniform(350.0, 1100.0))
    fall = {"sharp": rng.uniform(330.0, 600.0), "soft": rng.uniform(50.0, 130.0), "gradual": 0.0}
    clock = np.arange(raised - seat, dtype=float)
    up = min(8, raised - seat - 10)
    path = np.empty(clock.size)
    if script.crest:
        path[: up + 1] = start + rise * clock[: up + 1] / up
    else:
        path[: up + 1] = start + rise * np.sin(0.5 * np.pi * clock[: up + 1] / up)
    after = clock[up + 1 :] - clock[up]
    if script.breakdown_kind == "gradual":
        path[up + 1 :] = start + rise + 2.0 * after
        peak = start + rise
    else:
        drop = float(fall[script.breakdown_kind])
        path[up + 1 :] = start + rise - drop * (1.0 - np.exp(-after / (1.0 if script.crest else 5.0)))
        peak = start + rise
    pressure[seat:raised] = path
    # from here on, use the modelled pressure; join without a jump
    gap = path[-1] - pressure[raised]
    fade = np.arange(pressure.size - raised, dtype=float)
    pressure[raised:] += gap * np.exp(-fade / 25.0)
    truth.breakdown_psi, truth.breakdown_kind = peak, script.breakdown_kind


def _shut(
    pressure: Array,
    start: int,
    stop: int,
    bottom: Array,
    weight: Array,
    last_rate: float,
    reflector_ft: float,
    rng: np.random.Generator,
    script: Script,
    extra: float = 0.0,
) -> tuple[float, float]:
    """Falloff with water hammer, whose third harmonic dies out sooner; return (period, ISIP)."""
    clock = np.arange(stop - start, dtype=float)
    isip = float(bottom[start] - weight[start]) + extra
    period = float(hammer_period_s(reflector_ft, WAVE_SPEED_FT_S))
    leak = float(rng.uniform(6.0, 22.0))
    amplitude = -min(9.0 * last_rate, 800.0) * float(rng.uniform(0.7, 1.0))
    decay = float(rng.uniform(12.0, 26.0))
    if script.strong_ringing:
        amplitude, decay = 1.8 * amplitude, 2.0 * decay
    angle = 2.0 * np.pi * clock / period
    ring = amplitude * np.exp(-clock / decay) * np.cos(angle)
    ring -= 0.15 * amplitude * np.exp(-2.5 * clock / decay) * np.cos(3.0 * angle)
    pressure[start:stop] = isip - _fall(script.law, leak, clock, rng) + ring
    return period, isip


def _fall(law: str, leak: float, clock: Array, rng: np.random.Generator) -> Array:
    """Decline after the shut-in, from zero; a tail of friction begins above zero and fades. [psi]"""
    root = np.sqrt(clock)
    if law == "straight line":
        return np.asarray(0.06 * leak * clock)
    if law == "change":
        turn = np.sqrt(rng.uniform(30.0, 150.0))
        return np.asarray(leak * (np.minimum(root, turn) + 0.6 * np.maximum(root - turn, 0.0)))
    if law == "tail":
        return np.asarray(leak * root - rng.uniform(80.0, 250.0) * np.exp(-clock / rng.uniform(5.0, 15.0)))
    return np.asarray(leak * root)


def _totals(signal: StageSignal, truth: StageTruth, design_bpm: float) -> None:
    span = slice(signal.first_injection, signal.shut_in + 1)
    rate, clean = signal.slurry_bpm[span], signal.clean_bpm[span]
    truth.slurry_bbl = float(np.trapezoid(rate) / 60.0)
    truth.clean_bbl = float(np.trapezoid(clean) / 60.0)
    truth.proppant_lbm = float(np.trapezoid(clean * GAL_PER_BBL * signal.conc_ppa[span]) / 60.0)
    main = signal.slurry_bpm >= min(20.0, 0.5 * design_bpm)
    at_rate = signal.slurry_bpm >= 0.9 * design_bpm
    truth.at_rate_psi = float(signal.pressure_psi[at_rate].mean())
    truth.at_rate_bpm = float(signal.slurry_bpm[at_rate].mean())
    truth.max_psi = float(signal.pressure_psi[main].max())
    truth.pump_time_min = float((rate >= min(5.0, 0.125 * design_bpm)).sum() / 60.0)


def _with_surroundings(signal: StageSignal, script: Script, truth: StageTruth, rng: np.random.Generator) -> StageSignal:
    """Add the data before and after the stage in the file: idle pumps, line tests, the next pump-down."""
    static = float(signal.pressure_psi[0])
    before_p: list[Array] = [np.zeros(int(rng.integers(60, 180)))]
    before_q: list[Array] = [np.zeros(before_p[0].size)]
    if rng.random() < 0.35:  # priming the lines
        n = int(rng.integers(60, 160))
        before_p.append(np.full(n, float(rng.uniform(20.0, 120.0))))
        before_q.append(np.full(n, float(rng.uniform(2.5, 5.0))))
    if script.line_test_before:
        test = float(rng.uniform(*LINE_TEST_PSI))
        truth.line_test_psi = test
        before_p += [np.linspace(0.0, test, 25), np.full(150, test) - np.arange(150) * 0.2, np.zeros(20)]
        before_q += [np.full(25, 0.4), np.zeros(150), np.zeros(20)]
    n = int(rng.integers(60, 140))
    before_p.append(np.full(n, static))
    before_q.append(np.zeros(n))
    after_p: list[Array] = []
    after_q: list[Array] = []
    end = float(signal.pressure_psi[-1])
    if script.line_test_after:
        test = float(rng.uniform(*LINE_TEST_PSI))
        after_p += [
            np.linspace(end, 0.0, 20),
            np.zeros(40),
            np.linspace(0.0, test, 25),
            np.full(120, test),
            np.full(20, end),
        ]
        after_q += [np.zeros(20), np.zeros(40), np.full(25, 0.3), np.zeros(120), np.zeros(20)]
    if truth.pump_down_min is not None:
        n = round(60.0 * truth.pump_down_min)
        after_p += [
            np.full(200, end - 100.0),
            end + 300.0 + 400.0 * np.sin(np.linspace(0.0, 3.0, n)),
            np.full(150, end),
        ]
        after_q += [np.zeros(200), np.concatenate((np.linspace(0.0, 16.0, 60), np.full(n - 60, 16.0))), np.zeros(150)]
    lead = sum(part.size for part in before_q)
    tail = sum(part.size for part in after_q)

    def joined(before: list[Array], middle: Array, after: list[Array]) -> Array:
        return np.concatenate([*before, middle, *after])

    def padded(middle: Array) -> Array:
        return np.concatenate((np.zeros(lead), middle, np.zeros(tail)))

    slurry = joined(before_q, signal.slurry_bpm, after_q)
    clean = joined(before_q, signal.clean_bpm, after_q)
    return StageSignal(
        joined(before_p, signal.pressure_psi, after_p), slurry, clean, padded(signal.conc_ppa),
        padded(signal.reducer_gpt), signal.first_injection + lead, signal.shut_in + lead,
    )  # fmt: skip
