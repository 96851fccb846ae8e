"""Figures that every benchmark review asks for, each against values computed by hand."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

import polars as pl
import pytest

from pipeline import queries
from tests.builders import connect_on, query_on

START = datetime(2025, 3, 4, 6, tzinfo=UTC)
Rows = list[dict[str, Any]]


def at(hour: float) -> datetime:
    return START + timedelta(hours=hour)


def frame(rows: Rows) -> pl.DataFrame:
    return pl.DataFrame(rows, infer_schema_length=None)


def wells(*names: str, lateral_ft: float | None = None) -> pl.DataFrame:
    return frame(
        [
            {"well_id": name, "well_name": name, "pad": "p", "formation": "f", "heel_md_ft": 10_000.0,
             "toe_md_ft": None if lateral_ft is None else 10_000.0 + lateral_ft}
            for name in names
        ]
    ).cast({"toe_md_ft": pl.Float64})  # fmt: skip


def only(name: str, tables: dict[str, pl.DataFrame]) -> dict[str, Any]:
    (row,) = query_on(name, tables).iter_rows(named=True)
    return row


def test_trir_is_recordables_times_200_000_over_hours() -> None:
    """OSHA incidence rate: cases x 200,000 / hours worked by all. 3 cases in 120,000 h: 5.0 (computed by us)."""
    incidents = [
        {"pad": "p", "occurred_at": at(1), "severity": "recordable"},
        {"pad": "p", "occurred_at": at(2), "severity": "lost time", "spill_bbl": 2.5},
        {"pad": "p", "occurred_at": at(3), "severity": "recordable"},
        {"pad": "p", "occurred_at": at(4), "severity": "first aid", "spill_bbl": 0.5},
        {"pad": "without hours", "occurred_at": at(4), "severity": "recordable", "spill_bbl": 9.0},
    ]
    hours = [
        {"pad": "p", "period_start": date(2025, 3, 1), "hours": 100_000.0},
        {"pad": "p", "period_start": date(2025, 2, 1), "hours": 20_000.0},
    ]
    row = only("safety_rates", {"incidents": frame(incidents), "exposure_hours": frame(hours)})
    assert (row["quarter"], row["hours"], row["recordables"], row["spills"], row["spilled"]) == (
        "2025Q1",
        120_000.0,
        3,
        2,
        3.0,
    )
    assert row["trir"] == pytest.approx(5.0)
    assert row["spills_per_200k_hours"] == pytest.approx(2 * 200_000 / 120_000)


def test_no_rate_of_incidents_without_hours_worked() -> None:
    incidents = frame([{"pad": "p", "occurred_at": at(1), "severity": "recordable"}])
    assert query_on("safety_rates", {"incidents": incidents}).is_empty()


def stages(rows: Rows) -> dict[str, pl.DataFrame]:
    """Return tables of stages: measured columns and designed ones."""
    designed = (
        "design",
        "stage_length_ft",
        "designed_proppant_lbm",
        "holes_designed",
        "clusters",
        "fluid",
        "frac_crew",
    )
    measured = [
        {"start_time": at(0)} | {name: value for name, value in row.items() if name not in designed} for row in rows
    ]
    keys = ("well_id", "stage")
    design = [{name: row[name] for name in (*keys, *designed) if name in row} for row in rows]
    return {"stage_metrics": frame(measured), "stages": frame(design)}


def test_placement_per_foot_and_ends_per_100_stages() -> None:
    rows = [
        {"well_id": "a", "stage": 1, "design": "d", "stage_length_ft": 200.0, "designed_proppant_lbm": 300_000.0,
         "proppant_lbm": 300_000.0, "clean_bbl": 5000.0, "stage_end": "complete"},
        {"well_id": "a", "stage": 2, "design": "d", "stage_length_ft": 100.0, "designed_proppant_lbm": 100_000.0,
         "proppant_lbm": 60_000.0, "clean_bbl": 1000.0, "stage_end": "screen-out"},
        {"well_id": "a", "stage": 3, "design": "d", "stage_length_ft": 100.0, "designed_proppant_lbm": 100_000.0,
         "proppant_lbm": 50_000.0, "clean_bbl": None, "stage_end": "cut short"},
        {"well_id": "a", "stage": 4, "design": "d", "stage_length_ft": None, "designed_proppant_lbm": None,
         "proppant_lbm": 10_000.0, "clean_bbl": 10.0, "stage_end": None},
        {"well_id": "a", "stage": 5, "design": "d", "stage_length_ft": 100.0, "designed_proppant_lbm": 0.0,
         "proppant_lbm": 0.0, "clean_bbl": 300.0, "stage_end": "complete"},
    ]  # fmt: skip
    row = only("placement", stages(rows))
    assert (row["stages"], row["end_not_known"]) == (4, 1)  # the injection test is no fracturing stage
    assert row["proppant_lbm_ft"] == pytest.approx(410_000 / 400)
    assert row["fluid_bbl_ft"] == pytest.approx(6000 / 300)
    assert row["placed_share"] == pytest.approx(410_000 / 500_000)
    assert row["screen_outs_per_100"] == pytest.approx(100 / 3)
    assert row["cut_short_per_100"] == pytest.approx(100 / 3)
    assert row["pressure_outs_per_100"] == 0.0


def test_lost_time_is_ranked_and_added_up() -> None:
    def lost(
        start: float, end: float, cause: str | None, phase: str = "fracturing", activity: str = "NPT"
    ) -> dict[str, Any]:
        return {"pad": "p", "start_time": at(start), "end_time": at(end), "activity": activity, "cause": cause,
                "phase": phase, "hours": end - start, "basis": "time log"}  # fmt: skip

    timeline = frame([
        lost(0, 10, None, activity="pumping"), lost(10, 13, "pumps"), lost(13, 14, "water"), lost(14, 16, "water"),
        lost(16, 18, "pumps"), lost(18, 20, None), lost(20, 30, "coil unit", "mill-out"),
        lost(0, 50, None, activity="pumping") | {"pad": "without a log", "basis": "record"},
    ])  # fmt: skip
    pumped = frame([{"well_id": well, "stage": n, "start_time": at(n)} for n in range(1, 5) for well in ("a", "b")])
    sites = frame([{"well_id": "a", "pad": "p"}, {"well_id": "b", "pad": "without a log"}])
    rows = query_on("npt_pareto", {"pad_timeline": timeline, "stage_metrics": pumped, "wells": sites})
    assert rows.select("cause", "hours", "events", "events_per_100_stages").rows() == [
        ("pumps", 5.0, 2, 50.0), ("water", 3.0, 2, 50.0), ("no cause logged", 2.0, 1, 25.0),
    ]  # fmt: skip
    assert rows["cumulative_share"].to_list() == pytest.approx([0.5, 0.8, 1.0])
    assert rows["share_of_fracturing"].to_list() == pytest.approx([0.25, 0.15, 0.1])


def test_escalation_is_against_the_first_two_stages_and_wells_are_ordered_by_their_first_rate() -> None:
    rows = [
        {"well_id": well, "stage": stage, "design": "d", "start_time": at(hour), "isip_gradient_psi_ft": gradient}
        for well, stage, hour, gradient in [
            ("b", 1, 0, 0.80), ("b", 2, 2, 0.82), ("b", 3, 4, 0.84), ("a", 1, 1, 0.83), ("a", 2, 3, None), ("a", 3, 5, 0.87),
        ]
    ]  # fmt: skip
    found = query_on("isip_escalation", stages(rows) | {"wells": wells("a", "b")})
    assert found.select("well", "well_order", "stage").rows() == [
        ("b", 1, 1),
        ("b", 1, 2),
        ("b", 1, 3),
        ("a", 2, 1),
        ("a", 2, 3),
    ]
    assert found["above_first"].to_list() == pytest.approx([-0.01, 0.01, 0.03, -0.02, 0.02])


def test_entry_by_design_has_the_medians_of_its_step_downs() -> None:
    rows = [
        {"well_id": "a", "stage": n, "design": "d", "holes_designed": 30, "clusters": 10, "modelled_perf_friction_psi": 900.0 + n,
         "step_down_perf_friction_psi": seen, "perforation_efficiency_low": low, "perforation_efficiency_high": high}
        for n, seen, low, high in [(1, 500.0, 0.5, 0.9), (2, None, None, None), (3, 700.0, 0.7, 1.0)]
    ]  # fmt: skip
    row = only("entry_by_design", stages(rows))
    assert (row["stages"], row["step_downs"], row["friction"], row["modelled_friction"]) == (3, 2, 600.0, 902.0)
    assert (row["efficiency_low"], row["efficiency_high"], row["holes_per_cluster"]) == pytest.approx((0.6, 0.95, 3.0))


def test_interference_counts_hits_per_100_stages() -> None:
    offsets = frame([
        {"well_id": "a", "offset_id": "b", "spacing_ft": 800.0, "pressure_response_psi": 450.0, "depletion_months": 24.0},
        {"well_id": "a", "offset_id": "c", "spacing_ft": 1600.0, "pressure_response_psi": 99.0, "depletion_months": None},
        {"well_id": "a", "offset_id": "d", "spacing_ft": 900.0, "pressure_response_psi": None, "depletion_months": 0.0},
    ])  # fmt: skip
    rows = [
        {"well_id": "a", "stage": n, "design": "d", "stage_length_ft": 200.0, "clean_bbl": 5000.0} for n in range(1, 5)
    ]
    found = query_on("interference", stages(rows) | {"offsets": offsets, "wells": wells("a", "b", "c", "d")})
    assert found.select("neighbour", "hit", "hits_per_100_stages").rows() == [
        ("b", True, 25.0),
        ("c", False, 0.0),
        ("d", None, None),
    ]
    assert found["fluid_bbl_ft"].to_list() == pytest.approx([25.0] * 3)


def test_wireline_runs_per_day_and_misruns() -> None:
    measured = frame([
        {"well_id": "a", "run": 2, "plug_set": True, "preset": False, "misfires": 0, "run_hours": 2.0, "bbl_per_100_ft": 3.0},
        {"well_id": "a", "run": 3, "plug_set": True, "preset": True, "misfires": 0, "run_hours": 3.0, "bbl_per_100_ft": 5.0},
        {"well_id": "a", "run": 4, "plug_set": None, "preset": None, "misfires": 1, "run_hours": 4.0, "bbl_per_100_ft": 4.0},
        {"well_id": "a", "run": 5, "plug_set": True, "preset": False, "misfires": 0, "run_hours": None, "bbl_per_100_ft": None},
    ])  # fmt: skip
    listed = frame([
        {"well_id": "a", "run": run, "wireline_crew": "x", "start_time": at(start), "end_time": at(end), "highest_tension_lbf": t}
        for run, start, end, t in [(2, 0, 2, 2000.0), (3, 5, 8, 2400.0), (4, 10, 14, 2200.0), (5, 15, 18, 2100.0)]
    ])  # fmt: skip
    row = only("wireline_by_crew", {"wireline_metrics": measured, "wireline": listed, "wells": wells("a")})
    assert (row["runs"], row["misruns_per_100"], row["run_time"], row["tension"]) == (4, 50.0, 3.0, 2150.0)
    assert row["runs_per_day"] == pytest.approx(24 * 4 / 18)
    assert row["fluid_per_100_ft"] == 4.0


def test_plugs_by_model_count_each_failed_plug_once() -> None:
    plugs = frame([
        {"well_id": "a", "plug": n, "plug_model": model, "set_depth_ft": 9000.0, "mass_lbm": 30.0}
        for n, model in [(2, "Tern"), (3, "Tern"), (4, "Tern"), (5, None)]
    ])  # fmt: skip
    milled = frame(
        [{"well_id": "a", "plug": n, "mill_min": minutes} for n, minutes in [(2, 8.0), (3, None), (4, 10.0), (5, 7.0)]]
    )
    runs = frame([{"well_id": "a", "run": 2, "preset": True}])
    findings = frame([
        {"step": "measure", "well_id": "a", "level": "stage", "number": 2, "kind": "deep_reflector", "message": "m"},
        {"step": "measure", "well_id": "a", "level": "stage", "number": 4, "kind": "plug_over_rating", "message": "m"},
        {"step": "measure", "well_id": "a", "level": "plug", "number": 3, "kind": "slow_plug", "message": "m"},
    ])  # fmt: skip
    tables = {
        "plugs": plugs,
        "plug_metrics": milled,
        "wireline_metrics": runs,
        "findings": findings,
        "wells": wells("a"),
    }
    rows = {row["model"]: row for row in query_on("plugs_by_model", tables).iter_rows(named=True)}
    tern = rows["Tern"]
    assert [tern[name] for name in ("plugs", "preset", "leaking", "over_rating", "drilled_out", "mill_time")] == [
        3,
        1,
        1,
        1,
        2,
        9.0,
    ]
    assert tern["failures_per_100"] == pytest.approx(200 / 3)
    assert rows["not recorded"]["failures_per_100"] == 0.0


def test_mill_out_pace_per_day_in_the_hole_and_on_location() -> None:
    runs = frame(
        [{"well_id": "a", "run": 1, "hours": 12.0, "plugs_milled": 6, "deepest_ft": 15_000.0, "running_in_hours": 5.0}]
    )
    listed = frame([
        {"well_id": "a", "run": 1, "kind": "mill-out", "rig_up_time": at(0), "rig_down_time": at(36), "sweeps": 3, "debris_lbm": 90.0}
    ])  # fmt: skip
    plugs = frame([{"well_id": "a", "plug": n, "set_depth_ft": 9000.0, "mass_lbm": 30.0} for n in range(2, 8)])
    milled = frame([{"well_id": "a", "plug": n, "run": 1, "mill_min": 9.0} for n in range(2, 8)])
    tables = {
        "coil_run_metrics": runs,
        "coil_runs": listed,
        "plugs": plugs,
        "plug_metrics": milled,
        "wells": wells("a"),
    }
    row = only("mill_out_pace", tables)
    names = ("plugs_per_day", "rig_hours", "plugs_per_rig_day", "speed_ft_h", "debris_share", "sweeps_per_plug")
    assert [row[name] for name in names] == pytest.approx([12.0, 36.0, 4.0, 3000.0, 0.5, 0.5])


def test_toe_injectivity_needs_no_coil_run() -> None:
    tests = frame([
        {"well_id": well, "toe_method": method, "opened_at_first": first, "injectivity_bpm": bpm, "injectivity_psi": 6000.0}
        for well, method, first, bpm in [("a", "sleeve", True, 10.0), ("b", "sleeve", False, 6.0), ("c", None, None, 8.0)]
    ])  # fmt: skip
    first = frame([{"well_id": "a", "stage": 1, "start_time": at(0), "reached_design_rate": True}])
    found = query_on("toe_injectivity", {"toe_tests": tests, "stage_metrics": first, "wells": wells("a", "b", "c")})
    rows = {row["method"]: row for row in found.iter_rows(named=True)}
    sleeve = rows["sleeve"]
    names = ("wells", "opened_at_first", "first_attempts_known", "injectivity", "stage_1_reached_rate", "stage_1_known")
    assert [sleeve[name] for name in names] == [2, 1, 2, 8.0, 1, 1]
    assert rows["not recorded"]["first_attempts_known"] == 0


def test_additives_against_design() -> None:
    used = frame([
        {"well_id": "a", "stage": n, "additive": "biocide", "designed_gal": designed, "used_gal": gallons}
        for n, designed, gallons in [(1, 50.0, 40.0), (2, 50.0, 60.0), (3, None, 10.0), (4, 40.0, None)]
    ])  # fmt: skip
    design = frame([{"well_id": "a", "stage": n, "design": "d"} for n in range(1, 5)])
    row = only("additives_used", {"additives": used, "stages": design, "wells": wells("a")})
    assert (row["stages"], row["designed"], row["used"], row["used_share"]) == (2, 100.0, 100.0, 1.0)
    assert (row["lowest_share"], row["highest_share"]) == pytest.approx((0.8, 1.2))


def test_fuel_per_horsepower_hour() -> None:
    rows = [
        {
            "well_id": "a",
            "stage": n,
            "design": "d",
            "frac_crew": "x",
            "hhp_hours": energy,
            "proppant_lbm": 200_000.0,
            "stage_length_ft": 200.0,
        }
        for n, energy in [(1, 20_000.0), (2, 30_000.0), (3, None)]
    ]
    reported = frame(
        [{"well_id": "a", "stage": n, "fuel_gal": gallons} for n, gallons in [(1, 1000.0), (2, 1500.0), (3, 900.0)]]
    )
    row = only("fuel_rates", stages(rows) | {"reported": reported})
    assert (row["stages"], row["fuel_per_hhp_hour"], row["fuel_per_stage"]) == (2, 0.05, 1250.0)
    assert row["fuel_per_1000_lbm"] == pytest.approx(2500 / 400)
    # 40 CFR 98 subpart C, table C-1: 0.138 mmBtu/gal x 73.96 kg/mmBtu = 10.2065 kg/gal (EPA prints 10.21)
    assert row["co2_per_stage"] == pytest.approx(1250 * 10.2065, rel=1e-5)
    assert row["co2_per_1000_lbm"] == pytest.approx(2500 * 10.2065 / 400, rel=1e-5)
    assert row["co2_per_ft"] == pytest.approx(2500 * 10.2065 / 400.0, rel=1e-5)
    # 50,000 hp-h of 2,544.43 Btu from 2,500 gal of 138,000 Btu
    assert row["efficiency"] == pytest.approx(50_000 * 2544.43 / (2500 * 138_000), rel=1e-5)


def test_load_recovery_and_oil_per_foot_and_drawdown() -> None:
    days = frame([
        {"well_id": "a", "day": date(2025, 6, n), "water_bbl": water, "oil_bbl": oil, "gas_mcf": gas,
         "bottomhole_pressure_psi": 4000.0, "reservoir_pressure_psi": 5000.0}
        for n, water, oil, gas in [(1, 600.0, 0.0, 0.0), (2, 500.0, 100.0, 150.0), (4, 400.0, 400.0, 850.0)]
    ])  # fmt: skip
    rows = [{"well_id": "a", "stage": n, "design": "d", "clean_bbl": 5000.0} for n in (1, 2)]
    row = only("load_recovery", stages(rows) | {"flowback": days, "wells": wells("a", lateral_ft=5000.0)})
    assert (row["days"], row["stages"], row["oil"]) == (4, 2, 500.0)
    names = ("load_recovery", "oil_bbl_ft", "oil_bbl_ft_psi", "gas_oil_ratio")
    assert [row[name] for name in names] == pytest.approx([0.15, 0.1, 1e-4, 2.0])


def test_load_recovery_is_unknown_where_a_stage_has_no_volume() -> None:
    days = frame([{"well_id": "a", "day": date(2025, 6, 1), "water_bbl": 600.0, "oil_bbl": 0.0}])
    rows = [{"well_id": "a", "stage": n, "design": "d", "clean_bbl": volume} for n, volume in ((1, 5000.0), (2, None))]
    assert only("load_recovery", stages(rows) | {"flowback": days, "wells": wells("a")})["load_recovery"] is None


def test_response_to_friction_reducer_by_fluid() -> None:
    rows = [
        {"well_id": "a", "stage": n, "design": "d", "fluid": "slickwater", "friction_reducer_gpt": loading,
         "pressure_per_reducer_psi_gpt": response, "drag_reduction": 0.6}
        for n, loading, response in [(1, 0.8, -100.0), (2, 1.0, None), (3, 1.2, -200.0), (4, None, None)]
    ]  # fmt: skip
    row = only("reducer_response", stages(rows))
    assert (row["stages"], row["loading"], row["responses"], row["response"]) == (3, 1.0, 2, -150.0)


def test_pressure_by_depth_keeps_stages_that_never_reached_their_rate_and_leaves_out_what_is_no_stage() -> None:
    """9,000 to 10,000 ft, 8,000 to 8,100 psi: +100 psi per 1,000 ft by hand; the middle stage never reached its rate."""
    common = {"well_id": "a", "design": "d", "designed_proppant_lbm": 1.0}
    rows = [
        common | {"stage": 1, "bottom_perf_ft": 10_000.0, "pressure_at_design_rate_psi": 8100.0, "reached_design_rate": True},
        common | {"stage": 2, "bottom_perf_ft": 9500.0, "pressure_at_design_rate_psi": 8050.0, "reached_design_rate": False},
        common | {"stage": 3, "bottom_perf_ft": 9000.0, "pressure_at_design_rate_psi": 8000.0, "reached_design_rate": True},
        common | {"stage": 4, "bottom_perf_ft": None, "pressure_at_design_rate_psi": 9000.0, "reached_design_rate": True},
        common | {"stage": 5, "bottom_perf_ft": 9000.0, "pressure_at_design_rate_psi": None, "reached_design_rate": None},
        common | {"stage": 6, "bottom_perf_ft": 9000.0, "pressure_at_design_rate_psi": 2000.0, "reached_design_rate": True,
                  "designed_proppant_lbm": 0.0},
    ]  # fmt: skip
    tables = stages(rows)
    moved = [{name: row[name] for name in ("well_id", "stage", "bottom_perf_ft")} for row in rows]
    tables["stages"] = tables["stages"].join(frame(moved), on=["well_id", "stage"])
    tables["stage_metrics"] = tables["stage_metrics"].drop("bottom_perf_ft")
    found = query_on("pressure_by_depth", tables)
    assert found["stage"].to_list() == [1, 2, 3]
    title = queries.run(connect_on({}, "UTC", reads=set()), queries.load("pressure_by_depth_title"), {}, found)
    assert title.frame["title"][0] == (
        "Within a design, treating pressure at design rate changes by +100 psi per 1,000 ft of depth, otherwise unadjusted; "
        "1 of 3 stages never reached the design rate"
    )


def test_signs_of_screen_outs_begin_with_the_steepest_climb() -> None:
    common = {"well_id": "a", "design": "d", "designed_proppant_lbm": 1.0}
    slopes = {1: 2.0, 2: 45.0, 3: None, 4: -6.0}
    rows = [
        common | {"stage": stage, "bottomhole_slope_psi_min": slope, "stage_end": "screen-out" if stage == 2 else "complete"}
        for stage, slope in slopes.items()
    ]  # fmt: skip
    found = query_on("screen_out_signs", stages(rows))
    assert found.select("stage", "slope").rows() == [(2, 45.0), (1, 2.0), (4, -6.0)]
    assert found["stage_end"][0] == "screen-out"
