"""Fit what is stale and write it to the lake."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import polars as pl

from pipeline.lake import Lake
from pipeline.models import compare, outpad, quarters, specs
from pipeline.models.frames import modelling_tables
from pipeline.schemas import (
    CHANGES,
    COMPARISONS,
    EFFECTS,
    EXCLUSIONS,
    MODEL_CARDS,
    MODEL_PARAMETERS,
    PREDICTIONS,
    PROPORTIONS,
    QUARTER_MEANS,
    Table,
)


@dataclass
class FitReport:
    """What a fit did.

    Attributes
    ----------
    fitted, unchanged : list of str
        Models and comparisons.
    not_possible : list of str
        With too few pads.
    plan_error : str, optional
        Why the workspace's plan could not be used.
    """

    fitted: list[str] = field(default_factory=list)
    unchanged: list[str] = field(default_factory=list)
    not_possible: list[str] = field(default_factory=list)
    plan_error: str | None = None

    @property
    def changed(self) -> bool:
        """Whether the lake was changed."""
        return bool(self.fitted)


def fit(lake: Lake, progress: Callable[[int, int, str], None] | None = None) -> FitReport:
    """Fit all models and comparisons whose rows or method changed.

    Parameters
    ----------
    lake : Lake
    progress : callable, optional
        Told (done, to do, name).

    Returns
    -------
    FitReport
    """
    report = FitReport()
    frames = modelling_tables(lake)
    cards = dict(lake.scan(MODEL_CARDS).select("model", "inputs").collect().iter_rows())
    compared = dict(lake.scan(COMPARISONS).select("comparison", "inputs").unique().collect().iter_rows())
    total = len(specs.MODELS) + len(specs.COMPARISONS)
    done = 0
    for model in specs.MODELS:
        _fit_model(lake, frames[model.level], model, cards.get(model.name), report)
        done += 1
        if progress is not None:
            progress(done, total, model.name)
    for comparison in specs.COMPARISONS:
        _compare(lake, frames[comparison.level], comparison, compared.get(comparison.name), report)
        done += 1
        if progress is not None:
            progress(done, total, comparison.name)
    for event in quarters.EVENTS:
        _small(lake, PROPORTIONS, quarters.proportions(frames["stage"], event), {"event": event}, report)
    for level, metrics in quarters.CHANGED.items():
        for metric in metrics:
            _small(lake, CHANGES, quarters.changes(frames[level], metric), {"metric": metric}, report)
    for level, metrics in quarters.MEANS.items():
        for metric in metrics:
            _small(lake, QUARTER_MEANS, quarters.quarter_means(frames[level], metric), {"metric": metric}, report)
    _small(lake, EXCLUSIONS, quarters.exclusions(frames["well"]), {"outcome": "production"}, report)
    return report


def _small(lake: Lake, table: Table, rows: list[dict[str, Any]], where: dict[str, str], report: FitReport) -> None:
    """Write a small table's rows where they changed."""
    name = f"{table.name}: {next(iter(where.values()))}"
    before = lake.scan(table).filter(**where).select("inputs").unique().collect()["inputs"].to_list()
    after = list({row["inputs"] for row in rows})
    if before == after:
        report.unchanged.append(name)
        return
    lake.replace(table, pl.DataFrame(rows, schema=table.dtypes), where)
    (report.fitted if rows else report.not_possible).append(name)


def _fit_model(lake: Lake, frame: pl.DataFrame, spec: specs.ModelSpec, before: str | None, report: FitReport) -> None:
    if before == outpad.inputs_print(frame, spec):
        report.unchanged.append(spec.name)
        return
    rows = outpad.fit_model(frame, spec)
    if rows is None:
        report.not_possible.append(spec.name)
        return
    where = {"model": spec.name}
    lake.replace(PREDICTIONS, pl.DataFrame(rows.predictions, schema=PREDICTIONS.dtypes), where)
    lake.replace(EFFECTS, pl.DataFrame(rows.effects, schema=EFFECTS.dtypes), where)
    lake.replace(MODEL_PARAMETERS, pl.DataFrame(rows.parameters, schema=MODEL_PARAMETERS.dtypes), where)
    lake.replace(MODEL_CARDS, pl.DataFrame([rows.card], schema=MODEL_CARDS.dtypes), where)
    report.fitted.append(spec.name)


def _compare(lake: Lake, frame: pl.DataFrame, spec: specs.CompareSpec, before: str | None, report: FitReport) -> None:
    if before == compare.inputs_print(frame, spec):
        report.unchanged.append(spec.name)
        return
    rows = compare.compare(frame, spec)
    if not rows:
        report.not_possible.append(spec.name)
        return
    lake.replace(COMPARISONS, pl.DataFrame(rows, schema=COMPARISONS.dtypes), {"comparison": spec.name})
    report.fitted.append(spec.name)
