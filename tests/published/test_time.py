"""Worked logs of time accounting: pumping hours, lost time, mill-out minutes (checks C)."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest

from pipeline.metrics.pad import intervals
from pipeline.metrics.pad.account import Worked, account


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
