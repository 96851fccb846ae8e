"""Marts: one definition each, a key that names a row, sums that agree with the lake; everything else reads them."""

from __future__ import annotations

import ast
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import duckdb
import polars as pl
import pytest

from pipeline import queries
from pipeline.lake.marts import marts, tables_below
from pipeline.metrics import tables
from pipeline.metrics.measure import LEVELS
from pipeline.metrics.tables import TABLES, columns_known
from pipeline.schemas import fitted, lineage
from pipeline.schemas.base import Table
from pipeline.sql import tables_read
from tests.builders import connect_on, query_on
from tests.conftest import Fitted

START = datetime(2025, 3, 1, tzinfo=UTC)
PACKAGE = Path(queries.__file__).parent
FITTED = {table.name for table in vars(fitted).values() if isinstance(table, Table)}
LINEAGE = {table.name for table in vars(lineage).values() if isinstance(table, Table)}


@pytest.mark.parametrize("name", sorted(marts()))
def test_the_key_of_a_mart_names_a_row(lake_sql: duckdb.DuckDBPyConnection, name: str) -> None:
    mart = marts()[name]
    assert mart.key
    rows = lake_sql.sql(f'SELECT * FROM "{name}"').pl()
    assert rows.height
    assert rows.select(mart.key).is_unique().all()
    assert rows.select(mart.key).null_count().row(0) == (0,) * len(mart.key)
    assert all(column.meaning for column in columns_known()[name].values())


@pytest.mark.parametrize(
    ("mart", "table", "columns"),
    [
        ("stage", "stage_metrics", ("pump_time_min", "proppant_lbm", "clean_bbl")),
        ("plug", "plug_metrics", ("mill_min", "stalls")),
        ("coil_run", "coil_run_metrics", ("hours", "wiper_hours")),
        ("pump_down", "wireline_metrics", ("run_hours",)),
        ("toe", "toe_prep_metrics", ("hours",)),
        ("pad_interval", "pad_timeline", ("hours",)),
        ("pad_day", "pad_day_metrics", ("hours", "npt_hours")),
        ("cost_line", "cost", ("amount",)),
        ("incident", "incidents", ()),
        ("neighbour", "offsets", ("spacing_ft",)),
        ("pick", "picks", ("value",)),
    ],
)
def test_rows_and_sums_of_a_mart_are_those_of_the_lake(
    fitted: Fitted, lake_sql: duckdb.DuckDBPyConnection, mart: str, table: str, columns: tuple[str, ...]
) -> None:
    wanted = [pl.len().alias("rows"), *(pl.col(name).sum() for name in columns)]
    ours = lake_sql.sql(f'SELECT * FROM "{mart}"').pl().select(wanted).row(0)
    assert ours == pytest.approx(fitted.lake.scan(TABLES[table]).select(wanted).collect().row(0))


def test_wells_add_up_to_what_they_are_made_of(lake_sql: duckdb.DuckDBPyConnection) -> None:

    def one(sql: str) -> tuple[float, ...]:
        return tuple(lake_sql.sql(sql).fetchall()[0])

    assert one("SELECT sum(stages_measured), sum(screen_outs) FROM well") == one(
        "SELECT count(*), count(*) FILTER (screenout) FROM stage"
    )
    assert one("SELECT sum(plugs_milled) FROM well") == one("SELECT count(mill_min) FROM plug")
    assert one("SELECT sum(runs_measured), sum(wiper_trips) FROM well") == one(
        "SELECT count(*), sum(wiper_trips) FILTER (mill_out) FROM coil_run"
    )
    assert one("SELECT sum(budget_usd), sum(spent_usd) FROM well") == pytest.approx(
        one(
            "SELECT sum(amount) FILTER (kind = 'budget'), sum(amount) FILTER (kind = 'spent') FROM cost_line "
            "WHERE counts AND currency = 'USD'"
        )
    )


def test_a_mart_needs_the_tables_below_it_and_no_others() -> None:
    assert tables_below(["pad"]) == {"wells"}
    assert tables_below(["pad_day"]) == {"pad_day_metrics"}
    below = tables_below(["well"])
    assert {"stage_metrics", "cost", "production", "toe_prep_metrics"} <= below <= TABLES.keys()
    assert not below & {"picks", "treatment"}


def test_queries_read_marts_and_what_was_fitted_only() -> None:
    allowed = marts().keys() | FITTED | LINEAGE | {"chart"}
    with connect_on({}) as connection:
        for name in queries.names():
            read = tables_read(connection, queries.load(name).sql)
            assert read <= allowed, (name, read - allowed)


def test_models_plans_and_reports_read_marts_and_what_was_fitted_only() -> None:
    """Apart from the audit pages, which draw samples and picks, and the mask, which collects names."""
    measured = {level.name.upper() for level in LEVELS}
    own = {f"pipeline.schemas.{name}" for name in ("wells", "records", "ledger", "review", "picks", "time")}
    files = [path for part in ("models", "plan", "report") for path in (PACKAGE / part).glob("*.py")]
    for path in files:
        if path.name in ("audit.py", "mask.py"):
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom):
                names = {alias.name for alias in node.names}
                assert node.module not in own and not names & measured, (path.name, node.module, names)


def test_definitions_stand_in_one_mart_each() -> None:
    """The words of a definition occur in one SQL file, and not in Python."""
    once = {
        "quarter_of(day)": "marts.py", "epoch_us": "marts.py", "service_date": "cost_line.sql", "PARTITION BY site, fleet": "fleet_turn.sql",
        "bool_or(state = 'invoiced'": "cost_line.sql", "choke_64ths": "early_oil.sql",
        "coalesce(r.kind, 'mill-out')": "coil_run.sql",
    }  # fmt: skip
    files = [*queries.folder().rglob("*.sql"), *(PACKAGE / "lake").glob("*.py"), *(PACKAGE / "models").glob("*.py")]
    for words, place in once.items():
        found = {path.name for path in files if words in path.read_text(encoding="utf-8")}
        assert found == {place}, (words, found)


def pumped(stages: list[tuple[str, int, str | None, float, float]], zone: str | None = None) -> dict[str, pl.DataFrame]:
    """Return a lake of stages on one pad: well, stage, crew, hours from the start to first and to last rate."""
    metrics = [
        {"well_id": well, "stage": stage, "start_time": START + timedelta(hours=a), "end_time": START + timedelta(hours=b)}
        for well, stage, _, a, b in stages
    ]  # fmt: skip
    design = [{"well_id": well, "stage": stage, "frac_crew": crew} for well, stage, crew, _, _ in stages]
    wells = sorted({row[0] for row in stages})
    named = {"well_id": wells, "well_name": wells, "pad": ["p"] * len(wells), "time_zone": [zone] * len(wells)}
    return {
        "stage_metrics": pl.DataFrame(metrics), "stages": pl.DataFrame(design, schema_overrides={"frac_crew": pl.String}),
        "wells": pl.DataFrame(named, schema_overrides={"time_zone": pl.String}),
    }  # fmt: skip


def test_the_gap_of_a_fleet_is_from_its_last_rate_on_the_pad_whichever_crew_and_well() -> None:
    """Crews x, y, x of one fleet: the second stage of x begins one hour after the stage of y ended."""
    tables = pumped(
        [("a", 1, "x", 0.0, 2.0), ("b", 1, "y", 3.0, 5.0), ("a", 2, "x", 6.0, 8.0), ("b", 2, None, 9.0, 10.0)]
    )
    with connect_on(tables) as connection:
        found = connection.sql(
            "SELECT well_id, stage, fleet_gap_min, well_gap_min FROM stage ORDER BY start_time"
        ).fetchall()
    assert found == [("a", 1, None, None), ("b", 1, 60.0, None), ("a", 2, 60.0, 240.0), ("b", 2, 60.0, 240.0)]
    by_crew = query_on("swaps_by_crew", tables)
    assert by_crew.select("crew", "stages", "middle").rows() == [("x", 1, 60.0), ("y", 1, 60.0)]


def test_two_fleets_on_a_pad_do_not_wait_for_each_other() -> None:
    tables = pumped(
        [("a", 1, "x", 0.0, 2.0), ("b", 1, "y", 1.0, 3.0), ("a", 2, "x", 4.0, 5.0), ("b", 2, "y", 6.0, 7.0)]
    )
    fleets = pl.when(pl.col("well_id") == "a").then(pl.lit("red")).otherwise(pl.lit("blue"))
    with connect_on(tables | {"stages": tables["stages"].with_columns(frac_fleet=fleets)}) as connection:
        found = connection.sql("SELECT fleet, fleet_gap_min FROM stage ORDER BY start_time").fetchall()
    assert found == [("red", None), ("blue", None), ("red", 120.0), ("blue", 180.0)]


def test_a_fleet_that_is_not_recorded_is_the_only_one_on_the_pad() -> None:
    tables = pumped([("a", 1, "x", 0.0, 2.0), ("b", 1, "y", 3.0, 4.0)])
    half = pl.when(pl.col("well_id") == "a").then(pl.lit("red"))
    with connect_on(tables | {"stages": tables["stages"].with_columns(frac_fleet=half)}) as connection:
        assert connection.sql("SELECT DISTINCT fleet FROM stage").fetchall() == [("red",)]
    with connect_on(tables) as connection:
        assert connection.sql("SELECT DISTINCT fleet FROM stage").fetchall() == [("fleet on p",)]


def test_stages_that_overlap_have_no_gap_between_them() -> None:
    tables = pumped([("a", 1, "x", 0.0, 2.0), ("b", 1, "x", 1.0, 3.0)])
    with connect_on(tables) as connection:
        assert connection.sql("SELECT count(fleet_gap_min) FROM stage").fetchall() == [(0,)]
        assert connection.sql("SELECT pad_order FROM stage ORDER BY start_time").fetchall() == [(0.0,), (1.0,)]


NEW_YEAR = datetime(2025, 1, 1, 3, 0, tzinfo=UTC)
"""Still 31 December 2024 in Denver (UTC-7)."""


def at_new_year(zone: str | None) -> dict[str, pl.DataFrame]:
    hour = timedelta(hours=1)
    moments = {"start_time": [NEW_YEAR], "end_time": [NEW_YEAR + hour]}
    return {
        "wells": pl.DataFrame({"well_id": ["a"], "well_name": ["A"], "pad": ["p"], "time_zone": pl.Series([zone], dtype=pl.String)}),
        "stage_metrics": pl.DataFrame({"well_id": ["a"], "stage": [1], **moments}),
        "plug_metrics": pl.DataFrame({"well_id": ["a"], "plug": [1], "tag_time": [NEW_YEAR]}),
        "coil_run_metrics": pl.DataFrame({"well_id": ["a"], "run": [1], "record_start": [NEW_YEAR]}),
        "pad_timeline": pl.DataFrame({"pad": ["p"], **moments, "activity": ["NPT"], "cause": ["pump"], "hours": [1.0]}),
        "incidents": pl.DataFrame({"pad": ["p"], "occurred_at": [NEW_YEAR], "severity": ["near miss"]}),
    }  # fmt: skip


@pytest.mark.parametrize(
    ("of_the_wells", "of_the_workspace", "day"),
    [
        ("America/Denver", "UTC", date(2024, 12, 31)),
        (None, "America/Denver", date(2024, 12, 31)),
        (None, "UTC", date(2025, 1, 1)),
    ],
)
def test_a_pad_without_a_zone_is_on_the_workspaces_clock_everywhere(
    of_the_wells: str | None, of_the_workspace: str, day: date
) -> None:
    tables = at_new_year(of_the_wells)
    quarter = f"{day.year}Q{(day.month + 2) // 3}"
    with connect_on(tables, of_the_workspace) as connection:
        for mart in ("stage", "plug", "coil_run", "pad_interval", "incident"):
            assert connection.sql(f"SELECT local_date, quarter FROM {mart}").fetchall() == [(day, quarter)], mart
    lost = query_on("npt_by_cause", tables, zone=of_the_workspace)
    assert lost.select("quarter", "cause", "hours", "events").rows() == [(quarter, "pump", 1.0, 1)]
    safe = query_on("quarter_safety", tables, zone=of_the_workspace)
    assert safe.select("quarter", "stages", "near_misses", "injuries").rows() == [(quarter, 1, 1, 0)]
    assert query_on("quarter_events", tables, zone=of_the_workspace).rows() == [(quarter, "p", "near miss", 1)]


def test_an_accrual_counts_until_its_category_is_invoiced() -> None:
    lines = pl.DataFrame(
        [
            ("a", 1, "stimulation", "budget", 100.0), ("a", 2, "stimulation", "accrued", 95.0),
            ("a", 3, "stimulation", "invoiced", 98.0), ("a", 4, "water", "accrued", 10.0),
            ("b", 1, "stimulation", "accrued", 50.0),
        ],
        schema=["well_id", "line", "category", "state", "amount"], orient="row",
    ).with_columns(currency=pl.lit("USD"), service_date=date(2025, 5, 10))  # fmt: skip
    stages = pl.DataFrame({"well_id": ["a", "a"], "stage": [1, 2]})
    with connect_on({"cost": lines, "stage_metrics": stages}) as connection:
        found = connection.sql("SELECT well_id, budget, spent, provisional FROM well_cost ORDER BY well_id").fetchall()
        assert found == [("a", 100.0, 108.0, True), ("b", None, 50.0, True)]
        (row,) = connection.sql(
            "SELECT spent_usd, cost_per_stage, budget_per_stage FROM well WHERE well_id = 'a'"
        ).fetchall()
        assert row == pytest.approx((108.0, 0.054, 0.05))


def test_cost_of_the_toe_follows_the_same_rule() -> None:
    lines = pl.DataFrame(
        [("a", 1, "accrued", 40.0, "USD"), ("a", 2, "invoiced", 44.0, "USD"), ("b", 1, "accrued", 30.0, "USD"),
         ("c", 1, "invoiced", 20.0, "USD"), ("c", 2, "invoiced", 20.0, "EUR")],
        schema=["well_id", "line", "state", "amount", "currency"], orient="row",
    ).with_columns(category=pl.lit("toe preparation"))  # fmt: skip
    toes = pl.DataFrame({"well_id": ["a", "b", "c"], "one_run": [True, False, True]})
    runs = pl.DataFrame({"well_id": ["a", "b", "c"], "run": [1, 1, 1]})
    with connect_on({"cost": lines, "toe_prep_metrics": toes, "coil_run_metrics": runs}) as connection:
        found = connection.sql("SELECT well_id, cost, cost_state, method FROM toe ORDER BY well_id").fetchall()
    assert found[:2] == [("a", 44.0, "invoiced", "one run"), ("b", 30.0, "accrued", "two runs")]
    assert found[2][1] is None  # two currencies are never added up


def test_early_oil_runs_straight_between_months() -> None:
    """Two months of 30 days and 3,000 bbl, then one of 20 days and 1,000 bbl: 90 days are not reached, then they are."""
    days, oil = [30.0, 30.0, 20.0, 30.0], [3000.0, 3000.0, 1000.0, 1500.0]
    months = [date(2025, month, 1) for month in (1, 2, 3, 4)]
    rows = [
        {"well_id": well, "month": month, "days_on": d, "oil_bbl": b, "choke_64ths": choke, "flowing_pressure_psi": 2000.0}
        for well, choke in (("a", 32.0), ("b", 32.0), ("c", 48.0))
        for month, d, b in zip(months, days, oil, strict=True)
    ]  # fmt: skip
    production = pl.DataFrame(rows).filter((pl.col("well_id") != "b") | (pl.col("month") < date(2025, 4, 1)))
    with connect_on({"production": production}) as connection:
        found = connection.sql("SELECT * FROM early_oil ORDER BY well_id").fetchall()
    # a: 80 days give 7,000 bbl, a third of the fourth month's 1,500 bbl more is 7,500
    assert found == [("a", None, 7500.0, None), ("b", None, None, None), ("c", "different choke", None, None)]


def test_acceptance_adds_up_the_mill_outs_of_a_well() -> None:
    runs = pl.DataFrame(
        {
            "well_id": ["a"] * 3, "run": [1, 2, 3], "deepest_ft": [14_000.0, 15_000.0, 9_000.0],
            "short_of_target_ft": [1_000.0, 0.0, 0.0], "locked_up": [True, False, False], "plugs_left": [3, 1, 0],
        }
    )  # fmt: skip
    listed = pl.DataFrame(
        {
            "well_id": ["a"] * 3, "run": [1, 2, 3], "kind": ["mill-out", None, "toe milling"],
            "trip_reason": [None, "motor", "mill"], "sweeps": [4, 5, 9], "debris_lbm": [100.0, 250.0, 7.0],
        }
    )  # fmt: skip
    wells = pl.DataFrame({"well_id": ["a"], "well_name": ["A"], "pad": ["p"]})
    toes = pl.DataFrame({"well_id": ["a"], "casing_test_held": [True], "injectivity_bpm": [12.0]})
    tables = {"coil_run_metrics": runs, "coil_runs": listed, "wells": wells, "toe_prep_metrics": toes}
    (row,) = query_on("acceptance", tables).rows(named=True)
    assert row == {
        "pad": "p", "well": "A", "runs": 2, "trips": 1, "trip_reasons": "motor", "deepest_ft": 15_000.0,
        "short_of_target_ft": 0.0, "locked_up": True, "plugs_left": 1, "sweeps": 9, "debris_lbm": 350.0,
        "casing_test_held": True, "injectivity_bpm": 12.0,
    }  # fmt: skip


def test_reconciliation_puts_each_value_beside_the_reported_one_with_the_confidence_of_our_pick() -> None:
    stages = pl.DataFrame(
        {"well_id": ["a"], "stage": [1], "isip_psi": [4950.0], "clean_bbl": [8000.0], "proppant_lbm": [250_000.0]}
    )
    theirs = pl.DataFrame(
        {"well_id": ["a"], "stage": [1], "isip_psi": [5000.0], "clean_bbl": [7500.0], "flush_bbl": [300.0]}
    )
    picks = pl.DataFrame(
        {"well_id": ["a", "a"], "level": ["stage", "plug"], "number": [1, 1], "pick": ["isip", "isip"], "confidence": ["high", "low"]}
    )  # fmt: skip
    wells = pl.DataFrame({"well_id": ["a"], "well_name": ["A"]})
    tables = {"stage_metrics": stages, "reported": theirs, "picks": picks, "wells": wells}
    found = query_on("reconciliation", tables)
    assert found.rows() == [
        ("A", 1, "clean_bbl", 8000.0, 7500.0, 500.0, pytest.approx(1 / 15), None),
        ("A", 1, "isip_psi", 4950.0, 5000.0, -50.0, -0.01, "high"),
    ]
    assert query_on("reconciliation_isip", tables).select("reported", "ours").rows() == [(5000.0, 4950.0)]
    title = query_on("reconciliation_title", tables)["title"][0]
    assert title == "ISIP within 100 psi of reported for 100 % of stages; totals off by over 3 % on 1 of 1 stages"


def test_a_cost_line_without_a_date_is_not_lost() -> None:
    lines = pl.DataFrame(
        {
            "well_id": ["a"],
            "line": [1],
            "state": ["invoiced"],
            "category": ["x"],
            "amount": [1000.0],
            "currency": ["USD"],
        }
    )
    tables = {"cost": lines, "stage_metrics": pl.DataFrame({"well_id": ["a"], "stage": [1]})}
    assert query_on("quarter_cost", tables).select("quarter", "kind", "amount").rows() == [("no date", "spent", 1.0)]


def test_a_stage_that_outlasts_the_next_one_still_delays_the_fleet() -> None:
    """a from 5:00 to 9:00, b from 5:30 to 6:00, c from 10:00: the fleet was free from 9:00 on."""
    tables = pumped(
        [("a", 1, "x", 5.0, 9.0), ("b", 1, "x", 5.5, 6.0), ("c", 1, "x", 7.0, 8.0), ("d", 1, "x", 10.0, 11.0)]
    )
    with connect_on(tables) as connection:
        found = connection.sql("SELECT fleet_gap_min FROM stage ORDER BY start_time").fetchall()
    assert found == [(None,), (None,), (None,), (60.0,)]


def lines_of(*rows: tuple[str | None, float | None, str | None, str | None, date]) -> dict[str, pl.DataFrame]:
    """Return cost lines of one well: state, amount, category, currency, service date."""
    frame = pl.DataFrame(
        [("a", number, *row) for number, row in enumerate(rows, start=1)],
        schema={"well_id": pl.String, "line": pl.Int32, "state": pl.String, "amount": pl.Float64, "category": pl.String,
                "currency": pl.String, "service_date": pl.Date}, orient="row",
    )  # fmt: skip
    return {"cost": frame}


MARCH, JULY = date(2025, 3, 1), date(2025, 7, 1)


@pytest.mark.parametrize(
    ("rows", "spent"),
    [
        ([(None, 100.0, "x", "USD", MARCH), ("invoiced", 50.0, "x", "USD", MARCH)], [("USD", 50.0, False)]),
        ([(None, 100.0, "x", "USD", MARCH), ("accrued", 50.0, "x", "USD", MARCH)], [("USD", 50.0, True)]),
        (
            [("accrued", 7.0, "x", "USD", MARCH), ("invoiced", 10.0, "x", "CAD", MARCH)],
            [("CAD", 10.0, False), ("USD", 7.0, True)],
        ),
        ([("accrued", 7.0, "x", "USD", MARCH), ("invoiced", None, "x", "USD", MARCH)], [("USD", 7.0, True)]),
        ([("accrued", 7.0, None, "USD", MARCH), ("invoiced", 10.0, None, "USD", MARCH)], [("USD", 17.0, True)]),
        ([("accrued", None, "x", "USD", MARCH), ("invoiced", 7.0, "y", "USD", MARCH)], [("USD", 7.0, False)]),
    ],
)
def test_what_settles_an_accrual_is_an_invoice_of_its_category_and_currency(
    rows: list[tuple[str | None, float | None, str | None, str | None, date]], spent: list[tuple[str, float, bool]]
) -> None:
    with connect_on(lines_of(*rows)) as connection:
        found = connection.sql("SELECT currency, spent, provisional FROM well_cost ORDER BY currency").fetchall()
        assert connection.sql("SELECT count(*) FROM cost_line WHERE counts IS NULL").fetchall() == [(0,)]
    assert found == spent


def test_a_report_of_a_past_quarter_does_not_know_later_invoices_or_production() -> None:
    tables = lines_of(("accrued", 7.0, "x", "USD", MARCH), ("invoiced", 8.0, "x", "USD", JULY))
    months = [date(2025, month, 1) for month in range(1, 8)]
    production = pl.DataFrame(
        {"well_id": ["a"] * 7, "month": months, "days_on": [30.0] * 7, "oil_bbl": [100.0] * 7, "choke_64ths": [32.0] * 7,
         "flowing_pressure_psi": [2000.0] * 7}
    )  # fmt: skip
    with connect_on(tables | {"production": production}, quarter="2025Q1") as connection:
        assert connection.sql("SELECT spent, provisional FROM well_cost").fetchall() == [(7.0, True)]
        assert connection.sql("SELECT oil_90d_bbl, oil_180d_bbl FROM early_oil").fetchall() == [(300.0, None)]
    with connect_on(tables | {"production": production}) as connection:
        assert connection.sql("SELECT spent, provisional FROM well_cost").fetchall() == [(8.0, False)]
        assert connection.sql("SELECT oil_90d_bbl, oil_180d_bbl FROM early_oil").fetchall() == [(300.0, 600.0)]


def test_a_month_without_its_oil_or_days_makes_early_oil_unknown() -> None:
    months = [date(2025, month, 1) for month in range(1, 5)]
    for days, oil in (([30.0] * 4, [None, 100.0, 100.0, 100.0]), ([None, 30.0, 30.0, 30.0], [100.0] * 4)):
        production = pl.DataFrame(
            {"well_id": ["a"] * 4, "month": months, "days_on": days, "oil_bbl": oil, "choke_64ths": [32.0] * 4,
             "flowing_pressure_psi": [2000.0] * 4}
        )  # fmt: skip
        with connect_on({"production": production}) as connection:
            assert connection.sql("SELECT oil_90d_bbl FROM early_oil").fetchall() == [(None,)]


def test_what_columns_mean_is_kept_until_a_source_changes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    place = tmp_path / "kept"
    monkeypatch.setattr(tables, "kept_at", lambda name: place / name)
    made = columns_known.__wrapped__()
    (kept,) = place.glob("*.json")
    with monkeypatch.context() as without:
        without.setattr(tables, "catalogue", None)
        assert columns_known.__wrapped__() == made == columns_known()
    kept.write_text("[1, 2", encoding="utf-8")
    assert columns_known.__wrapped__() == made
    monkeypatch.setattr(tables, "product_digest", lambda: "other")
    assert columns_known.__wrapped__() == made
    assert [path.name for path in place.iterdir()] == ["columns-other.json"]
    monkeypatch.setattr(tables, "kept_at", lambda name: Path("/proc/nowhere") / name)
    assert columns_known.__wrapped__() == made
