"""Fit what is stale and write it to the lake."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from itertools import chain
from typing import Any

import polars as pl
from threadpoolctl import threadpool_limits

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

Rows = list[dict[str, Any]]


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
    with threadpool_limits(1):  # a fit is small: what its threads share costs more than they save
        return _fit(lake, progress)


def _fit(lake: Lake, progress: Callable[[int, int, str], None] | None) -> FitReport:
    report = FitReport()
    frames = modelling_tables(lake)
    total = len(specs.MODELS) + len(specs.COMPARISONS)

    def tell(done: int, name: str) -> None:
        if progress is not None:
            progress(done, total, name)

    before = _prints(lake, MODEL_CARDS, "model")
    fitted: list[outpad.ModelRows] = []
    for done, model in enumerate(specs.MODELS, start=1):
        frame = frames[model.level]
        if before.get(model.name) != {outpad.inputs_print(frame, model)}:
            new = outpad.fit_model(frame, model)
            (report.not_possible if new is None else report.fitted).append(model.name)
            fitted += [] if new is None else [new]
        else:
            report.unchanged.append(model.name)
        tell(done, model.name)
    _write_models(lake, fitted)

    before = _prints(lake, COMPARISONS, "comparison")
    compared: dict[str, Rows] = {}
    for done, spec in enumerate(specs.COMPARISONS, start=len(specs.MODELS) + 1):
        frame = frames[spec.level]
        if before.get(spec.name) != {compare.inputs_print(frame, spec)}:
            compared[spec.name] = compare.compare(frame, spec)
            (report.fitted if compared[spec.name] else report.not_possible).append(spec.name)
        else:
            report.unchanged.append(spec.name)
        tell(done, spec.name)
    _write(lake, COMPARISONS, "comparison", {name: rows for name, rows in compared.items() if rows})

    for table, key, made in _small_tables(frames):
        before = _prints(lake, table, key)
        changed = {name: rows for name, rows in made.items() if before.get(name, set()) != _inputs(rows)}
        for name, rows in made.items():
            said = report.unchanged if name not in changed else report.fitted if rows else report.not_possible
            said.append(f"{table.name}: {name}")
        _write(lake, table, key, changed)
    return report


def _small_tables(frames: dict[str, pl.DataFrame]) -> Iterator[tuple[Table, str, dict[str, Rows]]]:
    """Make the rows of the tables that cost next to nothing: table, key column, rows by key."""
    yield PROPORTIONS, "event", {name: quarters.proportions(frames["stage"], name) for name in quarters.EVENTS}
    for table, make, metrics in (
        (CHANGES, quarters.changes, quarters.CHANGED), (QUARTER_MEANS, quarters.quarter_means, quarters.MEANS)
    ):  # fmt: skip
        yield table, "metric", {name: make(frames[level], name) for level, names in metrics.items() for name in names}
    yield EXCLUSIONS, "outcome", {"production": quarters.exclusions(frames["well"])}


def _inputs(rows: Rows) -> set[str]:
    return {row["inputs"] for row in rows}


def _prints(lake: Lake, table: Table, key: str) -> dict[str, set[str]]:
    """What the rows of each key on record follow from."""
    found: dict[str, set[str]] = defaultdict(set)
    for name, inputs in lake.scan(table).select(key, "inputs").unique().collect().iter_rows():
        found[name].add(inputs)
    return found


def _write(lake: Lake, table: Table, key: str, rows: dict[str, Rows]) -> None:
    """Replace the rows of some keys, in one commit."""
    if rows:
        frame = pl.DataFrame(list(chain.from_iterable(rows.values())), schema=table.dtypes)
        lake.replace(table, frame, {key: list(rows)})


def _write_models(lake: Lake, fitted: list[outpad.ModelRows]) -> None:
    """Write what was fitted; the cards last, whose inputs say that all of it is new."""
    names = [rows.card["model"] for rows in fitted]
    for table, parts in (
        (PREDICTIONS, [rows.predictions for rows in fitted]), (EFFECTS, [rows.effects for rows in fitted]),
        (MODEL_PARAMETERS, [rows.parameters for rows in fitted]), (MODEL_CARDS, [[rows.card] for rows in fitted]),
    ):  # fmt: skip
        _write(lake, table, "model", dict(zip(names, parts, strict=True)))
