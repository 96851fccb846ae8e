"""Saved queries: headers that tell the truth, parameters that are bound, checks that find nothing."""

from __future__ import annotations

from datetime import UTC, date, datetime
from pathlib import Path

import duckdb
import numpy as np
import polars as pl
import pytest

from pipeline import queries
from pipeline.errors import HeelwardError
from pipeline.models.trend import mann_kendall
from pipeline.report import export
from tests.builders import connect_on, milled, query_on

PARAMETERS = {
    "quarter_trend": {"metric": "mill_min"}, "quarter_trend_title": {"metric": "pump_time_min"},
    "crews_compared": {"comparison": "frac_crews_pump_time"}, "crews_compared_title": {"comparison": "coil_crews_mill_time"},
    "model_title": {"model": "treating_pressure"}, "quarter_changes": {"metric": "mill_min"},
    "quarter_changes_title": {"metric": "pump_time_min"}, "quarter_cells": {"metric": "mill_min"},
    "next_designs": {"figure": "pressure_margin"}, "wells_along_title": {"measure": "isip"},
}  # fmt: skip


@pytest.mark.parametrize("name", queries.names())
def test_every_column_and_parameter_of_a_query_is_described_once(
    lake_sql: duckdb.DuckDBPyConnection, name: str
) -> None:
    query = queries.load(name)
    assert {item.name for item in query.parameters} == set(PARAMETERS.get(name, {}))
    answer = queries.run(lake_sql, query, PARAMETERS.get(name))
    assert answer.frame.columns == [column.name for column in answer.columns]
    assert set(query.made) <= set(answer.frame.columns)
    assert all(column.meaning for column in answer.columns)
    assert answer.frame.height >= (0 if name in NONE_IN_THE_CAMPAIGN else 1)
    for column in answer.columns:
        if column.unit:
            assert answer.frame.schema[column.name].is_numeric(), column.name


NONE_IN_THE_CAMPAIGN = ("set_aside", "amendments", "amendments_by_pick")
CHECKS = sorted((queries.folder() / "checks").glob("*.sql"))


@pytest.mark.parametrize("path", CHECKS, ids=lambda path: path.stem)
def test_check_query_returns_no_failing_row(lake_sql: duckdb.DuckDBPyConnection, path: Path) -> None:
    query = queries.load(path.stem, path.parent)
    assert queries.run(lake_sql, query).frame.is_empty()


def test_check_queries_can_fail() -> None:
    from datetime import UTC, datetime

    times = [datetime(2025, 1, 1, hour, tzinfo=UTC) for hour in (0, 5)]
    activity = pl.DataFrame(
        {"pad": ["a", "a"], "start_time": times, "end_time": [times[1].replace(hour=6), times[1].replace(hour=8)]}
    )
    query = queries.load("activity_overlaps", queries.folder() / "checks")
    assert queries.run(connect_on({"activity": activity}), query).frame.height == 1


def test_hours_by_activity_add_up_to_the_days() -> None:
    names = ("pumping", "wireline", "swap", "coil", "standby", "npt", "not_booked")
    hours = [[2.0, 3.0, 0.0, 0.0, 0.0, 1.0, 0.0], [7.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0]]
    days = pl.DataFrame(
        {
            "local_date": [date(2025, 1, 1), date(2025, 1, 2)],
            "pad": ["a"] * 2,
            **{f"{name}_hours": [row[i] for row in hours] for i, name in enumerate(names)},
        }
    )
    found = query_on("quarter_hours", {"pad_day_metrics": days})
    assert found.select("activity", "hours").rows() == [("NPT", 1.0), ("pumping", 9.0), ("wireline", 3.0)]
    assert found["share"].sum() == pytest.approx(1.0)


def compared(rows: list[tuple[str, bool, float | None, float | None, float | None]]) -> str:
    frame = pl.DataFrame(
        [
            {
                "comparison": "frac_crews_pump_time", "outcome": "pump_time_min", "level": level, "separable": separable,
                "effect": value, "joint_low": low, "joint_high": high,
            }
            for level, separable, value, low, high in rows
        ],
        schema={
            "comparison": pl.String, "outcome": pl.String, "level": pl.String, "separable": pl.Boolean,
            "effect": pl.Float64, "joint_low": pl.Float64, "joint_high": pl.Float64,
        },
    )  # fmt: skip
    return str(
        query_on("crews_compared_title", {"comparisons": frame}, {"comparison": "frac_crews_pump_time"})["title"][0]
    )


def test_title_of_a_comparison_follows_the_data_when_the_finding_reverses() -> None:
    assert (
        compared([("A", True, -3.0, -4.0, -2.0), ("B", True, 3.0, 2.0, 4.0)]) == "A takes 6.0 min per stage less than B"
    )
    assert (
        compared([("A", True, 3.0, 2.0, 4.0), ("B", True, -3.0, -4.0, -2.0)]) == "B takes 6.0 min per stage less than A"
    )
    assert (
        compared([("A", True, 0.3, -1.0, 1.6), ("B", True, -0.3, -1.6, 1.0)]) == "No clear difference between 2 crews"
    )
    assert compared([("A", True, -3.0, -4.0, -2.0), ("C", False, None, None, None)]).endswith("; C cannot be compared")
    assert compared([("C", False, None, None, None)]).startswith("No crews that can be compared")
    assert compared([]) == "No crews compared yet"


def trend(values: list[float]) -> str:
    return str(query_on("quarter_trend_title", milled(values), {"metric": "mill_min"})["title"][0])


def test_title_of_a_trend_says_what_the_quarters_allow() -> None:
    assert trend([]) == "Mill time per plug: nothing measured yet"
    assert "too few quarters" in trend([10.0, 9.0, 8.0])
    assert "falls by 0.50 min per quarter" in trend([10.0 - 0.5 * i for i in range(9)])
    assert "rises" in trend([10.0 + 0.5 * i for i in range(9)])
    assert "no clear trend" in trend([10.0, 10.4, 9.8, 10.2, 9.9, 10.3])
    assert "is unusual in 2024Q2" in trend([10.0, 10.1, 10.0, 10.1, 10.0, 14.0])


def test_parameters_are_bound_and_unknown_ones_refused() -> None:
    hostile = "mill_min' OR '1'='1"
    assert query_on("quarter_trend", milled([9.0]), {"metric": hostile}).is_empty()
    with pytest.raises(HeelwardError, match="has no parameter x; it has: metric"):
        query_on("quarter_trend", {}, {"x": "y"})
    with pytest.raises(HeelwardError, match="query 'quarter_trend' needs metric: mill_min or completed_pump_time_min"):
        query_on("quarter_trend", {})


def test_an_unknown_query_names_the_known_ones() -> None:
    with pytest.raises(HeelwardError, match="headline"):
        queries.load("nonsense")


def test_formulas_are_neutralised_in_csv() -> None:
    frame = export.neutralised(
        pl.DataFrame({"a": ["=1+1", "+1", "-1", "@x", "plain", None], "n": [1.0, -2.0, 3.0, 4.0, 5.0, 6.0]})
    )
    assert frame["a"].to_list() == ["'=1+1", "'+1", "'-1", "'@x", "plain", None]
    assert frame["n"][1] == -2.0


@pytest.mark.parametrize(
    ("amount", "unit", "said", "change", "metric"),
    [
        ("1234.5", "psi", "1,234 psi", "+1,234 psi", "8.51 MPa"),
        ("-1669", "psi", "−1,669 psi", "−1,669 psi", "−11.5 MPa"),
        ("12.34", "bbl", "12.3 bbl", "+12.3 bbl", "1.96 m³"),
        ("0", "min", "0.00 min", "+0.00 min", "0.00 min"),
        ("97.1", "1000 USD", "97.1 thousand USD", "+97.1 thousand USD", "97.1 thousand USD"),
        ("0.04", "ratio", "0.04", "+0.04", "0.04"),
        ("NULL::DOUBLE", "psi", None, None, None),
        ("'nan'::DOUBLE", "psi", None, None, None),
        ("'inf'::DOUBLE", "psi", None, None, None),
    ],
)
def test_titles_say_amounts_in_the_units_shown(
    amount: str, unit: str, said: str | None, change: str | None, metric: str | None
) -> None:
    import duckdb

    for system, expected in (("field", (said, change)), ("metric", (metric, None))):
        connection = duckdb.connect()
        queries.speak(connection, system)
        found = connection.sql(
            f"SELECT said(v, u), said_change(v, u) FROM (SELECT {amount} AS v, '{unit}' AS u)"
        ).fetchall()[0]
        assert found[0] == expected[0]
        assert system == "metric" or found[1] == expected[1]


COST = pl.DataFrame(
    {
        "well_id": ["a"] * 4, "line": [1, 2, 3, 4], "service_date": [date(2025, 5, 10)] * 4, "category": ["stimulation"] * 3 + ["water"],
        "state": ["budget", "accrued", "invoiced", "accrued"], "amount": [100_000.0, 95_000.0, 98_000.0, 10_000.0],
        "currency": ["USD"] * 4,
    }
)  # fmt: skip
PUMPED = datetime(2025, 5, 9, tzinfo=UTC)
MEASURED = pl.DataFrame(
    {"well_id": ["a", "a"], "stage": [1, 2], "start_time": [PUMPED] * 2},
    schema_overrides={"start_time": pl.Datetime("us", "UTC")},
)


def test_an_invoice_takes_the_place_of_what_was_accrued() -> None:
    """Budget 100, accrued 95, then invoiced 98: two per cent under budget, not ninety-three over."""
    lines = COST.filter(pl.col("category") == "stimulation")
    found = query_on("quarter_cost", {"cost": lines, "stage_metrics": MEASURED})
    assert found.select("quarter", "kind", "cost_per_stage", "provisional").rows() == [
        ("2025Q2", "budget", 50.0, False),
        ("2025Q2", "spent", 49.0, False),
    ]
    title = query_on("quarter_cost_title", {"cost": lines, "stage_metrics": MEASURED})["title"][0]
    assert title == "Spent -2.0 % against budget"


def test_cost_follows_the_stages_into_their_quarters() -> None:
    """A well of four stages, three of them pumped in June, all invoiced in July: 98 and 10 thousand over four stages."""
    stages = pl.DataFrame(
        {
            "well_id": ["a"] * 4, "stage": [1, 2, 3, 4],
            "start_time": [datetime(2025, month, 1, tzinfo=UTC) for month in (6, 6, 6, 7)],
            "proppant_lbm": [200_000.0, 100_000.0, 300_000.0, 400_000.0],
        },
        schema_overrides={"start_time": pl.Datetime("us", "UTC")},
    )  # fmt: skip
    design = pl.DataFrame(
        {"well_id": ["a"] * 4, "stage": [1, 2, 3, 4], "stage_length_ft": [200.0, 200.0, 100.0, 250.0]}
    )
    lines = COST.with_columns(service_date=pl.date(2025, 7, 20))
    found = query_on("quarter_cost", {"cost": lines, "stage_metrics": stages, "stages": design})
    spent = found.filter(pl.col("kind") != "budget").drop("kind", "wells", "provisional")
    rows = {row.pop("quarter"): row for row in spent.iter_rows(named=True)}
    assert rows["2025Q2"] == pytest.approx(
        {
            "cost_per_stage": 27.0,
            "cost_per_lateral_ft": 162.0,
            "cost_per_proppant_lbm": 0.135,
            "stages": 3,
            "amount": 81.0,
        }
    )
    assert rows["2025Q3"] == pytest.approx(
        {
            "cost_per_stage": 27.0,
            "cost_per_lateral_ft": 108.0,
            "cost_per_proppant_lbm": 0.0675,
            "stages": 1,
            "amount": 27.0,
        }
    )


def test_variance_by_category_counts_wells_with_budget_and_spending() -> None:
    """Stimulation: 98 spent of 100 thousand. Water was spent without a budget: no variance."""
    rows = {row["category"]: row for row in query_on("cost_by_category", {"cost": COST}).iter_rows(named=True)}
    done = rows["stimulation"]
    assert (done["wells"], done["budget"], done["spent"], done["variance"]) == (1, 100.0, 98.0, -2.0)
    assert done["variance_share"] == pytest.approx(-0.02)
    assert not done["provisional"]
    assert (rows["water"]["wells"], rows["water"]["variance"], rows["water"]["wells_without_budget"]) == (0, None, 1)


def test_what_is_only_accrued_counts_and_is_called_provisional() -> None:
    found = query_on("quarter_cost", {"cost": COST, "stage_metrics": MEASURED})
    assert found.filter(pl.col("kind") != "budget").select("kind", "cost_per_stage").rows() == [
        ("spent, provisional", 54.0)
    ]
    title = query_on("quarter_cost_title", {"cost": COST, "stage_metrics": MEASURED})["title"][0]
    assert title == "Spent +8.0 % against budget; provisional: part of it is only accrued"


def test_a_title_reads_the_rows_that_its_chart_shows() -> None:
    connection = connect_on({})
    shown = pl.DataFrame({"quarter": ["2025Q1"], "kind": ["budget"], "amount": [100.0], "provisional": [False]})
    spent = shown.with_columns(kind=pl.lit("spent"), amount=pl.lit(150.0))
    rows = queries.run(connection, queries.load("quarter_cost_title"), {}, pl.concat([shown, spent])).frame
    assert rows["title"].to_list() == ["Spent +50.0 % against budget"]


def test_the_trend_of_a_title_is_the_models_own_test_ties_included() -> None:
    values = [10.0, 10.0, 10.0, 10.0, 9.0, 9.0, 9.0, 8.0, 8.0]
    connection = duckdb.connect(":memory:")
    queries.speak(connection)
    p, slope = connection.sql("SELECT trend_p($v), trend_slope($v)", params={"v": values}).fetchall()[0]
    found = mann_kendall(np.array(values))
    assert (p, slope) == (found.p, found.slope)
    # S -26; variance 92 without ties, 92 - (4*3*13 + 3*2*11 + 2*1*9)/18 = 78.67 with them (Kendall 1975)
    assert found.p == pytest.approx(0.0033742, rel=1e-4)
    assert mann_kendall(np.full(9, 10.0)).p == 1.0
    assert connection.sql("SELECT trend_p($v)", params={"v": values[:7]}).fetchall() == [(None,)]
