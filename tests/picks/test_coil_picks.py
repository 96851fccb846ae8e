"""Coil picks on plain runs."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.picks import coil
from pipeline.picks.coil import CoilRecord


def run(pieces: list[tuple[float, float]]) -> CoilRecord:
    """A run from (seconds, depth reached) pieces."""
    seconds, depths = [0.0], [0.0]
    for duration, depth in pieces:
        seconds.append(seconds[-1] + duration)
        depths.append(depth)
    time = np.arange(seconds[-1] + 1.0)
    depth = np.interp(time, seconds, depths)
    return CoilRecord(time, depth, np.full(time.size, 3000.0), np.full(time.size, 2.5))


def parts(record: CoilRecord) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    depth = coil.filled_depth(record)
    frontier = coil.frontier_ft(depth)
    return depth, frontier, coil.present_s(record, depth, frontier)


def test_tag_and_mill_time_with_a_pick_up() -> None:
    record = run([(6000, 10000), (300, 10000.5), (10, 9991), (20, 10000.5), (300, 10001.0), (60, 10030), (600, 10200)])
    _, frontier, present = parts(record)
    found = coil.pick_plug(record, present, frontier, 10005.0)
    assert found.tag.time_s == pytest.approx(6000.0, abs=3.0)
    assert found.tag.value == pytest.approx(10000.0, abs=1.0)
    assert found.mill.value == pytest.approx((300 + 10 + 20 + 300 + 6) / 60.0, abs=0.2)
    assert found.mill.confidence == "high"


def test_a_wiper_trip_between_plugs_is_no_mill_time_and_counts_once() -> None:
    record = run(
        [
            (6000, 10000),
            (600, 10001),
            (30, 10020),
            (2000, 8050),
            (120, 8050),
            (2000, 10015),
            (300, 10200),
            (400, 10201),
            (30, 10230),
            (9000, 0),
        ]
    )
    depth, frontier, present = parts(record)
    assert coil.pick_plug(record, present, frontier, 10000.0).mill.value == pytest.approx(10.1, abs=0.3)
    assert coil.pick_plug(record, present, frontier, 10195.0).mill.value == pytest.approx(6.7, abs=0.3)
    trips = coil.wiper_trips(record, depth, frontier, 8000.0)
    assert len(trips) == 1
    assert (trips[0].end_s - trips[0].start_s) / 60.0 == pytest.approx(4120 / 60.0, rel=0.05)


def test_the_last_pull_out_of_the_hole_is_no_wiper_trip() -> None:
    record = run([(6000, 10000), (600, 10001), (9000, 0)])
    depth, frontier, _ = parts(record)
    assert coil.wiper_trips(record, depth, frontier, 8000.0) == []


def test_a_short_pull_is_no_wiper_trip() -> None:
    record = run([(6000, 10000), (300, 9800), (300, 10000), (100, 10050)])
    depth, frontier, _ = parts(record)
    assert coil.wiper_trips(record, depth, frontier, 8000.0) == []


def test_a_plug_that_was_passed_without_a_stop_is_not_met() -> None:
    record = run([(6000, 10400)])
    _, frontier, present = parts(record)
    found = coil.pick_plug(record, present, frontier, 10000.0)
    assert found.mill.value is None
    assert "without a stop" in found.mill.reason


def test_a_plug_below_the_deepest_point_is_not_met_and_one_at_the_end_is_unfinished() -> None:
    record = run([(6000, 10000), (300, 10000.5)])
    _, frontier, present = parts(record)
    assert "the run reached" in coil.pick_plug(record, present, frontier, 11000.0).tag.reason
    last = coil.pick_plug(record, present, frontier, 10000.0)
    assert last.tag.value is not None
    assert last.mill.value is None
    assert "ended on the plug" in last.mill.reason


def test_void_depths_take_the_last_good_one() -> None:
    record = run([(100, 1000)])
    record.depth_ft[50:60] = np.nan
    assert coil.filled_depth(record)[55] == record.depth_ft[49]
