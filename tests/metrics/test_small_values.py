"""Values and doubts that no campaign shows: each on an input of a few samples."""

from __future__ import annotations

from datetime import UTC, datetime
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from pipeline.ingest.known import SourceIndex
from pipeline.ingest.witsml import is_witsml
from pipeline.metrics.coil.measure import _stall_pick
from pipeline.metrics.declare import Missing
from pipeline.metrics.stage import metrics
from pipeline.metrics.stage.view import StageView
from pipeline.picks.coil_record import GAP_S, CoilRecord, trace
from pipeline.picks.screenout import find_climb
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
    loaded, out = view.displaced(100.0)
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
    assert index.twin(("b.csv", "m"), "old") is None and index.twin(("b.csv", "m"), "new") == "a.csv"
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
