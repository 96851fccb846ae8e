"""Models and comparisons: honest out of pad, fair between crews, silent where nothing can be said."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest

from pipeline import queries
from pipeline.demo.basin import DRAG_REDUCTION, MILL_FACTOR, RAMP_MIN
from pipeline.models.columns import KnownOnlyAfter, predictors
from pipeline.models.compare import compare
from pipeline.models.frames import modelling_tables
from pipeline.models.grouped_cv import fit_model
from pipeline.models.specs import COMPARISONS, MODELS, ModelSpec
from pipeline.schemas.fitted import COMPARISONS as TABLE
from pipeline.schemas.fitted import EFFECTS, MODEL_CARDS, PREDICTIONS
from tests.conftest import Fitted

MILL = next(spec for spec in MODELS if spec.name == "mill_minutes")
COIL_CREWS = next(spec for spec in COMPARISONS if spec.name == "coil_crews_mill_time")


def plugs(seed: int, *, effect: float = 2.0, pads: int = 8, noise: float = 1.0) -> pl.DataFrame:
    """A modelling table of plugs with a planted coil-crew effect and pads that differ."""
    rng = np.random.default_rng(seed)
    rows = []
    for pad in range(pads):
        shift = rng.normal(0.0, 0.5)
        for well in range(3):
            crew = "A" if (pad + well) % 2 else "B"
            for plug in range(2, 12):
                minutes = 9.0 + shift + (effect if crew == "A" else 0.0) + rng.normal(0.0, noise)
                rows.append(
                    {
                        "well_id": f"{pad}-{well}", "pad": f"p{pad}", "plug": plug, "coil_crew": crew, "mill_min": minutes,
                        "set_depth_ft": 15000.0 - 200.0 * plug, "mill_order": float(12 - plug), "quarters": float(pad), "plugs_since_wiper": plug % 4,
                        "depth_debris": (15.0 - 0.2 * plug) * (plug % 4),
                    }
                )  # fmt: skip
    return pl.DataFrame(rows)


def test_what_is_known_only_after_the_job_may_not_predict() -> None:
    with pytest.raises(KnownOnlyAfter, match="at_rate_rate_bpm"):
        predictors(["frac_crew", "at_rate_rate_bpm"])


def test_a_real_effect_is_found_out_of_pad() -> None:
    fitted = fit_model(plugs(1, effect=3.0), MILL)
    assert fitted is not None
    assert fitted.card["better_than_mean"]
    assert fitted.card["rmse_held_out"] < fitted.card["rmse_of_mean"]
    crew = next(row for row in fitted.effects if row["term"] == "coil_crew: B")
    assert crew["low"] < -3.0 < crew["high"]


def test_without_an_effect_the_card_says_no_better_than_the_mean() -> None:
    fitted = fit_model(plugs(2, effect=0.0), MILL)
    assert fitted is not None
    assert not fitted.card["better_than_mean"]
    assert fitted.card["verdict"].startswith("No better than the mean")


def test_shuffled_outcomes_have_no_skill_out_of_pad() -> None:
    skills = []
    for seed in range(6):
        frame = plugs(seed, effect=3.0)
        order = np.random.default_rng(seed).permutation(frame.height)
        fitted = fit_model(frame.with_columns(mill_min=frame["mill_min"][order]), MILL)
        assert fitted is not None
        skills.append(fitted.card["skill"])
    assert np.mean(skills) < 0.02


def test_every_prediction_comes_from_a_fit_without_its_pad() -> None:
    frame = plugs(3, effect=3.0)
    fitted = fit_model(frame, MILL)
    moved = frame.with_columns(mill_min=pl.when(pl.col("pad") == "p0").then(500.0).otherwise("mill_min"))
    again = fit_model(moved, MILL)
    assert fitted is not None
    assert again is not None
    own = [
        (a["predicted"], b["predicted"])
        for a, b in zip(fitted.predictions.to_dicts(), again.predictions.to_dicts(), strict=True)
        if a["pad"] == "p0"
    ]
    assert own
    assert all(a == pytest.approx(b) for a, b in own)


def test_fewer_than_three_pads_give_no_model_and_eight_say_what_they_cannot() -> None:
    assert fit_model(plugs(4, pads=2), MILL) is None
    fitted = fit_model(plugs(4), MILL)
    assert fitted is not None
    assert "no distribution-free 90 % interval" in fitted.card["interval_note"]


def test_rows_without_the_outcome_are_counted() -> None:
    frame = plugs(5).with_columns(mill_min=pl.when(pl.col("plug") == 2).then(None).otherwise("mill_min"))
    fitted = fit_model(frame, MILL)
    assert fitted is not None
    assert fitted.card["rows_left_out"] == 24


def test_crews_are_compared_with_their_planted_difference_inside_the_limits() -> None:
    rows = {row["level"]: row for row in compare(plugs(6, effect=2.0), COIL_CREWS)}
    assert rows["A"]["low"] < 1.0 < rows["A"]["high"]
    assert rows["B"]["low"] < -1.0 < rows["B"]["high"]
    assert abs(rows["A"]["shrunken"]) <= abs(rows["A"]["effect"])


def test_a_crew_alone_on_its_pad_is_named_and_not_ranked() -> None:
    frame = plugs(7).with_columns(coil_crew=pl.when(pl.col("pad") == "p3").then(pl.lit("C")).otherwise("coil_crew"))
    rows = {row["level"]: row for row in compare(frame, COIL_CREWS)}
    assert rows["C"]["effect"] is None
    assert not rows["C"]["separable"]
    assert "not separable" in rows["C"]["note"]
    assert rows["A"]["separable"]


def test_a_crew_always_with_one_value_of_a_covariate_is_not_separable() -> None:
    frame = plugs(8).with_columns(quarters=(pl.col("coil_crew") == "A").cast(pl.Float64))
    rows = compare(frame, COIL_CREWS)
    assert all(row["effect"] is None for row in rows)
    assert all("aliased" in row["note"] for row in rows)


def test_a_crew_with_few_rows_is_not_compared() -> None:
    frame = plugs(9)
    few = frame.filter((pl.col("coil_crew") != "A") | (pl.col("pad") == "p1") & (pl.col("plug") < 4))
    rows = {row["level"]: row for row in compare(few, COIL_CREWS)}
    assert rows["A"]["effect"] is None
    assert "fewer than" in rows["A"]["note"]


def test_the_campaign_recovers_its_planted_crew_differences(fitted: Fitted) -> None:
    timed = fitted.lake.scan(TABLE).filter(pl.col("comparison").is_in(["frac_crews_pump_time", "coil_crews_mill_time"]))
    rows = {row["level"]: row for row in timed.collect().iter_rows(named=True)}
    comparable = ("Alder", "Birch", "Cedar")
    mean = np.mean([RAMP_MIN[crew] for crew in comparable])
    for crew in comparable:
        row = rows[f"Crew {crew}"]
        assert row["separable"]
        assert abs(row["effect"] - (RAMP_MIN[crew] - mean)) < 1.5
        assert row["group"] == 1
    alone = rows["Crew Dogwood"]
    assert (alone["separable"], alone["effect"]) == (False, None)
    slower = rows["Coil Gannet"]["effect"] - rows["Coil Finch"]["effect"]
    assert slower == pytest.approx(9.5 * (MILL_FACTOR["Gannet"] - 1.0), abs=0.9)


def test_the_campaigns_model_cards_and_effects(fitted: Fitted) -> None:
    cards = {row["model"]: row for row in fitted.lake.scan(MODEL_CARDS).collect().iter_rows(named=True)}
    assert cards["treating_pressure"]["pads"] == 8
    assert cards["treating_pressure"]["better_than_mean"]
    effects = fitted.lake.scan(EFFECTS).filter(pl.col("model") == "treating_pressure").collect()
    terms = {row["term"]: row for row in effects.iter_rows(named=True)}
    assert DRAG_REDUCTION["Cedar"] < DRAG_REDUCTION["Alder"]
    assert terms["frac_crew: Crew Cedar"]["low"] > 0.0  # less drag reduction, more pressure
    assert terms["frac_crew: Crew Dogwood"]["effect"] is None  # worked one pad only
    mill = fitted.lake.scan(EFFECTS).filter(pl.col("model") == "mill_minutes", pl.col("term") == "quarters").collect()
    assert mill["effect"][0] < 0.0  # planted: milling gets faster
    predictions = fitted.lake.scan(PREDICTIONS).filter(pl.col("model") == "treating_pressure").collect()
    assert predictions.height == cards["treating_pressure"]["rows"]


def test_modelling_tables_have_one_row_per_stage_and_plug(fitted: Fitted) -> None:
    frames = modelling_tables(queries.connect(fitted.lake))
    assert frames["stage"].select("well_id", "stage").is_unique().all()
    assert frames["plug"].select("well_id", "plug").is_unique().all()
    assert frames["stage"]["designed_pipe_friction_psi"].null_count() == 0


def test_a_model_spec_with_a_late_predictor_is_refused() -> None:
    spec = ModelSpec("bad", "bad", "mill_min", "plug", ("pump_time_min",))
    with pytest.raises(KnownOnlyAfter):
        fit_model(plugs(1).with_columns(pump_time_min=pl.lit(1.0)), spec)
