"""Titles follow the data: turn the data round and the finding turns round; take it away and the title says so."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from pipeline import queries
from pipeline.lake import Lake
from pipeline.models.compare import compare
from pipeline.models.frames import modelling_tables
from pipeline.models.specs import COMPARISONS as SPECS
from pipeline.schemas.base import Table
from pipeline.schemas.fitted import COMPARISONS
from pipeline.schemas.wells import COIL_RUNS, STAGES
from tests.conftest import Fitted


@pytest.fixture
def lake(fitted: Fitted, tmp_path: Path) -> Lake:
    copy = tmp_path / "lake"
    shutil.copytree(fitted.workspace.lake, copy, ignore=shutil.ignore_patterns("treatment", "coil"))
    return Lake(str(copy))


def title(lake: Lake, name: str, **given: Any) -> str:
    return str(queries.run(queries.connect(lake), queries.load(name), given).frame["title"][0])


def rename(lake: Lake, table: Table, column: str, names: dict[str, str]) -> None:
    rows = lake.scan_raw(table).collect()
    lake.replace(table, rows.with_columns(pl.col(column).replace(names)), {})


def compare_again(lake: Lake, name: str) -> None:
    spec = next(spec for spec in SPECS if spec.name == name)
    rows = compare(modelling_tables(queries.connect(lake))[spec.level], spec)
    lake.replace(COMPARISONS, pl.DataFrame(rows, schema=COMPARISONS.dtypes), {"comparison": name})


@pytest.mark.parametrize(
    ("table", "column", "one", "other", "query", "given"),
    [
        (STAGES, "frac_crew", "Crew Birch", "Crew Cedar", "crews_compared_title", {"comparison": "frac_crews_pump_time"}),
        (COIL_RUNS, "coil_crew", "Coil Finch", "Coil Gannet", "crews_compared_title", {"comparison": "coil_crews_mill_time"}),
        (STAGES, "design", "wide", "tight", "designs_compared_title", {}),
    ],
)  # fmt: skip
def test_a_reversed_finding_reverses_its_title(
    lake: Lake, table: Table, column: str, one: str, other: str, query: str, given: dict[str, str]
) -> None:
    before = title(lake, query, **given)
    assert one in before.split(";")[0].partition(" less than")[0].partition(" below")[0]
    rename(lake, table, column, {one: other, other: one})
    compare_again(lake, given.get("comparison", "designs_pressure"))
    after = title(lake, query, **given)
    # as many minutes or psi as before, up to what a column known before the job (physics by design name) changes
    exchanged = after.replace(one, "?").replace(other, one).replace("?", other)
    assert exchanged.split(";")[0] == before.split(";")[0]


def test_where_nothing_differs_the_title_says_no_clear_difference(lake: Lake) -> None:
    rows = lake.scan_raw(STAGES).collect()
    names = ["Crew Alder", "Crew Birch", "Crew Cedar"]
    turn = (pl.col("stage") % 3).replace_strict(dict(enumerate(names)), return_dtype=pl.String)
    lake.replace(STAGES, rows.with_columns(frac_crew=turn), {})
    compare_again(lake, "frac_crews_pump_time")
    said = title(lake, "crews_compared_title", comparison="frac_crews_pump_time")
    assert said.startswith("No clear difference between 3 crews")
