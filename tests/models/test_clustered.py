"""Errors clustered by pad: against published formulae, reference libraries, and simulated pads without any effect."""

from __future__ import annotations

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import stats
from statsmodels.stats.multitest import multipletests

from pipeline.models.clustered import fit_by_pad, holm

RNG = np.random.default_rng(20260)


def two_groups(a: int, b: int) -> tuple[np.ndarray, np.ndarray]:
    design = np.column_stack((np.ones(a + b), np.repeat([0.0, 1.0], [a, b])))
    return design, RNG.normal(0.0, 1.0, a + b) + design[:, 1]


@pytest.mark.parametrize(("a", "b"), [(3, 27), (10, 12), (5, 5), (2, 40)])
def test_degrees_of_freedom_of_two_groups_are_those_of_imbens_and_kolesar(a: int, b: int) -> None:
    """Each row its own cluster: HC2, and df (a+b)^2 (a-1)(b-1) / (a^2 (a-1) + b^2 (b-1)).

    Imbens and Kolesar, Rev. Econ. Stat. 98 (2016) 701-712, section II.C.
    """
    design, outcome = two_groups(a, b)
    fitted = fit_by_pad(design, outcome, [str(i) for i in range(a + b)])
    slope = fitted.contrast(np.array([0.0, 1.0]))
    assert slope.error == pytest.approx(sm.OLS(outcome, design).fit(cov_type="HC2").bse[1], rel=1e-9)
    expected = (a + b) ** 2 * (a - 1) * (b - 1) / (a**2 * (a - 1) + b**2 * (b - 1))
    assert slope.freedom == pytest.approx(expected, rel=1e-9)


def test_equal_pads_of_two_designs_are_a_t_test_of_the_pads_means() -> None:
    """Ten pads of 12 rows, five with each design: the t test of two samples of five means, with 8 degrees of freedom."""
    pads = np.repeat(np.arange(10), 12)
    design = np.column_stack((np.ones(120), (pads >= 5).astype(float)))
    outcome = RNG.normal(0.0, 1.0, 10)[pads] + RNG.normal(0.0, 0.5, 120)
    slope = fit_by_pad(design, outcome, [str(pad) for pad in pads]).contrast(np.array([0.0, 1.0]))
    means = outcome.reshape(10, 12).mean(axis=1)
    test = stats.ttest_ind(means[5:], means[:5])
    assert slope.freedom == pytest.approx(8.0, rel=1e-9)
    assert slope.estimate / slope.error == pytest.approx(test.statistic, rel=1e-9)
    assert slope.p == pytest.approx(test.pvalue, rel=1e-9)


def test_the_adjustment_is_that_of_the_whole_matrices() -> None:
    """Against (I - H_gg)**-0.5 and the quadratic form written out, on unequal pads with three columns."""
    sizes = [3, 9, 4, 14, 6]
    pads = np.repeat(np.arange(5), sizes)
    n = pads.size
    design = np.column_stack((np.ones(n), RNG.normal(0.0, 1.0, 5)[pads], RNG.normal(0.0, 1.0, n)))
    outcome = RNG.normal(0.0, 1.0, n)
    fitted = fit_by_pad(design, outcome, [str(pad) for pad in pads])
    bread = np.linalg.inv(design.T @ design)
    hat = design @ bread @ design.T
    residual = outcome - hat @ outcome
    meat, columns = np.zeros((3, 3)), []
    weights = np.array([0.2, 1.0, -0.5])
    for pad in range(5):
        rows = pads == pad
        value, vector = np.linalg.eigh(np.eye(rows.sum()) - hat[np.ix_(rows, rows)])
        adjust = (vector / np.sqrt(value)) @ vector.T
        score = design[rows].T @ adjust @ residual[rows]
        meat += np.outer(score, score)
        columns.append((np.eye(n) - hat)[:, rows] @ adjust @ design[rows] @ bread @ weights)
    assert fitted.covariance == pytest.approx(bread @ meat @ bread, rel=1e-9)
    form = np.column_stack(columns).T @ np.column_stack(columns)
    assert fitted.contrast(weights).freedom == pytest.approx(np.trace(form) ** 2 / np.sum(form**2), rel=1e-9)


def test_a_term_of_a_single_pad_adds_no_false_certainty() -> None:
    """A column that is 1 on one pad only: its residuals are determined; few degrees of freedom, no division by zero."""
    pads = np.repeat(np.arange(6), 8)
    design = np.column_stack((np.ones(48), (pads == 0).astype(float), RNG.normal(0.0, 1.0, 48)))
    fitted = fit_by_pad(design, RNG.normal(0.0, 1.0, 48), [str(pad) for pad in pads])
    slope = fitted.contrast(np.array([0.0, 0.0, 1.0]))
    assert np.isfinite([slope.estimate, slope.error, slope.freedom]).all()


def test_holm_is_that_of_statsmodels() -> None:
    p = np.array([0.04, 0.01, np.nan, 0.03, 0.5])
    known = ~np.isnan(p)
    assert holm(p)[known] == pytest.approx(multipletests(p[known], method="holm")[1])
    assert np.isnan(holm(p)[2])
