"""Does a whole record obey physics? Units that a map declares wrongly, and a day and month that were exchanged."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import cache
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pipeline.physics.constants import GAL_PER_BBL
from pipeline.physics.fluids import hydrostatic_psi
from pipeline.physics.plausible import adds_up, too_low
from pipeline.physics.waves import joukowsky_surge_psi
from pipeline.picks.arrays import integral, largest, mean, median, percentile, runs
from pipeline.picks.falloff import last_pumping_psi
from pipeline.picks.stage import StagePicks
from pipeline.picks.timeline import SMALLEST_BPM
from pipeline.picks.types import Array, Pick, StageDesign
from pipeline.units import conversion, format_number, qty

Row = dict[str, Any]
Levels = dict[str, float | None]
UNITS = {
    "pressure": ("psi", ("MPa", "bar", "kPa")),
    "rate": ("bpm", ("m**3/min", "L/min", "L/s", "gal/min", "ft**3/min")),
    "concentration": ("ppa", ("kg/m**3",)),
}
"""Units of the lake, and those that a map declares as them by mistake."""
SHALLOW_FT = 3000.0
"""Above this depth treating pressures have no lower limit. [ft]"""
FRACTURE_PSI_FT = (0.45, 1.4)
"""Pressure gradients at the perforations at which rock is fractured, with room on both sides (common practice)."""
TREATING_PSI = (800.0, 15_000.0)
"""Highest treating pressures of stages whose depth is not known (common practice). [psi]"""
AS_STATED = (0.4, 1.6)
"""A rate or concentration within these multiples of the stated one is not suspect. [1]"""
LEAST_SAND = 30
"""Samples with proppant from which rates and concentration are compared. [1]"""
LEAST_OTHERS = 2
"""Stages of the well that a stage is compared with. [1]"""
NEAR = (0.8, 1.25)
"""A factor that leads to within these multiples of the stated value names the likely unit. [1]"""
PAUSE_S, SHORT_PAUSE_S = 3600.0, 600.0
"""Treatments of one stage are not apart by more; by the second, if they place much more proppant than designed. [s]"""
SURGE_SHARE = 3.0
"""No fall at shut-in exceeds the surge of an instant stop and the friction of the record by this factor. [1]"""
DATE_DAYS = 25.0
"""A date this far from the well's other dates is suspect, if exchanging day and month brings it close. [d]"""


@dataclass(frozen=True)
class Suspect:
    """A channel whose declared unit contradicts physics: what, and why."""

    channel: str
    words: str


def levels(picks: StagePicks) -> Levels:
    """Return what a stage's record shows of each channel: highest pressure, usual rate, highest concentration."""
    return {channel: _level(channel, picks) for channel in UNITS}


def suspects(picks: StagePicks, design: StageDesign, row: Row, reported: Row, shows: Levels) -> list[Suspect]:
    """Return the channels of a stage's record whose unit is probably another one.

    Pressure is tested against depth and density (or, without them, against all treatments), and its fall at shut-in
    against the surge of an instant stop; pressure, rate and concentration are tested against what was designed and
    reported.
    """
    line = picks.timeline
    stated = reported.get("avg_slurry_rate_bpm") or design.rate_bpm
    if line.main is None:  # the rate never reaches the main rate: perhaps because of its unit
        rate = line.record.rate_bpm[line.record.rate_bpm > SMALLEST_BPM]
        usual = percentile(rate, 80.0) if rate.size else 0.0
        low = _against("rate", usual, stated) if stated else None
        if low is None:
            return []
        pumping = line.record.pressure_psi[line.record.rate_bpm >= 0.5 * usual]
        also = _pressure(pumping, picks, design, row, reported)
        return [low] if also is None else [also, low]
    record, span = line.record, slice(line.main, line.end)
    found = [
        _pressure(record.pressure_psi[span], picks, design, row, reported) or _idle(shows, row),
        _surge(picks, design),
        _balance(picks, design),
    ]
    rate = record.rate_bpm[span]
    if stated:
        found.append(_against("rate", median(rate[rate >= line.main_bpm]), stated))
    elif reported.get("clean_bbl"):
        found.append(_volume(picks, reported["clean_bbl"]))
    if record.conc_ppa is not None and reported.get("proppant_lbm") and reported.get("clean_bbl"):
        conc = record.conc_ppa[span]
        usual = reported["proppant_lbm"] / (GAL_PER_BBL * reported["clean_bbl"])
        found.append(_against("concentration", mean(conc), usual))
    found.append(_several_jobs(picks, design))
    return [suspect for suspect in found if suspect is not None]


def _several_jobs(picks: StagePicks, design: StageDesign) -> Suspect | None:
    """Tell a record that holds several treatments: as much is pumped again after a long pause."""
    record = picks.timeline.record
    pumped = runs(record.rate_bpm >= picks.timeline.main_bpm)
    if len(pumped) < 2:
        return None
    first, last = record.time_s[pumped[:, 0]], record.time_s[pumped[:, 1] - 1]
    pause = first[1:] - last[:-1]
    designed = design.proppant_lbm if record.conc_ppa is not None else None
    longest = SHORT_PAUSE_S if designed else PAUSE_S
    jobs = np.split(np.arange(len(pumped)), np.flatnonzero(pause > longest) + 1)
    volumes = [
        sum(integral(record.time_s[a:b], record.rate_bpm[a:b] / 60.0)[0] for a, b in pumped[job]) for job in jobs
    ]
    alike = [at for at, volume in enumerate(volumes) if volume >= 0.5 * max(volumes)]
    if len(alike) < 2 or any(
        _with_proppant(record.conc_ppa, pumped[one], at_end=True) or _with_proppant(record.conc_ppa, pumped[other])
        for one, other in pairwise(jobs)
    ):
        return None
    if designed and not _more_than(designed, picks):
        return None
    hours = float(np.max(pause)) / 3600.0
    text = f"{len(alike)} treatments of similar volume, with pauses of up to {hours:.1f} h"
    return Suspect("record", f"{text}: are these several stages in one record?")


def _with_proppant(conc_ppa: Array | None, spans: NDArray[np.intp], *, at_end: bool = False) -> bool:
    """Whether a treatment begins, or ends, with proppant: it has no pad, or no flush, and is a part of a stage."""
    if conc_ppa is None:
        return False
    rows = np.concatenate([np.arange(a, b) for a, b in spans])
    size = max(rows.size // 12, 1)
    part = conc_ppa[rows[-size:] if at_end else rows[:size]]
    top = largest(conc_ppa[rows], 0.0)
    return bool(top > 0.0 and np.nanmedian(part) > 0.05 * top) if np.isfinite(part).any() else False


def _more_than(designed_lbm: float, picks: StagePicks) -> bool:
    """Whether a record holds much more proppant than was designed for the stage."""
    record = picks.timeline.record
    clean = record.clean_bpm if record.clean_bpm is not None else record.rate_bpm
    assert record.conc_ppa is not None
    placed = integral(record.time_s, np.nan_to_num(record.conc_ppa * clean) * GAL_PER_BBL / 60.0)[0]
    return placed > AS_STATED[1] * designed_lbm


def _pressure(pumping: Array, picks: StagePicks, design: StageDesign, row: Row, reported: Row) -> Suspect | None:
    """Test the pressures of the main treatment, or of all pumping where that is not found."""
    highest = largest(pumping, -np.inf)
    if not np.isfinite(highest):
        return None
    stated = reported.get("max_treating_pressure_psi")
    if stated:
        return _against("pressure", highest, stated)
    tests = [(highest, TREATING_PSI, f"a highest treating pressure of {qty(highest, 'psi')}")]
    isip, tvd = picks.automatic["isip"].value, row.get("tvd_ft")
    if isip is not None and tvd and design.pipe is not None:
        weight = float(hydrostatic_psi(design.pipe.density_ppg, tvd))
        low, high = (gradient * tvd - weight for gradient in FRACTURE_PSI_FT)
        tests.insert(0, (isip, (low, high), f"an ISIP of {qty(isip, 'psi')} at {qty(tvd, 'ft')}"))
    if tvd and tvd < SHALLOW_FT:  # a shallow well can be treated at any pressure
        tests.pop()
    off = [what for value, (low, high), what in tests if not low <= value <= high]
    if not off:
        return None
    for unit, factor in _factors("pressure"):
        if all(low <= value * factor <= high for value, (low, high), _ in tests):
            return Suspect("pressure", f"{off[0]} fits no fracture; the pressure is probably in {unit}")
    return None


def _idle(shows: Levels, row: Row) -> Suspect | None:
    """Refuse a pressure too low for the rate: that of another line, or in a unit that none of ours explains."""
    if row.get("tvd_ft") and row["tvd_ft"] < SHALLOW_FT:
        return None
    highest, rate = shows["pressure"], shows["rate"]
    if highest is None or rate is None or not too_low(highest, rate):
        return None
    return Suspect(
        "pressure",
        f"a highest pressure of {qty(highest, 'psi')} at {qty(rate, 'bpm')} fits no fracture treatment: "
        "check the column and its unit",
    )


def _balance(picks: StagePicks, design: StageDesign) -> Suspect | None:
    """Compare slurry rate, clean rate and concentration: grains keep their volume."""
    line = picks.timeline
    record, span = line.record, slice(line.main, line.end)
    if record.clean_bpm is None or record.conc_ppa is None:
        return None
    conc, clean, slurry = record.conc_ppa[span], record.clean_bpm[span], record.rate_bpm[span]
    known = (clean > SMALLEST_BPM) & (slurry >= line.main_bpm)
    sand = known & (conc > 0.25 * largest(conc[known], 0.0)) & (conc > 0.0)
    if np.count_nonzero(sand) < LEAST_SAND:
        return None
    middle = median(conc[sand])
    seen, told = median(slurry[sand] / clean[sand] - 1.0), middle * design.absolute_volume_gal_lbm
    if adds_up(seen, told):
        return None
    usual = qty(middle, "ppa")
    shares = [format_number(100.0 * share, 3) for share in (seen, told)]
    text = f"the slurry rate is {shares[0]} % above the clean rate, at {usual} it is {shares[1]} %"
    for name, factor in _factors("concentration"):
        for unit, value in ((name, told * factor), ("ppa", told / factor)):
            if seen > 0.0 and NEAR[0] <= value / seen <= NEAR[1]:
                return Suspect("concentration", f"{text}; the concentration is probably in {unit}")
    return Suspect("concentration", f"{text}: check the columns of both rates and of the concentration")


def beside(stages: Sequence[Levels]) -> list[list[Suspect]]:
    """Return, for each stage of a well, its channels that only another unit brings to the level of the other stages."""
    found: list[list[Suspect]] = [[] for _ in stages]
    for channel, (unit, _) in UNITS.items():
        values = [shows[channel] for shows in stages]
        for place, value in enumerate(values):
            others = [other for at, other in enumerate(values) if at != place and other is not None]
            if value is None or len(others) < LEAST_OTHERS:
                continue
            usual = median(np.array(others))
            if usual > 0.0 and np.mean([AS_STATED[0] <= other / usual <= AS_STATED[1] for other in others]) > 0.7:
                words = f"the record shows {qty(value, unit)}, the well's other stages {qty(usual, unit)}"
                odd = _against(channel, value, usual, words)
                found[place] += [odd] if odd is not None else []
    return found


def _level(channel: str, picks: StagePicks) -> float | None:
    line = picks.timeline
    record = line.record
    if channel == "rate":
        rate = record.rate_bpm[record.rate_bpm > SMALLEST_BPM]
        return percentile(rate, 80.0) if rate.size else None
    values = record.pressure_psi[slice(line.main, line.end)] if channel == "pressure" else record.conc_ppa
    if values is None:
        return None
    top = largest(values, 0.0)
    return top if top > 0.0 else None


def _volume(picks: StagePicks, reported_bbl: float) -> Suspect | None:
    """Compare the volume pumped with the reported one; slurry is a little more than clean fluid."""
    line = picks.timeline
    span = slice(line.start, line.end)
    clean = line.record.clean_bpm if line.record.clean_bpm is not None else line.record.rate_bpm
    pumped, _ = integral(line.record.time_s[span], clean[span] / 60.0)
    words = f"the record adds up to {qty(pumped, 'bbl')} where {qty(reported_bbl, 'bbl')} are reported"
    return _against("rate", pumped, reported_bbl, words)


def _surge(picks: StagePicks, design: StageDesign) -> Suspect | None:
    """Compare the fall at shut-in with the most that stopping the rate can do."""
    line, isip, pipe = picks.timeline, picks.automatic["isip"].value, design.pipe
    if line.end is None or isip is None or pipe is None or pipe.wave_speed_ft_s is None:
        return None
    before = last_pumping_psi(line, float(line.record.time_s[line.end]))
    if before is None or not before > isip:
        return None
    rate = largest(line.record.rate_bpm[line.main : line.end], 0.0)
    surge = float(joukowsky_surge_psi(pipe.density_ppg, pipe.wave_speed_ft_s, rate, pipe.inside_in))
    if before - isip <= SURGE_SHARE * surge:
        return None
    fall = f"the pressure falls by {qty(before - isip, 'psi')} at shut-in"
    return Suspect("rate", f"{fall}, an instant stop of {qty(rate, 'bpm')} gives {qty(surge, 'psi')}: check both units")


@cache
def _factors(channel: str) -> tuple[tuple[str, float], ...]:
    """Units that a channel can be in by mistake, as they are written, with their factors to the lake's unit."""
    ours, others = UNITS[channel]
    return tuple((unit.replace("**", ""), conversion(unit, ours).factor) for unit in others)


def _against(channel: str, value: float, stated: float, words: str | None = None) -> Suspect | None:
    """Compare a value with what was stated for it; `words` tell both, if they are not in the channel's unit."""
    if not value > 0.0 or AS_STATED[0] <= value / stated <= AS_STATED[1]:
        return None
    unit = UNITS[channel][0]
    for name, factor in _factors(channel):
        if NEAR[0] <= value * factor / stated <= NEAR[1]:
            text = words or f"the record shows {qty(value, unit)} where {qty(stated, unit)} is stated"
            return Suspect(channel, f"{text}; the {channel} is probably in {name}")
    return None


def doubted(picks: StagePicks, found: Sequence[Suspect]) -> StagePicks:
    """Return the picks with low confidence where a suspect channel contradicts them."""
    if not found:
        return picks
    why = "; ".join(suspect.words for suspect in found)

    def low(pick: Pick) -> Pick:
        if pick.value is None and pick.time_s is None:
            return pick
        return replace(pick, confidence="low", reason=f"{why}; {pick.reason}")

    return replace(
        picks,
        automatic={name: low(pick) for name, pick in picks.automatic.items()},
        effective={name: pick if pick.by_engineer else low(pick) for name, pick in picks.effective.items()},
    )


def exchanged(moment: datetime, others: Sequence[datetime]) -> datetime | None:
    """Return a moment with day and month exchanged, if only then it fits the well's other moments.

    Parameters
    ----------
    moment : datetime
        Beginning of a record, UTC.
    others : sequence of datetime
        Moments of the well's other records and of its tables, UTC.
    """
    if moment.day > 12 or moment.day == moment.month or len(others) < 2:
        return None
    middle = sorted(others)[len(others) // 2]
    other = moment.replace(month=moment.day, day=moment.month)
    off, after = abs(moment - middle), abs(other - middle)
    return other if off > timedelta(days=DATE_DAYS) and after < 0.25 * off else None
