"""Pads, wells, crews and dates of the synthetic campaign, and its planted effects."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

ZONE = "America/Denver"
BASIN = "Harrow Basin"
CASING_ID_IN = 4.778
COIL_OD_IN, COIL_ID_IN = 2.375, 2.063
FLUID_PPG = 8.4
SAND_GAL_PER_LB = 1.0 / (2.65 * 8.345404)
PRESSURE_LIMIT_PSI = 11500.0
KICK_OUT_PSI = PRESSURE_LIMIT_PSI - 300.0
"""Pressure at which the pumps trip. [psi]"""
LINE_TEST_PSI = (PRESSURE_LIMIT_PSI + 300.0, PRESSURE_LIMIT_PSI + 900.0)
"""Lowest and highest test of the lines: above what a stage may reach (common practice). [psi]"""
CASING_TEST_PSI = PRESSURE_LIMIT_PSI + 500.0
WAVE_SPEED_FT_S = 4750.0

PADS = (
    "Saltgrass", "Pipit Draw", "Cinder Knoll", "Larch Hollow", "Otter Bend", "Marl Flats", "Heron Gate",
    "Thistle Ridge",
)  # fmt: skip
PAD_SHIFTS: tuple[tuple[str, str], ...] = (
    ("Alder", "Birch"), ("Alder", "Cedar"), ("Birch", "Cedar"), ("Dogwood", "Dogwood"), ("Cedar", "Alder"),
    ("Birch", "Cedar"), ("Alder", "Birch"), ("Cedar", "Alder"),
)  # fmt: skip
"""Crews of each pad by day and by night; Dogwood serves one pad, by day only."""
DAY_H = (6, 18)
"""Local hours between which the day crew begins its stages; a crew without a night shift begins none at night."""
LONG_PADS = (5, 7)
"""Pads whose laterals have three to four times as many stages."""
PAD_DESIGNS: tuple[tuple[str, ...], ...] = (
    ("wide", "tight", "tight"),
    ("tight", "wide"),
    ("wide", "tight", "tight"),
    ("tight", "wide"),
    ("wide", "wide", "tight"),
    ("tight", "wide"),
    ("wide", "tight", "tight"),
    ("wide", "wide"),
)
COIL_CREWS = ("Finch", "Gannet")
WIRELINE_CREWS = ("Wren", "Dunlin")
FLEETS = ("Fleet North", "Fleet South")
"""One fleet per pad; its crews are shifts."""

RAMP_MIN = {"Alder": 8.0, "Birch": 4.5, "Cedar": 13.0, "Dogwood": 17.0}
"""Planted: minutes per crew from breakdown to design rate. [min]"""
DRAG_REDUCTION = {"Alder": 0.66, "Birch": 0.66, "Cedar": 0.63, "Dogwood": 0.65}
"""Planted: friction reducer performance of a crew. [1]"""
LONG_DRAG_REDUCTION = 0.07
"""Planted: what a better friction reducer adds to it on the long laterals, whose pressure would pass the limit. [1]"""
MILL_FACTOR = {"Finch": 1.0, "Gannet": 1.3}
"""Planted: milling time of a coil crew relative to the other crew. [1]"""
COIL_FRICTION = {"Finch": 0.18, "Gannet": 0.22}
"""Planted: friction of coil on casing, lower with a better lubricant. [1]"""
MILL_DRIFT_PER_QUARTER = -0.02
"""Planted: decrease of milling time from quarter to quarter. [1]"""
MOTOR_LIMIT_BPM = 3.0
TRANSITION_MIN = {"Alder": 26.0, "Birch": 21.0, "Cedar": 33.0, "Dogwood": 38.0}
"""Planted: minutes between stages in addition to the wireline run. [min]"""


@dataclass(frozen=True)
class Design:
    """A stage design of the synthetic campaign."""

    name: str
    stage_length_ft: float
    clusters: int
    holes: int
    hole_in: float
    rate_bpm: float
    proppant_lbm: float
    pad_min: float
    proppant_min: float


DESIGNS = {
    "tight": Design("tight", 190.0, 10, 44, 0.36, 88.0, 265_000.0, 6.0, 46.0),
    "wide": Design("wide", 240.0, 7, 42, 0.38, 76.0, 250_000.0, 7.0, 52.0),
}
INJECTION_TEST = Design("injection test", 240.0, 4, 16, 0.36, 8.0, 0.0, 18.0, 0.0)
"""A small job without proppant, before the first fracturing stage."""


@dataclass(frozen=True)
class Well:
    """A well of the synthetic campaign."""

    well_id: str
    name: str
    aliases: tuple[str, ...]
    pad: str
    pad_number: int
    shifts: tuple[str, str]
    coil_crew: str
    design: Design
    stages: int
    heel_ft: float
    toe_ft: float
    tvd_ft: float
    stress_psi_ft: float

    def drag_reduction(self, crew: str) -> float:
        """Planted drag reduction of the crew's fluid in this well. [1]"""
        return DRAG_REDUCTION[crew] + (LONG_DRAG_REDUCTION if self.pad_number in LONG_PADS else 0.0)

    @property
    def lateral_ft(self) -> float:
        """Length from heel to toe. [ft]"""
        return self.toe_ft - self.heel_ft

    def crew(self, moment: datetime) -> str:
        """Crew on shift at a time."""
        return self.shifts[until_morning_h(moment) > 0.0]


@dataclass(frozen=True)
class CampaignSize:
    """Size and seed of a synthetic campaign.

    Attributes
    ----------
    pads : int
        First pads of the list to use, at most eight.
    stages, long_stages : tuple of int
        Lowest and highest number of stages of a well, and of a well of the pads with long laterals.
    seed : int
    wells_per_pad : int, optional
        Maximum number of wells per pad.
    coil_step_s : int
        Sampling of the coil records. [s]
    toe_preparation : bool
        Whether the first well of each pad has a recorded toe preparation.
    """

    pads: int = 8
    stages: tuple[int, int] = (11, 14)
    long_stages: tuple[int, int] = (36, 40)
    seed: int = 20310
    wells_per_pad: int = 3
    coil_step_s: int = 1
    toe_preparation: bool = True
    first_quarter: datetime = field(default_factory=lambda: datetime(2023, 7, 1, tzinfo=UTC))


def pad_start(plan: CampaignSize, pad_number: int) -> datetime:
    """Return the time of a pad's first stage: one pad per quarter; the second is on location in early November."""
    quarter = plan.first_quarter.month - 1 + 3 * pad_number
    day, hour = (3, 14) if pad_number == 1 else (9 + 5 * (pad_number % 3), 13)
    month = quarter % 12 + 1
    if pad_number == 1:
        month += 1
    local = datetime(plan.first_quarter.year + quarter // 12, month, day, hour, tzinfo=ZoneInfo(ZONE))
    return local.astimezone(UTC)


def make_wells(plan: CampaignSize, rng: np.random.Generator) -> list[Well]:
    """Create the wells of the campaign."""
    wells = []
    for pad_number in range(plan.pads):
        pad = PADS[pad_number]
        pad_stress = rng.normal(0.0, 0.012)
        tvd = float(rng.uniform(8900.0, 9600.0))
        fewest, most = plan.long_stages if pad_number in LONG_PADS else plan.stages
        for index, design_name in enumerate(PAD_DESIGNS[pad_number][: plan.wells_per_pad]):
            design = DESIGNS[design_name]
            stages = int(rng.integers(fewest, most + 1))
            heel = tvd + float(rng.uniform(500.0, 800.0))
            name = f"{pad} {index + 1}H"
            api = f"99-{100 + pad_number:03d}-{20000 + 37 * pad_number + index:05d}"
            wells.append(
                Well(
                    well_id=name.lower().replace(" ", "-"),
                    name=name,
                    aliases=(f"{pad.upper()} #{index + 1}H", api),
                    pad=pad,
                    pad_number=pad_number,
                    shifts=PAD_SHIFTS[pad_number],
                    coil_crew=COIL_CREWS[(pad_number + index) % 2],
                    design=design,
                    stages=stages,
                    heel_ft=round(heel, 0),
                    toe_ft=round(heel + stages * design.stage_length_ft + 60.0, 0),
                    tvd_ft=round(tvd, 0),
                    stress_psi_ft=0.78 + pad_stress + float(rng.normal(0.0, 0.004)),
                )
            )
    return wells


def perforations_ft(well: Well, stage: int) -> tuple[float, float]:
    """Return top and bottom perforation of a stage, counted from the toe. [ft]"""
    bottom = well.toe_ft - 40.0 - (stage - 1) * well.design.stage_length_ft
    return bottom - well.design.stage_length_ft + 35.0, bottom


def pump_down_from_ft(well: Well) -> float:
    """Depth from which guns and plug are pumped down. [ft]"""
    return well.heel_ft - 800.0


def pump_down_min(well: Well, stage: int, rng: np.random.Generator) -> float:
    """Draw the pump-down time of guns and plug to a stage, at 230 to 400 ft/min. [min]"""
    speed = float(np.clip(rng.normal(300.0, 35.0), 230.0, 400.0))
    return (perforations_ft(well, stage)[1] + 12.0 - pump_down_from_ft(well)) / speed


def until_morning_h(moment: datetime) -> float:
    """Hours from a time until the day shift begins; 0 by day."""
    local = moment.astimezone(ZoneInfo(ZONE))
    first, last = DAY_H
    if first <= local.hour < last:
        return 0.0
    morning = (local + timedelta(days=local.hour >= last)).replace(hour=first, minute=10, second=0, microsecond=0)
    return (morning.astimezone(UTC) - moment).total_seconds() / 3600.0


def hours(value: float) -> timedelta:
    """Return a time span of the given hours, to the second."""
    return timedelta(seconds=round(value * 3600.0))
