"""Whether columns of a strange record behave as their headings say: pressure follows rate, grains keep volume."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from pipeline.ingest.behaviour import spread
from pipeline.ingest.propose.guess import Look
from pipeline.ingest.propose.measured import in_lake_units, typical, unit_can_be
from pipeline.ingest.vocabulary import fit, vocabulary, words_of
from pipeline.physics.plausible import adds_up, too_low
from pipeline.picks.types import SAND_GAL_LBM
from pipeline.unit_names import is_unit, names_added, read_unit
from pipeline.units import format_number

Chosen = dict[str, tuple[int, float]]
PRESSURE, RATE, CLEAN, CONC = "treating_pressure_psi", "slurry_rate_bpm", "clean_rate_bpm", "proppant_conc_ppa"
LEAST_ROWS = 20
"""Rows from which a behaviour is judged."""
FOLLOWS, FLAT = 0.15, 0.05
"""Share of the pressure at rate that is gone without rate: of a treating pressure, and of a line beside it. [1]"""
HIGHEST_BPM, LEAST_PSI = 160.0, 800.0
"""No rate is above the one, and no treating pressure stays below the other. [bpm], [psi]"""
RIVAL = 0.45
"""Two headings whose fits differ by less cannot be told apart by their words. [1]"""


@dataclass(frozen=True)
class Doubt:
    """What speaks against the reading of a column: why, the question, and a unit that would fit."""

    why: str
    question: str
    unit: str = ""


def better_read(look: Look, chosen: Chosen) -> tuple[Chosen, dict[str, Doubt]]:
    """Return the columns of a treatment record as they behave, and the doubts that a person must settle.

    Parameters
    ----------
    look : Look
    chosen : dict
        Place and fit of each lake column, by the words of the headings.
    """
    if not {PRESSURE, RATE} <= set(chosen):
        return chosen, {}
    pressure, rate = chosen[PRESSURE][0], chosen[RATE][0]
    one, other = look.heading(pressure), look.heading(rate)
    low, high = spread(look.values(pressure))[1], spread(look.values(rate))[1]
    if (
        low <= HIGHEST_BPM
        and high >= LEAST_PSI
        and _says(look, pressure, "psi", "psi")
        and _says(look, rate, "bpm", "bpm")
    ):
        reach = f"'{one}' reaches {format_number(low)} and '{other}' {format_number(high)}"
        why = f"{reach}: the headings seem to be exchanged"
        asked = f"{PRESSURE}: {why}, and are read so: right?"
        turned = {**chosen, PRESSURE: chosen[RATE], RATE: chosen[PRESSURE]}
        return turned, {PRESSURE: Doubt(why, asked, "psi"), RATE: Doubt(why, f"{RATE}: see {PRESSURE}", "bpm")}
    psi = spread(in_lake_units(look, pressure, "treatment", PRESSURE))[1]
    bpm = spread(in_lake_units(look, rate, "treatment", RATE))[1]
    doubts = {}
    leader = _leader(look, chosen)
    if leader is not None:
        why = f"'{one}' does not change with the rate, '{look.heading(leader)}' does"
        doubts[PRESSURE] = Doubt(why, f"{PRESSURE}: {why}: which one is it?")
        score = fit(look.said(leader), vocabulary().signals["treatment"][PRESSURE])
        if score and chosen[PRESSURE][1] - score < RIVAL:  # words cannot tell them apart
            chosen = {**chosen, PRESSURE: (leader, score)}
    elif too_low(psi, bpm):
        unit = typical("psi", spread(look.values(pressure))[1]) or ""
        why = f"at most {format_number(psi)} psi at {format_number(bpm, 3)} bpm is unusual"
        doubts[PRESSURE] = Doubt(
            why, f"{PRESSURE}: {why}: the column, or its unit{f' ({unit}?)' if unit else ''}?", unit
        )
    return chosen, doubts


def _says(look: Look, place: int, unit: str, target: str) -> bool:
    """Whether a column's unit is the given one, as far as the file says."""
    said = [one for one in look.units_said(place) if is_unit(one, target)]
    return not said or read_unit(said[0], target) == read_unit(unit, target)


def _is_pressure(look: Look, place: int) -> bool:
    """Whether heading or unit of a column say that it is a pressure: by the words that all pressures have."""
    signals = vocabulary().signals
    words = signals["treatment"][PRESSURE].needs[0] & signals["coil"]["circulating_pressure_psi"].needs[0]
    return bool(words_of(look.said(place)) & words) or any(is_unit(unit, "psi") for unit in look.units_said(place))


def _leader(look: Look, chosen: Chosen) -> int | None:
    """Return a column of pressure that follows the rate, where the chosen one does not."""
    own = _response(look, chosen[PRESSURE][0], chosen[RATE][0])
    if own is None or abs(own) > FLAT:
        return None
    taken = {place for place, _ in chosen.values()}
    others = [
        (share, place)
        for place in range(len(look.table.names))
        if place not in taken
        and _is_pressure(look, place)
        and unit_can_be(look, place, PRESSURE)
        and (share := _response(look, place, chosen[RATE][0])) is not None
    ]
    share, place = max(others, default=(0.0, -1))
    return place if share > FOLLOWS else None


def _response(look: Look, pressure: int, rate: int) -> float | None:
    """Return the share of the pressure at rate that is gone where the rate is; None if the rate never stops."""
    values, pumped = look.values(pressure), look.values(rate)
    if not np.isfinite(pumped).any():
        return None
    top = float(np.nanpercentile(pumped, 95.0))
    with np.errstate(invalid="ignore"):
        fast, still = values[pumped >= 0.7 * top], values[pumped <= 0.1 * top]
    fast, still = fast[np.isfinite(fast)], still[np.isfinite(still)]
    if top <= 0.0 or min(fast.size, still.size) < LEAST_ROWS:
        return None
    high = float(np.median(fast))
    return (high - float(np.median(still))) / abs(high) if high else 0.0


def volume_of(look: Look, chosen: Mapping[str, tuple[int, float]], lands: str) -> tuple[str, str, bool]:
    """Return what a proppant concentration is per volume of, and how that is known.

    Parameters
    ----------
    look : Look
    chosen : mapping of str to tuple of int and float
        Place and fit of each lake column of the record.
    lands : str

    Returns
    -------
    volume : {"clean", "slurry", ""}
        Empty if the file does not say.
    why : str
    asked : bool
        Whether a person must decide.

    Notes
    -----
    ``slurry/clean - 1`` is ``c*v`` where ``c`` is added to a gallon of clean fluid, and ``c*v/(1 - c*v)`` where it is
    in a gallon of slurry: grains keep their volume. One of the two is believed where the rates come five times nearer
    to it than to the other.
    """
    place = chosen[CONC if lands == "treatment" else "sand_conc_ppa"][0]
    words = words_of(look.said(place))
    balance = _balance(look, chosen, place) if lands == "treatment" else None
    if balance is not None and not adds_up(*balance):
        shown, told = (format_number(100.0 * part, 3) for part in balance)
        return "", f"the slurry rate is {shown} % above the clean rate, by the concentration it is {told} %", True
    if words & {"slurry", "lechada", "coulis"}:
        return "slurry", "the heading says per volume of slurry", False
    said = [unit for unit in look.units_said(place) if is_unit(unit, "ppa")]
    if any(names_added(unit) for unit in said) or words & {"ppa", "ppga", "ppac", "kgpa"}:
        return "clean", "mass added to a volume of clean fluid", False
    if balance is not None:
        seen, added = balance
        held = added / (1.0 - added) if added < 1.0 else np.inf
        for name, here, other in (("clean", added, held), ("slurry", held, added)):
            if abs(seen - here) < 0.2 * abs(seen - other):
                above = f"the slurry rate is {format_number(100.0 * seen, 3)} % above the clean rate"
                return name, f"{above}, as it is per volume of {name}", name == "slurry"
    return "", "", True


def _balance(look: Look, chosen: Mapping[str, tuple[int, float]], place: int) -> tuple[float, float] | None:
    """Return by what share the slurry rate is above the clean rate, as recorded and by the concentration."""
    if not {RATE, CLEAN} <= set(chosen):
        return None
    conc = in_lake_units(look, place, "treatment", CONC)
    slurry, clean = (in_lake_units(look, chosen[lake][0], "treatment", lake) for lake in (RATE, CLEAN))
    with np.errstate(invalid="ignore"):
        sand = (conc > 0.25 * np.nanmax(conc, initial=0.0)) & (conc > 0.0) & (clean > 1.0) & (slurry > 1.0)
    if sand.sum() < LEAST_ROWS:
        return None
    added = float(np.median(conc[sand])) * SAND_GAL_LBM
    return float(np.median(slurry[sand] / clean[sand] - 1.0)), added
