"""Stage picks: the physics of what they must find, and what must not disturb them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from pipeline.picks.proppant import find_proppant
from pipeline.picks.stage import pick_stage
from pipeline.picks.timeline import Timeline, repair_rate
from pipeline.picks.types import Pick, StageDesign, StageRecord
from pipeline.picks.zero import find_zero_offset
from tests.builders import simple_stage

DESIGN = StageDesign(rate_bpm=80.0, capacity_bbl=300.0)


def effective(record: StageRecord, design: StageDesign = DESIGN) -> dict[str, Pick]:
    return pick_stage(record, design).effective


def test_injection_begins_after_the_line_test() -> None:
    picks = effective(simple_stage())
    assert picks["injection_start"].time_s == pytest.approx(240.0, abs=1.0)
    assert picks["main_start"].time_s == pytest.approx(240.0 + 430.0 + 300.0 * 5.0 / 65.0, abs=2.0)


def test_ball_seat_breakdown_and_shut_in() -> None:
    picks = effective(simple_stage())
    assert picks["ball_seat"].time_s == pytest.approx(640.0, abs=8.0)
    assert picks["breakdown_pressure"].value == pytest.approx(5000.0, abs=15.0)
    assert picks["breakdown_pressure"].confidence == "high"
    assert picks["shut_in"].time_s == pytest.approx(3070.0, abs=1.0)


def test_isip_is_within_its_stated_error_and_the_hammer_period_right() -> None:
    picks = effective(simple_stage())
    isip = picks["isip"]
    assert isip.value is not None
    assert isip.standard_error is not None
    assert abs(isip.value - 4500.0) < max(2.0 * isip.standard_error, 15.0)
    assert picks["hammer_period"].value == pytest.approx(10.0, rel=5e-3)
    assert picks["pressure_5min"].value == pytest.approx(4500.0 - 10.0 * np.sqrt(300.0), abs=5.0)
    assert picks["pressure_10min"].value is None
    assert "10 min" in picks["pressure_10min"].reason


def test_pump_down_for_the_next_stage_does_not_move_the_shut_in() -> None:
    stage = simple_stage()
    n = 700
    rate = np.concatenate((stage.rate_bpm, np.zeros(300), np.full(n, 16.0), np.zeros(60)))
    pressure = np.concatenate((stage.pressure_psi, np.full(300, 4100.0), np.full(n, 4900.0), np.full(60, 4200.0)))
    assert stage.conc_ppa is not None
    conc = np.concatenate((stage.conc_ppa, np.zeros(300 + n + 60)))
    longer = StageRecord(np.arange(rate.size, dtype=float), pressure, rate, None, conc)
    assert effective(longer)["shut_in"].time_s == effective(stage)["shut_in"].time_s
    assert "later pumping" in effective(longer)["shut_in"].reason


def test_an_early_shut_down_is_not_the_end_and_has_its_own_isip() -> None:
    stage = simple_stage()
    rate, pressure = stage.rate_bpm.copy(), stage.pressure_psi.copy()
    rate[1100:1400] = 0.0
    t = np.arange(300.0)
    pressure[1100:1400] = 4700.0 - 8.0 * np.sqrt(t) - 300.0 * np.exp(-t / 15.0) * np.cos(2.0 * np.pi * t / 10.0)
    picks = effective(replace(stage, rate_bpm=rate, pressure_psi=pressure))
    assert picks["shut_in"].time_s == pytest.approx(3070.0, abs=1.0)
    assert picks["initial_shut_in"].time_s == pytest.approx(1100.0, abs=1.0)
    assert picks["initial_isip"].value == pytest.approx(4700.0, abs=40.0)


def test_a_rate_that_drops_out_while_nothing_else_moves_is_void_not_shut_in() -> None:
    stage = simple_stage()
    rate = stage.rate_bpm.copy()
    rate[2000:2015] = 0.0
    picked = pick_stage(replace(stage, rate_bpm=rate), DESIGN)
    assert picked.timeline.void_rate_s == pytest.approx(16.0, abs=2.0)
    assert np.isnan(picked.timeline.record.rate_bpm[2005])
    assert picked.effective["initial_shut_in"].value is None
    assert picked.effective["initial_shut_in"].time_s is None


def test_a_one_second_rate_spike_is_mended() -> None:
    stage = simple_stage()
    rate = stage.rate_bpm.copy()
    rate[20] = 65.0
    repaired, _ = repair_rate(replace(stage, rate_bpm=rate))
    assert repaired.rate_bpm[20] == 0.0
    assert effective(replace(stage, rate_bpm=rate))["injection_start"].time_s == pytest.approx(240.0, abs=1.0)


def test_a_screen_out_needs_a_climb_and_a_short_flush() -> None:
    stage = simple_stage()
    assert effective(stage)["screenout"].value == 0.0
    pressure, rate = stage.pressure_psi.copy(), stage.rate_bpm.copy()
    assert stage.conc_ppa is not None
    conc = stage.conc_ppa.copy()
    conc[2560:2700] = 1.5
    pressure[2640:2700] += np.linspace(0.0, 2500.0, 60)
    cut = slice(2700, 3070)
    rate[cut], conc[cut], pressure[cut] = 0.0, 0.0, 5200.0
    out = effective(replace(stage, pressure_psi=pressure, rate_bpm=rate, conc_ppa=conc))
    assert out["screenout"].value == 1.0
    assert "flush short" in out["screenout"].reason
    assert out["isip"].confidence in ("low", "none")
    calm = stage.pressure_psi.copy()
    calm[cut] = 5200.0
    ended = effective(replace(stage, pressure_psi=calm, rate_bpm=rate, conc_ppa=conc))
    assert ended["screenout"].value == 0.0


def screened_out(*, flush_bbl: float = 0.0, stepped: bool = False, at_limit: bool = False) -> StageRecord:
    """Return a record whose pressure climbs at 80 bpm until the rate is cut or stepped down at 2,700 s."""
    stage = simple_stage()
    assert stage.conc_ppa is not None
    pressure, rate, conc = stage.pressure_psi.copy(), stage.rate_bpm.copy(), stage.conc_ppa.copy()
    loaded = 2700 - round(flush_bbl / 80.0 * 60.0)
    conc[2400:loaded], conc[loaded:] = 1.5, 0.0
    top = 11_450.0 if at_limit else float(pressure[2640]) + 2500.0
    pressure[2640:2700] = np.linspace(pressure[2640], top, 60)
    rate[2700:], pressure[2700:] = 0.0, 5200.0
    if stepped:  # 60, 45 and 30 bpm for a minute each, at a pressure that climbs no more
        rate[2700:2880] = np.repeat([60.0, 45.0, 30.0], 60)
        pressure[2700:2880] = 9000.0
    return replace(stage, pressure_psi=pressure, rate_bpm=rate, conc_ppa=conc)


def test_a_rate_that_is_stepped_down_after_the_climb_is_a_screen_out() -> None:
    out = effective(screened_out(stepped=True))["screenout"]
    assert out.value == 1.0
    assert out.time_s == pytest.approx(2699.0, abs=2.0)  # the first step, not the final shut-down


def test_a_climb_while_the_rate_is_raised_is_no_screen_out() -> None:
    stage = screened_out()
    rate = stage.rate_bpm.copy()
    rate[2520:2700] = np.linspace(50.0, 80.0, 180)  # 10 bpm per minute
    assert effective(replace(stage, rate_bpm=rate))["screenout"].value == 0.0


def test_a_climb_before_proppant_reaches_the_perforations_is_no_screen_out() -> None:
    stage = screened_out()
    assert stage.conc_ppa is not None
    conc = stage.conc_ppa.copy()
    conc[:2610] = 0.0  # two minutes of slurry before the cut, 120 of 340 bbl
    out = effective(replace(stage, conc_ppa=conc))["screenout"]
    assert out.value == 0.0
    assert "no proppant had reached the perforations" in out.reason


def test_a_climb_to_the_limit_with_a_full_flush_is_a_pressure_out() -> None:
    capacity = DESIGN.capacity_bbl
    assert capacity is not None
    design = replace(DESIGN, pressure_limit_psi=11_500.0)
    ended = effective(screened_out(flush_bbl=0.95 * capacity, at_limit=True), design)
    assert ended["screenout"].value == 0.0
    assert ended["pressure_out"].value == 1.0
    below = effective(screened_out(flush_bbl=0.95 * capacity), design)
    assert below["pressure_out"].value == 0.0
    assert "the limit is {11500 psi}" in below["pressure_out"].reason
    unknown = effective(
        screened_out(flush_bbl=0.95 * capacity, at_limit=True), replace(design, pressure_limit_psi=None)
    )
    assert unknown["pressure_out"].value is None
    short = effective(screened_out(flush_bbl=0.5 * capacity, at_limit=True), design)
    assert (short["screenout"].value, short["pressure_out"].value) == (1.0, 0.0)


def test_an_amended_shut_in_moves_what_follows_from_it_and_keeps_the_automatic_pick() -> None:
    stage = simple_stage()
    own = pick_stage(stage, DESIGN)
    moved = replace(own.automatic["shut_in"], time_s=3090.0, method="amended")
    amended = pick_stage(stage, DESIGN, {"shut_in": moved})
    assert amended.automatic["shut_in"].time_s == own.automatic["shut_in"].time_s
    assert amended.effective["shut_in"].time_s == 3090.0
    assert amended.effective["isip"].value != own.effective["isip"].value


@pytest.mark.parametrize("shift", [-3600.0, 1e6])
def test_shifting_time_shifts_moments_and_changes_no_value(shift: float) -> None:
    stage = simple_stage()
    moved = effective(replace(stage, time_s=stage.time_s + shift))
    for name, pick in effective(stage).items():
        if pick.value is None:
            assert moved[name].value is None
        else:
            assert moved[name].value == pytest.approx(pick.value, rel=1e-6, abs=1e-3)
        if pick.time_s is not None:
            assert moved[name].time_s == pytest.approx(pick.time_s + shift, abs=1e-6)


@pytest.mark.parametrize(("name", "tolerance"), [("breakdown_pressure", 60.0), ("isip", 40.0)])
def test_noise_of_50_psi_moves_a_pick_by_little(name: str, tolerance: float) -> None:
    quiet, loud = effective(simple_stage(noise=2.0))[name], effective(simple_stage(noise=20.0, seed=4))[name]
    assert quiet.value is not None
    assert loud.value is not None
    assert abs(quiet.value - loud.value) < tolerance


@pytest.mark.parametrize(("fall", "told"), [(1800.0, True), (300.0, False)])
def test_a_crest_at_a_higher_rate_that_falls_as_a_breakdown_does_is_a_doubt(fall: float, told: bool) -> None:
    """The ball's spike of 5,000 psi stands where the breakdown is looked for; the rock breaks at 9,000 psi and 40 bpm."""
    stage = simple_stage()
    rate, pressure = stage.rate_bpm.copy(), stage.pressure_psi.copy()
    fast = int(np.flatnonzero(rate > 40.0)[0])
    rate = np.concatenate((rate[:fast], np.full(60, 40.0), rate[fast:]))
    crest = (
        9000.0 - fall * np.clip((np.arange(60.0) - 20.0) / 5.0, 0.0, 1.0) + np.random.default_rng(1).normal(0, 1, 60)
    )
    pressure = np.concatenate((pressure[:fast], crest, np.maximum(pressure[fast:], crest[-1])))
    assert stage.conc_ppa is not None
    conc = np.concatenate((stage.conc_ppa[:fast], np.zeros(60), stage.conc_ppa[fast:]))
    pick = effective(StageRecord(np.arange(rate.size, dtype=float), pressure, rate, None, conc))["breakdown_pressure"]
    assert pick.value == pytest.approx(5000.0, abs=15.0)
    assert (pick.confidence == "high") is not told
    assert ("falls as a breakdown does" in pick.reason) is told


@pytest.mark.parametrize("offset", range(5))
def test_a_peak_between_samples_of_five_seconds_is_its_highest_sample_and_its_error_says_what_was_missed(
    offset: int,
) -> None:
    """A median of three would take such a peak for a spike."""
    t = np.arange(1500.0)
    rate = np.interp(t, [0.0, 60.0, 65.0, 420.0, 480.0, 1500.0], [0.0, 0.0, 14.0, 14.0, 80.0, 80.0])
    pressure = np.interp(
        t, [0.0, 60.0, 65.0, 350.0, 420.0, 480.0, 1500.0], [50.0, 50.0, 3480.0, 3480.0, 3480.0, 8000.0, 8000.0]
    )
    pressure += np.where(t >= 350.0, np.where(t < 420.0, 320.0, 0.0), 0.0)
    pressure += np.where((t >= 350.0) & (t < 420.0), 590.0 * np.exp(-np.abs(t - 353.0) / 3.0), 0.0)
    pressure += np.random.default_rng(offset).normal(0.0, 2.0, t.size)
    keep = slice(offset, None, 5)
    picked = pick_stage(StageRecord(t[keep], pressure[keep], rate[keep], None, None), StageDesign())
    pick = picked.automatic["breakdown_pressure"]
    near = (t[keep] > 340.0) & (t[keep] < 420.0)
    assert pick.value == pytest.approx(float(pressure[keep][near].max()))
    assert pick.confidence == "low" and picked.breakdown_kind == "sharp"
    assert pick.standard_error is not None and abs(pick.value - 4390.0) < 2.5 * pick.standard_error


def test_a_record_that_begins_at_rate_has_no_breakdown() -> None:
    stage = simple_stage()
    late = StageRecord(
        stage.time_s[1200:], stage.pressure_psi[1200:], stage.rate_bpm[1200:], None,
        None if stage.conc_ppa is None else stage.conc_ppa[1200:],
    )  # fmt: skip
    picked = pick_stage(late, DESIGN)
    assert picked.breakdown_kind == "unseen"
    assert picked.effective["breakdown_pressure"].value is None
    assert "begins while pumping" in picked.effective["breakdown_pressure"].reason


channel = hnp.arrays(np.float64, st.shared(st.integers(1, 400), key="n"), elements=st.floats(-200, 15000, width=32))
rates = hnp.arrays(
    np.float64,
    st.shared(st.integers(1, 400), key="n"),
    elements=st.one_of(st.floats(-2, 120, width=32), st.just(float("nan"))),
)


@settings(max_examples=150, suppress_health_check=[HealthCheck.too_slow])
@given(channel, rates)
def test_any_record_is_picked_without_an_error_and_every_pick_has_a_reason(
    pressure: np.ndarray, rate: np.ndarray
) -> None:
    record = StageRecord(np.arange(pressure.size, dtype=float), pressure, rate, None, None)
    for pick in effective(record, StageDesign()).values():
        assert pick.reason
        assert (pick.confidence == "none") == (pick.value is None and pick.time_s is None)


@pytest.mark.parametrize("value", [0.0, 5000.0, float("nan")])
def test_constant_and_void_channels_give_no_picks(value: float) -> None:
    n = 500
    record = StageRecord(np.arange(n, dtype=float), np.full(n, value), np.full(n, np.nan), None, None)
    assert {pick.confidence for pick in effective(record, StageDesign()).values()} == {"none"}


@settings(max_examples=40)
@given(st.integers(0, 10_000))
def test_shuffled_seconds_yield_no_confident_pick(seed: int) -> None:
    """A record whose samples lost their order says nothing; measuring sorts a record whose times are right."""
    stage = simple_stage()
    order = np.random.default_rng(seed).permutation(stage.time_s.size)
    assert stage.conc_ppa is not None
    record = StageRecord(stage.time_s, stage.pressure_psi[order], stage.rate_bpm[order], None, stage.conc_ppa[order])
    assert "high" not in {pick.confidence for pick in effective(record).values()}


@settings(max_examples=40)
@given(st.integers(1, 500), st.floats(-2.0, 0.0))
def test_negative_rates_yield_no_confident_pick(rows: int, rate: float) -> None:
    record = StageRecord(np.arange(rows, dtype=float), np.full(rows, 5000.0), np.full(rows, rate), None, np.zeros(rows))
    assert {pick.confidence for pick in effective(record).values()} == {"none"}


def test_a_stage_without_proppant_has_no_steps_and_no_sweeps_rather_than_unknown_ones() -> None:
    time = np.arange(600.0)
    record = StageRecord(time, np.full(600, 5000.0), np.full(600, 80.0), None, np.zeros(600))
    found = {pick.name: pick for pick in find_proppant(Timeline(record, 0, 10, 590, 0.0))}
    assert (found["proppant_steps"].value, found["sweeps"].value) == (0.0, 0.0)
    assert (found["first_proppant"].time_s, found["last_proppant"].time_s) == (None, None)
    blind = find_proppant(Timeline(StageRecord(time, record.pressure_psi, record.rate_bpm), 0, 10, 590, 0.0))
    assert {pick.reason for pick in blind} == {"no proppant concentration in the record"}


@pytest.mark.parametrize(
    ("readings", "offset", "confidence", "says"),
    [
        ((-45.0, -10.0), 0.0, "low", "readings at rest disagree"),
        ((-45.0, -40.0), -42.5, "high", "removed from the record"),
        ((15.0, 15.0), 0.0, "high", "within the gauge's accuracy"),
        ((-20.0, -20.0), 0.0, "high", "within the gauge's accuracy"),
    ],
)
def test_readings_at_rest_give_one_offset_or_none(
    readings: tuple[float, float], offset: float, confidence: str, says: str
) -> None:
    """A minute of rest, pumping, another minute of rest."""
    pressure = np.concatenate((np.full(60, readings[0]), np.full(120, 5000.0), np.full(60, readings[1])))
    rate = np.concatenate((np.zeros(60), np.full(120, 60.0), np.zeros(60)))
    found = find_zero_offset(StageRecord(np.arange(240.0), pressure, rate))
    assert (found.value, found.confidence) == (pytest.approx(offset), confidence)
    assert says in found.reason


@pytest.mark.parametrize("void", [True, False])
def test_a_gap_where_the_pressure_rises_leaves_no_sure_breakdown(void: bool) -> None:
    record = simple_stage()
    sure = pick_stage(record, StageDesign()).effective["breakdown_pressure"]
    assert sure.time_s is not None
    hidden = np.abs(record.time_s - sure.time_s) <= 6.0
    pressure = record.pressure_psi.copy()
    pressure[hidden] = np.nan
    cut = replace(record, pressure_psi=pressure)
    if not void:
        names = ("time_s", "pressure_psi", "rate_bpm", "clean_bpm", "conc_ppa", "reducer_gpt")
        channels = [getattr(record, name) for name in names]
        cut = StageRecord(*(None if channel is None else channel[~hidden] for channel in channels))
    found = pick_stage(cut, StageDesign()).effective["breakdown_pressure"]
    assert found.confidence in ("low", "none")
