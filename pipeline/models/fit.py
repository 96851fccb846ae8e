"""Fit stale models and comparisons and write them to the lake."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from itertools import chain
from typing import Any

import polars as pl
from threadpoolctl import threadpool_limits

from pipeline.lake import Lake
from pipeline.models import compare, grouped_cv, quarters, specs
from pipeline.models.frames import modelling_tables
from pipeline.schemas.base import Table
from pipeline.schemas.fitted import (
    CHANGES,
    COMPARISONS,
    EFFECTS,
    MODEL_CARDS,
    MODEL_PARAMETERS,
    PREDICTIONS,
    PROPORTIONS,
    QUARTER_MEANS,
)

Rows = list[dict[str, Any]]


@dataclass
class FitReport:
    """Result of a fit.

    Attributes
    ----------
    fitted, unchanged : list of str
        Models and comparisons.
    not_possible : list of str
        Not fitted, because there are too few pads.
    removed : list of str
        Fitted before but no longer possible; their results are removed.
    plan_error : str, optional
        Why the workspace's plan could not be used.
    """

    fitted: list[str] = field(default_factory=list)
    unchanged: list[str] = field(default_factory=list)
    not_possible: list[str] = field(default_factory=list)
    removed: list[str] = field(default_factory=list)
    plan_error: str | None = None

    @property
    def changed(self) -> bool:
        """Whether the lake was changed."""
        return bool(self.fitted or self.removed)

    def note(self, name: str, *, possible: bool, before: bool) -> None:
        """Record the result of a refit."""
        (self.fitted if possible else self.removed if before else self.not_possible).append(name)


def fit(lake: Lake, zone: str, progress: Callable[[int, int, str], None] | None = None) -> FitReport:
    """Fit all models and comparisons whose rows or method changed.

    Parameters
    ----------
    lake : Lake
    zone : str
        Time zone for pads without one.
    progress : callable, optional
        Called with (done, to do, name).

    Returns
    -------
    FitReport
    """
    with threadpool_limits(1):  # a fit is small: threads cost more than they save
        return _fit(lake, zone, progress)


def _fit(lake: Lake, zone: str, progress: Callable[[int, int, str], None] | None) -> FitReport:
    report = FitReport()
    frames = modelling_tables(lake, zone)
    total = len(specs.MODELS) + len(specs.COMPARISONS)

    def tell(done: int, name: str) -> None:
        if progress is not None:
            progress(done, total, name)

    before = _hashes(lake, MODEL_CARDS, "model")
    fitted: dict[str, grouped_cv.ModelRows | None] = {}
    for done, model in enumerate(specs.MODELS, start=1):
        frame, name = frames[model.level], model.name
        if before.get(name) != {grouped_cv.inputs_hash(frame, model)}:
            fitted[name] = grouped_cv.fit_model(frame, model)
            report.note(name, possible=fitted[name] is not None, before=name in before)
        else:
            report.unchanged.append(name)
        tell(done, name)
    _write_models(lake, {name: rows for name, rows in fitted.items() if rows is not None or name in before})

    before = _hashes(lake, COMPARISONS, "comparison")
    compared: dict[str, Rows] = {}
    for done, spec in enumerate(specs.COMPARISONS, start=len(specs.MODELS) + 1):
        frame, name = frames[spec.level], spec.name
        if before.get(name) != {compare.inputs_hash(frame, spec)}:
            compared[name] = compare.compare(frame, spec)
            report.note(name, possible=bool(compared[name]), before=name in before)
        else:
            report.unchanged.append(name)
        tell(done, name)
    _write(lake, COMPARISONS, "comparison", {name: rows for name, rows in compared.items() if rows or name in before})

    for table, key, made in _small_tables(frames):
        before = _hashes(lake, table, key)
        changed = {name: rows for name, rows in made.items() if before.get(name, set()) != _inputs(rows)}
        for name, rows in changed.items():
            report.note(f"{table.name}: {name}", possible=bool(rows), before=name in before)
        report.unchanged += [f"{table.name}: {name}" for name in made if name not in changed]
        _write(lake, table, key, changed)
    return report


def _small_tables(frames: dict[str, pl.DataFrame]) -> Iterator[tuple[Table, str, dict[str, Rows]]]:
    """Build the rows of the inexpensive tables: table, key column, rows by key."""
    yield PROPORTIONS, "event", {name: quarters.proportions(frames["stage"], name) for name in quarters.EVENTS}
    for table, make, metrics in (
        (CHANGES, quarters.changes, quarters.CHANGED), (QUARTER_MEANS, quarters.quarter_means, quarters.MEANS)
    ):  # fmt: skip
        yield table, "metric", {name: make(frames[level], name) for level, names in metrics.items() for name in names}


def _inputs(rows: Rows) -> set[str]:
    return {row["inputs"] for row in rows}


def _hashes(lake: Lake, table: Table, key: str) -> dict[str, set[str]]:
    """Stored input hashes, by key."""
    found: dict[str, set[str]] = defaultdict(set)
    for name, inputs in lake.scan(table).select(key, "inputs").unique().collect().iter_rows():
        found[name].add(inputs)
    return found


def _write(lake: Lake, table: Table, key: str, rows: dict[str, Rows]) -> None:
    """Replace the rows of the given keys in one commit."""
    if rows:
        frame = pl.DataFrame(list(chain.from_iterable(rows.values())), schema=table.dtypes)
        lake.replace(table, frame, {key: list(rows)})


def _write_models(lake: Lake, fitted: dict[str, grouped_cv.ModelRows | None]) -> None:
    """Write the fitted models; write the cards last, because their inputs mark the whole fit as current."""
    parts: tuple[tuple[Table, Callable[[grouped_cv.ModelRows], Rows]], ...] = (
        (PREDICTIONS, lambda rows: rows.predictions), (EFFECTS, lambda rows: rows.effects),
        (MODEL_PARAMETERS, lambda rows: rows.parameters), (MODEL_CARDS, lambda rows: [rows.card]),
    )  # fmt: skip
    for table, part in parts:
        _write(lake, table, "model", {name: [] if rows is None else part(rows) for name, rows in fitted.items()})
