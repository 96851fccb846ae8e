"""Picks against the worked records of SOURCES.md."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.metrics.stage.metrics import at_rate_pressure_psi, at_rate_rate_bpm, hhp_hours
from pipeline.metrics.stage.view import StageView
from pipeline.picks.arrays import integral
from pipeline.picks.falloff import Falloff
from pipeline.picks.hammer import fit_hammer
from pipeline.picks.shutin import ISIP, fit_isip, fit_window
from pipeline.picks.stage import pick_stage
from pipeline.picks.types import StageDesign, StageRecord
from tests.builders import ORIGIN


def test_s1_b03_isip_from_a_ringing_falloff() -> None:
    """The table's straight line, the period, and a stated error that covers the truth.

    The record declines on a straight line. The product reports the square-root value (SOURCES.md, which holds
    where the two pages differ), so it is the error, not the bias, that is asked for here.
    """
    t = np.arange(181.0)
    p = 6200.0 - 1.2 * t - 450.0 * np.exp(-t / 28.0) * np.cos(2.0 * np.pi * t / 14.0)
    fall = Falloff(t, p, 1.0)
    hammer, _ = fit_hammer(fall)
    assert hammer is not None
    assert hammer.period_s == pytest.approx(14.0, rel=5e-3)
    assert fit_window(fall, 56.0, 84.0).line == pytest.approx(6195.7, abs=0.01)
    pick = fit_isip(ISIP, fall, hammer, 0.0)
    assert pick.value is not None
    assert pick.standard_error is not None
    assert abs(pick.value - 6200.0) <= 2.0 * pick.standard_error
    assert pick.confidence in ("medium", "low")  # a straight line fits better
    assert "a straight line fits as well" in pick.reason


@pytest.mark.parametrize("true_s", [8.0, 22.0])
def test_a_ringing_outside_the_expected_period_gives_no_period(true_s: float) -> None:
    """Within 25 % of the 14 s that casing and depth tell; 8 and 22 s are something else."""
    t = np.arange(181.0)
    p = 6200.0 - 20.0 * np.sqrt(t) - 450.0 * np.exp(-t / 28.0) * np.cos(2.0 * np.pi * t / true_s)
    hammer, why = fit_hammer(Falloff(t, p, 1.0), 14.0)
    assert hammer is None
    assert why


def test_s1_b01_breakdown_is_the_first_maximum_and_not_the_highest_pressure() -> None:
    """7,420 psi at 12 bpm; 7,450 psi on the way to rate is not the breakdown."""
    q = [0, 2, 4, 6, 8, 10, 12, 12, 12, 12, 14, 16, 20, 26]
    p = [3950, 4400, 5020, 5710, 6480, 7090, 7420, 7385, 6890, 6610, 6705, 6790, 7010, 7450]
    lead, tail = 30, 120
    rate = np.concatenate((np.zeros(lead), q, np.full(tail, 80.0), np.zeros(120))).astype(float)
    pressure = np.concatenate((np.full(lead, 3950.0), p, np.full(tail, 8600.0), np.full(120, 5000.0)))
    pick = pick_stage(StageRecord(np.arange(rate.size, dtype=float), pressure, rate), StageDesign()).effective
    found = pick["breakdown_pressure"]
    assert found.value == 7420.0
    assert found.time_s == lead + 6
    assert rate[int(found.time_s)] == 12.0
    assert found.confidence == "low"  # the record shows no ball seat


def _expanded() -> StageRecord:
    """S1-B10: segments of minutes, as samples a second; the rate steps between them."""
    minutes = [2, 2, 1, 1, 5, 5, 5, 5, 5, 1, 3, 3]
    rate = [0, 0, 20, 55, 80, 81, 80, 79, 80, 60, 0, 0]
    pressure = [1200, 1210, 6400, 8050, 9120, 9180, 9210, 9240, 9230, 8300, 5900, 5650]
    repeat = [60 * m for m in minutes]
    q, p = np.repeat(rate, repeat).astype(float), np.repeat(pressure, repeat).astype(float)
    return StageRecord(np.arange(q.size, dtype=float), p, q)


def test_s1_b10_treating_pressure_at_rate() -> None:
    record = _expanded()
    design = StageDesign(rate_bpm=80.0)
    view = StageView(pick_stage(record, design), design, {}, ORIGIN, "UTC")
    assert at_rate_pressure_psi(view) == pytest.approx(9196.0, rel=1e-5)
    assert at_rate_rate_bpm(view) == pytest.approx(80.0, rel=1e-5)


def test_s1_b12_hydraulic_energy() -> None:
    record = _expanded()
    design = StageDesign(rate_bpm=80.0)
    view = StageView(pick_stage(record, design), design, {}, ORIGIN, "UTC")
    # the printed sum holds each segment's product for its minutes; trapezoids across the steps differ by seconds
    assert hhp_hours(view) == pytest.approx(7946.35, rel=1e-3)


def test_trapezoid_of_a_ramp_is_exact_and_gaps_are_declared() -> None:
    time = np.array([0.0, 1.0, 2.0, 30.0, 31.0])
    total, unmeasured = integral(time, np.array([0.0, 1.0, 2.0, 5.0, 5.0]))
    assert total == pytest.approx(0.5 + 1.5 + 5.0)
    assert unmeasured == pytest.approx(28.0)
