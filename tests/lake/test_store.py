"""The lake: one atomic writer, rows that count only with their source, and the past as it was."""

from __future__ import annotations

import threading
from datetime import UTC, datetime
from pathlib import Path

import duckdb
import polars as pl
import pytest
from deltalake import DeltaTable, write_deltalake
from polars.testing import assert_frame_equal

from pipeline.lake import Lake, connect, open_anew, store
from pipeline.schemas.base import Table
from pipeline.schemas.fitted import MODEL_CARDS
from pipeline.schemas.lineage import FINDINGS, SNAPSHOTS, SOURCES
from pipeline.schemas.wells import PLUGS


def plugs(source: str, well: str = "a'b", count: int = 3) -> pl.DataFrame:
    rows = [{"well_id": well, "plug": n, "set_depth_ft": 10000.0 - n, "source_id": source} for n in range(1, count + 1)]
    return pl.DataFrame(rows, schema=PLUGS.dtypes)


def sources(*ids: str, state: str = "landed") -> pl.DataFrame:
    rows = [
        {
            "path": f"landing/{name}", "map": "m", "source_id": name, "state": state, "content_hash": "", "map_hash": "",
            "reader_version": 1, "landed_at": datetime.now(UTC),
        }
        for name in ids
    ]  # fmt: skip
    return pl.DataFrame(rows, schema=SOURCES.dtypes)


@pytest.fixture
def lake(tmp_path: Path) -> Lake:
    return Lake(str(tmp_path / "lake"))


def test_a_table_that_does_not_exist_reads_as_empty(lake: Lake) -> None:
    frame = lake.scan(PLUGS).collect()
    assert frame.is_empty()
    assert frame.columns == list(PLUGS.dtypes)
    assert connect(lake, [PLUGS]).sql("SELECT count(*) FROM plugs").fetchall() == [(0,)]


def test_rows_are_invisible_until_their_source_is_landed(lake: Lake) -> None:
    lake.replace(PLUGS, plugs("one"), {"source_id": ["one"]})
    assert lake.scan(PLUGS).collect().is_empty()
    lake.replace(SOURCES, sources("one", state="set aside"), {"map": "m"})
    assert lake.scan(PLUGS).collect().is_empty()
    lake.replace(SOURCES, sources("one"), {"map": "m"})
    assert lake.scan(PLUGS).collect().height == 3
    assert connect(lake, [PLUGS]).sql("SELECT count(*) FROM plugs").fetchall() == [(3,)]


def test_findings_without_a_file_are_seen_and_those_of_an_unlanded_file_are_not(lake: Lake) -> None:
    rows = [
        {"step": "measure", "kind": "k", "message": "m"},
        {"step": "ingest", "source_id": "x", "kind": "k", "message": "m"},
    ]
    lake.replace(FINDINGS, pl.DataFrame(rows, schema=FINDINGS.dtypes), {})
    assert lake.scan(FINDINGS).collect()["step"].to_list() == ["measure"]


def test_replace_changes_the_rows_it_selects_and_no_others(lake: Lake) -> None:
    lake.replace(PLUGS, pl.concat([plugs("one"), plugs("two", "other")]), {})
    lake.replace(PLUGS, plugs("one", count=1), {"well_id": "a'b", "source_id": ["one", "none"]})
    found = lake.scan_raw(PLUGS).collect()
    assert sorted(found.select("well_id", "plug").rows()) == [("a'b", 1), ("other", 1), ("other", 2), ("other", 3)]


def test_an_empty_selection_selects_nothing(lake: Lake) -> None:
    lake.replace(PLUGS, plugs("one"), {})
    lake.replace(PLUGS, PLUGS.empty(), {"source_id": []})
    assert lake.scan_raw(PLUGS).collect().height == 3


def test_the_past_reads_as_it_was_and_cannot_be_written(lake: Lake) -> None:
    lake.replace(PLUGS, plugs("one"), {"source_id": ["one"]})
    lake.replace(SOURCES, sources("one"), {"map": "m"})
    versions = {table.name: lake.version(table) or 0 for table in (PLUGS, SOURCES)}
    before = lake.scan(PLUGS).collect()
    lake.replace(PLUGS, plugs("one", count=1), {"source_id": ["one"]})
    past = lake.at(versions)
    assert_frame_equal(past.scan(PLUGS).collect(), before, check_row_order=False)
    assert past.scan(MODEL_CARDS).collect().is_empty()  # did not exist then
    with pytest.raises(ValueError, match="past"):
        past.replace(PLUGS, plugs("one"), {})


def test_tables_keep_old_versions_for_ten_years_and_use_zstd(lake: Lake, tmp_path: Path) -> None:
    lake.replace(PLUGS, plugs("one"), {})
    table = DeltaTable(lake.uri(PLUGS))
    assert table.metadata().configuration["delta.deletedFileRetentionDuration"] == "interval 3650 days"
    assert table.metadata().configuration["delta.logRetentionDuration"] == "interval 3650 days"
    import pyarrow.parquet as pq

    file = next((tmp_path / "lake" / "plugs").glob("*.parquet"))
    assert pq.ParquetFile(file).metadata.row_group(0).column(0).compression == "ZSTD"


def test_a_table_opens_without_reading_all_of_its_commits(lake: Lake, tmp_path: Path) -> None:
    for count in range(1, 26):
        lake.replace(PLUGS, plugs("one", count=count), {})
    log = tmp_path / "lake" / "plugs" / "_delta_log"
    kept = sorted(int(path.stem.split(".")[0]) for path in log.glob("*.checkpoint.parquet"))
    assert len(kept) == 2
    assert kept[-1] > 15
    assert [lake.at({"plugs": version}).scan_raw(PLUGS).collect().height for version in (0, 10, 24)] == [1, 11, 25]


def test_a_table_of_an_older_version_takes_the_settings_of_this_one(lake: Lake, tmp_path: Path) -> None:
    place = tmp_path / "lake" / "plugs"
    write_deltalake(str(place), plugs("one"), configuration={"delta.logRetentionDuration": "interval 3650 days"})
    for count in (1, 2):
        lake.replace(PLUGS, plugs("one", count=count), {})
    delta = DeltaTable(str(place))
    assert delta.metadata().configuration["delta.checkpointInterval"] == "10"
    assert delta.version() == 3, "set once"


def test_a_table_that_was_written_is_read_as_from_its_log(lake: Lake) -> None:
    for number in range(12):
        lake.replace(PLUGS, plugs(f"s{number % 3}", count=number % 5), {"source_id": [f"s{number % 3}"]})
        held, condition = lake.scan_raw(PLUGS).sort("source_id", "plug").collect(), lake.condition(PLUGS)
        open_anew()
        assert_frame_equal(held, lake.scan_raw(PLUGS).sort("source_id", "plug").collect())
        assert condition == lake.condition(PLUGS)


def test_few_versions_stay_open_and_of_a_written_table_the_last(lake: Lake, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(store, "KEPT_OPEN", 2)
    lake.replace(PLUGS, plugs("one", count=1), {"source_id": ["one"]})
    lake.replace(SOURCES, sources("one"), {"map": "m"})
    for count in (2, 3, 4):
        lake.replace(PLUGS, plugs("one", count=count), {"source_id": ["one"]})
        assert [state[0] for uri, state in store._kept_open if uri == lake.uri(PLUGS)] == [count - 1]
        assert lake.scan(PLUGS).collect().height == count
        assert lake.at({"plugs": 0, "sources": 0}).scan(PLUGS).collect().height == 1
        assert len(store._kept_open) == 2


def test_writers_at_the_same_time_all_succeed(lake: Lake) -> None:
    lake.replace(PLUGS, plugs("zero", "zero"), {"well_id": "zero"})
    errors: list[Exception] = []

    def write(name: str) -> None:
        try:
            for count in (1, 2, 3):
                Lake(lake.root).replace(PLUGS, plugs(name, name, count), {"well_id": name})
        except Exception as error:
            errors.append(error)

    threads = [threading.Thread(target=write, args=(f"w{i}",)) for i in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert errors == []
    found = lake.scan_raw(PLUGS).collect()
    assert dict(found.group_by("well_id").len().iter_rows()) == {"zero": 3, "w0": 3, "w1": 3, "w2": 3, "w3": 3}


def test_queries_cannot_reach_files_or_load_extensions(lake: Lake) -> None:
    connection = connect(lake, [PLUGS])
    for sql in (
        "SELECT * FROM read_csv('/etc/passwd')",
        "COPY (SELECT 1) TO '/tmp/x.csv'",
        "INSTALL httpfs",
        "SET enable_external_access = true",
    ):
        with pytest.raises(duckdb.Error):
            connection.sql(sql).fetchall()


def test_times_are_utc_in_duckdb(lake: Lake) -> None:
    row = {
        "snapshot": "x",
        "at": datetime(2025, 7, 1, 12, tzinfo=UTC),
        "step": "fit",
        "versions": "{}",
        "code_version": "",
        "settings_hash": "",
        "changed": True,
    }
    lake.replace(SNAPSHOTS, pl.DataFrame([row], schema=SNAPSHOTS.dtypes), {"snapshot": "x"})
    found = connect(lake, [SNAPSHOTS]).sql('SELECT "at"::VARCHAR FROM snapshots').fetchall()
    assert found == [("2025-07-01 12:00:00+00",)]


def test_a_lake_written_by_an_older_version_reads_and_takes_new_columns(lake: Lake) -> None:
    import dataframely as dy

    class OldPlugs(dy.Schema):
        source_id = dy.String()
        well_id = dy.String(primary_key=True)
        plug = dy.Int32(primary_key=True)

    old = Table("plugs", OldPlugs, "a plug as it was")
    lake.replace(old, plugs("one", "old").select("source_id", "well_id", "plug"), {})
    lake.replace(SOURCES, sources("one"), {"map": "m"})
    assert lake.scan(PLUGS).collect()["set_depth_ft"].null_count() == 3
    lake.replace(PLUGS, plugs("one", "new"), {"well_id": "new"})
    found = lake.scan(PLUGS).sort("well_id", "plug").collect()
    assert found.height == 6
    assert found.filter(pl.col("well_id") == "new")["set_depth_ft"].null_count() == 0
    assert found.filter(pl.col("well_id") == "old")["set_depth_ft"].null_count() == 3


@pytest.mark.parametrize("column", ["well_id", "plug"])
def test_a_row_that_breaks_the_schema_type_is_refused(lake: Lake, column: str) -> None:
    bad: Table = PLUGS
    frame = plugs("one").drop(column)
    with pytest.raises(pl.exceptions.PolarsError):
        lake.replace(bad, frame, {})
