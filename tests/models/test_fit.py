"""Fitting a lake: what is stale, and what goes when it is no longer possible."""

from __future__ import annotations

import shutil
from pathlib import Path

import polars as pl
import pytest

from pipeline import queries
from pipeline.lake import Lake
from pipeline.models import compare, grouped_cv, specs
from pipeline.models.columns import COLUMNS
from pipeline.models.fit import fit
from pipeline.models.frames import modelling_tables
from pipeline.models.specs import MODELS
from pipeline.schemas.fitted import (
    COMPARISONS,
    EFFECTS,
    MODEL_CARDS,
    MODEL_PARAMETERS,
    PREDICTIONS,
    PROPORTIONS,
    QUARTER_MEANS,
)
from pipeline.schemas.wells import WELLS
from tests.conftest import Fitted

MADE = (MODEL_CARDS, MODEL_PARAMETERS, PREDICTIONS, EFFECTS, COMPARISONS, PROPORTIONS, QUARTER_MEANS)


def test_what_can_no_longer_be_fitted_says_nothing_any_more(fitted: Fitted, tmp_path: Path) -> None:
    lake = Lake(str(tmp_path / "lake"))
    shutil.copytree(fitted.lake.root, lake.root)
    assert not fit(lake, modelling_tables(queries.connect(lake))).changed  # nothing is stale
    assert all(lake.scan(table).collect().height for table in MADE)
    wells = lake.scan_raw(WELLS).collect()
    lake.replace(WELLS, wells.with_columns(pad=pl.lit(None, pl.String)), {})
    report = fit(lake, modelling_tables(queries.connect(lake)))
    assert report.changed
    of_pads = [spec for spec in MODELS if spec.level != "well_design"]  # there a well without a pad is one of its own
    assert {spec.name for spec in (*of_pads, *specs.COMPARISONS)} <= set(report.removed)
    for table in (MODEL_CARDS, MODEL_PARAMETERS, PREDICTIONS, EFFECTS):
        assert set(lake.scan(table).collect()["model"]) <= {"oil_180_days_recorded"}, table.name
    assert lake.scan(COMPARISONS).collect().is_empty()
    again = fit(lake, modelling_tables(queries.connect(lake)))
    assert not again.changed and not again.removed
    assert "treating_pressure" in again.not_possible


def test_effects_of_a_chance_are_contrasts_of_the_parameters_that_predict_it(fitted: Fitted) -> None:
    """One fit: what the report shows as an effect is what a prediction moves by."""
    parameters = {
        row["term"]: row
        for row in fitted.lake.scan(MODEL_PARAMETERS).filter(model="screen_out").collect().iter_rows(named=True)
    }
    shown = fitted.lake.scan(EFFECTS).filter(model="screen_out").collect().drop_nulls("effect")
    assert shown.height >= 3
    for row in shown.iter_rows(named=True):
        column, mark, _ = row["term"].partition(": ")
        if mark:
            first = parameters[f"{column}: {row['per'].removeprefix('against ')}"]["coefficient"]
            expected = parameters[row["term"]]["coefficient"] - first
        else:
            expected = parameters[column]["coefficient"] / parameters[column]["scale"] * COLUMNS[column].step
        assert row["effect"] == pytest.approx(expected, rel=1e-9)
        assert row["low"] < row["effect"] < row["high"]


def test_a_fit_is_stale_if_anything_that_it_reads_changed_and_reads_nothing_else(fitted: Fitted) -> None:
    frames = modelling_tables(queries.connect(fitted.lake))
    for spec in (*MODELS, *specs.COMPARISONS):
        frame = frames[spec.level]
        read = specs.columns_of(frame, spec)
        before = specs.rows_hash(frame, spec, 1)
        assert specs.rows_hash(read, spec, 1) == before
        for name, dtype in read.schema.items():
            other = frame.with_columns(pl.lit(None, dtype).alias(name))
            assert read[name].is_null().all() or specs.rows_hash(other, spec, 1) != before, (spec.name, name)
        unread = [name for name in frame.columns if name not in read.columns]
        assert specs.rows_hash(frame.with_columns(pl.lit(None).alias(name) for name in unread), spec, 1) == before
        fits = compare.compare if isinstance(spec, specs.CompareSpec) else grouped_cv.fit_model
        whole, part = fits(frame, spec), fits(read, spec)
        assert _without_times(whole) == _without_times(part)


def _without_times(made: object) -> object:
    if isinstance(made, grouped_cv.ModelRows):
        return [
            {**made.card, "fitted_at": None},
            made.effects,
            made.predictions.to_dicts(),
            made.parameters,
            made.squares.tolist(),
        ]
    return made
