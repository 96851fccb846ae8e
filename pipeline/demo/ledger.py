"""Time log, costs and early production of the synthetic campaign."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

import numpy as np

from pipeline.demo.basin import CASING_TEST_PSI, TRANSITION_MIN, Well, hours, until_morning_h
from pipeline.demo.treatment import StageTruth

Row = dict[str, object]
NPT_CAUSES = ("pumping equipment", "water supply", "wireline", "weather", "third party")
LOST_SHARE = 0.25
"""Planted: share of gaps with lost time. [1]"""
SCREENED_OUT_H = (5.0, 16.0)
"""Planted: hours until a screened-out well is clean again: flowback, or a run of coil. [h]"""
PRESET_H = 9.0
"""Planted: hours until a plug that set on the way is out of the hole and its run repeated. [h]"""
LOST_MEDIAN_H = 0.7
"""Planted: median of the lost time; its distribution is lognormal with a long tail. [h]"""


@dataclass(frozen=True)
class Gap:
    """What a fleet waits for between two stages: wireline on the well, lost time, suspended work, then the swap. [h]"""

    swap_h: float
    wireline_h: float = 0.0
    lost_h: float = 0.0
    cause: str | None = None
    suspended_h: float = 0.0

    @property
    def total_h(self) -> float:
        """Hours from the last rate to the next first rate."""
        return self.swap_h + self.wireline_h + self.lost_h + self.suspended_h


def draw_gap(
    coming: Well, ends: datetime, wireline_h: float, suspended_h: float, trouble: str | None, rng: np.random.Generator
) -> tuple[Gap, str]:
    """Draw the gap before a stage, and the crew that begins it; lost time has a long tail.

    Parameters
    ----------
    coming : Well
        The well of the coming stage; if it has one crew only, its fleet stands by at night.
    ends : datetime
        End of the stage before.
    wireline_h, suspended_h : float
        Hours of wireline on the well, and of suspended work.
    trouble : str, optional
        ``screen-out`` or ``preset plug``: what must be put right before work goes on.
    rng : numpy Generator
    """
    pace = float(rng.lognormal(0.0, 0.15)) / 60.0
    lost = rng.random() < LOST_SHARE
    hours_lost = min(float(rng.lognormal(np.log(LOST_MEDIAN_H), 1.0)), 20.0)
    cause = str(rng.choice(NPT_CAUSES))
    if trouble is not None:
        lost, cause = True, trouble
        hours_lost = PRESET_H if trouble == "preset plug" else float(rng.uniform(*SCREENED_OUT_H))
    gap = Gap(0.0, wireline_h, hours_lost if lost else 0.0, cause if lost else None, suspended_h)
    begins = coming.crew(ends + hours(gap.total_h + 0.5))  # the crew that rigs up the stage pumps it
    gap = replace(gap, swap_h=TRANSITION_MIN[begins] * pace)
    if len(set(coming.shifts)) == 1:
        gap = replace(gap, suspended_h=gap.suspended_h + until_morning_h(ends + hours(gap.total_h)))
    return gap, begins


def time_log(pad: str, pumped: list[tuple[datetime, datetime, str]], gaps: list[Gap]) -> list[Row]:
    """Assign every minute of a pad between its first and last stage to one activity.

    Parameters
    ----------
    pad : str
    pumped : list of (start, end, well_id)
        Pumping intervals in order, none overlapping.
    gaps : list of Gap
        The gap after each of them; what is longer than its parts is swap.
    """
    rows: list[Row] = []

    def book(start: datetime, end: datetime, activity: str, well: str | None, cause: str | None = None) -> datetime:
        end = end.replace(microsecond=0)
        if end > start:
            rows.append({"pad": pad, "start": start, "end": end, "well": well, "activity": activity, "cause": cause})
        return end

    for (start, end, well), gap, following in zip(pumped, gaps, [*pumped[1:], None], strict=True):
        at = book(start, end, "pumping", well)
        if following is None:
            break
        at = book(at, at + hours(gap.wireline_h), "wireline", well)
        at = book(at, at + hours(gap.lost_h), "NPT", well, gap.cause)
        at = book(at, at + hours(gap.suspended_h), "standby", None)
        book(at, following[0], "swap", following[2])
    return rows


def summary(well: str, truth: StageTruth, rng: np.random.Generator) -> Row:
    """Return a stage as its provider reports it: entered by hand, rounded, sometimes wrong."""
    slip = rng.random()
    isip = None if truth.isip_psi is None else round(truth.isip_psi + float(rng.normal(0.0, 45.0)), -1)
    clean = truth.clean_bbl * (1.06 if slip < 0.02 else 1.0)
    proppant = truth.proppant_lbm * (0.93 if 0.02 <= slip < 0.04 else 1.0)
    return {
        "well": well, "stage": truth.stage, "isip": isip, "max": round(truth.max_psi + float(rng.normal(0.0, 8.0)), 0),
        "breakdown": None if truth.breakdown_psi is None else round(truth.breakdown_psi, 0),
        "clean": round(clean, 0), "proppant": round(proppant, -2),
        "water": round(clean * float(rng.normal(1.03, 0.01)), 0),
        "fuel": round(truth.at_rate_psi * truth.at_rate_bpm / 40.8 * truth.pump_time_min / 60.0 * 0.055, 0),
    }  # fmt: skip


def cost_lines(
    well: Well, when: date, last_quarter: bool, toe: str | None, pumped: list[StageTruth], rng: np.random.Generator
) -> list[Row]:
    """Return a well's cost lines; the last quarter is accrued; a toe preparation in two runs costs more.

    Amounts follow what was done: pumping hours, proppant and fluid placed, horsepower-hours.
    """
    hours_pumped = sum(stage.pump_time_min for stage in pumped) / 60.0
    energy = sum(stage.at_rate_psi * stage.at_rate_bpm / 40.8 * stage.pump_time_min / 60.0 for stage in pumped)
    amounts = {
        "stimulation": 9_000.0 * hours_pumped + 24_000.0 * well.stages,
        "proppant": 0.045 * sum(stage.proppant_lbm for stage in pumped),
        "chemicals": 1.1 * sum(stage.clean_bbl for stage in pumped),
        "fuel": 0.2 * energy,
        "rental": 900.0 * well.stages,
        "flowback": 62_000.0,
        "wireline": well.stages * 9_500.0,
        "plugs": (well.stages - 1) * 3_200.0,
        "coiled tubing": 165_000.0,
        "water": well.stages * 14_000.0,
    }
    if toe is not None:
        amounts["toe preparation"] = 68_000.0 if toe == "one run" else 96_000.0
    lines: list[Row] = []
    for index, (category, amount) in enumerate(amounts.items(), start=1):
        for step, (state, factor) in enumerate((("budget", 1.0), ("accrued" if last_quarter else "invoiced", None))):
            value = amount * (factor or float(rng.normal(1.02, 0.05)))
            lines.append(
                {
                    "well": well.name, "line": 2 * index - 1 + step, "date": when, "category": category,
                    "state": state, "amount": round(value, 2), "currency": "USD", "basis": "agreement 2023",
                }
            )  # fmt: skip
    return lines


OTHER_CHOKE = (4, 0)
"""Planted: pad and position of a well that is produced through a wider choke than all others."""


def production(well: Well, index: int, online: date, until: date, rng: np.random.Generator) -> list[Row]:
    """Return monthly volumes from the first full month, by hyperbolic decline."""
    month = date(online.year + online.month // 12, online.month % 12 + 1, 1)
    start = 0.11 * well.lateral_ft * float(rng.lognormal(0.0, 0.1)) * (1.08 if well.design.name == "tight" else 1.0)
    wider = 1.6 if (well.pad_number, index) == OTHER_CHOKE else 1.0
    rows: list[Row] = []
    age = 0
    while month <= until and age < 12:
        days = float(np.clip(rng.normal(28.0, 2.0), 10.0, 30.0))
        oil = start * days / (1.0 + 1.1 * 0.09 * age) ** (1.0 / 1.1)
        rows.append(
            {
                "well": well.name, "month": month, "days": round(days, 1), "oil": round(oil, 0),
                "gas": round(oil * (1.9 + 0.08 * age), 0), "water": round(oil * 2.4 * (0.9**age), 0),
                "choke": (22.0 + 2.0 * min(age, 4)) * wider, "pressure": round(3200.0 * 0.93**age, 0),
            }
        )  # fmt: skip
        age += 1
        month = date(month.year + month.month // 12, month.month % 12 + 1, 1)
    return rows


PARENT_RESPONSE_PSI = (600.0, 1600.0)
"""Planted: lowest and highest pressure response of a parent well. [psi]"""


def toe_test(well: Well, method: str, rng: np.random.Generator) -> Row:
    """Return the acceptance test of a well's toe."""
    return {
        "well": well.name, "casing_test_psi": round(float(rng.normal(CASING_TEST_PSI, 15.0)), 0), "held": True,
        "method": method, "opened_at_first": bool(rng.random() < 0.85),
        "injected_bpm": round(float(rng.uniform(8.0, 16.0)), 1),
        "injected_psi": round(float(rng.normal(6_400.0, 350.0)), 0),
    }  # fmt: skip


def neighbours(on_pad: list[Well], rng: np.random.Generator) -> list[Row]:
    """Return each well's neighbours; some show a pressure response to a stage.

    Beside the first well of every other pad lies a parent: a well that has produced for years, whose depleted rock
    draws the fractures.
    """
    rows: list[Row] = []
    first = on_pad[0]
    if first.pad_number % 2 == 0:
        rows.append(
            {
                "well": first.name, "offset": f"{first.pad} 0H", "spacing_ft": round(float(rng.normal(820.0, 60.0)), 0),
                "order": "before", "depletion_months": round(float(rng.uniform(20.0, 60.0)), 0),
                "response_psi": round(float(rng.uniform(*PARENT_RESPONSE_PSI)), 0),
                "response_stage": int(rng.integers(1, first.stages + 1)),
            }
        )  # fmt: skip
    spacing = [round(float(rng.normal(880.0, 40.0)), 0) for _ in on_pad]  # from each well to the next one
    for index, well in enumerate(on_pad):
        for other, neighbour in enumerate(on_pad):
            if abs(other - index) != 1:
                continue
            felt = rng.random() < 0.3
            rows.append(
                {
                    "well": well.name, "offset": neighbour.name, "spacing_ft": spacing[min(index, other)],
                    "order": "before" if other < index else "after", "depletion_months": 0.0,
                    "response_psi": round(float(rng.uniform(250.0, 900.0) if felt else rng.uniform(5.0, 40.0)), 0),
                    "response_stage": int(rng.integers(1, well.stages + 1)) if felt else None,
                }
            )  # fmt: skip
    return rows


def incidents(pad: str, pumped: list[tuple[datetime, datetime, str]], rng: np.random.Generator) -> list[Row]:
    """Return a pad's safety events: mostly near misses."""
    rows: list[Row] = []
    for _ in range(int(rng.poisson(1.2))):
        start, end, well = pumped[int(rng.integers(len(pumped)))]
        severity = str(rng.choice(["near miss", "first aid", "recordable"], p=[0.7, 0.25, 0.05]))
        category = str(rng.choice(["line of fire", "slip or trip", "dropped object", "pressure release", "spill"]))
        at = start + (end - start) * float(rng.random())
        rows.append(
            {
                "pad": pad, "time": at.replace(microsecond=0), "well": well, "severity": severity,
                "category": category, "operation": "pumping",
                "spill_bbl": round(float(rng.uniform(0.2, 4.0)), 1) if category == "spill" else None,
            }
        )  # fmt: skip
    return rows


def later(moment: datetime, days: float) -> datetime:
    """Return a time some days later."""
    return moment + timedelta(days=days)
