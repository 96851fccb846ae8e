"""Stage metrics: one row per stage, read from effective picks."""

from __future__ import annotations

from datetime import datetime

import numpy as np

from pipeline.metrics.declare import Missing, known, known_or
from pipeline.metrics.stage.view import NO_INJECTION, STAGE, StageView
from pipeline.physics.constants import GAL_PER_BBL
from pipeline.physics.fluids import proppant_rate_lbm_min
from pipeline.physics.rock import pressure_gradient_psi_ft
from pipeline.picks.arrays import integral, most_in_gaps
from pipeline.picks.proppant import flush_bbl as measured_flush

CUT_SHORT = 0.95
"""Less of the designed proppant than this was cut short. [1]"""
PUMPED_BPM = 5.0
"""Lowest rate that counts as pump time. [bbl/min]"""
MOSTLY = 0.9
"""A mean over less of the main treatment than this is none. [1]"""
TRADE = "trade convention"


@STAGE.metric("", "first sustained rate into the well", kind="time")
def start_time(s: StageView) -> datetime:
    return s.moment("injection_start")


@STAGE.metric("", "shut-in at the end of the stage", kind="time")
def end_time(s: StageView) -> datetime:
    return s.moment("shut_in")


@STAGE.metric("", "first sample of the record", kind="time")
def record_start(s: StageView) -> datetime:
    return s.origin


@STAGE.metric("bpm", "main rate: the main treatment is pumped at this rate or more", source=TRADE)
def main_rate_bpm(s: StageView) -> float:
    return s.picks.timeline.main_bpm


@STAGE.metric(
    "min",
    "minutes at 5 bpm (or a quarter of a smaller main rate) or more, injection start to shut-in",
    source=TRADE,
    version=2,
)
def pump_time_min(s: StageView) -> float:
    if s.injection is None:
        raise Missing(NO_INJECTION)
    return float(s.seconds @ (s.rate >= min(PUMPED_BPM, 0.25 * s.picks.timeline.main_bpm)) / 60.0)


@STAGE.metric("psi", "time mean of pressure over the main treatment (main rate or more, including ramps)", source=TRADE)
def avg_treating_pressure_psi(s: StageView) -> float:
    return s.mean(s.pressure, s.main)


@STAGE.metric("psi", "time mean of the pressure at a gauge in the well over the main treatment", source=TRADE)
def avg_downhole_pressure_psi(s: StageView) -> float:
    if s.downhole is None:
        raise Missing("no gauge in the well on record")
    there = s.main & ~np.isnan(s.downhole)
    if s.seconds[there].sum() < MOSTLY * s.seconds[s.main].sum():
        raise Missing(f"the gauge in the well read less than {100 * MOSTLY:.0f} % of the main treatment")
    return s.mean(s.downhole, there)


@STAGE.metric("bpm", "time mean of slurry rate over the main treatment", source=TRADE)
def avg_slurry_rate_bpm(s: StageView) -> float:
    return s.mean(s.rate, s.main)


@STAGE.metric("psi", "time mean of pressure at 90 % of the design rate or more", source=TRADE)
def at_rate_pressure_psi(s: StageView) -> float:
    return s.mean(s.pressure, s.at_rate)


@STAGE.metric("bpm", "time mean of slurry rate at 90 % of the design rate or more", source=TRADE)
def at_rate_rate_bpm(s: StageView) -> float:
    return s.mean(s.rate, s.at_rate)


@STAGE.metric("psi", "median pressure over the main treatment")
def median_treating_pressure_psi(s: StageView) -> float:
    return s.spread[1]


@STAGE.metric("psi", "10th percentile of pressure over the main treatment")
def p10_treating_pressure_psi(s: StageView) -> float:
    return s.spread[0]


@STAGE.metric("psi", "90th percentile of pressure over the main treatment")
def p90_treating_pressure_psi(s: StageView) -> float:
    return s.spread[2]


@STAGE.metric("psi", "highest pressure over the main treatment; line tests are excluded")
def max_treating_pressure_psi(s: StageView) -> float:
    values = s.pressure[s.main]
    if not values.size:
        raise Missing(NO_INJECTION)
    return float(values.max())


@STAGE.metric("bpm", "highest slurry rate over the main treatment")
def max_slurry_rate_bpm(s: StageView) -> float:
    values = s.rate[s.main]
    if not values.size:
        raise Missing(NO_INJECTION)
    return float(values.max())


@STAGE.metric("psi", "gauge reading at zero pressure, subtracted from the record")
def zero_offset_psi(s: StageView) -> float:
    return s.pick("zero_offset")


@STAGE.metric("psi", "first local maximum of pressure after ball seat, before the rate is raised")
def breakdown_pressure_psi(s: StageView) -> float:
    return s.pick("breakdown_pressure")


@STAGE.metric("psi", "standard error of the breakdown pressure")
def breakdown_error_psi(s: StageView) -> float:
    found = s.picks.effective["breakdown_pressure"]
    return known(found.standard_error, found.reason)


@STAGE.metric("", "sharp, soft, gradual, unseen or amended", kind="text")
def breakdown_kind(s: StageView) -> str:
    return s.picks.breakdown_kind


@STAGE.metric("", "confidence of the breakdown pick, or amended or confirmed", kind="text", version=2)
def breakdown_confidence(s: StageView) -> str:
    return s.picks.effective["breakdown_pressure"].confidence


@STAGE.metric("psi", "instantaneous shut-in pressure at the end of the main treatment")
def isip_psi(s: StageView) -> float:
    return s.pick("isip")


@STAGE.metric("psi", "standard error of the ISIP")
def isip_error_psi(s: StageView) -> float:
    found = s.picks.effective["isip"]
    return known(found.standard_error, found.reason)


@STAGE.metric("", "confidence of the ISIP, or amended or confirmed", kind="text", version=2)
def isip_confidence(s: StageView) -> str:
    return s.picks.effective["isip"].confidence


@STAGE.metric("psi", "instantaneous shut-in pressure of the first shut-in before the last")
def initial_isip_psi(s: StageView) -> float:
    return s.pick("initial_isip")


@STAGE.metric("psi/ft", "(ISIP + hydrostatic)/TVD", source="definition")
def isip_gradient_psi_ft(s: StageView) -> float:
    isip = s.pick("isip")
    tvd, density = s.row.get("tvd_ft"), s.row.get("fluid_density_ppg")
    if not tvd or not density:
        raise Missing("no TVD or fluid density in the stages table")
    return float(pressure_gradient_psi_ft(isip, density, tvd))


@STAGE.metric("psi/ft", "standard error of the ISIP gradient: that of the ISIP over TVD", source="definition")
def isip_gradient_error_psi_ft(s: StageView) -> float:
    isip_gradient_psi_ft(s)
    return isip_error_psi(s) / float(s.row["tvd_ft"])


@STAGE.metric("psi", "pressure 5 min after shut-in at zero rate")
def pressure_5min_psi(s: StageView) -> float:
    return s.pick("pressure_5min")


@STAGE.metric("psi", "pressure 10 min after shut-in at zero rate")
def pressure_10min_psi(s: StageView) -> float:
    return s.pick("pressure_10min")


@STAGE.metric("psi", "pressure 15 min after shut-in at zero rate")
def pressure_15min_psi(s: StageView) -> float:
    return s.pick("pressure_15min")


@STAGE.metric("s", "period of the water hammer after shut-in")
def hammer_period_s(s: StageView) -> float:
    return s.pick("hammer_period")


@STAGE.metric("bbl", "slurry over the injection, by the trapezoidal rule over true time")
def slurry_bbl(s: StageView) -> float:
    return s.total(s.rate / 60.0)


@STAGE.metric("bbl", "clean fluid over the injection; from the slurry rate if no clean rate is recorded")
def clean_bbl(s: StageView) -> float:
    if s.clean is None:
        raise Missing("neither clean rate nor concentration in the record")
    return s.total(s.clean / 60.0)


@STAGE.metric("", "recorded, or from slurry rate and concentration", kind="text")
def clean_source(s: StageView) -> str:
    if s.clean is None:
        raise Missing("neither clean rate nor concentration in the record")
    return "recorded" if s.picks.timeline.record.clean_bpm is not None else "from slurry rate and concentration"


@STAGE.metric("lbm", "proppant: integral of clean rate times 42 times concentration", source="mass balance")
def proppant_lbm(s: StageView) -> float:
    if s.conc is None or s.clean is None:
        raise Missing("no concentration in the record")
    return s.total(proppant_rate_lbm_min(s.clean, s.conc) / 60.0)


@STAGE.metric("bbl", "slurry pumped after proppant ended at surface")
def flush_bbl(s: StageView) -> float:
    return known(
        measured_flush(s.picks.timeline, s.picks.effective["last_proppant"].time_s),
        "no proppant, or no end of the stage, in the record",
    )


@STAGE.metric("bbl", "casing volume to the bottom perforation")
def capacity_bbl(s: StageView) -> float:
    return known(s.design.capacity_bbl, "no casing or perforations in the tables")


@STAGE.metric(
    "s", "seconds of the injection without a usable rate: gaps (over 5 s and three usual steps), void samples"
)
def unmeasured_s(s: StageView) -> float:
    if s.injection is None:
        raise Missing(NO_INJECTION)
    return integral(s.time_s, s.rate)[1]


@STAGE.metric("", "whether the stage screened out", kind="flag")
def screenout(s: StageView) -> bool:
    return bool(s.pick("screenout"))


@STAGE.metric("", "reason for the screen-out decision", kind="text")
def screenout_reason(s: StageView) -> str:
    return s.picks.effective["screenout"].reason


@STAGE.metric("bbl", "most slurry that the unmeasured time can hold: the higher rate beside each gap")
def unmeasured_bbl(s: StageView) -> float:
    if s.injection is None:
        raise Missing(NO_INJECTION)
    return most_in_gaps(s.time_s, s.rate / 60.0)


@STAGE.metric("lbm", "most proppant that the unmeasured time can hold: the higher loading beside each gap")
def unmeasured_proppant_lbm(s: StageView) -> float:
    if s.conc is None or s.clean is None:
        raise Missing("no proppant concentration in the record")
    return most_in_gaps(s.time_s, s.clean * GAL_PER_BBL * s.conc / 60.0)


@STAGE.metric("", "proppant ended early (below 95 % of the design) without a screen-out", kind="flag", version=2)
def cut_short(s: StageView) -> bool:
    if placed_share(s) >= CUT_SHORT or known_or(screenout, s, False):
        return False
    most = proppant_lbm(s) + unmeasured_proppant_lbm(s)
    if s.design.proppant_lbm and most >= CUT_SHORT * s.design.proppant_lbm:
        raise Missing(f"the {unmeasured_s(s):.0f} s without measurement can hold the rest of the proppant")
    return True


@STAGE.metric("", "screen-out, pressure-out (full flush, pressure at the limit), cut short or complete", kind="text")
def stage_end(s: StageView) -> str:
    if screenout(s):
        return "screen-out"
    if s.pick("pressure_out"):
        return "pressure-out"
    return "cut short" if cut_short(s) else "complete"


@STAGE.metric(
    "min",
    "pump time of a complete stage: not of one known to have screened out or to be cut short, or cut off in the record",
    source=TRADE,
    version=2,
)
def completed_pump_time_min(s: StageView) -> float:
    for early, words in ((screenout, "it screened out"), (cut_short, "it was cut short")):
        if known_or(early, s, False):
            raise Missing(f"not a complete stage: {words}")
    if s.injection is not None and s.picks.timeline.end is None:
        raise Missing("not a complete stage on record: it ends while pumping")
    return pump_time_min(s)


@STAGE.metric("ratio", "placed over designed proppant")
def placed_share(s: StageView) -> float:
    placed = proppant_lbm(s)
    if not s.design.proppant_lbm:
        raise Missing("no designed proppant in the stages table")
    return float(placed / s.design.proppant_lbm)


@STAGE.metric("hp", "time mean of hydraulic horsepower over the main treatment", source="definition: p*q/40.816")
def avg_hhp(s: StageView) -> float:
    return s.mean(s.power, s.main)


@STAGE.metric("hp", "highest hydraulic horsepower over the main treatment", source="definition: p*q/40.816")
def max_hhp(s: StageView) -> float:
    power = s.power[s.main]
    if not power.size:
        raise Missing(NO_INJECTION)
    return float(power.max())


@STAGE.metric("hp*h", "hydraulic energy over the injection", source="definition: integral of p*q/40.816")
def hhp_hours(s: StageView) -> float:
    return s.total(s.power / 3600.0)


@STAGE.metric("psi", "pressure limit minus the highest pressure")
def pressure_margin_psi(s: StageView) -> float:
    highest = max_treating_pressure_psi(s)
    if s.design.pressure_limit_psi is None:
        raise Missing("no pressure limit in the stages table")
    return float(s.design.pressure_limit_psi - highest)


@STAGE.metric("psi", "pressure limit minus the mean pressure at rate, as a plan predicts it")
def mean_pressure_margin_psi(s: StageView) -> float:
    mean = at_rate_pressure_psi(s)
    if s.design.pressure_limit_psi is None:
        raise Missing("no pressure limit in the stages table")
    return float(s.design.pressure_limit_psi - mean)


@STAGE.metric("", "whether the stage reached 90 % of its design rate", kind="flag")
def reached_design_rate(s: StageView) -> bool:
    if s.injection is None:
        raise Missing(NO_INJECTION)
    if not s.design.rate_bpm:
        raise Missing("no design rate in the stages table")
    return bool(s.at_rate.any())


@STAGE.metric("", "whether physics contradicts the record: the unit of a channel, or that it is one stage", kind="flag")
def units_in_doubt(s: StageView) -> bool:
    return s.units_in_doubt


@STAGE.metric("", "number of the stage's picks with high confidence, or amended or confirmed", kind="count")
def picks_high(s: StageView) -> int:
    return sum(pick.confidence in ("high", "amended", "confirmed") for pick in s.picks.effective.values())


@STAGE.metric("", "number of the stage's picks with a value or time", kind="count")
def picks_made(s: StageView) -> int:
    return sum(pick.confidence != "none" for pick in s.picks.effective.values())
