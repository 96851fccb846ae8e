"""The compiled operations on samples, held against numpy, scipy and statsmodels."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy import ndimage

from pipeline.picks import arrays as ours
from pipeline.picks import fits
from pipeline.picks.screenout import _steepest
from pipeline.picks.timeline import _stays_below

VALUES = arrays(
    np.float64,
    st.integers(0, 60),
    elements=st.one_of(st.floats(-1e5, 1e5), st.just(float("nan")), st.integers(-3, 3).map(float)),
)
TIMES = arrays(np.float64, st.integers(1, 60), elements=st.floats(0.1, 9.0)).map(np.cumsum)


@given(VALUES)
@settings(max_examples=300)
def test_statistics_of_samples_are_those_of_numpy_without_the_void_ones(values: np.ndarray) -> None:
    seen = values[~np.isnan(values)]
    if not seen.size:
        assert np.isnan(ours.median(values))
        assert np.isnan(ours.deviation(values))
        assert np.isnan(ours.mean(values))
        assert ours.highest(values) == 0
        return
    assert ours.median(values) == np.median(seen)
    assert ours.deviation(values) == pytest.approx(np.std(seen), rel=1e-9, abs=1e-9)
    assert ours.mean(values) == pytest.approx(np.mean(seen), rel=1e-9, abs=1e-9)
    above = np.flatnonzero(values > 0.0)
    assert ours.first_above(values, 0.0) == (above[0] if above.size else values.size)
    assert ours.highest(values) == np.nanargmax(values)
    assert ours.largest(values, -np.inf) == seen.max()
    assert ours.largest(values, 1e9) == 1e9
    np.testing.assert_array_equal(ours.filled(values, -1.0), np.nan_to_num(values, nan=-1.0))


@pytest.mark.parametrize("size", [ours.MANY - 1, ours.MANY, ours.MANY + 1, 7200])
@pytest.mark.parametrize("void", [0.0, 0.02, 0.6, 1.0])
def test_the_median_of_many_samples_is_numpys(size: int, void: float) -> None:
    rng = np.random.default_rng(size)
    values = np.where(rng.random(size) < void, np.nan, rng.normal(9000.0, 30.0, size).round())
    assert ours.median(values) == (np.nanmedian(values) if void < 1.0 else pytest.approx(np.nan, nan_ok=True))
    assert ours.percentile(values, 80.0) == pytest.approx(np.percentile(values, 80.0), nan_ok=True)


@given(VALUES, st.floats(0.0, 100.0))
def test_a_percentile_is_numpys(values: np.ndarray, percent: float) -> None:
    if not values.size:
        assert np.isnan(ours.percentile(values, percent))
        return
    expected = np.percentile(values, percent) if not np.isnan(values).any() else np.nan
    assert ours.percentile(values, percent) == pytest.approx(expected, rel=1e-9, abs=1e-9, nan_ok=True)


@given(st.lists(st.tuples(st.integers(0, 9), st.integers(0, 3)), min_size=1, max_size=40), st.floats(0.01, 0.99))
def test_a_weighted_quantile_is_that_of_samples_repeated_by_their_weight(
    pairs: list[tuple[int, int]], share: float
) -> None:
    values, weights = np.array(pairs, dtype=float).T
    repeated = np.repeat(values, weights.astype(int))
    (found,) = ours.weighted_quantiles(values.copy(), weights.copy(), [share])
    if not repeated.size:
        assert np.isnan(found)
        return
    assert found == np.quantile(repeated, share, method="inverted_cdf")


@given(st.lists(st.booleans(), max_size=50))
def test_runs_are_the_spans_of_true(mask: list[bool]) -> None:
    spans = ours.runs(np.array(mask, dtype=bool))
    again = np.zeros(len(mask), dtype=bool)
    for start, stop in spans:
        assert not again[start:stop].any()
        again[start:stop] = True
    assert again.tolist() == mask
    assert all(later[0] > earlier[1] for earlier, later in itertools.pairwise(spans))


@given(TIMES, st.floats(0.0, 20.0))
def test_the_sample_ahead_is_the_first_one_late_enough(time_s: np.ndarray, seconds: float) -> None:
    expected = np.minimum(np.searchsorted(time_s, time_s + seconds), time_s.size - 1)
    np.testing.assert_array_equal(ours.ahead(time_s, seconds), expected)
    assert ours.at_time(time_s, seconds) == min(int(np.searchsorted(time_s, seconds)), time_s.size - 1)


@given(TIMES)
def test_the_trapezoid_is_numpys_where_no_gap_is_and_leaves_gaps_out(time_s: np.ndarray) -> None:
    values = np.sin(time_s)
    steps = np.diff(time_s)
    total, unmeasured = ours.integral(time_s, values)
    areas = steps * (values[1:] + values[:-1]) / 2.0
    limit = max(5.0, 3.0 * float(np.median(steps))) if steps.size else 5.0
    assert total == pytest.approx(areas[steps <= limit].sum(), abs=1e-9)
    assert unmeasured == pytest.approx(steps[steps > limit].sum(), abs=1e-9)
    assert ours.sample_seconds(time_s) @ values == pytest.approx(total, abs=1e-9)


def test_runs_closer_than_a_gap_are_joined() -> None:
    mask = np.array([1, 1, 0, 1, 0, 0, 0, 1, 1, 0], dtype=bool)
    time_s = np.arange(10.0)
    assert ours.joined(ours.runs(mask), time_s, 3.0).tolist() == [[0, 4], [7, 9]]
    assert ours.joined(ours.runs(mask), time_s, 100.0).tolist() == [[0, 9]]
    assert ours.joined(ours.runs(mask[:0]), time_s, 3.0).shape == (0, 2)


@pytest.mark.parametrize("seed", range(20))
def test_small_equations_are_solved_as_lapack_does(seed: int) -> None:
    rng = np.random.default_rng(seed)
    basis, values = rng.normal(size=(5, 40)), rng.normal(size=40)
    table = fits.normal(basis, values, 5)
    np.testing.assert_allclose(table[:, :5], basis @ basis.T, rtol=1e-9, atol=1e-12)
    expected, *_ = np.linalg.lstsq(basis.T, values, rcond=None)
    np.testing.assert_allclose(fits.solve(table), expected, rtol=1e-8)


def test_equations_without_a_solution_give_none() -> None:
    assert not np.isfinite(fits.solve(np.array([[1.0, 2.0, 3.0], [2.0, 4.0, 6.0]]))).all()


@pytest.mark.parametrize("seed", range(10))
def test_the_robust_error_of_an_intercept_is_that_of_statsmodels(seed: int) -> None:
    """Newey and West (1987) as the reference library `statsmodels` computes it, 20 lags, no small-sample factor."""
    rng = np.random.default_rng(seed)
    x = np.sqrt(np.arange(60.0, 181.0))
    noise = np.convolve(rng.normal(size=140), np.ones(20) / 4.5, "valid")  # neighbours hang together
    y = 6000.0 - 35.0 * x + 8.0 * noise
    fitted = sm.OLS(y, sm.add_constant(x)).fit(cov_type="HAC", cov_kwds={"maxlags": 20, "use_correction": False})
    value = fits.intercept(x, y)
    assert value == pytest.approx(fitted.params[0], rel=1e-10)
    assert fits.robust_error(x, y, value) == pytest.approx(fitted.bse[0], rel=1e-8)


def test_what_gaps_can_hold_is_their_time_at_the_higher_rate_beside_them() -> None:
    time_s = np.array([0.0, 1.0, 2.0, 32.0, 33.0, 34.0, 35.0])
    rate = np.array([1.0, 1.0, 1.0, 1.5, np.nan, np.nan, 0.5])
    total, unmeasured = ours.integral(time_s, rate)
    assert (total, unmeasured) == (pytest.approx(2.0 + 3.0 * 1.0), pytest.approx(30.0)), "two void seconds are no gap"
    assert ours.most_in_gaps(time_s, rate) == pytest.approx(30.0 * 1.5)
    assert ours.most_in_gaps(time_s[:3], rate[:3]) == 0.0
    assert ours.most_in_gaps(time_s[4:], rate[4:]) == pytest.approx(2.0 * 0.5)


def test_every_second_or_seventh_value_that_is_missing_costs_nothing() -> None:
    time_s = np.arange(0.0, 601.0)
    for every in (2, 7):
        values = np.where(np.arange(601) % every == 1, np.nan, 3.0)
        assert ours.integral(time_s, values) == (pytest.approx(1800.0), 0.0)
        assert ours.most_in_gaps(time_s, values) == 0.0
    block = np.where((time_s > 100.0) & (time_s < 400.0), np.nan, 3.0)
    assert ours.integral(time_s, block) == (pytest.approx(900.0), 300.0)
    assert ours.integral(time_s, np.full(601, np.nan)) == (0.0, 600.0)


def test_a_gap_is_longer_than_five_seconds_and_three_usual_steps() -> None:
    assert ours.gap_limit_s(np.arange(10.0)) == 5.0
    tens = np.arange(0.0, 200.0, 10.0)
    assert ours.gap_limit_s(tens) == 30.0
    assert ours.integral(tens, np.ones(tens.size)) == (190.0, 0.0)
    assert ours.sample_seconds(tens).sum() == 190.0
    assert ours.integral(np.append(tens, 260.0), np.ones(21)) == (190.0, 70.0)
    assert ours.gap_limit_s(np.array([3.0])) == 5.0


@given(VALUES, st.floats(0.0, 1e4))
@settings(max_examples=300)
def test_noise_is_above_a_limit_if_its_sigma_is(values: np.ndarray, limit: float) -> None:
    sigma = ours.noise_sigma(values)
    assert ours.noisier(values, limit) == (sigma > limit)
    assert not ours.noisier(values, sigma)


@given(TIMES)
def test_a_gap_is_longer_than_three_median_steps_and_five_seconds(time_s: np.ndarray) -> None:
    steps = np.diff(time_s)
    assert ours.gap_limit_s(time_s) == (max(5.0, 3.0 * np.median(steps)) if steps.size else 5.0)


@given(st.lists(st.sampled_from([1.0, 1.0, 1.0, 0.5, 2.0, 9.0]), max_size=20))
def test_the_usual_step_is_the_median_step(steps: list[float]) -> None:
    time_s = np.cumsum([0.0, *steps])
    np.testing.assert_equal(ours.usual_step_s(time_s), np.median(steps) if steps else np.nan)


@given(TIMES, st.sampled_from([0.5, 1.0, 2.0, 30.0]))
def test_the_first_gap_is_the_first_step_above_a_limit(time_s: np.ndarray, limit: float) -> None:
    above = np.flatnonzero(np.diff(time_s) > limit)
    assert ours.first_gap(time_s, limit) == (above[0] + 1 if above.size else time_s.size)


@given(TIMES, st.floats(0.0, 300.0), st.integers(0, 10**6))
def test_what_has_left_a_pipe_is_what_was_pumped_a_volume_earlier(times: np.ndarray, volume: float, seed: int) -> None:
    rng = np.random.default_rng(seed)
    rate, conc = (rng.choice([0.0, 10.0, 55.5, np.nan], times.size) for _ in range(2))
    seconds = ours.sample_seconds(times)
    step = np.nan_to_num(rate) * seconds / 60.0
    pumped, loaded = np.cumsum(step), np.cumsum(step * np.nan_to_num(conc))
    found = ours.pumped_in(rate, conc, seconds)
    np.testing.assert_allclose(found, (pumped, loaded), rtol=1e-12)
    np.testing.assert_allclose(
        ours.behind(*found, volume), np.interp(pumped - volume, pumped, loaded, left=0.0), rtol=1e-9, atol=1e-9
    )


@given(st.lists(st.integers(0, 9), min_size=1, max_size=60), st.integers(1, 40))
def test_the_highest_of_the_last_samples_is_scipys_trailing_maximum(values: list[int], size: int) -> None:
    rate = np.array(values, dtype=float)
    expected = ndimage.maximum_filter1d(rate, size, origin=(size - 1) // 2)
    np.testing.assert_array_equal(ours.highest_of_last(rate, size), expected)


@given(st.booleans(), st.floats(0.05, 3.0), st.floats(0.003, 1.0), st.integers(0, 10**6))
def test_a_wave_that_is_turned_from_sample_to_sample_is_that_of_each_sample(
    even: bool, omega: float, gamma: float, seed: int
) -> None:
    steps = np.ones(150) if even else np.random.default_rng(seed).choice([0.5, 1.0, 1.5, 7.0], 150)
    time = 2.0 + np.cumsum(steps)
    cosine, sine = np.empty((2, 150))
    fits.damped_wave(time, omega, gamma, cosine, sine)
    np.testing.assert_allclose(cosine, np.exp(-gamma * time) * np.cos(omega * time), rtol=0.0, atol=1e-12)
    np.testing.assert_allclose(sine, np.exp(-gamma * time) * np.sin(omega * time), rtol=0.0, atol=1e-12)


@given(st.lists(st.sampled_from([20.0, 25.0, 40.0, 41.0, 80.0]), min_size=1, max_size=60), st.floats(15.0, 85.0))
@settings(max_examples=300)
def test_a_rate_stays_below_a_limit_if_its_95th_percentile_does(rates: list[float], limit: float) -> None:
    rate = np.array(rates)
    assert _stays_below(rate, limit) == (np.percentile(rate, 95.0) < limit)


@given(st.integers(0, 10**6), st.integers(8, 200))
def test_the_steepest_rise_is_that_of_all_fits_over_half_a_minute(seed: int, size: int) -> None:
    rng = np.random.default_rng(seed)
    time = np.cumsum(rng.integers(1, 4, size)).astype(float)
    time -= time[0]
    pressure = 7000.0 + np.cumsum(rng.normal(0.0, 5.0, size))
    pressure[rng.random(size) < 0.1] = np.nan
    flow = np.where(rng.random(size) < 0.8, 60.0, 30.0)
    slopes = [0.0]
    for first in range(size if size >= 10 else 0):
        last = int(np.searchsorted(time, time[first] + 30.0))
        if last == size or abs(flow[last] - flow[first]) > 0.05 * flow[first]:
            continue
        x, y = time[first : last + 1], pressure[first : last + 1]
        x, y = x[~np.isnan(y)], y[~np.isnan(y)]
        slopes.append(np.polyfit(x, y, 1)[0] if x.size >= 4 else 0.0)
    assert _steepest(time, pressure, flow)[1] == pytest.approx(max(slopes), rel=1e-6, abs=1e-9)
