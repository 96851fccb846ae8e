"""The one unit registry. Conversion happens once, when a file is landed or a number is shown."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any

from pipeline.resources import keep, kept, kept_at, source_digest

MOST_KEPT = 1000
"""Conversions that are kept: those of one installation are some hundred."""
_AMOUNT = re.compile(r"\{([+-]?\d{1,15}(?:\.\d{1,15})?) ([A-Za-z0-9*/ ]{1,12})\}", re.ASCII)

# Display units, by the workspace's `display_units`: lake unit -> (display unit in pint's notation, label).
_SHOWN: dict[str, dict[str, tuple[str, str]]] = {
    "field": {},
    "metric": {
        "psi": ("MPa", "MPa"),
        "psi/ft": ("kPa/m", "kPa/m"),
        "bpm": ("m**3/min", "m³/min"),
        "bbl": ("m**3", "m³"),
        "ft": ("m", "m"),
        "in": ("mm", "mm"),
        "lbm": ("t", "t"),
        "lbm/gal": ("kg/m**3", "kg/m³"),
        "ppa": ("kg/m**3", "kg/m³"),
        "lbf": ("kN", "kN"),
        "hp": ("kW", "kW"),
        "hp*h": ("kW*h", "kWh"),
        "ft/min": ("m/min", "m/min"),
        "psi/min": ("MPa/min", "MPa/min"),
        "psi/bpm**2": ("MPa/(m**3/min)**2", "MPa/(m³/min)²"),
        "psi/bpm**0.5": ("MPa/(m**3/min)**0.5", "MPa/(m³/min)^0.5"),
        "psi/gpt": ("kPa/gpt", "kPa per L/m³"),
        "lbm/ft": ("kg/m", "kg/m"),
        "bbl/ft": ("m**3/m", "m³/m"),
        "gal": ("L", "L"),
        "kft": ("km", "km"),
        "degF": ("degC", "°C"),
    },
}


_SPELLED = {"1000 USD": "thousand USD", "kft": "thousand ft", "degF": "°F"}
"""Units that are not physical units, as displayed."""


@dataclass(frozen=True)
class Linear:
    """A conversion ``y = x * factor + offset``; exact for every unit of the registry."""

    factor: float
    offset: float


class UnknownUnit(ValueError):
    """A unit's name is not in ``units.txt``, or two units have different dimensions."""


@cache
def registry() -> Any:
    """Return the pint registry built only from ``units.txt``."""
    import pint

    ureg = pint.UnitRegistry(None, cache_folder=None, autoconvert_offset_to_baseunit=True)
    text = files("pipeline").joinpath("units.txt").read_text(encoding="utf-8")
    ureg.load_definitions([line for line in text.splitlines() if line and not line.startswith("#")])
    return ureg


def conversion(source: str, target: str) -> Linear:
    """Return the linear conversion from one named unit to another.

    Parameters
    ----------
    source, target : str
        Unit expressions such as ``"psi"``, ``"m**3/min"``, ``"degF"``.

    Raises
    ------
    UnknownUnit
        If a name is unknown or the dimensions differ; the message names both.

    Notes
    -----
    What was asked for before is kept: to load pint takes a sixth of a second.
    """
    path, held = _kept()
    known = held.get(f"{source} > {target}")
    if known is None:
        known = held[f"{source} > {target}"] = _converted(source, target)
        if len(held) <= MOST_KEPT:
            keep(path, {key: (one.factor, one.offset) for key, one in list(held.items())})
    return known


@cache
def _kept() -> tuple[Path, dict[str, Linear]]:
    """Return where conversions are kept, and those there and of this process."""
    path = kept_at(f"units-{source_digest('units.py', 'units.txt')}.json")
    return path, kept(path, lambda held: {key: Linear(*map(float, two)) for key, two in held.items()}) or {}


def _converted(source: str, target: str) -> Linear:
    import pint

    ureg = registry()
    try:
        at_zero = float(ureg.Quantity(0.0, source).to(target).magnitude)
        at_one = float(ureg.Quantity(1.0, source).to(target).magnitude)
    except pint.DimensionalityError as error:
        raise UnknownUnit(f"'{source}' cannot be converted to '{target}': the dimensions differ") from error
    except Exception as error:  # pint raises many kinds for a text that is not a unit
        raise UnknownUnit(f"'{source}' is not a known unit (see pipeline/units.txt)") from error
    if at_zero == 0.0:
        return Linear(at_one, 0.0)
    return Linear(at_one - at_zero, at_zero)


def shown_units(system: str) -> list[str]:
    """Return the lake units that a system displays in another unit."""
    return [*_SHOWN[system], *_SPELLED]


def shown(unit: str, system: str) -> tuple[Linear, str]:
    """Return how a lake unit is displayed in a system (``"field"`` or ``"metric"``): conversion and label."""
    target = _SHOWN[system].get(unit)
    if target is None:
        return Linear(1.0, 0.0), _SPELLED.get(unit, unit)
    return conversion(unit, target[0]), target[1]


def without_unit(column: str, unit: str) -> str:
    """Return a column's name without the unit at its end; as it is if it has none."""
    return column.removesuffix(f"_{unit.replace('/', '_')}").removesuffix(f"_{unit.casefold()}") if unit else column


def with_unit(name: str, label: str) -> str:
    """Return a name with the label of its unit, if it has one: ``rate [bpm]``."""
    return f"{name} [{label}]" if label not in ("", "ratio") else name


def plain_number(value: float) -> str:
    """Return a number for machines: six decimals at most, without exponent and closing zeros."""
    return f"{round(value, 6) + 0.0:.6f}".rstrip("0").rstrip(".")


def format_number(value: float, digits: int = 4, *, plus: bool = False) -> str:
    """Return a number as text: thousands separators, a number of significant digits, no exponent.

    Parameters
    ----------
    value : float
    digits : int
        Significant digits; all digits before the decimal point are always written.
    plus : bool
        Whether a positive number has a plus sign.
    """
    if not math.isfinite(value):
        return "–"
    places = digits - 1 - math.floor(math.log10(abs(value))) if value else 0
    text = f"{value:{'+' if plus else ''},.{min(max(places, 0), 12)}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def as_typed(value: float) -> str:
    """Return a number with all its digits, as a person wrote it, and thousands separators."""
    return f"{value:,}".removesuffix(".0")


def qty(value: float, unit: str, *, plus: bool = False) -> str:
    """Return an amount as stored in a text until the display units are known: ``{450.25 psi}``.

    `format_quantities` converts it to the display units.
    """
    text = f"{value:{'+' if plus else ''}.6f}".rstrip("0").rstrip(".")
    if unit in ("", "ratio") or not math.isfinite(value):
        return format_number(value, 3, plus=plus)
    return f"{{{text} {unit}}}"


def format_quantities(text: str, system: str = "field") -> str:
    """Return a text with its amounts, written as ``{-1669 psi}``, in display units; a plus sign is kept."""

    def written(found: re.Match[str]) -> str:
        line, label = shown(found[2], system)
        number = format_number(float(found[1]) * line.factor + line.offset, 3, plus=found[1].startswith("+"))
        return f"{number.replace('-', '−')} {label}"

    return _AMOUNT.sub(written, text)


def format_quantity(value: float, unit: str, system: str = "field", digits: int = 3) -> str:
    """Return an amount in display units, with the unit label."""
    line, label = shown(unit, system)
    return f"{format_number(value * line.factor + line.offset, digits)} {'' if label == 'ratio' else label}".rstrip()
