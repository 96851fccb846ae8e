"""Where a pad's hours go: records before the log, every minute once, disagreements said."""

from __future__ import annotations

import itertools
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.metrics.pad.account import NOT_BOOKED, Worked, account
from pipeline.metrics.pad.intervals import by_day, hours, less, union

START = datetime(2025, 3, 8, 0, 0, tzinfo=UTC)


def moment(hour: float) -> datetime:
    return START + timedelta(hours=hour)


def entry(start: float, end: float, activity: str, well: str | None = None, cause: str | None = None) -> dict[str, Any]:
    return {
        "start_time": moment(start), "end_time": moment(end), "activity": activity, "well_id": well, "cause": cause,
    }  # fmt: skip


def pumped(start: float, end: float, stage: int, well: str = "a") -> Worked:
    return Worked(moment(start), moment(end), "pumping", well, stage)


def sums(rows: Any) -> dict[str, float]:
    found: dict[str, float] = {}
    for row in rows.timeline:
        found[row["activity"]] = round(found.get(row["activity"], 0.0) + row["hours"], 6)
    return found


def test_a_record_counts_where_the_log_says_otherwise() -> None:
    log = [entry(0, 2.5, "pumping", "a"), entry(2.5, 5, "wireline", "a"), entry(5, 7, "pumping", "a")]
    rows = account("pad", log, [pumped(0, 2, 1), pumped(5, 7, 2)], "UTC")
    assert sums(rows) == {"pumping": 4.0, "wireline": 2.5, NOT_BOOKED: 0.5}
    assert [row["kind"] for row in rows.findings] == ["log_differs", "not_booked"]


def test_lost_time_in_which_a_stage_was_pumped_is_not_lost() -> None:
    log = [entry(0, 2, "pumping", "a"), entry(1, 4, "NPT", None, "weather"), entry(4, 6, "pumping", "a")]
    rows = account("pad", log, [pumped(0, 2, 1), pumped(4, 6, 2)], "UTC")
    assert sums(rows) == {"pumping": 4.0, "NPT": 2.0}
    assert rows.days[0]["npt_hours"] == 2.0
    (said,) = [row["message"] for row in rows.findings if row["kind"] == "lost_while_pumping"]
    assert said.startswith("60 min of lost time (weather) are booked while a stage 1 is pumped")
    inside = [entry(0, 2, "pumping", "a"), entry(0.5, 0.58, "NPT", None, "weather")]  # within five minutes
    kinds = [row["kind"] for row in account("pad", inside, [pumped(0, 2, 1)], "UTC").findings]
    assert "lost_while_pumping" not in kinds


def test_pumping_that_no_record_shows_and_pumping_that_no_log_shows() -> None:
    log = [entry(0, 2, "pumping", "a"), entry(2, 4, "wireline", "a"), entry(4, 6, "standby")]
    rows = account("pad", log, [pumped(4.5, 5.5, 2)], "UTC")
    assert {row["kind"] for row in rows.findings} == {"pumping_without_record", "log_missing"}
    assert sums(rows) == {"pumping": 3.0, "wireline": 2.0, "standby": 1.0}


def test_two_wells_at_once_count_once_for_the_pad_and_twice_for_the_wells() -> None:
    log = [entry(0, 2, "pumping"), entry(2, 3, "swap"), entry(3, 5, "pumping")]
    worked = [pumped(0, 2, 1, "a"), pumped(0, 2, 1, "b"), pumped(3, 5, 2, "a"), pumped(3.02, 5, 2, "b")]
    rows = account("pad", log, worked, "UTC")
    (day,) = rows.days
    assert day["pumping_hours"] == pytest.approx(4.0)
    assert day["well_pumping_hours"] == pytest.approx(7.98)
    assert day["stages_completed"] == 4
    assert rows.findings == []


def test_wells_by_turns_are_told_apart_by_the_records() -> None:
    worked = [pumped(0, 2, 1, "a"), pumped(2.5, 4.5, 1, "b"), pumped(5, 7, 2, "a")]
    rows = account("pad", [], worked, "UTC")
    assert [(row["well_id"], row["activity"]) for row in rows.timeline] == [
        ("a", "pumping"),
        ("b", "pumping"),
        ("a", "pumping"),
    ]
    assert rows.findings == []  # without a log nothing can disagree with it


def test_stages_of_one_well_cannot_overlap() -> None:
    kinds = [row["kind"] for row in account("pad", [], [pumped(0, 2, 1), pumped(1.5, 3, 2)], "UTC").findings]
    assert kinds == ["records_overlap"]


def test_an_activity_of_no_name_is_a_finding_and_keeps_its_hours() -> None:
    rows = account("pad", [entry(0, 1, "lunch"), entry(1, 2, "standby")], [], "UTC")
    assert [row["kind"] for row in rows.findings] == ["log_activity"]
    assert sums(rows) == {"lunch": 1.0, "standby": 1.0}
    assert rows.days[0]["not_booked_hours"] == 1.0


def test_the_day_on_which_clocks_go_forward_has_23_hours() -> None:
    start = datetime(2025, 3, 9, 7, 0, tzinfo=UTC)  # midnight in Denver
    parts = by_day((start, start + timedelta(hours=47)), "America/Denver")
    assert [(end - begin).total_seconds() / 3600.0 for _, (begin, end) in parts] == [23.0, 24.0]


SPANS = st.lists(st.tuples(st.integers(0, 40), st.integers(1, 9)), max_size=12)


@given(SPANS, SPANS)
def test_every_minute_is_booked_once(log: list[tuple[int, int]], worked: list[tuple[int, int]]) -> None:
    names = ("pumping", "wireline", "NPT", "swap", "standby")
    entries = [entry(a, a + n, names[i % 5]) for i, (a, n) in enumerate(log)]
    records = [pumped(a, a + n, i, f"w{i}") for i, (a, n) in enumerate(worked)]
    rows = account("pad", entries, records, "America/Denver")
    spans = [(row["start_time"], row["end_time"]) for row in rows.timeline]
    assert all(first[1] <= second[0] for first, second in itertools.pairwise(spans))
    assert sum(row["hours"] for row in rows.timeline) == pytest.approx(sum(row["hours"] for row in rows.days))
    pumping = hours((one.start, one.end) for one in records)
    assert sum(row["hours"] for row in rows.timeline if row["basis"] == "record") == pytest.approx(pumping)


@given(SPANS)
def test_union_and_rest_make_the_whole(spans: list[tuple[int, int]]) -> None:
    taken = union((moment(a), moment(a + n)) for a, n in spans)
    whole = (moment(-1), moment(60))
    assert hours(less(whole, taken)) + hours(taken) == pytest.approx(61.0)
