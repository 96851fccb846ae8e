"""Values and doubts that no campaign shows: each on an input of a few samples."""

from __future__ import annotations

from datetime import UTC, datetime
from types import SimpleNamespace
from typing import Any

import numpy as np
import polars as pl
import pytest

from pipeline.ingest.known import SourceIndex
from pipeline.ingest.witsml import is_witsml
from pipeline.metrics.coil.measure import _stall_pick
from pipeline.metrics.coil.view import RunView
from pipeline.metrics.declare import Missing
from pipeline.metrics.stage import metrics
from pipeline.metrics.stage.plausible import _against
from pipeline.metrics.stage.view import StageView
from pipeline.metrics.stage.waves import casing_wave_speed_ft_s
from pipeline.metrics.wireline.metrics import WirelineView, plug_set
from pipeline.models.compare import _closure_note
from pipeline.models.funnel import inflations
from pipeline.models.specs import COMPARISONS
from pipeline.picks.arrays import behind
from pipeline.picks.coil_record import GAP_S, CoilRecord, trace
from pipeline.picks.screenout import _earlier_slope, find_climb
from pipeline.picks.stage import pick_stage
from pipeline.picks.types import StageDesign, StageRecord


def test_a_counter_jump_moves_later_depths_only() -> None:
    depth = np.concatenate((np.full(20, 9000.0), np.full(20, 9500.0)))
    path = trace(CoilRecord(np.arange(40.0), depth))
    assert path is not None
    assert path.depth_ft == pytest.approx(np.full(40, 9000.0), abs=1e-9)
    assert path.jumps_ft == [(20.0, 500.0)]


def test_a_jump_right_after_a_gap_is_a_jump_and_one_across_it_is_movement() -> None:
    time = np.concatenate((np.arange(20.0), 20.0 + GAP_S + np.arange(20.0)))
    across = np.concatenate((np.full(20, 9000.0), np.full(20, 9400.0)))
    path = trace(CoilRecord(time, across))
    assert path is not None and path.jumps_ft == [] and path.depth_ft[-1] == 9400.0
    after = across.copy()
    after[22:] += 700.0
    path = trace(CoilRecord(time, after))
    assert path is not None
    assert [jump for _, jump in path.jumps_ft] == [700.0]
    assert path.depth_ft[-1] == pytest.approx(9400.0)


def plug_with(stop: Any, stalls: list[Any] | None, step_s: float = 1.0) -> Any:
    record = SimpleNamespace(time_s=np.arange(0.0, 600.0, step_s))
    view = SimpleNamespace(
        assigned=SimpleNamespace(stops={5: stop}), stalls={5: stalls}, record=record,
        plugs={5: SimpleNamespace(tag=SimpleNamespace(reason="not reached"))},
    )  # fmt: skip
    return SimpleNamespace(number=5, visits=[(1, view)])


def test_stalls_are_in_doubt_where_the_record_does_not_cover_the_milling() -> None:
    whole = SimpleNamespace(gap_s=0.0, ending="passed")
    pick = _stall_pick(plug_with(whole, [(10.0, 20.0), (30.0, 40.0)]))
    assert (pick.value, pick.confidence) == (2.0, "high")
    for stop in (SimpleNamespace(gap_s=30.0, ending="passed"), SimpleNamespace(gap_s=0.0, ending="record ends")):
        pick = _stall_pick(plug_with(stop, []))
        assert (pick.value, pick.confidence) == (0.0, "low")
        assert pick.reason == "the record does not cover all milling"
    slow = _stall_pick(plug_with(whole, [], step_s=10.0))
    assert slow.confidence == "low" and "one sample every 10 s can miss a surge" in slow.reason
    assert _stall_pick(plug_with(whole, None)).value is None


def test_no_proppant_is_displaced_by_a_clean_pad_or_a_meter_below_zero() -> None:
    """60 bpm for 10 min: 1 bbl per second. The pipe holds 100 bbl."""
    time = np.arange(601.0)
    conc = np.where(time < 200.0, -0.3, np.where(time < 300.0, np.nan, 1.0))
    record = SimpleNamespace(time_s=time, rate_bpm=np.full(601, 60.0), conc_ppa=conc)
    timeline = SimpleNamespace(record=record, start=0, end=None)
    view = StageView(SimpleNamespace(timeline=timeline), None, {}, None)  # type: ignore[arg-type]
    pumped, loaded = view.pumped_in
    out = behind(pumped, loaded, 100.0)
    assert loaded[250] == 0.0 and out[350] == 0.0
    assert loaded[400] == pytest.approx(101.0)  # samples 300 to 400, one bbl each at 1 ppa
    assert out[500] == pytest.approx(101.0)


@pytest.mark.parametrize(
    ("first", "yes"),
    [(b'<?xml version="1.0"?><logs xmlns="http://www.witsml.org/schemas/1series"/>', True), (b"<html><p>a</p></html>", False),
     (b"# exported from a witsml store\n1,2,3\n", False)],
)  # fmt: skip
def test_only_a_document_that_names_the_standard_is_witsml(first: bytes, yes: bool) -> None:
    assert is_witsml(first) is yes


def test_a_file_that_changes_leaves_its_earlier_content_and_claims() -> None:
    def row(content: str, source: str, stage: int) -> dict[str, Any]:
        return {
            "path": "a.csv", "map": "m", "state": "landed", "content_hash": content, "source_id": source,
            "lands": "treatment", "well_id": "w", "number": stage, "time_from": 1,
        }  # fmt: skip

    index = SourceIndex([row("old", "one", 3)])
    index.put(row("new", "two", 4))
    twin = index.twin(("b.csv", "m"), "new")
    assert index.twin(("b.csv", "m"), "old") is None and twin is not None and twin["path"] == "a.csv"
    assert not index.holds("one") and index.holds("two")
    assert index.claiming("treatment", {"w"}, {3}, signal=True) == []


def flush_record(noise_psi: float, proppant_until_s: float = 1300.0, climb_psi_min: float = 82.0) -> StageRecord:
    """80 bpm; proppant ends at 1,300 s, and the pressure climbs steadily until the rate is cut at 1,600 s."""
    time = np.arange(2200.0)
    rate = np.where((time >= 60.0) & (time < 1600.0), 80.0, 0.0)
    pressure = np.where(rate > 0.0, 7000.0, 3000.0) + np.where(
        (time > 1300.0) & (time < 1600.0), (time - 1300.0) / 60.0 * climb_psi_min, 0.0
    )
    conc = np.where((time > 400.0) & (time < proppant_until_s), 2.0, 0.0)
    noise = np.random.default_rng(1).normal(0.0, noise_psi, time.size)
    return StageRecord(time, pressure + noise, rate, None, conc)


def test_a_noisy_gauge_gives_no_climb_and_a_steady_climb_its_own_slope() -> None:
    """Two samples alone half a minute apart would give 12 psi of noise as up to 100 psi/min."""
    timeline = pick_stage(flush_record(12.0), StageDesign()).timeline
    assert find_climb(timeline) is None
    climb = find_climb(pick_stage(flush_record(12.0, climb_psi_min=300.0), StageDesign()).timeline)
    assert climb is not None and climb.late_psi_min == pytest.approx(300.0, abs=60.0)


def test_the_earlier_slope_of_a_pressure_is_that_of_its_ten_minutes() -> None:
    time = np.arange(1500.0)
    assert _earlier_slope(time, 7000.0 + 0.5 * time, 1400) == pytest.approx(30.0)
    assert _earlier_slope(time, np.full(1500, np.nan), 1400) == 0.0


@pytest.mark.parametrize("clean", [True, False])
def test_a_clean_volume_says_what_it_is_from(clean: bool) -> None:
    time = np.arange(1500.0)
    rate = np.where((time >= 60.0) & (time < 1400.0), 80.0, 0.0)
    record = StageRecord(time, np.where(rate > 0.0, 7000.0, 3000.0), rate, rate if clean else None, 0.0 * rate)
    view = StageView(pick_stage(record, StageDesign()), StageDesign(), {}, datetime(2025, 1, 1, tzinfo=UTC))
    assert metrics.clean_source(view) == ("recorded" if clean else "from slurry rate and concentration")
    nothing = StageRecord(time, record.pressure_psi, rate)
    view = StageView(pick_stage(nothing, StageDesign()), StageDesign(), {}, datetime(2025, 1, 1, tzinfo=UTC))
    with pytest.raises(Missing, match="neither clean rate nor concentration"):
        metrics.clean_source(view)


def test_a_mean_over_a_run_weighs_samples_by_their_seconds() -> None:
    """9 s at 2,000 psi and 1 s at 3,000 psi; a void sample counts nothing."""
    view: Any = SimpleNamespace(seconds=np.array([9.0, 1.0, 5.0]))
    values, mask = np.array([2000.0, 3000.0, np.nan]), np.ones(3, dtype=bool)
    assert RunView.mean(view, values, mask, "none") == pytest.approx(2100.0)
    with pytest.raises(Missing, match="none"):
        RunView.mean(view, None, mask, "none")


def test_a_casing_without_a_wall_has_no_wave_speed() -> None:
    row = {
        "string": "casing",
        "top_md_ft": 0.0,
        "bottom_md_ft": 12_000.0,
        "outside_diameter_in": 5.5,
        "inside_diameter_in": 4.778,
    }
    speed = casing_wave_speed_ft_s([row], 10_000.0, 8.4)
    assert speed is not None and 4_000.0 < speed < 5_000.0
    for outside in (None, 4.778, 4.0):
        assert casing_wave_speed_ft_s([row | {"outside_diameter_in": outside}], 10_000.0, 8.4) is None


def test_a_climb_in_a_flush_of_unknown_share_is_neither_a_screen_out_nor_none() -> None:
    in_flush = pick_stage(flush_record(2.0, climb_psi_min=300.0), StageDesign()).effective
    assert in_flush["screenout"].value is None and "the pressure climbs in every flush" in in_flush["screenout"].reason
    still = pick_stage(flush_record(2.0, proppant_until_s=1595.0, climb_psi_min=300.0), StageDesign()).effective
    assert (still["screenout"].value, still["screenout"].confidence) == (1.0, "low")
    known = pick_stage(flush_record(2.0, climb_psi_min=300.0), StageDesign(capacity_bbl=300.0)).effective
    assert known["screenout"].value == 0.0


def test_a_stage_whose_record_ends_while_pumping_is_not_complete() -> None:
    time = np.arange(1500.0)
    record = StageRecord(time, np.full(1500, 7000.0), np.where(time < 60.0, 0.0, 80.0))
    view = StageView(pick_stage(record, StageDesign()), StageDesign(), {}, datetime(2025, 1, 1, tzinfo=UTC))
    assert metrics.pump_time_min(view) == pytest.approx(24.0, abs=0.2)
    with pytest.raises(Missing, match="it ends while pumping"):
        metrics.completed_pump_time_min(view)


def test_a_gauge_in_the_well_with_some_void_samples_has_a_mean() -> None:
    time = np.arange(2200.0)
    rate = np.where((time >= 60.0) & (time < 1600.0), 80.0, 0.0)
    gauge = np.where(time % 100.0 < 4.0, np.nan, 8000.0)

    def mean(values: Any) -> float:
        record = StageRecord(time, np.where(rate > 0.0, 7000.0, 3000.0), rate, downhole_psi=values)
        view = StageView(pick_stage(record, StageDesign()), StageDesign(), {}, datetime(2025, 1, 1, tzinfo=UTC))
        return metrics.avg_downhole_pressure_psi(view)

    assert mean(gauge) == pytest.approx(8000.0)
    with pytest.raises(Missing, match="less than 90 %"):
        mean(np.where(time < 400.0, np.nan, 8000.0))


def test_a_plug_with_a_set_time_was_set_and_a_record_counts_before_it() -> None:
    moment = datetime(2025, 1, 1, tzinfo=UTC)
    assert plug_set(WirelineView({}, {"set_time": moment}, None, None)) is True
    assert plug_set(WirelineView({"plug_set": False}, {"set_time": moment}, None, None)) is False
    with pytest.raises(Missing):
        plug_set(WirelineView({}, {}, None, None))


def test_the_inflation_of_a_crew_is_that_of_its_pads() -> None:
    """Pads of 10 and 20 stages with a correlation of 0.1: (10*1.9 + 20*2.9)/30 by hand."""
    counts, crews = np.array([10.0, 20.0, 5.0]), np.array(["a", "a", "b"])
    found = inflations(counts, crews, 0.1)
    assert found == {"a": pytest.approx((10 * 1.9 + 20 * 2.9) / 30.0), "b": pytest.approx(1.4)}


@pytest.mark.parametrize(
    ("stated", "told"),
    [(None, None), (9_000.0, None), (1_000.0, "bar"), (62_000.0, None)],
)
def test_a_pressure_is_held_against_what_a_provider_stated(stated: float | None, told: str | None) -> None:
    """A record of 14.5 times the stated pressure is in psi where bar was declared, and the other way round."""
    found = _against("pressure", 69.0 if told else 9_100.0, stated) if stated else None
    assert (found is None) is (told is None)
    if found is not None:
        assert "the pressure is probably in bar" in found.words
    assert _against("pressure", 0.0, 1_000.0) is None
    assert _against("pressure", 1_000.0, 1_000.0) is None


def test_closure_gradients_name_their_source_where_a_comparison_is_adjusted_for_them() -> None:
    spec = next(spec for spec in COMPARISONS if "closure_gradient_psi_ft" in spec.adjusted_for)
    other = next(spec for spec in COMPARISONS if "closure_gradient_psi_ft" not in spec.adjusted_for)
    used = pl.DataFrame({"closure_source": ["a log", None, "a log"]})
    assert "closure gradients from a log:" in _closure_note(spec, used)
    assert "a source that is not recorded" in _closure_note(spec, used.drop("closure_source"))
    assert _closure_note(other, used) == ""
