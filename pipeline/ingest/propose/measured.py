"""Units of the columns of a strange file, and what its values say of them."""

from __future__ import annotations

import re
from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from pipeline.ingest.behaviour import spread
from pipeline.ingest.propose.guess import ASKED, SURE, Look
from pipeline.ingest.vocabulary import words_of
from pipeline.physics.fluids import absolute_volume_gal_per_lbm
from pipeline.schemas import LANDED
from pipeline.schemas.base import meta
from pipeline.unit_names import is_unit, looks_like_unit, names_added, read_unit

LEAST_SAND = 20
"""Rows with proppant from which the volume of a concentration is judged."""

_TYPICAL: dict[str, tuple[tuple[str, float, float], ...]] = {
    # unit, range of the 99th percentile in it (common practice); the first that fits is proposed, and asked
    "psi": (("psi", 300.0, 15000.0), ("MPa", 5.0, 100.0), ("bar", 100.0, 300.0), ("kPa", 15000.0, 100000.0)),
    "bpm": (("bpm", 16.0, 150.0), ("m3/min", 0.05, 16.0), ("L/min", 150.0, 25000.0)),
    "ppa": (("ppa", 0.1, 12.0), ("kg/m3", 12.0, 1500.0)),
    "ft": (("ft", 4500.0, 40000.0), ("m", 10.0, 4500.0)),
    "lbf": (("lbf", 1000.0, 120000.0), ("klbf", 5.0, 120.0), ("daN", 1000.0, 60000.0)),
    "gpt": (("gpt", 0.01, 10.0),),
}
_BY_UNIT = ("treating_pressure_psi", "slurry_rate_bpm", "proppant_conc_ppa", "depth_ft")
"""Columns that can be told by their unit alone, where only one column has it."""


def lake_unit(lake: str) -> str:
    """Return the lake's unit of a column; empty for texts and times."""
    return next((meta(table.columns[lake]).get("unit") or "" for table in LANDED.values() if lake in table.columns), "")


_BRACKETED = re.compile(r"[\[({<]([^\])}>]+)[\])}>]")


def _units_said(look: Look, place: int) -> list[str]:
    """Return the units that the file gives for a column: below the heading, in brackets, as words of the heading."""
    heading = look.table.names[place]
    below = look.table.units[place] if place < len(look.table.units) else ""
    bracketed = _BRACKETED.findall(f"{heading} {look.said(place)}")
    words = [word for word in re.split(r"[\s,;:_]+", heading) if len(word) > 1 or word in "%"][1:]
    ends = [heading[at + 1 :] for at in (heading.rfind("_"), heading.rfind(",")) if 0 < at < len(heading) - 1]
    return [unit for unit in dict.fromkeys([below.strip(), *bracketed, *ends, *reversed(words)]) if unit]


def only_unit(look: Look, place: int, lake: str) -> bool:
    """Whether this column alone has a unit of the column's dimension."""
    target = lake_unit(lake)
    if lake not in _BY_UNIT:
        return False
    if not any(is_unit(unit, target) for unit in _units_said(look, place)):
        return False
    others = (at for at in range(len(look.table.names)) if at != place)
    return not any(any(is_unit(unit, target) for unit in _units_said(look, at)) and not look.total(at) for at in others)


def unit_can_be(look: Look, place: int, lake: str) -> bool:
    """Whether no unit that the file gives contradicts the column's dimension."""
    target = lake_unit(lake)
    below = look.table.units[place] if place < len(look.table.units) else ""
    bracketed = _BRACKETED.findall(look.table.names[place])
    given = [unit for unit in (below.strip(), *bracketed) if unit and looks_like_unit(unit)]
    if not target:  # a name, a number or a time: a measured quantity is none of them
        return lake in ("time", "start_time", "end_time", "set_time") or not given
    return target == "ratio" or not given or any(is_unit(unit, target) for unit in given)


def unit_guess(look: Look, place: int, lands: str, lake: str) -> tuple[str, str, str, tuple[str, ...]]:
    """Return unit, confidence, why and candidates of a measured column."""
    target = lake_unit(lake)
    hard = meta(LANDED[lands].columns[lake]).get("hard")
    low, high = spread(look.values(place), zeros=hard is None or hard[0] <= 0.0)
    for unit in _units_said(look, place):
        if not is_unit(unit, target):
            continue
        line = read_unit(unit, target)
        if hard is not None and np.isfinite(high) and not (
            hard[0] <= low * line.factor + line.offset and high * line.factor + line.offset <= hard[1]
        ):  # fmt: skip
            other = _typical(target, high)
            return other or unit, ASKED, f"the file says {unit}, but its values reach {high:g}: impossible", (unit,)
        if target in ("psi", "bpm") and np.isfinite(high) and high > 0.0 and not _usual(target, high * line.factor):
            other = _typical(target, high)
            return unit, ASKED, f"the file says {unit}; values up to {high:g} are unusual", (other,) if other else ()
        return unit, SURE, f"the file says {unit}", ()
    if target == "ratio":
        return "ratio", SURE, "a count or a share", ()
    typical = _typical(target, high)
    others = tuple(unit for unit, *_ in _TYPICAL.get(target, ()) if unit != typical)
    bracketed = _BRACKETED.findall(look.table.names[place])
    said = f"'{bracketed[-1]}' is no unit that is known here" if bracketed else "the file gives no unit"
    why = f"{said}; most values, up to {high:g}, look like {typical or target}"
    return typical or target, ASKED, why, others


def volume_of(look: Look, chosen: Mapping[str, tuple[int, float]], lands: str) -> tuple[str, str]:
    """Return what a proppant concentration is per volume of, and how that is known; empty if the file does not say.

    Parameters
    ----------
    look : Look
    chosen : mapping of str to tuple of int and float
        Place and fit of each lake column of the record.
    lands : str

    Returns
    -------
    volume : {"clean", "slurry", ""}
    why : str

    Notes
    -----
    ``slurry/clean - 1`` is ``c*v`` where ``c`` is added to a gallon of clean fluid, and ``c*v/(1 - c*v)`` where it is
    in a gallon of slurry: grains keep their volume. One of the two is believed where the rates come five times nearer
    to it than to the other.
    """
    place = chosen["proppant_conc_ppa" if lands == "treatment" else "sand_conc_ppa"][0]
    said = [unit for unit in _units_said(look, place) if is_unit(unit, "ppa")]
    if any(names_added(unit) for unit in said) or {"ppa", "ppga", "ppac", "kgpa"} & words_of(look.said(place)):
        return "clean", "mass added to a volume of clean fluid"
    if lands != "treatment" or not {"slurry_rate_bpm", "clean_rate_bpm"} <= set(chosen):
        return "", ""
    conc = in_lake_units(look, place, lands, "proppant_conc_ppa")
    slurry, clean = (
        in_lake_units(look, chosen[lake][0], lands, lake) for lake in ("slurry_rate_bpm", "clean_rate_bpm")
    )
    with np.errstate(invalid="ignore"):
        sand = (conc > 0.25 * np.nanmax(conc, initial=0.0)) & (conc > 0.1) & (clean > 1.0) & (slurry > 1.0)
    if sand.sum() < LEAST_SAND:
        return "", ""
    volume = conc[sand] * float(absolute_volume_gal_per_lbm(2.65))
    added, held = float(np.median(volume)), float(np.median(volume / (1.0 - volume)))
    seen = float(np.median(slurry[sand] / clean[sand] - 1.0))
    for name, here, other in (("clean", added, held), ("slurry", held, added)):
        if abs(seen - here) < 0.2 * abs(seen - other):
            return name, f"the slurry rate is {100 * seen:.3g} % above the clean rate, as it is per volume of {name}"
    return "", ""


def in_lake_units(look: Look, place: int, lands: str, lake: str) -> NDArray[np.float64]:
    """Return the values of a column in the lake's unit, by the unit that is guessed."""
    line = read_unit(unit_guess(look, place, lands, lake)[0], lake_unit(lake))
    return look.values(place) * line.factor + line.offset


def goes_against(look: Look, place: int, lake: str, unit: str) -> bool:
    """Whether a proposed unit is not that of the units row."""
    below = look.table.units[place].strip() if place < len(look.table.units) else ""
    target = lake_unit(lake)
    return bool(below) and not (is_unit(below, target) and read_unit(below, target) == read_unit(unit, target))


def _typical(target: str, high: float) -> str | None:
    return next((unit for unit, low, top in _TYPICAL.get(target, ()) if low <= high <= top), None)


def _usual(target: str, high: float) -> bool:
    return {"psi": 200.0, "bpm": 0.2}[target] <= high <= {"psi": 18000.0, "bpm": 160.0}[target]
