"""The sample campaign against what was planted in it."""

from __future__ import annotations

import polars as pl
import pytest

from pipeline import queries
from pipeline.metrics.measure import (
    COIL_RUN_METRICS,
    PLUG_METRICS,
    STAGE_METRICS,
    TOE_PREP_METRICS,
    WIRELINE_METRICS,
)
from pipeline.models.frames import modelling_tables
from pipeline.schemas.lineage import FINDINGS
from pipeline.schemas.picks import PICKS
from pipeline.schemas.time import PAD_DAYS, PAD_TIMELINE
from pipeline.schemas.wells import COIL_RUNS
from tests.conftest import Fitted


@pytest.fixture(scope="module")
def stages(fitted: Fitted) -> pl.DataFrame:
    measured = fitted.lake.scan(STAGE_METRICS).collect()
    joined = measured.join(fitted.truth.stages, on=["well_id", "stage"], suffix="_planted")
    assert joined.height == fitted.truth.stages.height == measured.height
    return joined.filter(~METRIC)


METRIC = pl.col("mess").list.contains("metric")


def test_the_metric_record_under_field_units_is_told_and_measures_nothing(fitted: Fitted) -> None:
    (planted,) = fitted.truth.stages.filter(METRIC).iter_rows(named=True)
    at = (pl.col("well_id") == planted["well_id"], pl.col("level") == "stage", pl.col("number") == planted["stage"])
    found = fitted.lake.scan(FINDINGS).filter(*at, pl.col("kind") == "unit_suspect").collect()["message"].to_list()
    assert any("the rate is probably in m3/min" in words for words in found), found
    assert any("the pressure is probably in MPa" in words for words in found), found
    sure = fitted.lake.scan(PICKS).filter(*at, pl.col("confidence").is_in(["high", "medium"])).collect()
    assert sure.is_empty()
    stage = fitted.lake.scan(STAGE_METRICS).filter(well_id=planted["well_id"], stage=planted["stage"]).collect()
    assert stage["units_in_doubt"].item()


def test_units_are_in_doubt_nowhere_else(fitted: Fitted, stages: pl.DataFrame) -> None:
    assert not stages["units_in_doubt"].any()


def test_the_injection_test_is_measured_and_stays_out_of_comparisons(stages: pl.DataFrame, fitted: Fitted) -> None:
    (small,) = stages.filter(pl.col("proppant_lbm_planted") == 0.0).iter_rows(named=True)
    assert small["main_rate_bpm"] == pytest.approx(4.0)  # half of its design rate
    assert small["breakdown_pressure_psi"] == pytest.approx(small["breakdown_psi"], abs=50.0)
    assert abs(small["isip_psi"] - small["isip_psi_planted"]) <= 2.0 * small["isip_error_psi"] <= 80.0
    assert small["proppant_lbm"] == 0.0
    compared = modelling_tables(queries.connect(fitted.lake))["stage"]
    assert compared.height == stages.height - 1
    assert compared["designed_proppant_lbm"].min() > 0.0


def share_within(frame: pl.DataFrame, difference: pl.Expr, tolerance: float) -> float:
    values = frame.select(difference.abs().alias("d")).drop_nulls()["d"]
    assert len(values) > 0.9 * frame.height
    return float((values <= tolerance).mean())  # type: ignore[arg-type]


def ratio(column: str, planted: str) -> pl.Expr:
    return pl.when(pl.col(planted) > 0.0).then(pl.col(column) / pl.col(planted) - 1.0)


def test_nothing_of_the_campaign_is_set_aside(fitted: Fitted) -> None:
    assert fitted.landed.set_aside == []
    assert fitted.landed.superseded >= 1


@pytest.mark.parametrize(
    ("column", "planted"),
    [
        ("clean_bbl", "clean_bbl_planted"),
        ("slurry_bbl", "slurry_bbl_planted"),
        ("proppant_lbm", "proppant_lbm_planted"),
        ("at_rate_pressure_psi", "at_rate_psi"),
    ],
)
def test_volumes_proppant_and_pressure_at_rate_are_within_one_per_cent(
    stages: pl.DataFrame, column: str, planted: str
) -> None:
    assert share_within(known(stages), ratio(column, planted), 0.01) == 1.0


def known(stages: pl.DataFrame) -> pl.DataFrame:
    """Return the stages whose unmeasured time, which they state, can hold less than half a per cent of the slurry."""
    found = stages.filter(pl.col("unmeasured_bbl") < 0.005 * pl.col("slurry_bbl"))
    assert found.height > 0.9 * stages.height or found.height >= stages.height - 2
    return found


def test_isip_is_within_75_psi_of_90_per_cent(stages: pl.DataFrame) -> None:
    assert share_within(stages, pl.col("isip_psi") - pl.col("isip_psi_planted"), 75.0) >= 0.9


def test_breakdown_is_within_100_psi_of_90_per_cent_and_sure_picks_are_better(stages: pl.DataFrame) -> None:
    error = pl.col("breakdown_pressure_psi") - pl.col("breakdown_psi")
    assert share_within(stages, error, 100.0) >= 0.9
    by = dict(stages.group_by("breakdown_confidence").agg(error.abs().mean()).iter_rows())
    assert by["high"] < by["low"]


def test_a_ball_whose_landing_shows_nowhere_gives_no_sure_breakdown(stages: pl.DataFrame) -> None:
    missed = stages.filter(pl.col("breakdown_psi").is_null())
    assert 4 <= missed.height <= 30
    assert "high" not in missed["breakdown_confidence"].to_list()


def test_breakdown_kinds_are_told_apart(stages: pl.DataFrame) -> None:
    right = stages.select((pl.col("breakdown_kind") == pl.col("breakdown_kind_planted")).mean()).item()
    assert right >= 0.9


def test_hammer_period_is_within_one_per_cent(stages: pl.DataFrame) -> None:
    assert share_within(stages, ratio("hammer_period_s", "hammer_period_s_planted"), 0.01) >= 0.9


def test_line_tests_never_enter_a_maximum_or_a_breakdown(stages: pl.DataFrame) -> None:
    tested = stages.filter(pl.col("line_test_psi").is_not_null())
    assert tested.height > 150
    each_second = stages.filter(pl.col("sample_s") == 1)  # others miss the top of a screen-out's climb
    assert share_within(each_second, pl.col("max_treating_pressure_psi") - pl.col("max_psi"), 60.0) == 1.0
    below = tested.filter(pl.col("max_psi") < pl.col("line_test_psi") - 200.0)
    assert (below["max_treating_pressure_psi"] < below["line_test_psi"] - 100.0).all()
    assert (tested["breakdown_pressure_psi"].drop_nulls() < 8000.0).all()


def test_screen_outs_are_found_and_none_is_invented(stages: pl.DataFrame) -> None:
    assert stages["screenout_planted"].sum() >= 4
    assert (stages["screenout"] == stages["screenout_planted"]).all()
    cut = stages.filter(pl.col("cut_short_planted"))
    assert cut["cut_short"].all()
    assert not cut["screenout"].any()


def test_plugs_are_met_where_and_when_they_were_planted(fitted: Fitted) -> None:
    plugs = fitted.lake.scan(PLUG_METRICS).collect().join(fitted.truth.plugs, on=["well_id", "plug"], suffix="_planted")
    assert plugs.height == fitted.truth.plugs.height
    milled = plugs.filter(pl.col("mill_min_planted").is_not_null())
    assert share_within(milled, pl.col("mill_min") - pl.col("mill_min_planted"), 1.0) >= 0.95
    assert share_within(milled, pl.col("stalls") - pl.col("stalls_planted"), 0.0) >= 0.95
    assert plugs.filter(pl.col("mill_min_planted").is_null())["mill_min"].null_count() == plugs.height - milled.height
    assert plugs.height - milled.height >= 3


@pytest.fixture(scope="module")
def runs(fitted: Fitted) -> pl.DataFrame:
    found = fitted.lake.scan(COIL_RUN_METRICS).collect()
    joined = found.join(fitted.truth.runs, on=["well_id", "run"], suffix="_planted")
    assert joined.height == fitted.truth.runs.height == found.height
    return joined


def test_wiper_trips_are_exact_and_their_minutes_within_five_per_cent(runs: pl.DataFrame) -> None:
    assert (runs["wiper_trips"] == runs["wiper_trips_planted"]).mean() >= 0.98  # type: ignore[operator]
    wiped = runs.filter(pl.col("wiper_min_planted").is_not_null())
    assert share_within(wiped, ratio("wiper_min", "wiper_min_planted"), 0.05) == 1.0


@pytest.mark.parametrize(
    "state", ["running_in", "milling", "stalled", "wiper", "short", "stationary", "pulling_out", "jetting"]
)
def test_hours_by_state_are_within_two_per_cent_or_a_minute(runs: pl.DataFrame, state: str) -> None:
    ours = "short_trip_hours" if state == "short" else f"{state}_hours"
    runs = runs.rename({"short_hours": "short_hours_planted"})
    planted = pl.col(f"{state}_hours_planted")
    off = (pl.col(ours) - planted).abs() - pl.max_horizontal(0.02 * planted, 1.0 / 60.0)
    assert runs.select((off <= 0.0).all()).item(), runs.filter(off > 0.0)
    total = float(runs[f"{state}_hours_planted"].sum())
    assert float(runs[ours].sum()) == pytest.approx(total, rel=0.02)
    assert share_within(runs, ratio("hours", "hours_planted"), 0.01) == 1.0


def test_planted_troubles_of_coil_runs_are_the_findings(fitted: Fitted, runs: pl.DataFrame) -> None:
    found = fitted.lake.scan(FINDINGS).filter(pl.col("level") == "run").collect()

    def where(kind: str) -> list[tuple[str, int]]:
        return found.filter(pl.col("kind") == kind).select("well_id", "number").rows()

    planted = {
        name: runs.filter(pl.col("planted").list.contains(name)).select("well_id", "run").rows()
        for name in ("overpull", "lost_returns", "weight reversed")
    }
    assert where("overpull") == planted["overpull"] == [("saltgrass-2h", 1)]
    assert where("lost_returns") == planted["lost_returns"] == [("pipit-draw-1h", 3)]
    assert where("weight_reversed") == planted["weight reversed"] == [("cinder-knoll-2h", 1)]
    assert where("lock_up") == [("thistle-ridge-1h", 3)]
    assert where("stop_without_plug") == []  # the mill that tags bottom at the end of a run is where it was to go
    early = runs.filter(pl.col("planted").list.contains("ends on plug")).select("well_id", "run").rows()
    assert early
    assert sorted(where("short_of_target")) == sorted([("thistle-ridge-1h", 3), *early])
    assert where("bypass_not_opened") == where("slow_annulus") == [("marl-flats-1h", 3)]
    assert (runs["locked_up"] == runs["locked_up_planted"]).all()
    again = fitted.lake.scan(COIL_RUNS).filter(pl.col("trip_reason") == "motor").collect()
    assert set(again["well_id"]) == {"pipit-draw-2h", "heron-gate-1h"}


def test_stations_are_exact_and_cement_within_five_feet(fitted: Fitted, runs: pl.DataFrame) -> None:
    cut = runs.filter(pl.col("kind") == "toe preparation")
    assert cut.height == 4
    assert (cut["stations"] == cut["stations_planted"]).all()
    toes = fitted.lake.scan(TOE_PREP_METRICS).collect()
    planted = runs.filter(pl.col("cement_ft") > 0.0).select("well_id", pl.col("cement_ft").alias("planted_ft"))
    both = toes.join(planted, on="well_id")
    assert both.height == 8
    assert (both["cement_ft"] - both["planted_ft"]).abs().max() < 5.0  # type: ignore[operator]
    assert both["one_run"].sum() == 4
    assert both.filter("one_run")["modelled_nozzle_drop_psi"].is_between(1500.0, 2500.0).all()


def test_pump_downs_come_from_the_pump_record_where_there_is_one(fitted: Fitted) -> None:
    found = fitted.lake.scan(WIRELINE_METRICS).collect()
    planted = fitted.truth.stages.filter(pl.col("pump_down_min").is_not_null() & ~METRIC).select(
        "well_id", (pl.col("stage") + 1).cast(pl.Int32).alias("run"), pl.col("pump_down_min").alias("planted_min")
    )
    both = found.join(planted, on=["well_id", "run"])
    assert both.height == planted.height > 25
    assert (both["basis"] == "pump record").all()
    assert (both["pump_down_min"] - both["planted_min"]).abs().max() < 0.5  # type: ignore[operator]
    assert found.filter(pl.col("basis") == "pump record").height == planted.height
    assert found["line_speed_ft_min"].is_between(200.0, 450.0).all()
    differs = fitted.lake.scan(FINDINGS).filter(pl.col("kind") == "pump_down_differs").collect()
    assert 1 <= differs.height <= 8


def test_stages_a_day_and_lost_time_are_exact(fitted: Fitted) -> None:
    days = fitted.lake.scan(PAD_DAYS).collect()
    planted = (
        fitted.truth.stage_days.with_columns(local_date=pl.col("end").dt.convert_time_zone("America/Denver").dt.date())
        .group_by("pad", "local_date")
        .len()
    )
    both = days.filter(pl.col("stages_completed") > 0).join(planted, on=["pad", "local_date"], how="full")
    assert both.height == planted.height
    assert (both["stages_completed"] == both["len"]).all()
    lost = fitted.lake.scan(PAD_TIMELINE).filter(pl.col("activity") == "NPT").collect()
    hours = fitted.truth.npt.with_columns(hours=(pl.col("end") - pl.col("start")).dt.total_microseconds() / 3.6e9)
    by_pad = hours.group_by("pad", "cause").agg(pl.col("hours").sum()).sort("pad", "cause")
    ours = lost.group_by("pad", "cause").agg(pl.col("hours").sum()).sort("pad", "cause")
    assert ours.select("pad", "cause").equals(by_pad.select("pad", "cause"))
    # logs and records are written to the second
    assert (ours["hours"] - by_pad["hours"]).abs().max() < 0.01  # type: ignore[operator]


def test_the_late_entry_of_a_time_log_is_a_finding_and_the_record_counts(fitted: Fitted) -> None:
    found = fitted.lake.scan(FINDINGS).filter(pl.col("level") == "pad").collect()
    assert found["pad"].to_list() == ["Otter Bend"] * 2
    (differs,) = found.filter(kind="log_differs")["message"]
    assert "25 min" in differs
    assert found.filter(kind="pumping_without_record").height == 1  # of the metric record, in which no rate is found


def test_the_hard_plug_is_a_finding(fitted: Fitted) -> None:
    slow = fitted.lake.scan(FINDINGS).filter(pl.col("kind") == "slow_plug").collect()
    assert ("larch-hollow-2h", 6) in slow.select("well_id", "number").rows()


def test_the_leaking_plug_is_the_one_deep_reflector(fitted: Fitted) -> None:
    deep = fitted.lake.scan(FINDINGS).filter(pl.col("kind") == "deep_reflector").collect()
    assert deep.select("well_id", "number").rows() == [("cinder-knoll-1h", 5)]


def test_reflector_depth_is_the_perforations_within_its_error(stages: pl.DataFrame, fitted: Fitted) -> None:
    plain = stages.filter((pl.col("well_id") != "cinder-knoll-1h") | (pl.col("stage") != 5))
    planted = 4750.0 * pl.col("hammer_period_s_planted") / 4.0
    plain = plain.filter(pl.col("sample_s") < 5)  # two samples per period tell no period
    assert share_within(plain, pl.col("reflector_depth_ft") / planted - 1.0, 0.01) >= 0.95
    assert share_within(plain, (pl.col("reflector_depth_ft") - planted) / pl.col("reflector_error_ft"), 3.0) >= 0.95


def test_a_period_of_two_samples_gives_no_reflector(stages: pl.DataFrame) -> None:
    told = stages.filter((pl.col("sample_s") == 5) & pl.col("reflector_depth_ft").is_not_null())
    assert (told["hammer_period_s"] >= 15.0).all()
    none = stages.filter((pl.col("sample_s") == 5) & (pl.col("hammer_period_s") < 15.0))
    assert none.height > 5
    assert none["missing_because"].str.contains("reflector_depth_ft: the period of the water hammer is in doubt").all()


def test_isip_is_within_30_psi_of_95_per_cent_and_offsets_are_taken_off(stages: pl.DataFrame) -> None:
    off = pl.col("isip_psi") - pl.col("isip_psi_planted")
    assert share_within(stages.filter(pl.col("falloff_law") == "square root"), off, 30.0) >= 0.95
    assert share_within(stages, off / pl.col("isip_error_psi"), 2.0) >= 0.95
    offset = stages.filter(
        pl.col("mess").list.contains("offset") & (pl.col("sample_s") < 5)
    )  # else noise of few samples
    assert offset.height > 5
    assert share_within(offset, pl.col("zero_offset_psi") + 40.0, 3.0) == 1.0


def test_step_downs_and_drag_reduction(stages: pl.DataFrame) -> None:
    stepped = stages.filter(pl.col("step_down_kp").is_not_null() & (pl.col("sample_s") == 1))
    assert stepped.height > 30
    # planted: 80 to 100 % of the holes are open, and all have grown by 10 % at the end
    ends = stepped.select(low="perforation_efficiency_low", high="perforation_efficiency_high")
    assert ends.null_count().row(0) == (0, 0)
    assert (ends["low"] < ends["high"]).all()
    assert ends["low"].is_between(0.45, 1.0).all() and ends["high"].is_between(0.8, 1.0).all()
    assert stages["drag_reduction"].is_between(0.4, 0.75).mean() > 0.95  # type: ignore[operator]


def test_reported_totals_that_differ_are_findings_and_only_those(fitted: Fitted) -> None:
    from pipeline import steps

    rows = steps.run_query(fitted.workspace, "reconciliation", {}).frame
    totals = rows.filter(pl.col("measure").is_in(["clean_bbl", "proppant_lbm"]) & (pl.col("share").abs() > 0.03))
    found = fitted.lake.scan(FINDINGS).filter(pl.col("kind") == "reported_differs").collect()
    assert found.height == totals.height >= 3
    isip = rows.filter(pl.col("measure") == "isip_psi")
    assert isip.height > 200
    assert (isip["difference"].abs() < 150.0).mean() > 0.95  # type: ignore[operator]


def test_every_missing_value_has_its_reason(fitted: Fitted) -> None:
    for table in (STAGE_METRICS, PLUG_METRICS, COIL_RUN_METRICS):
        for row in fitted.lake.scan(table).collect().iter_rows(named=True):
            reasons = "; " + (row.pop("missing_because") or "")
            for name, value in row.items():
                assert (value is None) == (f"; {name}: " in reasons), (table.name, name)


def test_picks_have_method_reason_and_confidence(fitted: Fitted) -> None:
    picks = fitted.lake.scan(PICKS).collect()
    assert picks.filter((pl.col("reason").str.len_chars() == 0) | (pl.col("method").str.len_chars() == 0)).is_empty()
    assert set(picks["confidence"]) <= {"high", "medium", "low", "none"}
    made = picks.filter(pl.col("confidence") != "none")
    assert (made["confidence"] == "high").mean() >= 0.7  # type: ignore[operator]


def test_a_second_refresh_changes_nothing(fitted: Fitted) -> None:
    from pipeline import steps

    before = steps.versions(fitted.lake)
    assert not steps.run_ingest(fitted.workspace).changed
    assert not steps.run_measure(fitted.workspace).changed
    assert not steps.run_fit(fitted.workspace).changed
    assert steps.versions(fitted.lake) == before


@pytest.mark.parametrize("sample_s", [2, 5])
def test_records_with_fewer_samples_keep_their_volumes_and_are_less_sure(stages: pl.DataFrame, sample_s: int) -> None:
    fewer = stages.filter(pl.col("sample_s") == sample_s)
    assert fewer.height >= 10
    for column, planted in (("clean_bbl", "clean_bbl_planted"), ("proppant_lbm", "proppant_lbm_planted")):
        assert share_within(known(fewer), ratio(column, planted), 0.01) == 1.0
    off = (pl.col("isip_psi") - pl.col("isip_psi_planted")).abs()
    near = (off <= 60.0) | ((off <= 2.0 * pl.col("isip_error_psi")) & (pl.col("isip_confidence") != "high"))
    assert fewer.select(near.mean()).item() >= 0.9  # straight declines are told by their error
    assert "high" not in fewer["breakdown_confidence"].to_list()
    assert (fewer["unmeasured_s"] < 120.0).all()


def test_gaps_lie_in_every_phase_and_tell_what_they_can_hold(stages: pl.DataFrame) -> None:
    kinds = set(stages.explode("mess")["mess"].drop_nulls().to_list())
    assert {"gap", "gap before", "gap falloff"} <= kinds
    holed = stages.filter(pl.col("mess").list.contains("gap") & (pl.col("sample_s") == 1))
    assert holed.height > 10
    lost = pl.col("slurry_bbl_planted") - pl.col("slurry_bbl")
    assert holed.select((lost < pl.col("unmeasured_bbl") + 0.005 * pl.col("slurry_bbl")).all()).item()
    assert (holed["unmeasured_bbl"] > 0.0).all()
    whole = stages.filter(~pl.col("mess").list.contains("gap"))
    assert not whole.filter(pl.col("cut_short") & ~pl.col("cut_short_planted")).height
