"""Statistics against published data sets: trade.md section 6 and checks.md part D."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import polars as pl
import pytest
import statsmodels.api as sm
from scipy import stats

from pipeline.models.compare import _mixed, connected_sets
from pipeline.models.frames import COLUMNS
from pipeline.models.linear import aliased_terms, fit_clustered
from pipeline.models.outpad import _out_of_pad
from pipeline.models.shrink import empirical_bayes
from tests.builders import query_on

# NIST StRD Norris, checks.md appendix N
NORRIS_X = [
    0.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6, 777.0, 558.2, 0.4, 0.6, 775.5, 666.9, 338.0, 447.5,
    11.6, 556.0, 228.1, 995.8, 887.6, 120.2, 0.3, 0.3, 556.8, 339.1, 887.2, 999.0, 779.0, 11.1, 118.3, 229.2, 669.1,
    448.9, 0.5,
]  # fmt: skip
NORRIS_Y = [
    0.1, 338.8, 118.1, 888.0, 9.2, 228.1, 668.5, 998.5, 449.1, 778.9, 559.2, 0.3, 0.1, 778.1, 668.8, 339.3, 448.9,
    10.8, 557.7, 228.3, 998.0, 888.8, 119.6, 0.3, 0.6, 557.6, 339.3, 888.0, 998.5, 778.9, 10.2, 117.6, 228.9, 668.4,
    449.2, 0.2,
]  # fmt: skip


def test_s1_d08_longley() -> None:
    data = sm.datasets.longley.load_pandas()
    design = np.column_stack((np.ones(16), data.exog.to_numpy()))
    fitted = fit_clustered(design, data.endog.to_numpy(), ["B0", *data.exog.columns], [str(i) for i in range(16)])
    certified = [
        -3482258.63459582, 15.0618722713733, -0.0358191792925910, -2.02022980381683, -1.03322686717359,
        -0.0511041056535807, 1829.15146461355,
    ]  # fmt: skip
    assert fitted.estimate == pytest.approx(certified, rel=1e-7)
    assert fitted.residual_sd == pytest.approx(304.854073561965, rel=1e-7)
    assert fitted.aliased == []


def test_s1_d09_norris() -> None:
    design = np.column_stack((np.ones(36), NORRIS_X))
    fitted = fit_clustered(design, np.array(NORRIS_Y), ["B0", "B1"], [str(i) for i in range(36)])
    assert fitted.estimate == pytest.approx([-0.262323073774029, 1.00211681802045], rel=1e-9)
    assert fitted.residual_sd == pytest.approx(0.884796396144373, rel=1e-9)


def test_s1_d10_wampler1() -> None:
    x = np.arange(21.0)
    design = np.column_stack([x**k for k in range(6)])
    outcome = design.sum(axis=1)
    fitted = fit_clustered(design, outcome, [f"B{k}" for k in range(6)], [str(i) for i in range(21)])
    assert fitted.estimate == pytest.approx([1.0] * 6, abs=1e-7)


DYESTUFF = {
    "A": [1545, 1440, 1440, 1520, 1580],
    "B": [1540, 1555, 1490, 1560, 1495],
    "C": [1595, 1550, 1605, 1510, 1560],
    "D": [1445, 1440, 1595, 1465, 1545],
    "E": [1595, 1630, 1515, 1635, 1625],
    "F": [1520, 1455, 1450, 1480, 1445],
}


def test_s1_d11_dyestuff_mean_and_its_error() -> None:
    """Davies and Goldsmith 1972; each batch is a pad of one well, so pad and well variance add to the batch's."""
    batches = [batch for batch, values in DYESTUFF.items() for _ in values]
    outcome = np.array([value for values in DYESTUFF.values() for value in values], dtype=float)
    frame = pl.DataFrame({"pad": batches, "well_id": batches})
    estimate, covariance = _mixed(frame, outcome, np.ones((30, 1)))
    assert estimate[0] == pytest.approx(1527.5, rel=1e-6)
    assert np.sqrt(covariance[0, 0]) == pytest.approx(19.3834, rel=1e-3)


def test_s1_d12_sleepstudy_random_intercept() -> None:
    """Belenky et al. 2003, as used by lme4's documentation: 251.4051 (9.7467), 10.4673 (0.8042)."""
    data = pl.read_csv(Path(__file__).parent / "sleepstudy.csv")
    assert data.height == 180
    frame = data.select(
        pl.col("subject").cast(pl.String).alias("pad"), pl.col("subject").cast(pl.String).alias("well_id")
    )
    design = np.column_stack((np.ones(180), data["days"].to_numpy()))
    estimate, covariance = _mixed(frame, data["reaction"].to_numpy(), design)
    assert estimate == pytest.approx([251.4051, 10.46729], rel=1e-5)
    assert np.sqrt(np.diag(covariance)) == pytest.approx([9.74672, 0.804221], rel=2e-3)


def test_s1_d14_the_mean_of_other_groups_and_no_leak() -> None:
    """Leave one well out: the mean of the others has a mean squared error of 56; the row's own group never predicts it."""
    outcome = np.repeat([20.0, 26.0, 35.0, 31.0], 3)
    pads = [str(well) for well in range(1, 5) for _ in range(3)]
    feature = np.array([10.0 * int(pad) + 0.1 * (1 + i % 3) for i, pad in enumerate(pads)], dtype=object)
    _, mean = _out_of_pad(feature[:, None], outcome, pads, [COLUMNS["quarters"]])
    assert np.mean((outcome - mean) ** 2) == pytest.approx(56.0, rel=1e-12)


def test_s1_d04_shrinkage_with_unequal_samples() -> None:
    value = np.array([24.0, 31.5, 19.0, 28.0, 35.5, 26.0])
    error = 9.0 / np.sqrt(np.array([40.0, 12.0, 25.0, 60.0, 8.0, 30.0]))
    found = empirical_bayes(value, error)
    assert found.heterogeneity == pytest.approx(33.4533, rel=1e-5)
    assert found.tau2 == pytest.approx(17.0237, rel=1e-5)
    assert found.mean == pytest.approx(26.8384, rel=1e-5)
    assert found.mean_error == pytest.approx(1.87032, rel=1e-5)
    assert found.value == pytest.approx([24.3017, 30.1765, 20.2533, 27.9147, 32.2697, 26.1148], rel=1e-5)


def test_s1_d05_eight_schools_shrink_to_the_pool() -> None:
    """Rubin 1981; Gelman et al., Bayesian Data Analysis 5.5 (from memory)."""
    found = empirical_bayes(
        np.array([28.0, 8.0, -3.0, 7.0, -1.0, 1.0, 18.0, 12.0]),
        np.array([15.0, 10.0, 16.0, 11.0, 9.0, 11.0, 10.0, 18.0]),
    )
    assert found.heterogeneity == pytest.approx(4.70708, rel=1e-5)
    assert found.tau2 == 0.0
    assert found.mean == pytest.approx(7.68562, rel=1e-5)
    assert found.mean_error == pytest.approx(4.07192, rel=1e-5)
    assert found.value == pytest.approx([found.mean] * 8)


INDIVIDUALS = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]


def test_s1_d07_individuals_chart_of_the_saved_query() -> None:
    """NIST/SEMATECH e-Handbook 6.3.2.2, through the SQL that the report uses."""
    quarters = [f"{2029 + i // 4}Q{i % 4 + 1}" for i in range(10)]
    plugs = pl.DataFrame({"quarter": quarters, "mill_min": INDIVIDUALS})
    stages = pl.DataFrame(schema={"quarter": pl.String, "pump_time_min": pl.Float64})
    found = query_on("quarter_trend", {"plug_metrics": plugs, "stage_metrics": stages}, {"metric": "mill_min"})
    assert found["centre"][0] == pytest.approx(50.81, rel=1e-5)
    assert found["lower"][0] == pytest.approx(45.8159, rel=1e-5)
    assert found["upper"][0] == pytest.approx(55.8041, rel=1e-5)
    assert not found["signal"].any()


# S1-D19: J. Little, course note: S 54, Theil-Sen slope 0.566667 a step
MANN_KENDALL = [12.9, 14.8, 13.2, 15.7, 13.8, 15.6, 12.9, 11.0, 17.3, 15.9, 19.0, 18.3, 20.1, 21.7]


def test_s1_d19_trend_in_the_title_is_theil_sen() -> None:
    quarters = [f"{2029 + i // 4}Q{i % 4 + 1}" for i in range(14)]
    plugs = pl.DataFrame({"quarter": quarters, "mill_min": MANN_KENDALL})
    stages = pl.DataFrame(schema={"quarter": pl.String, "pump_time_min": pl.Float64})
    tables = {"plug_metrics": plugs, "stage_metrics": stages}
    title = query_on("quarter_trend_title", tables, {"metric": "mill_min"})["title"][0]
    assert title == "Mill time per plug rises by 0.57 min a quarter"
    slope = stats.theilslopes(MANN_KENDALL).slope
    assert slope == pytest.approx(0.566667, rel=1e-5)
    assert f"{slope:.2f}" in title


def test_s1_d20_aliased_crew_is_found_and_one_well_frees_it() -> None:
    pads = np.array([1, 1, 2, 2, 3, 3, 4, 4])
    crew = np.array([0, 0, 0, 0, 1, 1, 1, 1])
    names = ["constant", "pad2", "pad3", "pad4", "crewB"]

    def design(crews: np.ndarray) -> np.ndarray:
        return np.column_stack((np.ones(8), pads == 2, pads == 3, pads == 4, crews)).astype(float)

    assert np.linalg.matrix_rank(design(crew)) == 4
    assert aliased_terms(design(crew), names) == ["crewB"]
    moved = crew.copy()
    moved[3] = 1
    assert aliased_terms(design(moved), names) == []


def test_connected_sets_of_crews_and_pads() -> None:
    """Abowd, Creecy and Kramarz 2002: the crew that worked one pad alone stands alone."""
    sets = connected_sets(["A", "B", "A", "C", "D"], ["1", "1", "2", "2", "3"])
    assert sets["A"] == sets["B"] == sets["C"] == 1
    assert sets["D"] == 2
