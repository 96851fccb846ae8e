"""Metrics and sentences on inputs small enough to compute by hand."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from pipeline.ingest.inspect import inspect_file
from pipeline.ingest.land import land
from pipeline.lake import Lake
from pipeline.metrics.coil import plugs, toe
from pipeline.metrics.declare import Missing
from pipeline.metrics.stage import friction, metrics, slurry
from pipeline.metrics.stage.findings import stage_findings
from pipeline.metrics.stage.measure import _surroundings
from pipeline.metrics.stage.view import StageView
from pipeline.metrics.stage.waves import casing_wave_speed_ft_s, pooled_wave_speed
from pipeline.metrics.wireline.metrics import WIRELINE_RUN, WirelineView
from pipeline.models.columns import COLUMNS
from pipeline.models.grouped_cv import _interval_note
from pipeline.physics.constants import WATER_DENSITY_PPG
from pipeline.physics.fluids import absolute_volume_gal_per_lbm, hydrostatic_psi, slurry_density_ppg
from pipeline.physics.friction import perforation_friction_psi, pipe_friction_psi
from pipeline.physics.hydraulics import pipe_capacity_bbl
from pipeline.picks.arrays import median3
from pipeline.picks.pump_down import PumpDown, find_pump_down, pump_down_between
from pipeline.picks.stage import pick_stage
from pipeline.picks.timeline import Timeline
from pipeline.picks.types import DISCHARGE, Pipe, StageDesign, StageRecord
from pipeline.schemas.lineage import FINDINGS
from tests.builders import TREATMENT_MAP, WELLS, WELLS_MAP, missing, record_csv, simple_stage, workspace

PIPE = Pipe(15_000.0, 4.778, 8.34)
RATE, PRESSURE, DENSITY, TVD, CLOSURE, REDUCTION = 80.0, 8000.0, 8.5, 9500.0, 0.75, 0.7
COLUMN = 12.0 / 231.0 * DENSITY * TVD
PIPE_LOSS = float(pipe_friction_psi(RATE, DENSITY, 15_000.0, 4.778, drag_reduction=REDUCTION))
PERF_LOSS = float(perforation_friction_psi(RATE, DENSITY, 30, 0.42, DISCHARGE))


def stage(row: dict[str, Any] | None = None, picks: dict[str, float] | None = None, **more: Any) -> Any:
    """Return a view at rate, with what a test changes of it."""

    def pick(name: str) -> float:
        if name not in (picks or {}):
            raise Missing(f"no {name}")
        return (picks or {})[name]

    design = SimpleNamespace(
        pipe=PIPE, drag_reduction=REDUCTION, holes=30, hole_in=0.42, rate_bpm=90.0, proppant_lbm=200_000.0,
        pressure_limit_psi=9500.0, capacity_bbl=330.0, discharge=DISCHARGE,
    )  # fmt: skip
    view = {
        "at_rate_state": (RATE, PRESSURE, DENSITY), "treated_state": (RATE, PRESSURE, DENSITY), "design": design,
        "pick": pick,
        "row": {"tvd_ft": TVD, "closure_gradient_psi_ft": CLOSURE} | (row or {}),
    }  # fmt: skip
    return SimpleNamespace(**(view | more))


def test_bottomhole_pressure_is_surface_and_column_less_pipe_friction() -> None:
    assert friction.modelled_pipe_friction_psi(stage()) == pytest.approx(PIPE_LOSS)
    assert friction.modelled_bottomhole_psi(stage()) == pytest.approx(PRESSURE + COLUMN - PIPE_LOSS)
    assert "TVD" in missing(friction.modelled_bottomhole_psi, stage({"tvd_ft": None}))


def test_pressure_at_the_design_rate_scales_each_loss_with_its_own_exponent() -> None:
    """From 80 to 90 bpm: pipe friction by (90/80)**1.75, perforation friction by (90/80)**2."""
    more = PIPE_LOSS * (1.125**1.75 - 1.0) + PERF_LOSS * (1.125**2 - 1.0)
    assert friction.pressure_at_design_rate_psi(stage()) == pytest.approx(PRESSURE + more)
    unknown = stage()
    unknown.design.rate_bpm = None
    assert "design rate" in missing(friction.pressure_at_design_rate_psi, unknown)


def test_pressure_above_closure_takes_perforation_friction_from_the_step_down_else_from_the_holes() -> None:
    bottom = PRESSURE + COLUMN - PIPE_LOSS
    assert friction.pressure_above_closure_psi(stage()) == pytest.approx(bottom - PERF_LOSS - CLOSURE * TVD)
    stepped = stage(picks={"step_down_kp": 0.13, "step_down_kt": 55.0})
    near = 55.0 * RATE**0.5  # 491.9 psi
    assert friction.step_down_perf_friction_psi(stepped) == pytest.approx(832.0)
    assert friction.modelled_nearwell_friction_psi(stepped) == pytest.approx(near)
    assert friction.modelled_net_pressure_psi(stepped) == pytest.approx(bottom - 832.0 - near - CLOSURE * TVD)
    assert "closure gradient" in missing(friction.pressure_above_closure_psi, stage({"closure_gradient_psi_ft": None}))


def test_net_pressure_without_near_wellbore_friction_is_unknown() -> None:
    assert missing(friction.modelled_net_pressure_psi, stage()) == "no step_down_kt"


def test_open_perforations_turn_the_perforation_term_round() -> None:
    """kp of 20 open holes: 0.237636*8.34/(20**2 * 0.42**4 * Cd**2)."""
    kp = 0.23763551 * 8.34 / (400.0 * 0.42**4 * DISCHARGE**2)
    assert friction.open_perforations(stage(picks={"step_down_kp": kp})) == pytest.approx(20.0, rel=1e-6)
    assert friction.perforation_capacity_in2(stage(picks={"step_down_kp": kp})) == pytest.approx(
        20.0 * DISCHARGE * 0.42**2, rel=1e-6
    )
    stated = stage(picks={"step_down_kp": kp})
    stated.design.discharge = 0.9
    assert friction.open_perforations(stated) == pytest.approx(20.0 * DISCHARGE / 0.9, rel=1e-6)
    assert "no perforation friction" in missing(friction.open_perforations, stage(picks={"step_down_kp": 0.0}))
    assert missing(friction.open_perforations, stage()) == "no step_down_kp"


def test_perforation_efficiency_lies_between_no_erosion_and_the_most() -> None:
    """25 open holes of 0.42 in at the tables' coefficient, 30 fired; all eroded by a fifth to 0.9 they are fewer."""
    kp = 0.23763551 * 8.34 / (625.0 * 0.42**4 * DISCHARGE**2)
    stepped = stage(picks={"step_down_kp": kp})
    assert friction.perforation_efficiency_high(stepped) == pytest.approx(25.0 / 30.0, rel=1e-6)
    assert friction.perforation_efficiency_low(stepped) == pytest.approx(25.0 / 30.0 * DISCHARGE / 0.9 / 1.44, rel=1e-6)
    assert "no eroded hole diameter" in missing(friction.perforation_efficiency, stepped)
    seen = stage({"eroded_hole_diameter_in": 0.45}, picks={"step_down_kp": kp})
    assert friction.perforation_efficiency(seen) == pytest.approx(25.0 / 30.0 * (0.42 / 0.45) ** 2, rel=1e-6)
    washed = stage(picks={"step_down_kp": kp / 9.0})  # as if 75 of 30 holes were open: eroded, none more than open
    assert friction.perforation_efficiency_high(washed) == 1.0


def test_plug_margin_is_its_rating_less_the_differential() -> None:
    """Highest pressure 9,000 psi at 80 bpm; the stage below has fallen from 5,000 psi by 10 psi per root second."""
    from datetime import UTC, datetime, timedelta

    start = datetime(2025, 3, 1, tzinfo=UTC)
    below = SimpleNamespace(shut_in=start - timedelta(seconds=3590.0), isip_psi=5000.0, decline_psi_rt_s=10.0)
    view = stage(
        {"reservoir_gradient_psi_ft": 0.5}, around=SimpleNamespace(below=below, plug_rating_psi=10_000.0),
        main=np.array([True, True, True]), pressure=np.array([8000.0, 9000.0, 8500.0]), rate=np.array([80.0] * 3),
        time_s=np.array([0.0, 10.0, 20.0]), at=lambda seconds: start + timedelta(seconds=seconds),
    )  # fmt: skip
    loss = float(pipe_friction_psi(80.0, 8.34, 15_000.0, 4.778, drag_reduction=REDUCTION))
    held = 5000.0 - 10.0 * 3600.0**0.5  # 4,400 psi; the reservoir holds 0.5*9500 - 4115.6 = 634 psi
    assert friction.plug_differential_psi(view) == pytest.approx(9000.0 - loss - held)
    assert friction.plug_margin_psi(view) == pytest.approx(10_000.0 - (9000.0 - loss - held))


def waves(periods: list[float], depth: float = 18_000.0) -> list[Any]:
    def one(number: int, period: float) -> Any:
        hammer = SimpleNamespace(value=period, confidence="high", standard_error=0.0)
        nothing = SimpleNamespace(value=None, time_s=None)
        effective = {"hammer_period": hammer, "isip": nothing, "pressure_5min": nothing, "shut_in": nothing}
        return SimpleNamespace(
            number=number, picks=SimpleNamespace(effective=effective), row={"bottom_perf_ft": depth}, origin=None
        )

    return [one(number, period) for number, period in enumerate(periods, start=1)]


def test_the_wave_speed_of_a_stage_is_the_median_of_the_others_with_its_error() -> None:
    """4L/T: 15, 15, 16 s give 4800, 4800, 4500 ft/s; their own stage, 12 s, stays out."""
    stages = waves([12.0, 15.0, 15.0, 16.0])
    around = _surroundings(stages[0], stages, {1: {"set_depth_ft": 17_000.0, "rating_psi": 10_000.0}})
    assert around.wave_speed_ft_s == pytest.approx(4800.0)
    # the median deviation of 0, 0, 300 is 0: the least scatter, 0.25 %, counts
    assert around.wave_speed_error_ft_s == pytest.approx(12.0 * (1.0 + 1.5708 / 3.0) ** 0.5, rel=2e-3)
    assert (around.plug_depth_ft, around.plug_rating_psi) == (17_000.0, 10_000.0)
    spread = waves([12.0, 14.4, 15.0, 16.0])  # 5000, 4800, 4500 ft/s: deviations 200, 0, 300
    around = _surroundings(spread[0], spread, {})
    assert around.wave_speed_error_ft_s == pytest.approx(1.4826 * 200.0 * (1.0 + 1.5708 / 3.0) ** 0.5, rel=3e-3)
    alone = _surroundings(stages[0], stages[:2], {})  # one other: 2.5 % from records of other wells
    assert (alone.wave_speed_ft_s, alone.wave_speed_error_ft_s) == (4800.0, pytest.approx(120.0 * 2.5708**0.5))
    assert _surroundings(stages[0], stages[:1], {}).wave_speed_ft_s is None


def test_a_stage_with_a_small_error_weighs_more_and_one_without_a_period_nothing() -> None:
    speed, error = pooled_wave_speed([4500.0, 4700.0, 4900.0], [500.0, 10.0, 500.0]) or (0.0, 0.0)
    assert speed == 4700.0
    assert error < 60.0
    assert pooled_wave_speed([], []) is None


def test_the_wave_speed_of_a_casing_is_korteweg_s_and_by_travel_time_over_its_sections() -> None:
    """K 2.2 GPa, 1,000 kg/m3, 4.67 in inside, wall 0.415 in: 4,599.02 ft/s (trade reference, computed by us)."""
    one = {"string": "casing", "top_md_ft": 0.0, "bottom_md_ft": None, "inside_diameter_in": 4.67}
    water_ppg = 1000.0 / 119.826427
    speed = casing_wave_speed_ft_s([one | {"outside_diameter_in": 5.5}], 12_000.0, water_ppg)
    assert speed == pytest.approx(4599.02, abs=0.05)
    wide = {
        "string": "casing",
        "top_md_ft": 0.0,
        "bottom_md_ft": 6000.0,
        "inside_diameter_in": 8.681,
        "outside_diameter_in": 9.625,
    }
    lower = one | {"outside_diameter_in": 5.5, "top_md_ft": 6000.0}
    upper = casing_wave_speed_ft_s([wide], 6000.0, water_ppg)
    both = casing_wave_speed_ft_s([wide, lower], 12_000.0, water_ppg)
    assert upper is not None
    assert both == pytest.approx(2.0 / (1.0 / upper + 1.0 / 4599.02), rel=1e-4)
    assert casing_wave_speed_ft_s([one], 12_000.0, water_ppg) is None


def test_reflector_depth_and_its_error_join_speed_and_period() -> None:
    period = SimpleNamespace(value=14.0, standard_error=0.14, confidence="high", by_engineer=False, reason="")
    around = SimpleNamespace(wave_speed_ft_s=4800.0, wave_speed_error_ft_s=48.0)

    def seen() -> Any:
        view = stage(picks={"hammer_period": 14.0}, around=around, picks_=None)
        view.picks = SimpleNamespace(effective={"hammer_period": period})
        return view

    assert friction.reflector_depth_ft(seen()) == pytest.approx(16_800.0)
    assert friction.reflector_error_ft(seen()) == pytest.approx(16_800.0 * (0.01**2 + 0.01**2) ** 0.5)
    period.confidence, period.reason = "low", "only 1.9 samples per period"
    assert "in doubt: only 1.9 samples" in missing(friction.reflector_depth_ft, seen())
    period.by_engineer = True
    assert friction.reflector_depth_ft(seen()) == pytest.approx(16_800.0)
    view = stage(
        picks={"hammer_period": 14.0}, around=SimpleNamespace(wave_speed_ft_s=None, wave_speed_error_ft_s=None)
    )
    assert "hammer period" in missing(friction.wave_speed_ft_s, view)


def test_pressure_per_reducer_is_the_slope_at_one_rate_without_proppant() -> None:
    loading = np.concatenate([np.full(100, 0.5), np.full(100, 1.0), np.full(100, 1.0)])
    rate = np.concatenate([np.full(200, 80.0), np.full(100, 60.0)])  # the last hundred are at another rate
    pressure = np.where(rate == 60.0, 3000.0, 9000.0 - 240.0 * loading)
    view = stage(reducer=loading, at_rate=np.ones(300, dtype=bool), conc=None, rate=rate, pressure=pressure)
    assert slurry.pressure_per_reducer_psi_gpt(view) == pytest.approx(-240.0)
    laden = stage(
        reducer=loading, at_rate=np.ones(300, dtype=bool), conc=np.full(300, 1.0), rate=rate, pressure=pressure
    )
    assert "two minutes" in missing(slurry.pressure_per_reducer_psi_gpt, laden)
    steady = stage(reducer=np.full(300, 1.0), at_rate=np.ones(300, dtype=bool), conc=None, rate=rate, pressure=pressure)
    assert missing(slurry.pressure_per_reducer_psi_gpt, steady)
    assert "no friction reducer" in missing(slurry.pressure_per_reducer_psi_gpt, stage(reducer=None))


def test_shares_of_design_divide_by_the_design() -> None:
    view = stage(mean=lambda values, mask: 81.0, rate=None, at_rate=None)
    assert slurry.rate_share(view) == pytest.approx(0.9)
    assert slurry.misfired(stage({"holes_designed": 30, "holes_shot": 29})) is True
    assert slurry.misfired(stage({"holes_designed": 30, "holes_shot": 30})) is False
    assert missing(slurry.misfired, stage({"holes_designed": 30}))


def test_the_margin_is_the_limit_less_the_highest_pressure() -> None:
    view = stage(pressure=np.array([9000.0, 9400.0, 9900.0]), main=np.array([True, True, False]))
    assert metrics.pressure_margin_psi(view) == pytest.approx(100.0)
    nothing = stage(pressure=np.array([9000.0]), main=np.array([False]))
    assert "main rate" in missing(metrics.pressure_margin_psi, nothing)


def pump_down(pressure: list[float]) -> PumpDown | None:
    """Thirty minutes after shut-in ten minutes at 15 bpm, one sample per ten seconds."""
    time = np.arange(0.0, 3600.0, 10.0)
    rate = np.where((time >= 1800.0) & (time < 2400.0), 15.0, 0.0)
    psi = np.full(time.size, 3000.0)
    psi[180 : 180 + len(pressure)] = pressure
    timeline = Timeline(StageRecord(time, psi, rate, None, None), 0, 1, 0, 0.0)
    start, end = find_pump_down(timeline) or (None, None)
    assert start is not None and end is not None
    assert start.time_s is not None and end.time_s is not None
    return pump_down_between(timeline, start.time_s, end.time_s)


def test_a_void_sample_does_not_hide_the_pressure_of_a_pump_down() -> None:
    found = pump_down([4000.0, float("nan"), 4000.0])
    assert found is not None
    assert found.peak_psi == pytest.approx(4000.0)
    assert (found.start_s, found.end_s, found.peak_bpm, found.whole) == (1800.0, 2390.0, 15.0, True)
    assert found.minutes == pytest.approx(590.0 / 60.0)
    assert found.volume_bbl == pytest.approx(15.0 * 590.0 / 60.0)  # ten seconds are this record's usual step, no gap
    blind = pump_down([float("nan")] * 60)
    assert blind is not None and np.isnan(blind.peak_psi)
    view = WirelineView({}, {}, blind, None)
    row = WIRELINE_RUN.measure({"well_id": "a", "run": 2}, view)
    assert row["peak_pressure_psi"] is None and "peak_pressure_psi: not enough samples" in row["missing_because"]


def test_the_three_point_median_removes_single_samples_and_keeps_edges() -> None:
    nan = float("nan")
    values = np.array([1.0, 9.0, 2.0, 3.0, nan, 5.0, 5.0, 0.0])
    found = median3(values)
    assert found[:3].tolist() == [1.0, 2.0, 3.0]
    assert np.isnan(found[3:6]).all()  # beside a void sample there is no median
    assert found[6:].tolist() == [5.0, 0.0]


def test_line_speed_and_barrels_are_per_length_pumped() -> None:
    row = {"pump_down_from_ft": 9000.0, "pump_down_min": 20.0, "pump_down_bbl": 300.0}
    measured = WIRELINE_RUN.measure(
        {"well_id": "a", "run": 2}, WirelineView(row, {"set_depth_ft": 15_000.0}, None, None)
    )
    assert (measured["pumped_ft"], measured["line_speed_ft_min"], measured["bbl_per_100_ft"]) == (6000.0, 300.0, 5.0)
    assert measured["basis"] == "run record"
    above = WIRELINE_RUN.measure({"well_id": "a", "run": 2}, WirelineView(row, {"set_depth_ft": 8000.0}, None, None))
    assert above["line_speed_ft_min"] is None and "line_speed_ft_min: " in above["missing_because"]


@pytest.mark.parametrize(
    ("pads", "chance", "coverage", "note"),
    [
        (8, False, 0.9, "8 pads: no distribution-free 90 % interval by pad exists below 9; the limits are from resampling"),
        (9, False, float("nan"), "9 pads: a 90 % interval exists, but there are too few other pads to test it."),
        (12, False, 0.913, "12 pads: 91% of each pad's rows are inside the 90 % interval from the other pads."),
        (12, True, 0.9, "12 pads: a chance has no prediction interval; use it with its error."),
    ],
)  # fmt: skip
def test_a_card_says_what_its_interval_rests_on(pads: int, chance: bool, coverage: float, note: str) -> None:
    assert _interval_note(pads, chance, coverage).startswith(note)


def test_values_outside_the_usual_range_are_a_finding_and_stay(tmp_path: Path) -> None:
    text = record_csv(60).replace("5005.0", "13000.0").replace("5006.0", "13100.0").replace("5007.0", "21000.0")
    space = workspace(
        tmp_path, {"records": TREATMENT_MAP, "wells": WELLS_MAP},
        {"tables/wells.csv": WELLS, "Saltgrass 3H stage 1.csv": text},
    )  # fmt: skip
    lake = Lake(space.lake)
    assert not land(space, lake).set_aside
    found = {row["kind"]: row["message"] for row in lake.scan(FINDINGS).collect().iter_rows(named=True)}
    assert found["unusual_values"] == "treating_pressure_psi: 2 value(s) outside the usual {-50 psi} to {12500 psi}"
    assert found["void_samples"] == "treating_pressure_psi: 1 value(s) outside {-250 psi} to {20000 psi} are void"


def test_inspect_describes_a_file_without_a_units_row(tmp_path: Path) -> None:
    head, units, *rows = record_csv(30).splitlines()
    assert units == ",psi,bpm,ppa"
    plain = TREATMENT_MAP.replace("units_row = 2\n", "")
    space = workspace(
        tmp_path, {"records": plain, "wells": WELLS_MAP},
        {"tables/wells.csv": WELLS, "Saltgrass 3H stage 1.csv": "\n".join([head, *rows, ""])},
    )  # fmt: skip
    land(space, Lake(space.lake))
    text, usable = inspect_file(space, tmp_path / "landing" / "Saltgrass 3H stage 1.csv")
    assert usable
    assert "30 rows read, 30 would land" in text
    assert "treating_pressure_psi: 'Pressure' in psi; 5,000 psi to 5,029 psi" in text


def finding_kinds(row: dict[str, Any] | None = None, **measured: Any) -> list[str]:
    nothing = dict.fromkeys(
        ("zero_offset_psi", "unmeasured_s", "pressure_margin_psi", "plug_differential_psi", "plug_margin_psi", "misfired",
         "isip_gradient_psi_ft", "screenout", "cut_short", "placed_share", "reflector_depth_ft", "reflector_error_ft",
         "screenout_reason", "unmeasured_proppant_lbm", "proppant_lbm")
    )  # fmt: skip
    time = np.concatenate((np.arange(60.0), 60.0 + measured.pop("pause_s", 0.0) + np.arange(60.0)))
    record = SimpleNamespace(
        time_s=time, rate_bpm=np.full(120, 80.0),
        clean_bpm=np.where(np.arange(120) < measured.pop("clean_above_s", 0), 85.0, 80.0),
    )  # fmt: skip
    void = measured.pop("void_rate_s", 0.0)
    view: Any = SimpleNamespace(
        row={"stage_length_ft": 200.0} | (row or {}), injection=slice(0, 120), seconds=np.ones(120),
        picks=SimpleNamespace(timeline=SimpleNamespace(void_rate_s=void, record=record, main_bpm=20.0), faulty_pressures=0),
        around=SimpleNamespace(plug_depth_ft=17_000.0),
    )  # fmt: skip
    return [found["kind"] for found in stage_findings("a", 1, view, nothing | measured)]


@pytest.mark.parametrize(
    ("measured", "kinds"),
    [
        ({}, []),
        ({"zero_offset_psi": -85.0}, ["zero_offset"]),
        ({"unmeasured_proppant_lbm": 990.0, "proppant_lbm": 99000.0}, []),
        ({"unmeasured_proppant_lbm": 1010.0, "proppant_lbm": 99000.0}, ["unmeasured_proppant"]),
        ({"zero_offset_psi": 0.0}, []),
        ({"void_rate_s": 12.0, "unmeasured_s": 12.0}, ["void_rate"]),
        ({"clean_above_s": 30}, []),
        ({"clean_above_s": 31}, ["clean_above_slurry"]),
        ({"pause_s": 12 * 3600.0 - 1.0}, []),
        ({"pause_s": 12 * 3600.0 + 1.0}, ["two_jobs"]),
        ({"unmeasured_s": 2.0}, []),
        ({"unmeasured_s": 2.5}, ["unmeasured"]),
        ({"pressure_margin_psi": -1.0}, ["over_limit"]),
        ({"pressure_margin_psi": 0.0}, []),
        ({"plug_differential_psi": 10_100.0, "plug_margin_psi": -100.0}, ["plug_over_rating"]),
        ({"plug_margin_psi": 0.0, "plug_differential_psi": 10_000.0}, []),
        ({"isip_gradient_psi_ft": 0.6}, []),
        ({"isip_gradient_psi_ft": 0.59}, ["isip_gradient"]),
        ({"isip_gradient_psi_ft": 1.11}, ["isip_gradient"]),
        ({"screenout": True, "screenout_reason": "why", "cut_short": True}, ["screenout"]),
        ({"cut_short": True, "placed_share": 0.9}, ["cut_short"]),
        ({"reflector_depth_ft": 17_301.0, "reflector_error_ft": 50.0}, ["deep_reflector"]),
        ({"reflector_depth_ft": 17_300.0, "reflector_error_ft": 50.0}, []),  # two errors and one stage length
    ],
)
def test_each_finding_begins_at_its_limit(measured: dict[str, Any], kinds: list[str]) -> None:
    assert finding_kinds(**measured) == kinds


def test_minutes_of_a_plug_s_cycle_are_from_leaving_the_plug_before() -> None:
    view = SimpleNamespace(done_s=7_800.0, previous_done_s=6_000.0, picks=None)
    assert plugs.cycle_min(view) == pytest.approx(30.0)
    alone = SimpleNamespace(done_s=7_800.0, previous_done_s=None, picks=None)
    assert missing(plugs.cycle_min, alone) == "the first plug of the run"


def test_slurry_and_flush_of_a_toe_are_volumes_between_its_stations_and_surface() -> None:
    """3 bpm for 600 s at each of two stations; 2 bpm from the second one to the end, 1,200 s later."""
    time = np.arange(0.0, 3001.0)
    pump = np.where(time <= 1800.0, 3.0, 2.0)
    spans = [SimpleNamespace(start_s=0.0, end_s=601.0), SimpleNamespace(start_s=1000.0, end_s=1801.0)]
    record = SimpleNamespace(time_s=time, pump_bpm=pump)
    one = SimpleNamespace(stations=spans, record=record)
    toe_view = SimpleNamespace(runs=[one])
    assert toe.cutting_bbl(toe_view) == pytest.approx(3.0 * (600.0 + 800.0) / 60.0)
    assert toe.flush_bbl(toe_view) == pytest.approx(2.0 * (3000.0 - 1801.0) / 60.0)
    record.pump_bpm = None
    assert missing(toe.flush_bbl, SimpleNamespace(runs=[one])) == "no pump rate in the record"
    assert missing(toe.flush_bbl, SimpleNamespace(runs=[])) == "no station cut"


def test_an_effect_of_debris_is_for_ten_thousand_feet_and_plugs() -> None:
    assert COLUMNS["depth_debris"].step == 10.0


def test_nozzle_drop_of_a_toe_needs_nozzles_rate_and_sand() -> None:
    """Three nozzles of 3/16 in at 2.5 bpm (105 gpm) with 1 ppa: the drop of the orifice form at slurry density."""
    time = np.arange(0.0, 700.0)
    record = SimpleNamespace(time_s=time, pump_bpm=np.full(700, 2.5), sand_ppa=np.where(time < 650.0, 1.0, 0.0))
    path = SimpleNamespace(within=lambda spans: (time >= spans[0][0]) & (time <= spans[0][1]))
    station = SimpleNamespace(start_s=0.0, end_s=600.0, rate_bpm=2.5)

    def view(**changed: Any) -> Any:
        row = {"nozzles": 3, "nozzle_diameter_in": 0.1875} | changed
        return SimpleNamespace(runs=[SimpleNamespace(row=row, record=record, path=path, stations=[station])])

    density = (WATER_DENSITY_PPG + 1.0) / (1.0 + 1.0 / (2.65 * WATER_DENSITY_PPG))
    area = 3 * np.pi / 4.0 * 0.1875**2
    expected = density * 105.0**2 / (12_031.0 * toe.DISCHARGE**2 * area**2)
    assert toe.modelled_nozzle_drop_psi(view()) == pytest.approx(expected, rel=2e-3)
    assert "no nozzles" in missing(toe.modelled_nozzle_drop_psi, view(nozzles=None))
    assert "no nozzles" in missing(toe.modelled_nozzle_drop_psi, view(nozzle_diameter_in=None))


def test_percentiles_of_pressure_are_over_the_time_of_the_main_treatment() -> None:
    """Pressures of 1 to 1,000 psi for a second each: 10, 50 and 90 % are at 100, 500 and 900 psi."""
    record = simple_stage()
    design = StageDesign(rate_bpm=80.0, capacity_bbl=300.0)
    picks = pick_stage(record, design)
    view = StageView(picks, design, {}, datetime(2025, 3, 1, tzinfo=UTC))
    main = np.flatnonzero(view.main)
    pressure = np.full(view.time_s.size, np.nan)
    pressure[main] = np.linspace(0.0, 1000.0, main.size)
    view.__dict__["main"], view.__dict__["pressure"] = view.main, pressure
    assert view.spread == pytest.approx([100.0, 500.0, 900.0], abs=2.0)


@pytest.mark.parametrize("slope", [0.0, 12.0, -8.0])
def test_the_slope_of_bottomhole_pressure_is_that_below_the_weight_of_the_slurry(slope: float) -> None:
    """60 bpm for 50 min; 2 ppa from minute 10, 3 ppa from minute 40: the surface pressure falls as the column fills."""
    time, tvd, capacity = np.arange(3000.0), 9000.0, float(pipe_capacity_bbl(4.778, 9000.0))
    conc = np.where(time < 600.0, 0.0, np.where(time < 2400.0, 2.0, 3.0))
    held = np.convolve(conc, np.ones(round(capacity)) / round(capacity))[: time.size]  # 1 bbl per second
    weight = hydrostatic_psi(slurry_density_ppg(8.4, held, absolute_volume_gal_per_lbm(2.65)), tvd)
    pressure = 11_000.0 - np.asarray(weight) + slope * time / 60.0
    design = StageDesign(rate_bpm=60.0, capacity_bbl=332.6, pipe=Pipe(15_000.0, 4.778, 8.4))
    record = StageRecord(time, pressure, np.full(3000, 60.0), None, conc)
    view = StageView(pick_stage(record, design), design, {"tvd_ft": tvd}, datetime(2025, 3, 1, tzinfo=UTC))
    view.__dict__["injection"] = slice(0, 3000)
    assert friction.bottomhole_slope_psi_min(view) == pytest.approx(slope, abs=0.3)
    assert "less than two minutes" in missing(friction.bottomhole_slope_psi_min, _until(view, 1000))
    assert "no proppant at the perforations" in missing(friction.bottomhole_slope_psi_min, _until(view, 900))


def _until(view: StageView, samples: int) -> StageView:
    """Return a view of the beginning of a record; the pipe of 332.6 bbl is filled after 333 s of slurry."""
    record = view.picks.timeline.record
    cut = StageRecord(
        record.time_s[:samples], record.pressure_psi[:samples], record.rate_bpm[:samples], None,
        None if record.conc_ppa is None else record.conc_ppa[:samples],
    )  # fmt: skip
    short = StageView(pick_stage(cut, view.design), view.design, view.row, view.origin)
    short.__dict__["injection"] = slice(0, samples)
    return short
