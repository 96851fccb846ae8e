"""Worked logs of time accounting: pumping hours, lost time, mill-out minutes (checks C)."""

from __future__ import annotations

from datetime import UTC, date, datetime

import numpy as np
import pytest

from pipeline.metrics import intervals
from pipeline.metrics.pads import Worked, account


def at(day: int, clock: str) -> datetime:
    hour, minute = clock.split(":")
    return datetime(2025, 3, day, int(hour), int(minute), tzinfo=UTC)


STAGES = [
    (at(4, "22:10"), at(5, "00:25")),
    (at(5, "03:05"), at(5, "05:15")),
    (at(5, "08:50"), at(5, "10:55")),
    (at(5, "13:20"), at(5, "15:40")),
]
"""S1-C01: pumping intervals of 4 and 5 March (definitions of the trade, common practice)."""


def test_pumping_hours_are_clipped_at_midnight() -> None:
    # S1-C01
    worked = [Worked(start, end, "pumping", "w", number) for number, (start, end) in enumerate(STAGES, start=1)]
    days = account("pad", [], worked, "UTC").days
    hours = {row["local_date"]: row["pumping_hours"] for row in days}
    assert hours == pytest.approx({date(2025, 3, 4): 1.83333, date(2025, 3, 5): 7.0}, abs=1e-4)
    assert [row["stages_completed"] for row in days] == [0, 4]


def test_cycles_and_gaps() -> None:
    # S1-C01
    assert intervals.start_to_start_hours(STAGES) == pytest.approx([4.91667, 5.75, 4.5], abs=1e-4)
    assert intervals.idle_hours(STAGES) == pytest.approx([2.66667, 3.58333, 2.41667], abs=1e-4)


def test_lost_time_is_the_union_of_its_entries() -> None:
    # S1-C02: the naive sum is 3.83333 h
    lost = [
        (at(5, "05:40"), at(5, "07:10")), (at(5, "06:30"), at(5, "08:20")), (at(5, "11:30"), at(5, "12:00")),
    ]  # fmt: skip
    assert intervals.hours(lost) == pytest.approx(3.16667, abs=1e-4)
    log = [
        {"start_time": start, "end_time": end, "activity": "NPT", "well_id": None, "cause": "wireline"}
        for start, end in lost
    ]
    worked = [Worked(start, end, "pumping", "w", number) for number, (start, end) in enumerate(STAGES, start=1)]
    rows = account("pad", log, worked, "UTC")
    assert sum(row["npt_hours"] for row in rows.days) == pytest.approx(3.16667, abs=1e-4)
    assert "log_overlap" in [finding["kind"] for finding in rows.findings]


def test_mill_out_minutes() -> None:
    # S1-C03
    tags, through = [0.0, 52.0, 101.0, 228.0, 281.0], [14.0, 63.0, 123.0, 239.0, 304.0]
    on_bottom = [done - tag for tag, done in zip(tags, through, strict=True)]
    assert on_bottom == [14, 11, 22, 11, 23]
    assert (np.mean(on_bottom), np.median(on_bottom)) == (16.2, 14.0)
    assert intervals.tag_to_tag_min(tags) == [52, 49, 127, 53]
    assert np.mean(intervals.tag_to_tag_min(tags)) == 70.25
    assert np.mean(intervals.tag_to_tag_min(tags, [(125.0, 205.0)])) == 50.25
