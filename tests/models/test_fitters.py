"""Fits from the sums of pads are those of scikit-learn on their rows."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest
from sklearn.linear_model import Ridge
from sklearn.model_selection import GroupKFold

from pipeline.models.fitters import PENALTIES, Linear, pad_folds
from pipeline.models.specs import ModelSpec
from pipeline.models.training import Table, prepare

SPEC = ModelSpec("t", "t", "mill_min", "plug", ("coil_crew", "set_depth_ft", "mill_order", "quarters"))


def made(pads: int, seed: int, *, errors: bool = False) -> Table:
    rng = np.random.default_rng(seed)
    pad = np.sort(rng.integers(0, pads, 40 * pads))
    crew = rng.choice(["a", "b", "c"], pad.size)
    crew[pad == 0] = "seen on one pad"
    columns = {
        "pad": [f"p{number:02d}" for number in pad], "well_id": [f"w{number}" for number in pad],
        "plug": np.arange(pad.size), "coil_crew": crew, "set_depth_ft": 9000.0 + 3000.0 * rng.random(pad.size),
        "mill_order": rng.integers(1, 30, pad.size).astype(float), "quarters": (pad // 3).astype(float),
        "mill_min": 20.0 + pad + rng.normal(0.0, 3.0, pad.size),
    }  # fmt: skip
    if errors:
        columns["mill_error_min"] = rng.uniform(0.2, 6.0, pad.size)
    return prepare(pl.DataFrame(columns), SPEC)


@pytest.mark.parametrize("errors", [False, True])
@pytest.mark.parametrize("penalty", PENALTIES)
def test_a_line_from_sums_is_that_of_scikit_learn(penalty: float, errors: bool) -> None:
    table = made(9, 1, errors=errors)
    assert (np.ptp(table.weights) > 0.0) == errors
    members = np.arange(table.names.size) >= 3  # the crew of the first pad is not among them
    rows = table.rows_of(members)
    constant, *slopes, _ = Linear(table)._solved(members, np.array([penalty]))[:, 0]
    line = Linear(table)
    told = line.mean - constant - line.encoding(table.features) @ np.asarray(slopes)
    numbers = table.features[:, 1:]
    scaled = (numbers - numbers[rows].mean(axis=0)) / numbers[rows].std(axis=0)
    design = np.hstack([scaled, table.features[:, [0]] == np.unique(table.features[rows, 0])])
    reference = Ridge(alpha=penalty).fit(design[rows], table.outcome[rows], table.weights[rows])
    assert told == pytest.approx(reference.predict(design), rel=1e-9)


def test_the_penalty_is_the_one_with_the_least_error_on_held_out_pads() -> None:
    for seed in range(5):
        table = made(7, seed)
        every = np.ones(table.names.size, dtype=bool)
        lost = np.zeros(PENALTIES.size)
        for train, test in GroupKFold(3).split(table.features, table.outcome, table.pads):
            encode = Linear(table).encoding
            numbers = table.features[train][:, 1:]
            fixed = encode.__class__.made_on(table.columns, table.features[train])
            assert numbers.std(axis=0) == pytest.approx(fixed.scale)
            for place, penalty in enumerate(PENALTIES):
                reference = Ridge(alpha=penalty).fit(fixed(table.features[train]), table.outcome[train])
                lost[place] += np.square(table.outcome[test] - reference.predict(fixed(table.features[test]))).sum()
        best = PENALTIES[int(np.argmin(lost))]
        whole = Ridge(alpha=best).fit(Linear(table).encoding(table.features), table.outcome)
        served = Linear(table).fit(every)
        assert served.coefficients == pytest.approx(whole.coef_, rel=1e-7, abs=1e-9)
        assert served.constant == pytest.approx(whole.intercept_)


def test_a_number_that_does_not_vary_on_the_training_pads_has_no_slope() -> None:
    table = made(6, 3)
    members = table.names <= "p02"  # one quarter
    served = Linear(table).fit(members)
    assert served.coefficients[2] == 0.0
    assert np.isfinite(served.predict(table.features)).all()


@pytest.mark.parametrize("folds", [3, 8])
def test_pads_are_folded_as_by_scikit_learn(folds: int) -> None:
    for seed in range(20):
        table = made(11, seed)
        mine = pad_folds(np.bincount(table.by_pad[1]), folds)
        for number, (_, test) in enumerate(GroupKFold(folds).split(table.features, table.outcome, table.pads)):
            assert set(table.rows_of(mine == number)) == set(test)
