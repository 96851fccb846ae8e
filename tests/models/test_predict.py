"""Predictions from stored parameters: chances stay chances, and nothing is said outside the data."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from pipeline.models.grouped_cv import _beside
from pipeline.models.predict import StoredModel, predict
from pipeline.models.specs import MODELS


def stored(name: str, *, better_boosted: bool = False) -> StoredModel:
    card: dict[str, Any] = {
        "model": name, "pads": 12, "better_than_mean": True, "interval_half_width": 5.0, "rmse_held_out": 4.0,
        "better_boosted": better_boosted,
    }  # fmt: skip
    empty = {"centre": None, "scale": None, "lowest": None, "highest": None, "pads": None}
    terms = {
        "constant": {"coefficient": -2.0, **empty},
        "stage": {"coefficient": 1.0, "centre": 10.0, "scale": 5.0, "lowest": 1.0, "highest": 20.0, "pads": None},
        "design: wide": {"coefficient": 0.5, **empty, "pads": 4},
        "design: narrow": {"coefficient": 0.7, **empty, "pads": 4},
    }
    return StoredModel(card, terms)


JOB = {"stage": 15.0, "design": "wide"}


@pytest.mark.parametrize("better", [False, True])
def test_a_chance_is_a_chance_whichever_model_does_better(better: bool) -> None:
    found = predict(stored("screen_out", better_boosted=better), JOB)
    assert found.value == pytest.approx(1.0 / (1.0 + 2.718281828 ** (2.0 - 1.0 - 0.5)))
    assert found.low is None
    assert ("boosted" in found.note) == better


def test_a_number_has_its_conformal_interval() -> None:
    found = predict(stored("pump_time"), JOB)
    assert (found.value, found.low, found.high) == pytest.approx((-0.5, -5.5, 4.5))
    assert "conformal over 12 pads" in found.note
    few = stored("pump_time")
    few.card.update(interval_half_width=None, pads=5)  # Student's t of 4 degrees, 2.1318; root of 1 + 1/5
    wide = predict(few, JOB)
    assert "indicative" in wide.note
    assert wide.high == pytest.approx(-0.5 + 2.131847 * 4.0 * 1.2**0.5, rel=1e-6)


@pytest.mark.parametrize(
    ("job", "says"),
    [
        ({"stage": 40.0, "design": "wide"}, "stage of 40 (data: 1 to 20)"),
        ({"stage": 5.0, "design": "new"}, "design 'new' (data: narrow, wide)"),
        ({"stage": 5.0}, "design is not given"),
    ],
)
def test_outside_the_data_there_is_no_value(job: dict[str, Any], says: str) -> None:
    found = predict(stored("pump_time"), job)
    assert found.value is None
    assert says in found.note


def test_a_card_tells_the_share_of_the_picker() -> None:
    table: Any = SimpleNamespace(picker=SimpleNamespace(words="10 to 20 %"))
    told = _beside(MODELS[0], table, None)
    assert told == " The picker's error is 10 to 20 % of the spread that is left."
    assert _beside(MODELS[0], SimpleNamespace(picker=None), None) == ""  # type: ignore[arg-type]
