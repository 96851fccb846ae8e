"""Connections: kept ones are brought up to date, others are made anew."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from datetime import date
from pathlib import Path

import duckdb
import polars as pl
import pytest

from pipeline.lake import Lake, connect, kept_connections
from pipeline.schemas.lineage import SOURCES
from pipeline.schemas.time import PAD_DAYS
from pipeline.schemas.wells import WELLS
from tests.lake.test_store import sources


def day(lake: Lake, *pads: str) -> None:
    row = {"local_date": date(2025, 5, 1), "phase": "fracturing", "fingerprint": ""}
    lake.replace(PAD_DAYS, pl.DataFrame([row | {"pad": pad} for pad in pads], schema=PAD_DAYS.dtypes), {})


def pads(connection: duckdb.DuckDBPyConnection) -> list[str]:
    return [pad for (pad,) in connection.sql("SELECT pad FROM pad_day ORDER BY pad").fetchall()]


@pytest.fixture
def lake(tmp_path: Path) -> Lake:
    made = Lake(str(tmp_path / "lake"))
    day(made, "One")
    return made


def made_at(connection: duckdb.DuckDBPyConnection) -> dict[str, int]:
    return dict(connection.execute("SELECT table_name, table_oid FROM duckdb_tables()").fetchall())


def test_a_kept_connection_takes_what_is_new_and_keeps_the_rest(lake: Lake) -> None:
    with kept_connections():
        first = connect(lake, [PAD_DAYS], same="field")
        assert pads(first) == ["One"]
        assert "pad" not in made_at(first)
        before = made_at(first)["pad_day"]
        second = connect(lake, [PAD_DAYS, WELLS], same="field")
        assert second is first
        assert made_at(first)["pad_day"] == before  # nothing of it has changed
        assert "pad" in made_at(first)
        day(lake, "One", "Two")
        assert pads(connect(lake, [PAD_DAYS], same="field")) == ["One", "Two"]
        assert pads(connect(lake.at({PAD_DAYS.name: 0}), [PAD_DAYS], same="field")) == ["One"]
    assert connect(lake, [PAD_DAYS], same="field") is not first  # the block has ended
    with pytest.raises(duckdb.Error):
        first.sql("SELECT 1").fetchall()


def test_a_table_made_anew_with_an_old_number_is_read_again(lake: Lake) -> None:
    with kept_connections():
        first = connect(lake, [PAD_DAYS], same="field")
        before = lake.version(PAD_DAYS)
        lake.move_away(PAD_DAYS)
        day(lake, "Two")
        assert lake.version(PAD_DAYS) == before
        assert connect(lake, [PAD_DAYS], same="field") is first
        assert pads(first) == ["Two"]


def test_threads_share_no_connection(lake: Lake) -> None:
    with kept_connections(), ThreadPoolExecutor(1) as thread:
        first = connect(lake, [PAD_DAYS], same="field")
        other = thread.submit(connect, lake, [PAD_DAYS], same="field").result()
        assert other is not first
    assert pads(other) == ["One"]


def test_a_connection_that_shows_something_else_is_another_one(lake: Lake) -> None:
    with kept_connections():
        first = connect(lake, [PAD_DAYS], same="field")
        assert connect(lake, [PAD_DAYS], same="metric") is not first
        assert connect(lake, [PAD_DAYS], same="field", zone="America/Chicago") is not first
        assert connect(lake, [PAD_DAYS], same="field", quarter="2025Q1") is not first
        assert connect(lake, [PAD_DAYS]) is not connect(lake, [PAD_DAYS])
        lake.replace(SOURCES, SOURCES.empty(), {})
        lake.replace(SOURCES, sources("one"), {})
        assert connect(lake, [PAD_DAYS], same="field") is not first  # other files count as landed
