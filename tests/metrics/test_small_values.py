"""Values and doubts that no campaign shows: each on an input of a few samples."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from pipeline.ingest.known import SourceIndex
from pipeline.ingest.witsml import is_witsml
from pipeline.metrics.coil.measure import _stall_pick
from pipeline.metrics.stage.view import StageView
from pipeline.picks.coil_record import GAP_S, CoilRecord, trace


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
