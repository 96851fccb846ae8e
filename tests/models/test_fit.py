"""Fitting a lake: what is stale, and what goes when it is no longer possible."""

from __future__ import annotations

import shutil
from pathlib import Path

import polars as pl

from pipeline.lake import Lake
from pipeline.models import specs
from pipeline.models.fit import fit
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
    assert not fit(lake, "UTC").changed  # nothing is stale
    assert all(lake.scan(table).collect().height for table in MADE)
    wells = lake.scan_raw(WELLS).collect()
    lake.replace(WELLS, wells.with_columns(pad=pl.lit(None, pl.String)), {})
    report = fit(lake, "UTC")
    assert report.changed
    assert {spec.name for spec in (*MODELS, *specs.COMPARISONS)} <= set(report.removed)
    left = {table.name: lake.scan(table).collect().height for table in MADE}
    assert not any(left[table.name] for table in (MODEL_CARDS, MODEL_PARAMETERS, PREDICTIONS, EFFECTS, COMPARISONS)), (
        left
    )
    again = fit(lake, "UTC")
    assert not again.changed and not again.removed
    assert "treating_pressure" in again.not_possible
