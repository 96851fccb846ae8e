"""Units as files write them: common spellings of providers and of the Energistics unit standard, to our own names.

Sources: the symbols of the Energistics Unit of Measure Standard 1.0 (memory) and of NIST SP 811; all others are common
practice in files of service companies.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping
from functools import cache, lru_cache

from pipeline.units import Linear, UnknownUnit, conversion

ATMOSPHERE_PA = 101325.0
"""Standard atmosphere (NIST SP 811), subtracted from absolute pressures: the lake holds gauge pressures. [Pa]"""
_SPELLED: dict[str, str] = {
    # pressure and its gradient
    "psi": "psi psig psi(g) lb/in2 lbs/in2 lbf/in2 #/in2 lpc libras/pulg2 lb/pulg2",
    "kPa": "kpa kpag kpa(g) kilopascal kilopascals",
    "MPa": "mpa mpag mpa(g) megapascal megapascals",
    "Pa": "pa pascal pascals",
    "bar": "bar barg bar(g) bars",
    "kpsi": "kpsi ksi",
    "kgf/cm**2": "kgf/cm2 kg/cm2 kg/cm2g kgf/cm2g at",
    "psi/ft": "psi/ft psift psi/pie",
    "kPa/m": "kpa/m",
    # rates
    "bbl/min": "bpm b/m b/min bbl/m bbl/min bbls/min bbls/m bblpm bbl/minute barrels/min barriles/min barils/min",
    "bbl/hour": "bph bbl/h bbl/hr",
    "bbl/day": "bpd bbl/d bbl/day bopd bwpd stb/d",
    "gal/min": "gpm gal/min gal[us]/min usgpm usgal/min galus/min",
    "m**3/min": "m3/min m3min cmm cubicm/min m3/mn m3/minute",
    "m**3/hour": "m3/h m3/hr",
    "m**3/day": "m3/d m3/day sm3/d",
    "m**3/s": "m3/s",
    "L/min": "l/min lpm lt/min ltr/min litre/min liter/min litres/min liters/min l/mn",
    "L/s": "l/s lps",
    "mcf/day": "mcf/d mcfd mscf/d mscfd",
    # concentrations and densities
    "ppa": "ppa ppga lb/gal lbs/gal lbm/gal ppg lb/galus lbm/gal[us] lbm/usgal ppac #/gal lb/usgal lpg",
    "kg/m**3": "kg/m3 kgpa kgpa/m3 kgm3 kga/m3",
    "g/L": "g/l kg/kl",
    "g/cm**3": "g/cm3 g/cc gm/cc kg/l sg s.g.",
    "gpt": "gpt gal/mgal gal/1000gal gals/1000gal gal/kgal l/m3 gptg gal/tgal galus/1000galus",
    "pptg": "ppt lb/mgal lbs/1000gal lb/1000gal lb/kgal",
    # lengths
    "ft": "ft feet foot ' pies pieds pie ftmd fttvd ftkb ftrkb ft(md) ftmdrt",
    "m": "m metre metres meter meters metros mtr mts mètres mmd mtvd mkb mrkb m(md) mmdrt",
    "inch": "in inch inches \" pulg pulgadas pouce po",
    "mm": "mm millimetre millimeter",
    "in64": "1/64in 64ths /64",
    "kft": "kft",
    # volumes
    "bbl": "bbl bbls barrel barrels barriles barils",
    "gal": "gal gals gallon gallons usgal galus gal[us] galones",
    "m**3": "m3 cum cubicmetres cubicmeters sm3",
    "thousand_cubic_metres": "1000m3 10^3m3 10**3m3 10**3m**3 103m3 e3m3 1e3m3 kilom3 milm3 mm3 mmc",
    "million_cubic_metres": "mmm3 1e6m3 e6m3 10^6m3 106m3",
    "L": "l litre litres liter liters lt lts ltr",
    "mcf": "mcf mscf",
    # masses and forces
    "lbm": "lb lbs lbm pounds pound # libras livres",
    "klbm": "klb klbm klbs mlbs mlb 1000lb 1000lbs 1000lbm",
    "kg": "kg kgs kilogram kilograms kilos",
    "tonne": "t tonne tonnes mt te ton[metric] tonnes[metric] toneladas",
    "ton": "ton tons shortton",
    "lbf": "lbf lbsf poundsforce",
    "klbf": "klbf kip kips klbsf 1000lbf",
    "daN": "dan",
    "kdaN": "kdan",
    "N": "n newton newtons",
    "kN": "kn",
    # times
    "s": "s sec secs second seconds seg segundos",
    "min": "min mins minute minutes minutos mn",
    "hour": "h hr hrs hour hours horas heures",
    "day": "d day days dias jours",
    # temperatures, powers, shares
    "degC": "degc °c c celsius ºc",
    "degF": "degf °f f fahrenheit ºf",
    "kelvin": "k degk",
    "hp": "hp hhp bhp",
    "kW": "kw",
    "cP": "cp centipoise mpa.s mpas",
    "ft/min": "ft/min fpm ft/m",
    "m/min": "m/min mpm",
    "m/s": "m/s",
    "ft/s": "ft/s fps",
    "pct": "% pct percent porcentaje",
    "ratio": "frac fraction ratio v/v unitless none - adim",
}  # fmt: skip
_FORCES = {
    "lbm": "lbf", "klbm": "klbf", "kg": "kgf", "tonne": "tonf", "ton": "stonf",
}  # fmt: skip
"""A weight indicator is often headed with a mass."""
_ABSOLUTE = {"psia": "psi", "psi(a)": "psi", "kpaa": "kPa", "kpa(a)": "kPa", "mpaa": "MPa", "mpa(a)": "MPa",
             "bara": "bar", "bar(a)": "bar"}  # fmt: skip


_OTHER_MEANING = {"mm3": "MMm3"}
_ADDED = frozenset({"ppa", "ppga", "ppac", "kgpa", "kgpa/m3", "kga/m3"})


@cache
def _by_spelling() -> dict[str, str]:
    return {bare(word): name for name, words in _SPELLED.items() for word in words.split()}


def bare(written: str) -> str:
    """Return a unit's text without case, spaces, brackets around it, and ways to write powers and products."""
    text = written.strip().casefold()
    while len(text) > 2 and (text[0], text[-1]) in (("[", "]"), ("(", ")"), ("{", "}"), ("<", ">")):
        text = text[1:-1].strip()
    for old, new in (("²", "2"), ("³", "3"), ("**", ""), ("^", ""), ("·", "."), ("per", "/"), ("_", "/")):
        text = text.replace(old, new)
    return re.sub(r"\s+", "", text).removesuffix(".")


def read_unit(written: str, target: str, aliases: Mapping[str, str] | None = None) -> Linear:
    """Return the conversion from a unit as a file or a map writes it to one of the lake's.

    Parameters
    ----------
    written : str
        ``B/M``, ``[m³/min]``, ``PPAC``, ``psia``; also an expression of ``units.txt`` such as ``lbf/in**2``.
    target : str
        The lake's unit.
    aliases : mapping of str to str, optional
        Further spellings with their unit, from a map's ``[units]``.

    Raises
    ------
    UnknownUnit
        If it is unknown, with near ones and how to declare an alias; or if the dimensions differ.

    Notes
    -----
    Absolute pressures become gauge pressures: 101,325 Pa are subtracted. Where the lake has a force, a mass stands for
    its weight.
    """
    for spelling, meant in (aliases or {}).items():
        if bare(spelling) == bare(written):
            return read_unit(meant, target)
    found = _known(written, target)
    if found is not None:
        return found
    word = bare(written)
    if looks_like_unit(written):
        raise UnknownUnit(f"'{written}' cannot be converted to '{target}': the dimensions differ")
    near = difflib.get_close_matches(word, [key for key, name in _by_spelling().items() if _fits(name, target)], n=3)
    hint = f"; near ones: {', '.join(near)}" if near else ""
    raise UnknownUnit(
        f"'{written}' is not a known unit{hint}; say in the map what it is, with a unit such as "
        f'{", ".join(_alike(target))}: [units] "{written}" = "..."'
    )


@lru_cache(maxsize=4096)
def _known(written: str, target: str) -> Linear | None:
    """Return the conversion from a unit; None if it is unknown or has another dimension."""
    word = bare(written)
    if word in _ABSOLUTE:
        try:
            plain, air = conversion(_ABSOLUTE[word], target), conversion("Pa", target)
        except UnknownUnit:
            return None
        return Linear(plain.factor, -ATMOSPHERE_PA * air.factor)
    named = _by_spelling().get(word)
    for candidate in (named, _FORCES.get(named or ""), written.strip()):
        try:
            if candidate is not None:
                return conversion(candidate, target)
        except UnknownUnit:
            continue
    return None


def _alike(target: str) -> list[str]:
    """Return some units that measure the same as another one."""
    return [name for name in _SPELLED if _fits(name, target)][:4] or [target]


def _fits(name: str, target: str) -> bool:
    try:
        conversion(name, target)
    except UnknownUnit:
        return False
    return True


def is_unit(written: str, target: str) -> bool:
    """Whether a text is a unit that can be converted to the lake's."""
    return _known(written, target) is not None


def names_added(written: str) -> bool:
    """Whether a unit of concentration says that the mass is added to a volume of clean fluid: PPA, kgPA."""
    return bare(written) in _ADDED


def two_meanings(written: str) -> str | None:
    """Return the other unit that a unit can stand for: M is thousand in the trade, million in the SI."""
    return _OTHER_MEANING.get(bare(written))


def looks_like_unit(written: str) -> bool:
    """Whether a text is a unit by a common spelling."""
    word = bare(written)
    return word in _ABSOLUTE or word in _by_spelling()
