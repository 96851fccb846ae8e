"""What a synthetic campaign used and recovered: additives, hours worked, flowback."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np

from pipeline.demo.basin import FLUID_PPG, Well
from pipeline.demo.treatment import StageTruth
from pipeline.physics.constants import GAL_PER_BBL
from pipeline.physics.fluids import hydrostatic_psi

Row = dict[str, object]
DESIGNED_GPT = {"friction reducer": 0.9, "surfactant": 1.0, "biocide": 0.25}
"""Planted: designed loadings of the additives. [gal per 1,000 gal of clean fluid]"""
USED = {"friction reducer": 1.05, "surfactant": 1.0, "biocide": 0.9}
"""Planted: used over designed volume. [1]"""
PEOPLE = 34
"""People on a pad while it is fractured, in two shifts of 12 h. [1]"""
FLOWBACK_DAYS = 30


def additives(well: Well, truth: StageTruth, fluid_bbl: float, rng: np.random.Generator) -> list[Row]:
    """Return the additives of a stage, designed and used."""
    designed, used = fluid_bbl * GAL_PER_BBL / 1000.0, truth.clean_bbl * GAL_PER_BBL / 1000.0
    return [
        {
            "well": well.name, "stage": truth.stage, "additive": name, "designed_gal": round(gpt * designed, 1),
            "used_gal": round(gpt * used * USED[name] * float(rng.lognormal(0.0, 0.05)), 1),
        }
        for name, gpt in DESIGNED_GPT.items()
    ]  # fmt: skip


def exposure(pad: str, first: date, last: date) -> list[Row]:
    """Return the hours worked on a pad while it was fractured."""
    days = (last - first).days + 1
    return [{"pad": pad, "from": first, "to": last, "hours": days * 12.0 * PEOPLE}]


def flowback(well: Well, online: date, clean_bbl: float, rng: np.random.Generator) -> list[Row]:
    """Return the days of a well's flowback: load water cleans up while oil and the gas-oil ratio rise."""
    rows: list[Row] = []
    reservoir = 0.62 * well.tvd_ft
    for number in range(FLOWBACK_DAYS):
        cleaned = 1.0 - float(np.exp(-number / 9.0))
        oil = 0.085 * well.lateral_ft * cleaned * float(rng.lognormal(0.0, 0.06))
        wellhead = 3400.0 - 38.0 * number + float(rng.normal(0.0, 25.0))
        rows.append(
            {
                "well": well.name, "day": online - timedelta(days=FLOWBACK_DAYS - number), "hours": 24.0,
                "water": round(0.009 * clean_bbl * (1.0 - 0.6 * cleaned) * float(rng.lognormal(0.0, 0.06)), 0),
                "oil": round(oil, 0), "gas": round(oil * (1.1 + 0.8 * cleaned), 0), "choke": 14.0 + number // 5 * 2.0,
                "wellhead_psi": round(wellhead, 0), "reservoir_psi": round(reservoir, 0),
                "bottomhole_psi": round(wellhead + 0.72 * float(hydrostatic_psi(FLUID_PPG, well.tvd_ft)), 0),
            }
        )  # fmt: skip
    return rows
