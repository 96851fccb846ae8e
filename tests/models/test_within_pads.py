"""Comparisons within pads: against dense generalised least squares, hand values, and what must not move them."""

from __future__ import annotations

from itertools import product

import numpy as np
import polars as pl
import pytest
from scipy import stats

from pipeline.models.compare import compare, sign_flips
from pipeline.models.fitters import Linear
from pipeline.models.grouped_cv import fit_model
from pipeline.models.held_out import from_earlier_pads
from pipeline.models.mixed import fit_mixed, row_weights
from pipeline.models.picker import picker_of
from pipeline.models.quarters import proportions
from pipeline.models.specs import CompareSpec, ModelSpec
from pipeline.models.training import prepare
from pipeline.schemas.fitted import PROPORTIONS
from tests.benchmarks.simulations import stages
from tests.builders import query_on
from tests.models.test_models import COIL_CREWS, MILL, plugs

RNG = np.random.default_rng(15)
SWAPS = CompareSpec("crews", "swap_min", "stage", "frac_crew", ("bottom_perf_ft",))


def nested() -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Unequal wells on five pads: outcome, design, pads, wells, weights."""
    pads = np.repeat([f"p{i}" for i in range(5)], [9, 14, 7, 12, 10])
    wells = np.array([f"{pad}-{i % 3}" for i, pad in enumerate(pads)])
    design = np.column_stack((RNG.normal(size=pads.size), RNG.random(pads.size) < 0.4)).astype(float)
    own = {name: RNG.normal(0.0, 2.0) for name in np.unique(wells)}
    outcome = design @ [1.0, -2.0] + np.array([own[well] for well in wells]) + RNG.normal(size=pads.size)
    return outcome, design, pads, wells, RNG.uniform(0.2, 1.0, pads.size)


def test_a_weighted_fit_within_pads_is_generalised_least_squares_with_a_column_for_each_pad() -> None:
    outcome, design, pads, wells, weights = nested()
    fitted = fit_mixed(outcome, design, pads, wells, within_pads=True, weights=weights)
    same_well = (wells[:, None] == wells[None, :]).astype(float)
    of_pads = (pads[:, None] == np.unique(pads)[None, :]).astype(float)
    whole = np.column_stack((design, of_pads))

    def dense(noise: float, well: float) -> tuple[float, np.ndarray, np.ndarray]:
        v = noise * np.diag(1.0 / weights) + well * same_well
        inverse = np.linalg.inv(v)
        normal = whole.T @ inverse @ whole
        estimate = np.linalg.solve(normal, whole.T @ inverse @ outcome)
        rest = outcome - whole @ estimate
        criterion = np.linalg.slogdet(v)[1] + np.linalg.slogdet(normal)[1] + rest @ inverse @ rest
        criterion += (outcome.size - whole.shape[1]) * np.log(2.0 * np.pi)
        return float(criterion), estimate[:2], np.linalg.inv(normal)[:2, :2]

    criterion, estimate, covariance = dense(fitted.residual_variance, fitted.well_variance)
    assert fitted.estimate == pytest.approx(estimate, rel=1e-9)
    assert fitted.covariance == pytest.approx(covariance, rel=1e-9)
    assert fitted.criterion == pytest.approx(criterion, rel=1e-9)
    for noise, well in product((0.97, 1.03), repeat=2):
        assert dense(fitted.residual_variance * noise, fitted.well_variance * well)[0] > criterion
    assert row_weights(fitted, design, pads, wells, weights) @ outcome == pytest.approx(fitted.estimate, rel=1e-9)


def test_with_one_row_per_well_it_is_ordinary_least_squares_with_a_column_for_each_pad() -> None:
    outcome, design, pads, _, _ = nested()
    fitted = fit_mixed(outcome, design, pads, None, within_pads=True)
    whole = np.column_stack((design, pads[:, None] == np.unique(pads)[None, :])).astype(float)
    estimate, rest, *_ = np.linalg.lstsq(whole, outcome, rcond=None)
    assert fitted.adjusted is not None
    for i in range(2):
        found = fitted.adjusted.contrast(np.eye(2)[i], fitted.estimate)
        variance = rest[0] / (pads.size - 7) * np.linalg.inv(whole.T @ whole)[i, i]
        assert (found.estimate, found.error) == pytest.approx((estimate[i], variance**0.5), rel=1e-9)
        assert found.freedom == pytest.approx(pads.size - 7, rel=1e-9)


def test_what_happens_to_a_whole_pad_moves_no_crew() -> None:
    """A pad that takes 50 min longer, whoever works there, changes neither differences nor limits."""
    frame = plugs(6, effect=2.0)
    harder = frame.with_columns(mill_min=pl.col("mill_min") + 50.0 * (pl.col("pad") == "p2").cast(pl.Float64))
    for one, other in zip(compare(frame, COIL_CREWS), compare(harder, COIL_CREWS), strict=True):
        for column in ("effect", "joint_low", "joint_high"):
            assert one[column] == pytest.approx(other[column], rel=1e-6)


def with_gaps() -> pl.DataFrame:
    """Two crews on six pads; three outcomes are missing."""
    rows = [
        {
            "well_id": f"{pad}-{well}", "pad": f"p{pad}", "stage": stage, "frac_crew": "AB"[(pad + well) % 2],
            "bottom_perf_ft": 1000.0 * ((stage * 7 + pad) % 10), "swap_min": float(30 + (stage * 5 + pad * 3 + well) % 11),
        }
        for pad in range(6) for well in range(2) for stage in range(8)
    ]  # fmt: skip
    return pl.DataFrame(rows).with_columns(
        swap_min=pl.when((pl.col("stage") == 3) & (pl.col("pad") < "p3")).then(None).otherwise("swap_min")
    )


def test_bounds_hold_whatever_the_missing_outcomes_were() -> None:
    """Against refits with each missing outcome at either end: none lies outside, and the widest reach the bounds."""
    frame = with_gaps()
    found = {row["level"]: row for row in compare(frame, SWAPS)}
    gaps = frame.with_row_index("row").filter(pl.col("swap_min").is_null())["row"].to_list()
    assert found["A"]["rows_excluded"] + found["B"]["rows_excluded"] == len(gaps) == 6
    low, high = frame["swap_min"].quantile(0.05), frame["swap_min"].quantile(0.95)
    effects = []
    for ends in product((low, high), repeat=len(gaps)):
        values = dict(zip(gaps, ends, strict=True))
        filled = frame.with_row_index("row").with_columns(
            pl.coalesce("swap_min", pl.col("row").replace_strict(values, default=None, return_dtype=pl.Float64)).alias(
                "swap_min"
            )
        )
        effects.append(next(row["effect"] for row in compare(filled, SWAPS) if row["level"] == "A"))
    assert (found["A"]["bound_low"], found["A"]["bound_high"]) == pytest.approx((min(effects), max(effects)), abs=0.05)
    assert found["B"]["bound_low"] == pytest.approx(-found["A"]["bound_high"], rel=1e-9)


def test_a_crew_that_is_better_on_some_pads_only_has_wider_limits() -> None:
    """Crews that work every well by turns: rows tell them apart, pads do not agree."""
    frame = stages(np.random.default_rng(3), 10, np.zeros(2), shifts=True)
    even = pl.col("pad").str.slice(1).cast(pl.Int64) % 2 == 0
    shift = pl.when(pl.col("frac_crew") == "c0").then(pl.when(even).then(20.0).otherwise(-20.0)).otherwise(0.0)
    moved = frame.with_columns(swap_min=pl.col("swap_min") + shift)
    plain, uneven = ({row["level"]: row for row in compare(one, SWAPS)} for one in (frame, moved))
    width = [rows["c0"]["high"] - rows["c0"]["low"] for rows in (plain, uneven)]
    assert width[1] > 2.0 * width[0]
    assert uneven["c0"]["joint_low"] < 0.0 < uneven["c0"]["joint_high"]


def test_what_a_crew_explains_without_rest_is_told_and_stops_nothing() -> None:
    frame = plugs(3).with_columns(mill_min=pl.when(pl.col("coil_crew") == "A").then(6.0).otherwise(5.0))
    rows = compare(frame, COIL_CREWS)
    assert all("nothing varies beside what is compared" in row["note"] for row in rows)


@pytest.mark.parametrize("value", [0.0, 1.0, 60.0])
def test_a_constant_outcome_has_no_skill(value: float) -> None:
    fitted = fit_model(plugs(3).with_columns(mill_min=pl.lit(value)), MILL)
    assert fitted is not None
    assert not fitted.card["better_than_mean"]


def test_nothing_is_said_of_crews_with_one_pad_each() -> None:
    rows = [
        {"frac_crew": f"c{crew}", "pad": f"p{crew}", "well_id": "w", "screenout": float(stage < (9 if crew else 1))}
        for crew in range(3) for stage in range(40)
    ]  # fmt: skip
    found = proportions(pl.DataFrame(rows), "screenout")
    assert all(row["p_value"] is None for row in found)
    said = query_on("screen_outs_title", {"proportions": pl.DataFrame(found, schema=PROPORTIONS.dtypes)})["title"][0]
    assert said.startswith("No crew worked two pads: a difference around 15.8 % screen-outs is not separable")


def test_an_outcome_with_one_value_per_pad_compares_nobody() -> None:
    frame = plugs(3).with_columns(mill_min=pl.col("pad").str.slice(1).cast(pl.Float64))
    rows = compare(frame, COIL_CREWS)
    assert all(row["effect"] is None for row in rows)
    assert all("one value each" in row["note"] for row in rows)


def test_two_wells_on_one_pad_are_too_few_and_four_are_told_with_their_limits() -> None:
    frame = plugs(5, pads=1)
    two = frame.filter(pl.col("well_id").is_in(["0-0", "0-1"]))
    assert all("too few pads and wells" in row["note"] for row in compare(two, COIL_CREWS))
    rows = {row["level"]: row for row in compare(plugs(5, pads=2), COIL_CREWS)}
    assert rows["A"]["low"] < rows["A"]["effect"] < rows["A"]["high"]
    assert 0.0 < rows["A"]["next_pad_share"] < 1.0
    assert "2 pads: one more like them would make the limits" in rows["A"]["note"]
    assert "exact test of signs over 2 pads: p 0.5, of 0.5 at least" in rows["A"]["note"]
    assert rows["A"]["raw_low"] < rows["A"]["raw_mean"] < rows["A"]["raw_high"]


def test_exact_signs_by_hand() -> None:
    """Of eight changes of sign of 3, 2 and 1, two have a sum as far from zero as 6, four as far as 4."""
    assert sign_flips(np.array([3.0, 2.0, 1.0])) == 2.0 / 8.0
    assert sign_flips(np.array([3.0, 2.0, -1.0])) == 4.0 / 8.0
    assert sign_flips(np.array([])) is None
    assert sign_flips(np.ones(8)) is None
    five = RNG.normal(0.5, 1.0, 5)
    library = stats.permutation_test((five,), np.mean, permutation_type="samples", n_resamples=np.inf)
    assert sign_flips(five) == pytest.approx(library.pvalue, rel=1e-9)


def test_the_pickers_part_of_a_spread_by_hand() -> None:
    """Errors of 3 and 4 have a mean square of 12.5: half of a variance of 25; the jobs keep 12.5."""
    found = picker_of(np.array([3.0, 4.0]), 25.0)
    assert found is not None
    assert (found.share, found.own_variance) == (0.5, 12.5)
    assert found.weights(np.array([0.0, 12.5**0.5])) == pytest.approx([1.0, 0.5])
    worse = picker_of(np.array([6.0, 6.0]), 25.0)
    assert worse is not None
    assert (worse.share, worse.own_variance) == pytest.approx((1.44, 2.5))  # never less than a tenth
    assert picker_of(None, 25.0) is None


def test_badly_picked_plugs_count_less() -> None:
    """Crew A's plugs on one pad are off by 20 min, and their picks say so: the planted 2 min stay."""
    frame = plugs(6, effect=2.0).with_columns(mill_error_min=pl.lit(0.1))
    bad = (pl.col("pad") == "p1") & (pl.col("coil_crew") == "A") & (pl.col("plug") > 8)
    off = frame.with_columns(
        mill_min=pl.when(bad).then(pl.col("mill_min") + 20.0).otherwise("mill_min"),
        mill_error_min=pl.when(bad).then(20.0).otherwise("mill_error_min"),
    )
    unweighted = {row["level"]: row for row in compare(off.drop("mill_error_min"), COIL_CREWS)}
    weighted = {row["level"]: row for row in compare(off, COIL_CREWS)}
    assert abs(weighted["A"]["effect"] - 1.0) < 0.3 * abs(unweighted["A"]["effect"] - 1.0)
    assert weighted["A"]["picker_share"] > 0.5
    assert unweighted["A"]["picker_share"] is None


def test_pads_are_predicted_from_earlier_pads_only() -> None:
    frame = plugs(4, pads=10)
    spec = ModelSpec("t", "t", "mill_min", "plug", ("coil_crew", "quarters"))
    table = prepare(frame, spec)
    later = from_earlier_pads(Linear(table))
    assert later is not None
    assert set(table.pads[later.rows]) == {f"p{i}" for i in range(3, 10)}
    fourth = later.rows[table.pads[later.rows] == "p3"]
    fitted = Linear(table).fit(np.isin(table.names, ["p0", "p1", "p2"]))
    told = later.predicted[table.pads[later.rows] == "p3"]
    assert told == pytest.approx(fitted.predict(table.features[fourth]))
    assert from_earlier_pads(Linear(prepare(plugs(4, pads=3), spec))) is None
