"""Units of the columns of a strange file, and what its values say of them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pipeline.ingest.behaviour import spread
from pipeline.ingest.propose.guess import ASKED, BRACKETED, SURE, Look
from pipeline.schemas import LANDED
from pipeline.schemas.base import meta
from pipeline.unit_names import bare, is_unit, looks_like_unit, read_unit, two_meanings

_TYPICAL: dict[str, tuple[tuple[str, float, float], ...]] = {
    # unit, range of the 99th percentile in it (common practice); the first that fits is proposed, and asked
    "psi": (("psi", 300.0, 15000.0), ("MPa", 5.0, 100.0), ("bar", 100.0, 300.0), ("kPa", 15000.0, 100000.0)),
    "bpm": (("bpm", 16.0, 150.0), ("m3/min", 0.05, 16.0), ("L/min", 150.0, 25000.0)),
    "ppa": (("ppa", 0.1, 12.0), ("kg/m3", 12.0, 1500.0)),
    "ft": (("ft", 4500.0, 40000.0), ("m", 10.0, 4500.0)),
    "lbf": (("lbf", 1000.0, 120000.0), ("klbf", 5.0, 120.0), ("daN", 1000.0, 60000.0)),
    "gpt": (("gpt", 0.01, 10.0),),
}
LEAST_PPA = 0.1
"""A concentration that stays below is no proppant's. [ppa]"""
_BY_UNIT = ("treating_pressure_psi", "slurry_rate_bpm", "proppant_conc_ppa", "depth_ft")
"""Columns that can be told by their unit alone, where only one column has it."""


def lake_unit(lake: str) -> str:
    """Return the lake's unit of a column; empty for texts and times."""
    return next((meta(table.columns[lake]).get("unit") or "" for table in LANDED.values() if lake in table.columns), "")


def only_unit(look: Look, place: int, lake: str) -> bool:
    """Whether this column alone has a unit of the column's dimension."""
    target = lake_unit(lake)
    if lake not in _BY_UNIT:
        return False
    if not any(is_unit(unit, target) for unit in look.units_said(place)):
        return False
    others = (at for at in range(len(look.table.names)) if at != place)
    return not any(any(is_unit(unit, target) for unit in look.units_said(at)) and not look.total(at) for at in others)


def unit_can_be(look: Look, place: int, lake: str) -> bool:
    """Whether no unit that the file gives contradicts the column's dimension."""
    target = lake_unit(lake)
    below = look.table.units[place] if place < len(look.table.units) else ""
    bracketed = BRACKETED.findall(look.table.names[place])
    given = [unit for unit in (below.strip(), *bracketed) if unit and looks_like_unit(unit)]
    if not target:  # a name, a number or a time: a measured quantity is none of them
        return lake in ("time", "start_time", "end_time", "set_time") or not given
    if lake == "amount" or not given:
        return True
    return any(
        is_unit(unit, target) or (lake.endswith("64ths") and bare(unit) in ("64ths", "/64", "1/64in")) for unit in given
    )


def unit_guess(look: Look, place: int, lands: str, lake: str) -> tuple[str, str, str, tuple[str, ...]]:
    """Return unit, confidence, why and candidates of a measured column."""
    target = lake_unit(lake)
    hard = meta(LANDED[lands].columns[lake]).get("hard")
    low, high = spread(look.values(place), zeros=hard is None or hard[0] <= 0.0)
    for unit in look.units_said(place):
        if not is_unit(unit, target):
            continue
        line = read_unit(unit, target)
        if hard is not None and np.isfinite(high) and not (
            hard[0] <= low * line.factor + line.offset and high * line.factor + line.offset <= hard[1]
        ):  # fmt: skip
            other = typical(target, high)
            return other or unit, ASKED, f"the file says {unit}, but its values reach {high:g}: impossible", (unit,)
        if target in ("psi", "bpm") and np.isfinite(high) and high > 0.0 and not _usual(target, high * line.factor):
            other = typical(target, high)
            return unit, ASKED, f"the file says {unit}; values up to {high:g} are unusual", (other,) if other else ()
        if target == "ppa" and 0.0 < high * line.factor < LEAST_PPA:
            other = typical(target, high)
            return other or unit, ASKED, f"the file says {unit}; values up to {high:g} are unusual", (unit,)
        if (second := two_meanings(unit)) is not None:
            return unit, ASKED, f"the file says {unit}: thousands, as in the trade, or millions?", (second,)
        return unit, SURE, f"the file says {unit}", ()
    if target == "ratio":
        return "ratio", SURE, "a count or a share", ()
    usual = typical(target, high)
    others = tuple(unit for unit, *_ in _TYPICAL.get(target, ()) if unit != (usual or target))
    bracketed = BRACKETED.findall(look.table.names[place])
    said = f"'{bracketed[-1]}' is no unit that is known here" if bracketed else "the file gives no unit"
    why = f"{said}; most values, up to {high:g}, look like {usual or target}"
    return usual or target, ASKED, why, others


def in_lake_units(look: Look, place: int, lands: str, lake: str) -> NDArray[np.float64]:
    """Return the values of a column in the lake's unit, by the unit that is guessed."""
    line = read_unit(unit_guess(look, place, lands, lake)[0], lake_unit(lake))
    return look.values(place) * line.factor + line.offset


def goes_against(look: Look, place: int, lake: str, unit: str) -> bool:
    """Whether a proposed unit is not that of the units row."""
    below = look.table.units[place].strip() if place < len(look.table.units) else ""
    target = lake_unit(lake)
    return bool(below) and not (is_unit(below, target) and read_unit(below, target) == read_unit(unit, target))


def typical(target: str, high: float) -> str | None:
    """Return the unit in which values up to a height are usual; None if there is none."""
    return next((unit for unit, low, top in _TYPICAL.get(target, ()) if low <= high <= top), None)


def _usual(target: str, high: float) -> bool:
    return {"psi": 200.0, "bpm": 0.2}[target] <= high <= {"psi": 18000.0, "bpm": 160.0}[target]
