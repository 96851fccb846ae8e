"""Small things that tests build: records, workspaces, queries on a few rows."""

from __future__ import annotations

import multiprocessing
from collections.abc import Callable
from datetime import UTC, datetime
from multiprocessing.process import BaseProcess
from pathlib import Path
from typing import Any

import duckdb
import numpy as np
import polars as pl
import pytest

from pipeline import queries
from pipeline.lake import Lake
from pipeline.lake.marts import create_macros, create_marts, tables_below
from pipeline.metrics.declare import Missing
from pipeline.metrics.tables import TABLES
from pipeline.picks.types import StageRecord
from pipeline.schemas.lineage import SNAPSHOTS
from pipeline.sql import tables_read
from pipeline.workspace import SETTINGS_FILE, Workspace, open_workspace

ORIGIN = datetime(2025, 3, 1, 12, 0, tzinfo=UTC)
TREATMENT_MAP = """
name = "records"
lands = "treatment"
files = "*.csv"
name_pattern = '^(?P<well>.+?) stage (?P<stage>\\d+)'
revision_pattern = ' rev(?P<rev>\\d+)'
units_row = 2
void_values = ["-999.25"]
unknown_wells = "set aside"

[columns]
time = { column = "Time", format = "%Y-%m-%d %H:%M:%S", zone = "UTC" }
treating_pressure_psi = { column = "Pressure", unit = "psi" }
slurry_rate_bpm = { column = "Rate", unit = "bpm" }
proppant_conc_ppa = { column = "Conc", unit = "ppa" }
"""
WELLS_MAP = """
name = "wells"
lands = "wells"
files = "tables/wells.csv"

[columns]
well_id = { column = "well" }
aliases = { column = "aliases" }
pad = { column = "pad" }
time_zone = { column = "time_zone" }
stage_count = { column = "stages" }
rotary_table_ft = { column = "rotary_table_ft", unit = "ft" }
"""
WELLS = "well,aliases,pad,time_zone,stages,rotary_table_ft\nSaltgrass 3H,SALTGRASS #3H|99-100-20002,Saltgrass,America/Denver,12,26\n"


def workspace(folder: Path, maps: dict[str, str], files: dict[str, str | bytes]) -> Workspace:
    """Make a workspace from the texts of its maps and landing files."""
    (folder / "maps").mkdir(parents=True, exist_ok=True)
    (folder / SETTINGS_FILE).write_text('title = "Test"\ntime_zone = "UTC"\n', encoding="utf-8")
    for name, text in maps.items():
        (folder / "maps" / f"{name}.toml").write_text(text, encoding="utf-8")
    for name, content in files.items():
        put(folder, name, content)
    return open_workspace(folder)


def put(folder: Path, name: str, content: str | bytes) -> Path:
    """Write a file into the landing folder of a workspace."""
    path = folder / "landing" / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return path


def record_csv(rows: int = 60, start: str = "2025-03-01 12:00:00", pressure: float = 5000.0) -> str:
    """Return a record of some seconds at steady rate."""
    first = datetime.fromisoformat(start)
    frame = pl.DataFrame({"i": range(rows)}).select(
        (pl.lit(first) + pl.duration(seconds=pl.col("i"))).dt.strftime("%Y-%m-%d %H:%M:%S").alias("Time"),
        (pl.lit(pressure) + pl.col("i")).alias("Pressure"),
        pl.lit(40.0).alias("Rate"),
        pl.lit(1.0).alias("Conc"),
    )
    head, body = frame.write_csv().split("\n", 1)
    return f"{head}\n,psi,bpm,ppa\n{body}"


def milled(minutes: list[float]) -> dict[str, pl.DataFrame]:
    """Return a lake of one milled plug in each of some quarters, from 2023Q1 on."""
    days = [datetime(2023 + i // 4, 2 + 3 * (i % 4), 15, tzinfo=UTC) for i in range(len(minutes))]
    number = list(range(1, len(minutes) + 1))
    columns = {"well_id": ["a"] * len(minutes), "plug": number, "tag_time": days, "mill_min": minutes}
    return {
        "plug_metrics": pl.DataFrame(
            columns, schema_overrides={"tag_time": pl.Datetime("us", "UTC"), "mill_min": pl.Float64}
        )
    }


def connect_on(
    tables: dict[str, pl.DataFrame], zone: str = "UTC", quarter: str | None = None, reads: set[str] | None = None
) -> duckdb.DuckDBPyConnection:
    """Connect to a lake of a few rows: columns that are not given are null, tables that are not given are empty.

    With ``reads``, only the marts that these need are created.
    """
    connection = duckdb.connect(":memory:")
    connection.execute("SET TimeZone = 'UTC'")
    queries.speak(connection)
    assert tables.keys() <= TABLES.keys()
    for name, table in TABLES.items():
        given = tables.get(name, table.empty())
        assert set(given.columns) <= set(table.columns), (name, set(given.columns) - set(table.columns))
        rest = [
            pl.lit(None, dtype=dtype).alias(column) for column, dtype in table.dtypes.items() if column not in given
        ]
        connection.register(name, given.with_columns(rest).select(list(table.dtypes)).cast(pl.Schema(table.dtypes)))
    create_macros(connection, zone, quarter)
    create_marts(connection, TABLES if reads is None else tables_below(reads), quarter=quarter)
    return connection


def query_on(
    name: str, tables: dict[str, pl.DataFrame], given: dict[str, Any] | None = None, zone: str = "UTC"
) -> pl.DataFrame:
    """Run a saved query on a few rows."""
    query = queries.load(name)
    with duckdb.connect(":memory:") as parser:
        parts = [query, *([queries.load(query.chart)] if query.chart else [])]
        reads = set().union(*(tables_read(parser, part.sql) for part in parts)) - {"chart"}
    return queries.run(connect_on(tables, zone, reads=reads), query, given).frame


def simple_stage(
    *, noise: float = 2.0, seed: int = 1, rate: float = 80.0, isip: float = 4500.0, step_s: float = 1.0
) -> StageRecord:
    """Return a plain stage: idle, line test, ball, breakdown, ramp, slurry, flush, ringing falloff."""
    rng = np.random.default_rng(seed)

    def hold(seconds: int, value: float) -> np.ndarray:
        return np.full(seconds, value)

    q = [hold(60, 0.0), hold(120, 0.0), hold(60, 0.0), hold(400, 15.0), hold(30, 15.0), np.linspace(15.0, rate, 300)]
    p = [hold(60, 0.0), hold(120, 11000.0), hold(60, 3800.0), hold(400, 4200.0)]
    p += [np.concatenate((np.linspace(4200.0, 5000.0, 8), 5000.0 - 400.0 * (1.0 - np.exp(-np.arange(22) / 5.0))))]
    p += [np.linspace(4700.0, 8500.0, 300)]
    c = [hold(970, 0.0)]
    q += [hold(600, rate), hold(1200, rate), hold(300, rate), hold(600, 0.0)]
    p += [hold(600, 8500.0), hold(1200, 8400.0), hold(300, 8600.0)]
    c += [hold(600, 0.0), hold(1200, 1.5), hold(300, 0.0), hold(600, 0.0)]
    t = np.arange(600.0)
    p += [isip - 10.0 * np.sqrt(t) - 500.0 * np.exp(-t / 18.0) * np.cos(2.0 * np.pi * t / 10.0)]
    rate_all, pressure, conc = np.concatenate(q), np.concatenate(p), np.concatenate(c)
    time = np.arange(rate_all.size, dtype=float)
    pressure = pressure + rng.normal(0.0, noise, pressure.size)
    keep = slice(None, None, max(int(step_s), 1))
    return StageRecord(time[keep], pressure[keep], rate_all[keep], None, conc[keep])


def forked(function: Callable[..., None], *given: Any) -> BaseProcess:
    """Start a function of a test module in a process of its own, from one that has imported the product already."""
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(["pipeline.steps"])
    child = context.Process(target=function, args=given)
    child.start()
    return child


def rows_of(lake: Lake) -> dict[str, pl.DataFrame]:
    """Rows of all tables of a lake by key, without the times at which they were written."""
    return {
        name: lake.scan(table).select(pl.exclude("landed_at", "modified_us", "fitted_at")).collect().sort(table.key)
        for name, table in TABLES.items()
        if table is not SNAPSHOTS
    }


def missing(function: Any, view: Any) -> str:
    """Why a metric has no value for a view; it must have none."""
    with pytest.raises(Missing) as raised:
        function(view)
    return str(raised.value)
