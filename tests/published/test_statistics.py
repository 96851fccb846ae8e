"""Statistics against published data sets: SOURCES.md and SOURCES.md."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import polars as pl
import pytest
import statsmodels.api as sm
from scipy import integrate, stats
from statsmodels.stats.meta_analysis import combine_effects

from pipeline.models import conformal, funnel, ranks, trend
from pipeline.models.compare import connected_sets
from pipeline.models.fitters import Linear
from pipeline.models.held_out import out_of_pad
from pipeline.models.linear import aliased_terms, fit_clustered
from pipeline.models.logistic import fit_logistic, odds_limits
from pipeline.models.mixed import fit_mixed
from pipeline.models.shrink import empirical_bayes
from pipeline.models.specs import ModelSpec
from pipeline.models.training import prepare
from tests.builders import milled, query_on

# NIST StRD Norris, SOURCES.md
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


def test_s1_d14_the_mean_of_other_groups_and_no_leak() -> None:
    """Leave one well out: the mean of the others has a mean squared error of 56; the row's own group never predicts it."""
    outcome = np.repeat([20.0, 26.0, 35.0, 31.0], 3)
    pads = [str(well) for well in range(1, 5) for _ in range(3)]
    feature = [10.0 * int(pad) + 0.1 * (1 + i % 3) for i, pad in enumerate(pads)]
    frame = pl.DataFrame({"pad": pads, "well_id": pads, "quarters": feature, "mill_min": outcome})
    spec = ModelSpec("t", "t", "mill_min", "plug", ("quarters",))
    table = prepare(frame, spec)
    _, mean = out_of_pad(Linear(table))
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
    found = query_on("quarter_trend", milled(INDIVIDUALS), {"metric": "mill_min"})
    assert found["centre"][0] == pytest.approx(50.81, rel=1e-5)
    assert found["lower"][0] == pytest.approx(45.8159, rel=1e-5)
    assert found["upper"][0] == pytest.approx(55.8041, rel=1e-5)
    assert not found["signal"].any()


# S1-D19: J. Little, course note: S 54, Theil-Sen slope 0.566667 a step
MANN_KENDALL = [12.9, 14.8, 13.2, 15.7, 13.8, 15.6, 12.9, 11.0, 17.3, 15.9, 19.0, 18.3, 20.1, 21.7]


def test_s1_d19_trend_in_the_title_is_theil_sen() -> None:
    title = query_on("quarter_trend_title", milled(MANN_KENDALL), {"metric": "mill_min"})["title"][0]
    # r of the residuals is 0.16, 0.43 after the correction: p 0.097 if a quarter may resemble the one before
    assert title == (
        "Mill time per plug rises by 0.57 min per quarter; a trend only if a quarter does not depend on the one before"
    )
    assert trend.mann_kendall(np.array(MANN_KENDALL)).p_serial == pytest.approx(0.09676, rel=1e-3)
    steady = query_on("quarter_trend_title", milled([*MANN_KENDALL, 19.9, 21.2, 20.7, 22.4]), {"metric": "mill_min"})
    assert steady["title"][0] == "Mill time per plug rises by 0.56 min per quarter"
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


def batches() -> tuple[np.ndarray, np.ndarray]:
    names = np.array([batch for batch, values in DYESTUFF.items() for _ in values])
    return names, np.array([value for values in DYESTUFF.values() for value in values], dtype=float)


def test_s1_d11_dyestuff_variances_and_batch_effects() -> None:
    """Davies and Goldsmith 1972; REML criterion, variances and BLUPs as in lme4's documentation."""
    names, outcome = batches()
    fitted = fit_mixed(outcome, np.ones((30, 1)), names)
    assert fitted.estimate[0] == pytest.approx(1527.5, rel=1e-6)
    assert np.sqrt(fitted.covariance[0, 0]) == pytest.approx(19.3834, rel=1e-4)
    assert fitted.pad_variance == pytest.approx(1764.05, rel=1e-4)
    assert fitted.residual_variance == pytest.approx(2451.25, rel=1e-4)
    assert fitted.criterion == pytest.approx(319.654277, rel=1e-6)
    assert fitted.pad_effect == pytest.approx([-17.607, 0.39126, 28.562, -23.085, 56.733, -44.995], rel=1e-4, abs=1e-3)


def test_s1_d12_sleepstudy_variances() -> None:
    data = pl.read_csv(Path(__file__).parent / "sleepstudy.csv")
    design = np.column_stack((np.ones(180), data["days"].to_numpy()))
    fitted = fit_mixed(data["reaction"].to_numpy(), design, data["subject"].cast(pl.String).to_numpy().astype(str))
    assert fitted.estimate == pytest.approx([251.4051, 10.46729], rel=1e-5)
    assert np.sqrt(np.diag(fitted.covariance)) == pytest.approx([9.74672, 0.804221], rel=1e-4)
    assert fitted.pad_variance == pytest.approx(1378.18, rel=1e-4)
    assert fitted.residual_variance == pytest.approx(960.457, rel=1e-4)
    assert fitted.criterion == pytest.approx(1786.465, rel=1e-6)


def test_nested_variances_agree_with_the_library() -> None:
    """statsmodels' MixedLM on pads with wells in them; both are restricted likelihood."""
    rng = np.random.default_rng(3)
    pads = np.repeat([f"p{i}" for i in range(12)], 30)
    wells = np.array([f"{pad}-{i // 10 % 3}" for i, pad in enumerate(pads)])
    effect = {name: rng.normal(0.0, 2.0) for name in np.unique(pads)} | {
        name: rng.normal(0.0, 1.0) for name in np.unique(wells)
    }
    x = rng.normal(size=360)
    y = (
        5.0
        + 1.5 * x
        + np.array([effect[p] + effect[w] for p, w in zip(pads, wells, strict=True)])
        + rng.normal(0.0, 1.5, 360)
    )
    ours = fit_mixed(y, np.column_stack((np.ones(360), x)), pads, wells)
    import pandas as pd

    frame = pd.DataFrame({"y": y, "x": x, "pad": pads, "well": wells})
    theirs = sm.MixedLM.from_formula(
        "y ~ x", frame, groups="pad", re_formula="1", vc_formula={"well": "0 + C(well)"}
    ).fit(reml=True)
    assert ours.estimate == pytest.approx(theirs.fe_params.to_numpy(), rel=1e-4)
    assert ours.pad_variance == pytest.approx(float(theirs.cov_re.iloc[0, 0]), rel=2e-3)
    assert ours.well_variance == pytest.approx(float(theirs.vcomp[0]), rel=2e-3)
    assert ours.residual_variance == pytest.approx(theirs.scale, rel=1e-3)


@pytest.mark.parametrize(
    ("n", "limits", "normal"),
    [
        (25, (-0.0353032, 0.151097, -0.0398121, 0.232373), (-0.0330931, 0.153093)),
        (60, (0.000104125, 0.118052, -0.015984, 0.165073), (-9.13584e-05, 0.120091)),
        (150, (0.0213661, 0.0976197, 0.00669024, 0.124648), (0.0219949, 0.0980051)),
        (400, (0.0364699, 0.083072, 0.0253637, 0.098507), (0.0367267, 0.0832733)),
    ],
)
def test_s1_d01_funnel_limits(n: int, limits: tuple[float, ...], normal: tuple[float, float]) -> None:
    """Spiegelhalter, Stat. Med. 24 (2005), appendix A.1 (from memory); before clipping."""
    found = [funnel.exact_limit(n, 0.06, tail) for tail in (0.025, 0.975, 0.001, 0.999)]
    assert found == pytest.approx(limits, abs=1e-5)
    reach = 1.959964 * np.sqrt(0.06 * 0.94 / n)
    assert (0.06 - reach, 0.06 + reach) == pytest.approx(normal, abs=1e-5)
    low, high = funnel.funnel_limits(np.array([float(n)]), 0.06)
    assert low[0] == pytest.approx(max(limits[0], 0.0), abs=1e-5)
    assert high[0] == pytest.approx(limits[1], abs=1e-5)


@pytest.mark.parametrize(("n", "inflation"), [(40, 1.0), (40, 2.5), (150, 4.0)])
def test_counts_by_chance_have_the_stated_variance(n: int, inflation: float) -> None:
    """Beta-binomial: variance n*p*(1 - p)*(1 + (n - 1)*rho), as scipy's distribution gives it."""
    chance = funnel.counts_by_chance(n, 0.06, inflation)
    assert chance.mean() == pytest.approx(0.06 * n)
    assert chance.var() == pytest.approx(inflation * n * 0.06 * 0.94)
    low, high = funnel.funnel_limits(np.array([float(n)]), 0.06, inflation)
    assert chance.cdf(np.floor(low[0] * n) - 1.0) <= 0.025 and chance.sf(np.ceil(high[0] * n)) <= 0.025
    assert funnel.tail_chance(n, n, 0.06, inflation) < 1e-3
    assert funnel.tail_chance(round(0.06 * n), n, 0.06, inflation) > 0.5


HITS = np.array([18, 17, 16, 15, 14, 14, 13, 12, 11, 11, 10, 10, 10, 10, 10, 9, 8, 7], dtype=float)
SEASON = np.array(
    [.346, .298, .276, .222, .273, .270, .263, .210, .269, .230, .264, .256, .303, .264, .226, .285, .316, .200]
)  # fmt: skip


RANKED = np.array([18.2, 21.0, 24.5, 25.1, 30.4, 36.0])
RANKED_ERROR = np.array([0.8, 1.1, 0.9, 2.5, 1.4, 1.2])


def test_s1_d06_rank_intervals() -> None:
    """Klein, Wright and Wieczorek 2020 (from memory); joint 95 % limits by Bonferroni for six."""
    reach = 2.63826 * RANKED_ERROR
    assert ranks.rank_intervals(RANKED - reach, RANKED + reach) == [(1, 3), (1, 4), (2, 5), (1, 5), (3, 6), (5, 6)]
    chance = ranks.chance_of_least(RANKED, np.diag(RANKED_ERROR**2))
    assert chance.sum() == pytest.approx(1.0)
    assert chance[0] > 0.97


@pytest.mark.parametrize(
    ("n", "alpha", "k", "low", "high", "sd"),
    [
        (19, 0.1, 18, 0.773626, 0.980967, 0.0654654),
        (50, 0.1, 46, 0.826209, 0.959763, 0.0412375),
        (100, 0.1, 91, 0.848205, 0.944737, 0.0295733),
        (500, 0.05, 476, 0.933157, 0.965002, 0.00971816),
    ],
)
def test_s1_d15_conformal_rank_and_its_coverage(
    n: int, alpha: float, k: int, low: float, high: float, sd: float
) -> None:
    """Vovk et al. 2005: coverage given the calibration set is Beta(k, n + 1 - k). Scores of 1 to n, one row per pad."""
    scores = np.random.default_rng(1).permutation(np.arange(1.0, n + 1.0))
    assert conformal.grouped_quantile(scores, np.arange(n).astype(str), alpha) == k
    beta = stats.beta(k, n + 1 - k)
    assert (beta.ppf(0.05), beta.ppf(0.95), beta.std()) == pytest.approx((low, high, sd), rel=1e-5)


def test_s1_d16_conformal_quantile() -> None:
    scores = np.array([0.4, 1.1, 2.3, 0.9, 3.0, 1.7, 0.2, 2.8, 1.4, 0.6, 2.0, 1.9, 0.8, 3.6, 1.2, 0.5, 2.6, 1.0, 1.5])
    # one row per pad: the grouped rule is the split-conformal one
    assert conformal.grouped_quantile(scores, np.arange(19).astype(str), 0.1) == 3.0
    assert conformal.grouped_quantile(scores[:8], np.arange(8).astype(str), 0.1) == float("inf")


@pytest.mark.parametrize("seed", range(8))
def test_shrinkage_is_from_the_variance_between_units_of_the_reference_library(seed: int) -> None:
    """DerSimonian and Laird's estimate by statsmodels, `combine_effects` with ``method_re="chi2"``."""
    rng = np.random.default_rng(seed)
    units = int(rng.integers(2, 12))
    error = rng.uniform(0.5, 3.0, units)
    value = rng.normal(5.0, seed, units) + rng.normal(0.0, error)
    with np.errstate(invalid="ignore"):  # of a negative variance, which is cut to zero
        library = combine_effects(value, error**2, method_re="chi2")
    found = empirical_bayes(value, error)
    assert found.tau2 == pytest.approx(max(0.0, library.tau2), rel=1e-12)
    assert found.heterogeneity == pytest.approx(library.q, rel=1e-12)


def test_s1_d17_logistic_regression() -> None:
    """Spector and Mazzeo 1980, in statsmodels; Greene, Econometric Analysis."""
    data = sm.datasets.spector.load_pandas()
    design = np.column_stack((np.ones(32), data.exog[["GPA", "TUCE", "PSI"]].to_numpy()))
    fitted = fit_logistic(design, data.endog.to_numpy(), penalty=0.0)
    assert fitted.estimate == pytest.approx([-13.02135, 2.826113, 0.0951577, 2.378688], rel=1e-5)
    assert fitted.error == pytest.approx([4.93132, 1.26294, 0.141554, 1.06456], rel=1e-5)
    assert fitted.log_likelihood == pytest.approx(-12.88963, rel=1e-5)
    assert fit_logistic(
        np.array([[1.0, -1.0], [1.0, -2.0], [1.0, 1.0], [1.0, 2.0]]), np.array([0.0, 0.0, 1.0, 1.0]), penalty=0.0
    ).separated


def test_limits_of_contrasts_are_those_of_the_reference_library_by_cluster() -> None:
    """Spector and Mazzeo 1980; Logit of statsmodels with errors clustered in eight groups of four."""
    data = sm.datasets.spector.load_pandas()
    design = np.column_stack((np.ones(32), data.exog[["GPA", "TUCE", "PSI"]].to_numpy()))
    groups = np.repeat(np.arange(8), 4)
    library = sm.Logit(data.endog.to_numpy(), design).fit(
        disp=0, cov_type="cluster", cov_kwds={"groups": groups, "use_correction": False}
    )
    contrasts = np.array([[0.0, 1.0, 0.0, 0.0], [0.0, 0.5, 0.0, -1.0]])
    error = np.sqrt(np.diag(contrasts @ library.cov_params() @ contrasts.T) * 8.0 / 7.0)
    fitted = fit_logistic(design, data.endog.to_numpy(), penalty=0.0, clusters=groups.astype(str))
    estimate, low, high, p = odds_limits(fitted, contrasts, 8)
    assert p == pytest.approx(2.0 * stats.t.sf(np.abs(contrasts @ library.params) / error, 7), rel=1e-4)
    assert estimate == pytest.approx(contrasts @ library.params, rel=1e-5)
    assert high - estimate == pytest.approx(stats.t.ppf(0.975, 7) * error, rel=1e-4)
    assert estimate - low == pytest.approx(high - estimate, rel=1e-9)


def test_s1_d19_mann_kendall() -> None:
    """J. Little, course note: S 54, variance 332.6667 with one tie; 91 pairs, 90 without it."""
    found = trend.mann_kendall(np.array(MANN_KENDALL))
    assert found.tau == pytest.approx(54.0 / np.sqrt(91.0 * 90.0))
    assert found.p == pytest.approx(2.0 * stats.norm.sf(54.0 / np.sqrt(332.6667)), rel=1e-5)
    assert found.slope == pytest.approx(0.566667, rel=1e-5)


def test_kitagawa_split_adds_up() -> None:
    """Kitagawa 1955: mix and performance make up the change, and swap sign with the order."""
    before, after = (np.array([8.0, 2.0]), np.array([80.0, 40.0])), (np.array([4.0, 6.0]), np.array([44.0, 114.0]))
    change, mix, own = trend.mix_and_performance(*before, *after)
    assert change == pytest.approx(15.8 - 12.0)
    assert mix + own == pytest.approx(change)
    assert own == pytest.approx(0.6 * 1.0 - 0.4 * 1.0)
    assert trend.mix_and_performance(*after, *before)[1] == pytest.approx(-mix)
    only = np.array([5.0, 0.0]), np.array([50.0, 0.0])
    new = np.array([0.0, 5.0]), np.array([0.0, 60.0])
    assert trend.mix_and_performance(*only, *new) == pytest.approx((2.0, 2.0, 0.0))


UNBALANCED = Path(__file__).parent / "unbalanced_pads.csv"
KENWARD_ROGER = {
    # within pads: estimate, plain error, adjusted error, degrees of freedom of crew B, crew C, depth
    True: [
        (-0.492964336, 2.08344214, 2.10242386, 4.75780926), (-6.96025941, 2.02713881, 2.03668396, 4.31972322),
        (3.02848638, 0.992611435, 1.08046328, 25.6265297),
    ],
    False: [
        (-0.602304798, 2.0733599, 2.11718737, 4.88317484), (-7.18949531, 2.02009142, 2.05223421, 4.43319879),
        (3.0646466, 0.984615218, 1.07758431, 26.3385318),
    ],
}  # fmt: skip


@pytest.mark.parametrize("within_pads", [True, False])
def test_kenward_roger_is_that_of_the_reference_library(within_pads: bool) -> None:
    """Kenward and Roger 1997, as R's pbkrtest 0.5.2 on lme4 1.1.31 gives it for `unbalanced_pads.csv` (34 rows, our own).

    y ~ crew + depth + pad + (1 | well), and with (1 | pad) in place of pad.
    """
    data = pl.read_csv(UNBALANCED)
    pads = data["pad"].to_numpy().astype(str)
    wells = np.char.add(pads, data["well"].to_numpy().astype(str))
    columns = [(data["crew"] == crew).to_numpy().astype(float) for crew in "BC"] + [data["depth"].to_numpy()]
    design = np.column_stack(columns if within_pads else [*columns, np.ones(data.height)])
    fitted = fit_mixed(data["y"].to_numpy(), design, pads, wells, within_pads=within_pads)
    assert fitted.well_variance == pytest.approx(3.650176 if within_pads else 3.705271, rel=1e-4)
    assert fitted.adjusted is not None
    for i, (estimate, plain, adjusted, freedom) in enumerate(KENWARD_ROGER[within_pads]):
        found = fitted.adjusted.contrast(np.eye(design.shape[1])[i], fitted.estimate)
        assert (found.estimate, found.error, found.freedom) == pytest.approx((estimate, adjusted, freedom), rel=2e-5)
        assert np.sqrt(fitted.covariance[i, i]) == pytest.approx(plain, rel=2e-5)


def test_degrees_of_freedom_of_sleepstudy() -> None:
    """One random intercept per subject: 22.81 and 161 degrees of freedom (lmerTest's documentation, memory)."""
    data = pl.read_csv(Path(__file__).parent / "sleepstudy.csv")
    design = np.column_stack((np.ones(180), data["days"].to_numpy()))
    fitted = fit_mixed(data["reaction"].to_numpy(), design, data["subject"].cast(pl.String).to_numpy().astype(str))
    assert fitted.adjusted is not None
    found = [fitted.adjusted.contrast(row, fitted.estimate) for row in np.eye(2)]
    assert [one.freedom for one in found] == pytest.approx([22.8102, 161.0], rel=1e-5)
    assert [one.error for one in found] == pytest.approx([9.74672, 0.804221], rel=1e-5)  # balanced: no adjustment


def test_the_chance_of_being_least_of_two_is_that_of_an_integral() -> None:
    """Two units, difference 2 with error 1: the posterior over a half-Cauchy spread, by quadrature of scipy."""
    covariance = np.diag([0.5, 0.5])
    seen, noise = 2.0 / np.sqrt(2.0), 0.5  # along the only contrast, (-1, 1)/sqrt(2)

    def likelihood(spread: float) -> float:
        return float(
            stats.norm.pdf(seen, 0.0, np.sqrt(noise + spread**2)) * stats.halfcauchy.pdf(spread, 0, noise**0.5)
        )

    def first(spread: float) -> float:
        keep = spread**2 / (spread**2 + noise)
        return likelihood(spread) * float(stats.norm.cdf(keep * seen / np.sqrt(max(keep * noise, 1e-12))))

    expected = integrate.quad(first, 0.0, 200.0)[0] / integrate.quad(likelihood, 0.0, 200.0)[0]
    found = ranks.chance_of_least(np.array([0.0, 2.0]), covariance)
    assert found[0] == pytest.approx(expected, abs=0.01)
    assert 0.5 < found[0] < stats.norm.cdf(2.0)  # less sure than without doubt on the spread
