"""Teams with tables of wells only: designs and production land, are shown, and models are fitted from them."""

from __future__ import annotations

import csv
import io
from datetime import date
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from typer.testing import CliRunner

from pipeline import queries, steps
from pipeline.cli import app
from pipeline.models.columns import predictors
from pipeline.models.design_matrix import MOST_INFLATION, effects_of
from pipeline.models.linear import fit_clustered, inflation
from pipeline.models.specs import MODELS
from pipeline.schemas.lineage import FINDINGS
from pipeline.workspace import Workspace, open_workspace
from tests.builders import connect_on, query_on
from tests.ingest.test_map_language import landed as shaped_with
from tests.ingest.test_map_language import rows, told

WELLS = 48
PER_100_LBM_FT = 0.8
"""Planted: oil in 180 days per foot of lateral for 100 lbm/ft more proppant. [bbl/ft]"""


def text(rows: list[list[object]]) -> str:
    held = io.StringIO()
    csv.writer(held, lineterminator="\n").writerows(rows)
    return held.getvalue()


def tables(seed: int) -> tuple[str, str]:
    """Designs with zeros and absurd values among them, and months of production named by month only."""
    rng = np.random.default_rng(seed)
    wells: list[list[object]] = [["Well Name", "Formation", "Lateral Length (ft)", "Number of Stages", "Total Proppant (lbs)",
                                  "Total Fluid (bbl)", "Avg Treating Pressure (psi)"]]  # fmt: skip
    months: list[list[object]] = [["Well", "Month", "Days On", "Oil (bbl)", "Gas (mcf)", "Water (bbl)"]]
    for at in range(WELLS):
        name, lateral, spacing = f"Plover {at + 1}H", rng.uniform(5000.0, 11000.0), rng.uniform(150.0, 300.0)
        proppant, fluid = rng.uniform(800.0, 2600.0), rng.uniform(20.0, 60.0)
        wells.append([name, "Alder" if at % 3 else "Birch", round(lateral), round(lateral / spacing), round(proppant * lateral),
                      round(fluid * lateral), 0 if at in (3, 7, 9) else round(rng.uniform(6000.0, 9500.0))])  # fmt: skip
        per_day = lateral * (6.0 + PER_100_LBM_FT * proppant / 100.0 + 0.05 * fluid + rng.normal(0.0, 1.5)) / 180.0
        months += [
            [name, f"{date(2021, 1 + at % 3 + month, 1):%b-%y}", 30, round(30 * per_day, 1), 30, 30]
            for month in range(8)
        ]
    wells[12][6], wells[16][5] = 209640, 3377000
    return text(wells), text(months)


@pytest.fixture(scope="module")
def team(tmp_path_factory: pytest.TempPathFactory) -> Workspace:
    """A folder with two tables and nothing else, taken up by one command and fitted."""
    folder = tmp_path_factory.mktemp("job tables")
    (folder / "theirs").mkdir()
    designs, production = tables(3)
    (folder / "theirs" / "well designs.csv").write_text(designs)
    (folder / "theirs" / "monthly production.csv").write_text(production)
    done = CliRunner().invoke(app, ["init", str(folder / "team"), "--from", str(folder / "theirs")])
    assert done.exit_code == 0, done.output
    workspace = open_workspace(folder / "team")
    steps.run_fit(workspace)
    return workspace


def sql(team: Workspace, statement: str) -> pl.DataFrame:
    return queries.run_sql(steps.connect(team), statement).frame


def test_designs_and_production_land_from_the_proposal_alone(team: Workspace) -> None:
    ledger = steps.run_query(team, "well_designs", {}).frame
    assert ledger.height == WELLS and ledger["oil_bbl_ft_180d_recorded"].null_count() == 0
    assert set(ledger["formation"]) == {"Alder", "Birch"}, "the table of designs says what the wells are, too"
    first = steps.run_query(team, "production_by_well", {}).frame.row(0, named=True)
    assert (first["first_month"], first["months"], first["days_on"]) == (date(2021, 1, 1), 8, 240.0)
    assert first["recorded_180d_bbl"] == pytest.approx(first["oil_bbl"] * 180 / 240, rel=1e-6)


def test_zeros_and_absurd_values_are_void_and_told_once_per_kind(team: Workspace) -> None:
    found = steps.open_lake(team).scan(FINDINGS).collect()
    kinds = dict(found.group_by("kind").len().iter_rows())
    assert kinds["zero_for_missing"] == 1 and kinds["void_samples"] == 2, kinds
    designs = sql(team, "SELECT well_id, avg_treating_pressure_psi AS p, fluid_bbl AS f FROM well_designs")
    assert designs["p"].null_count() == 4 and designs["f"].null_count() == 1
    assert designs["p"].min() >= 6000.0  # type: ignore[operator]


def test_the_planted_effect_of_proppant_is_found_and_told(team: Workspace) -> None:
    row = sql(team, "FROM effects WHERE model = 'oil_180_days_recorded' AND term = 'proppant_lbm_ft'").row(
        0, named=True
    )
    assert row["low"] < PER_100_LBM_FT < row["high"] and row["p_value"] < 0.001
    card = sql(team, "FROM model_cards WHERE model = 'oil_180_days_recorded'").row(0, named=True)
    assert card["better_than_mean"] and card["pads"] == WELLS - 1, "one well has no fluid; each is a pad of its own"
    chart = steps.run_query(team, "oil_by_design", {}).frame
    title = queries.run(steps.connect(team), queries.load("oil_by_design_title"), chart=chart).frame["title"][0]
    assert (
        title.startswith("With 100 lbm/ft more proppant, oil in 180 days was 0.") and "better than by the mean" in title
    )


def test_the_limits_of_a_planted_effect_hold_over_seeds() -> None:
    """Each well a pad of its own: of 60 campaigns with 24 wells, about 57 hold the truth (at least 51: p > 0.999)."""
    inside = 0
    for seed in range(60):
        rng = np.random.default_rng(seed)
        design = np.column_stack((np.ones(24), rng.normal(size=(24, 3))))
        outcome = design @ np.asarray([5.0, 0.8, 0.0, -0.3]) + rng.normal(0.0, 1.0, 24)
        fitted = fit_clustered(design, outcome, list("cabd"), [str(at) for at in range(24)])
        inside += bool(fitted.low[1] <= 0.8 <= fitted.high[1])
    assert inside >= 51


def test_terms_that_nearly_repeat_each_other_have_no_estimate() -> None:
    """Fluid in proportion to proppant, up to a ten-thousandth: neither has an effect of its own."""
    rng = np.random.default_rng(1)
    proppant, other = rng.normal(size=60), rng.normal(size=60)
    design = np.column_stack((np.ones(60), proppant, proppant + 1e-4 * rng.normal(size=60), other))
    times = inflation(design)
    correlation = np.corrcoef(proppant, design[:, 2])[0, 1]
    assert (
        times[1] == pytest.approx(1.0 / (1.0 - correlation**2), rel=0.2) and times[1] > MOST_INFLATION > times[3] > 1.0
    )
    columns = {"proppant_lbm_ft": proppant, "fluid_bbl_ft": design[:, 2], "lateral_ft": other}
    used = pl.DataFrame({**columns, "pad": [f"p{i % 20}" for i in range(60)]})
    spec = next(model for model in MODELS if model.name == "oil_180_days_recorded")
    told = effects_of(spec, used, rng.normal(size=60), predictors(list(columns)), used["pad"].to_numpy(), np.ones(60))
    assert [row["effect"] is None for row in told] == [True, True, False]
    assert "not separable" in told[0]["per"] and told[2]["p_value"] is not None


def test_a_well_by_hand_from_a_table_and_from_its_stages() -> None:
    """a: 9,000,000 lbm and 180,000 bbl on 6,000 ft in 30 stages; b: 3 stages on 600 ft; c: per foot as stated."""
    wells = pl.DataFrame({"well_id": list("abc"), "well_name": list("ABC"), "pad": ["p", "p", None],
                          "heel_md_ft": [None, 10_000.0, None], "toe_md_ft": [None, 10_600.0, None]})  # fmt: skip
    designs = pl.DataFrame({"well_id": ["a", "c"], "lateral_ft": [6000.0, None], "stages": [30, None], "design": ["new", None],
                            "proppant_lbm": [9e6, None], "fluid_bbl": [180_000.0, None], "proppant_lbm_ft": [7.0, 1800.0],
                            "oil_180d_bbl": [60_000.0, 50_000.0], "oil_360d_bbl": [90_000.0, None]})  # fmt: skip
    stages = pl.DataFrame({"well_id": ["b"] * 3, "stage": [1, 2, 3], "design": ["old"] * 3,
                           "designed_proppant_lbm": [200_000.0, 200_000.0, 200_000.0], "designed_fluid_bbl": [4e3, 5e3, None]})  # fmt: skip
    months = pl.DataFrame({"well_id": ["b"] * 7, "month": [date(2024, at, 1) for at in range(1, 8)],
                           "days_on": [30.0] * 7, "oil_bbl": [1000.0] * 7})  # fmt: skip
    given = {"wells": wells, "well_designs": designs, "stages": stages, "production": months}
    with connect_on(given, reads={"well_design"}) as connection:
        found = connection.sql("FROM well_design ORDER BY well_id").pl().to_dicts()
    a, b, c = ({name: row[name] for name in ("pad", "pad_known", "design", "stages", "lateral_ft", "stage_spacing_ft",
               "proppant_lbm_ft", "fluid_bbl_ft", "oil_bbl_ft_180d_recorded", "oil_bbl_ft_360d_recorded")} for row in found)  # fmt: skip
    assert list(a.values()) == ["p", True, "new", 30, 6000.0, 200.0, 1500.0, 30.0, 10.0, 15.0]
    assert list(b.values()) == ["p", True, "old", 3, 600.0, 200.0, 1000.0, None, 10.0, None]
    assert list(c.values()) == ["c", False, None, None, None, None, 1800.0, None, None, None]
    assert query_on("oil_by_design", given)["oil"].to_list() == [10.0, 10.0]
    some = stages.with_columns(well_id=pl.lit("a"))  # 3 of the 30 stages of a are on record: they are not the well
    with connect_on(given | {"stages": some}, reads={"well_design"}) as connection:
        row = connection.sql("FROM well_design WHERE well_id = 'a'").pl().row(0, named=True)
    assert (row["proppant_lbm_ft"], row["fluid_bbl_ft"], row["stages"]) == (1500.0, 30.0, 30)


def test_months_without_a_day_are_their_first(tmp_path: Path) -> None:
    content = {
        "name": "p", "lands": "production", "files": "*.csv", "unknown_wells": "create",
        "columns": {"well_id": {"column": "w"}, "month": {"column": "m", "format": ["%b-%y", "%m/%Y", "%Y%m"]}},
    }  # fmt: skip
    shaped = shaped_with(tmp_path, "w,m\na,Jan-25\na,02/2025\na,202503\n", content)
    assert [row["month"] for row in rows(shaped)] == [date(2025, 1, 1), date(2025, 2, 1), date(2025, 3, 1)]


def test_a_zero_that_cannot_be_is_no_value_but_a_possible_one_stays(tmp_path: Path) -> None:
    content = {
        "name": "d", "lands": "well_designs", "files": "*.csv", "unknown_wells": "create",
        "columns": {"well_id": {"column": "w"}, "avg_treating_pressure_psi": {"column": "p", "unit": "psi"},
                    "oil_180d_bbl": {"column": "o", "unit": "bbl"}},
    }  # fmt: skip
    shaped = shaped_with(tmp_path, "w,p,o\na,0,0\nb,0,7\nc,7000,8\n", content)
    assert [(row["avg_treating_pressure_psi"], row["oil_180d_bbl"]) for row in rows(shaped)] == [
        (None, 0.0),
        (None, 7.0),
        (7000.0, 8.0),
    ]
    assert "2 zero(s) are no value" in told(shaped)["zero_for_missing"]
