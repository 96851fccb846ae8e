"""Unit factors: NIST SP 811 appendix B and SOURCES.md, exact by definition."""

from __future__ import annotations

import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from pipeline import units
from pipeline.physics import constants
from pipeline.units import UnknownUnit, conversion, registry, shown

# SOURCES.md (NIST SP 811 App. B); to as many digits as are printed there
FACTORS = [
    ("psi", "kPa", 6.89475729317),
    ("psi/ft", "kPa/m", 22.6205947939),
    ("bbl", "m**3", 0.158987294928),
    ("gal", "m**3", 0.003785411784),
    ("ft", "m", 0.3048),
    ("in", "m", 0.0254),
    ("lbm", "kg", 0.45359237),
    ("lbf", "N", 4.4482216152605),
    ("ppg", "kg/m**3", 119.826427317),
    ("ppa", "kg/m**3", 119.826427317),
    ("lbm/ft**3", "kg/m**3", 16.018463374),
    ("bpm", "m**3/min", 0.158987294928),
    ("bpm", "m**3/s", 0.002649788249),
    ("gpm", "m**3/s", 6.30901964e-05),
    ("hp", "kW", 0.745699871582),
    ("bbl", "ft**3", 5.61458333333),
    ("gpt", "L/m**3", 1.0),
    ("cP", "Pa*s", 0.001),
    ("bbl", "gal", 42.0),
    # SOURCES.md, NIST SP 811
    ("psi", "Pa", 6894.757293168),
    ("ton", "lbm", 2000.0),
    ("t", "kg", 1000.0),
]


def convert(value: float, source: str, target: str) -> float:
    line = conversion(source, target)
    return value * line.factor + line.offset


@pytest.mark.parametrize(("source", "target", "factor"), FACTORS)
def test_factor_is_the_published_one(source: str, target: str, factor: float) -> None:
    line = conversion(source, target)
    assert line.factor == pytest.approx(factor, rel=2e-10)
    assert line.offset == 0.0


def test_one_barrel_is_42_gallons_and_not_31_and_a_half() -> None:
    assert conversion("bbl", "gal").factor == pytest.approx(42.0, rel=1e-14)


def test_fahrenheit_to_celsius() -> None:
    # definition: degC = (degF - 32) / 1.8
    assert convert(212.0, "degF", "degC") == pytest.approx(100.0, abs=1e-10)
    assert convert(32.0, "degF", "degC") == pytest.approx(0.0, abs=1e-10)


@pytest.mark.parametrize(
    ("value", "source", "target", "answer"),
    [  # S1-E01
        (9500.0, "psi", "kPa", 65500.194),
        (85.0, "bpm", "m**3/min", 13.51392),
        (2.5, "ppa", "kg/m**3", 299.5661),
        (0.85, "psi/ft", "kPa/m", 19.22751),
        (20000.0, "hp", "kW", 14914.0),
    ],
)
def test_s1_e01_conversions_of_a_job(value: float, source: str, target: str, answer: float) -> None:
    assert convert(value, source, target) == pytest.approx(answer, rel=1e-6)


def test_water_of_1000_kg_m3_is_8_345404_ppg() -> None:
    assert convert(1000.0, "kg/m**3", "ppg") == pytest.approx(8.34540445, rel=1e-9)  # SOURCES.md


def test_physics_constants_agree_with_the_registry() -> None:
    assert conversion("psi", "Pa").factor == pytest.approx(constants.PSI_PA, rel=1e-12)
    assert conversion("bpm", "m**3/s").factor == pytest.approx(constants.BPM_M3_S, rel=1e-12)
    assert conversion("ppg", "kg/m**3").factor == pytest.approx(constants.PPG_KG_M3, rel=1e-12)


# SOURCES.md
@pytest.mark.parametrize(
    ("constant", "exact"),
    [
        (constants.HYDROSTATIC_PSI_PER_PPG_FT, 0.051948052),
        (constants.PERFORATION_FRICTION, 0.23763551),
        (constants.HORSEPOWER_PSI_BPM, 40.8163265),
        (constants.CAPACITY_IN2_FT_PER_BBL, 1029.414172),
        (constants.NOZZLE_VELOCITY_FT_S, 0.320833333),
        (constants.NOZZLE_GPM, 12033.930),
    ],
)
def test_exact_constants(constant: float, exact: float) -> None:
    assert constant == pytest.approx(exact, rel=3e-8)


def test_default_registry_is_not_used() -> None:
    with pytest.raises(UnknownUnit, match="see pipeline/units"):
        conversion("furlong", "ft")
    assert "furlong" not in dir(registry())


def test_different_things_are_refused_by_name() -> None:
    with pytest.raises(UnknownUnit, match="'psi' cannot be converted to 'ft'"):
        conversion("psi", "ft")


def test_metric_display_of_a_pressure() -> None:
    line, label = shown("psi", "metric")
    assert label == "MPa"
    assert 10000.0 * line.factor == pytest.approx(68.94757293, rel=1e-9)


def test_a_conversion_is_kept_to_the_last_digit(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A file that was cut or holds something else is not used."""
    asked = [("psi", "MPa"), ("degF", "degC"), ("bbl/min", "m**3/min")]
    monkeypatch.setattr(units, "kept_at", lambda name: tmp_path / name)

    def again() -> list[units.Linear]:
        units._kept.cache_clear()
        return [conversion(*one) for one in asked]

    try:
        made = again()
        (path,) = tmp_path.iterdir()
        monkeypatch.setattr(units, "_converted", None)  # it is not asked again
        assert again() == made
        whole = path.read_text(encoding="utf-8")
        monkeypatch.undo()
        monkeypatch.setattr(units, "kept_at", lambda name: tmp_path / name)
        for text in (whole[:-9], "[]", '{"psi > MPa": 3}', ""):
            path.write_text(text, encoding="utf-8")
            assert again() == made
    finally:
        units._kept.cache_clear()


def test_files_that_are_read_at_once_can_ask_for_units(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(units, "kept_at", lambda name: tmp_path / name)
    monkeypatch.setattr(units, "_converted", lambda source, _target: units.Linear(float(source), 0.0))
    before = sys.getswitchinterval()
    sys.setswitchinterval(1e-6)
    try:
        units._kept.cache_clear()
        with ThreadPoolExecutor(4) as threads:
            made = list(threads.map(lambda value: conversion(str(value), "psi").factor, range(400)))
    finally:
        sys.setswitchinterval(before)
        units._kept.cache_clear()
    assert made == [float(value) for value in range(400)]
