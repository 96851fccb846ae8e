"""Clock times across daylight saving."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.ingest.times import to_utc

ZONE = "America/Denver"  # clocks stepped back on 4 Nov 2029 at 02:00 and on 11 Mar 2029 forward


def naive(start: str, minutes: int, step_s: int = 60) -> pl.Series:
    first = datetime.fromisoformat(start)
    return pl.Series([first + timedelta(seconds=step_s * i) for i in range(minutes)], dtype=pl.Datetime("us"))


def test_the_hour_that_occurs_twice_is_resolved_by_the_order_of_rows() -> None:
    first, second = naive("2029-11-04 00:30:00", 90), naive("2029-11-04 01:00:00", 90)
    utc, notes = to_utc(pl.concat([first, second]), ZONE)
    assert notes == []
    assert (utc.diff().drop_nulls() == timedelta(minutes=1)).all()
    assert utc[0] == datetime(2029, 11, 4, 6, 30, tzinfo=UTC)


def test_rows_that_lead_out_of_the_hour_are_its_second_pass() -> None:
    utc, notes = to_utc(naive("2029-11-04 01:30:00", 60), ZONE)
    assert notes == []
    assert utc[0] == datetime(2029, 11, 4, 8, 30, tzinfo=UTC)
    assert (utc.diff().drop_nulls() == timedelta(minutes=1)).all()


def test_rows_that_lead_into_the_hour_are_its_first_pass() -> None:
    utc, notes = to_utc(naive("2029-11-04 00:30:00", 60), ZONE)
    assert notes == []
    assert utc[-1] == datetime(2029, 11, 4, 7, 29, tzinfo=UTC)


def test_an_hour_that_stays_ambiguous_is_a_finding() -> None:
    _, notes = to_utc(naive("2029-11-04 01:10:00", 30), ZONE)
    assert [(kind, rows) for kind, _, rows in notes] == [("ambiguous_time", 30)]


def test_the_hour_skipped_in_spring_is_null_and_a_finding() -> None:
    utc, notes = to_utc(naive("2029-03-11 01:30:00", 120), ZONE)
    assert utc.null_count() == 60
    assert [(kind, rows) for kind, _, rows in notes] == [("no_such_time", 60)]


@given(st.datetimes(datetime(2028, 1, 1), datetime(2032, 1, 1)), st.sampled_from([ZONE, "Europe/Oslo", "Asia/Kolkata"]))
def test_a_continuous_local_record_is_continuous_in_utc(start: datetime, zone: str) -> None:
    """Any six hours, written on the local clock, come back second for second."""
    from zoneinfo import ZoneInfo

    begin = start.replace(microsecond=0, tzinfo=UTC)
    true = [begin + timedelta(minutes=i) for i in range(360)]
    local = pl.Series(
        [moment.astimezone(ZoneInfo(zone)).replace(tzinfo=None) for moment in true], dtype=pl.Datetime("us")
    )
    utc, _ = to_utc(local, zone)
    assert utc.to_list() == true


@pytest.mark.parametrize("zone", ["UTC", "Etc/GMT+7"])
def test_zones_without_daylight_saving_have_no_findings(zone: str) -> None:
    _, notes = to_utc(naive("2029-11-04 00:00:00", 300), zone)
    assert notes == []
