"""Jobs of any size: injection tests, toe stages and old verticals at 2 to 15 bpm are measured like any other stage."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.metrics.stage.measure import METRICS
from pipeline.metrics.stage.view import STAGE, StageView
from pipeline.picks.stage import pick_stage
from pipeline.picks.timeline import main_rate_bpm
from pipeline.picks.types import StageDesign, StageRecord

assert METRICS
ISIP = 3200.0


def job(bpm: float, minutes: float = 20.0) -> StageRecord:
    """Two minutes idle, an injection at one rate with a sharp breakdown in its first minute, 15 min of falloff."""
    rate = np.concatenate((np.zeros(120), np.linspace(0.0, bpm, 10), np.full(int(60 * minutes), bpm), np.zeros(900)))
    clock = np.arange(rate.size, dtype=float)
    pumped = clock - 120.0
    pressure = np.full(rate.size, 500.0)
    on = rate > 0.0
    pressure[on] = 4200.0 + 1500.0 * np.exp(-((pumped[on] - 40.0) ** 2) / 200.0)
    shut = clock - float(np.flatnonzero(on)[-1] + 1)
    after = shut >= 0.0
    pressure[after] = ISIP - 8.0 * np.sqrt(shut[after])
    return StageRecord(clock, pressure + np.random.default_rng(4).normal(0.0, 3.0, clock.size), rate)


@pytest.mark.parametrize("bpm", [2.0, 5.0, 8.0, 15.0])
@pytest.mark.parametrize("designed", [True, False])
def test_a_small_job_has_its_picks_volume_and_maximum(bpm: float, designed: bool) -> None:
    record, design = job(bpm), StageDesign(rate_bpm=bpm if designed else None)
    picks = pick_stage(record, design)
    assert picks.timeline.main_bpm == pytest.approx(0.5 * bpm)
    assert picks.effective["isip"].value == pytest.approx(ISIP, abs=15.0)
    assert picks.effective["shut_in"].time_s == pytest.approx(120.0 + 10.0 + 1200.0, abs=2.0)
    from datetime import UTC, datetime

    row = STAGE.measure({"well_id": "w", "stage": 1}, StageView(picks, design, {}, datetime(2025, 3, 1, tzinfo=UTC)))
    assert row["slurry_bbl"] == pytest.approx(bpm * 20.1, rel=0.01)
    assert row["max_treating_pressure_psi"] == pytest.approx(5700.0, rel=0.01)
    assert row["avg_slurry_rate_bpm"] == pytest.approx(bpm, rel=0.02)
    assert row["pump_time_min"] == pytest.approx(20.0, abs=0.3)
    assert row["main_rate_bpm"] == pytest.approx(0.5 * bpm)


def test_priming_before_a_line_test_is_no_injection_of_a_small_job() -> None:
    """Two minutes at 5 bpm and 100 psi, then a line test: of a job of 8 bpm 5 bpm are a treating rate."""
    after = job(8.0)
    ahead = np.arange(360.0)
    rate = np.where((ahead >= 60.0) & (ahead < 180.0), 5.0, 0.0)
    held = (ahead >= 200.0) & (ahead < 320.0)
    pressure = np.where(rate > 0.0, 100.0, np.where(held, 12_000.0, 500.0))
    record = StageRecord(
        np.arange(360.0 + after.time_s.size),
        np.concatenate((pressure, after.pressure_psi)),
        np.concatenate((rate, after.rate_bpm)),
    )
    picks = pick_stage(record, StageDesign(rate_bpm=8.0)).effective
    assert picks["injection_start"].time_s == pytest.approx(480.0, abs=3.0)
    assert picks["isip"].value == pytest.approx(ISIP, abs=15.0)


def test_the_main_rate_follows_the_job_but_never_exceeds_20_bpm() -> None:
    clock = np.arange(4000.0)
    big = np.concatenate((np.full(3000, 15.0), np.full(1000, 80.0)))  # a long pump-down before a short treatment
    assert main_rate_bpm(big, clock, StageDesign()) == 20.0
    assert main_rate_bpm(big, clock, StageDesign(rate_bpm=90.0)) == 20.0
    assert main_rate_bpm(big, clock, StageDesign(rate_bpm=30.0)) == 15.0
    assert main_rate_bpm(big, clock, StageDesign(rate_bpm=90.0, main_bpm=40.0)) == 40.0
    assert main_rate_bpm(np.full(4000, 8.0), clock, StageDesign()) == 4.0
    assert main_rate_bpm(np.full(4000, 0.2), clock, StageDesign()) == 20.0  # a meter that reads noise


def test_a_pump_down_alone_is_no_stage_where_the_design_is_known() -> None:
    picks = pick_stage(job(15.0), StageDesign(rate_bpm=90.0)).effective
    assert picks["isip"].value is None
    assert "no sustained rate of {20 bpm}" in picks["shut_in"].reason
