"""Fit stale models and comparisons and write them to the lake."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

import polars as pl
from threadpoolctl import threadpool_limits

from pipeline.events import event
from pipeline.lake import Lake, at_once
from pipeline.models import compare, grouped_cv, quarters, specs
from pipeline.parallel import Workers, map_unordered
from pipeline.schemas.base import Table
from pipeline.schemas.fitted import (
    CHANGES,
    COMPARISONS,
    EFFECTS,
    MODEL_CARDS,
    MODEL_PARAMETERS,
    PLANNED,
    PREDICTIONS,
    PROPORTIONS,
    QUARTER_MEANS,
    TRIALS,
)

Rows = list[dict[str, Any]]
Stale = tuple[specs.ModelSpec | specs.CompareSpec, pl.DataFrame]
Fit = Callable[[pl.DataFrame, Any], Any]
Task = tuple[Fit, specs.ModelSpec | specs.CompareSpec, pl.DataFrame]
Small = tuple[Table, str, dict[str, Rows]]
"""An inexpensive table, its key column, and its rows by key."""
MADE = (
    MODEL_CARDS, EFFECTS, PREDICTIONS, MODEL_PARAMETERS, COMPARISONS, PROPORTIONS, CHANGES, QUARTER_MEANS, PLANNED,
    TRIALS,
)  # fmt: skip
"""Tables that fitting makes, the plan for the next pad included; each has the hash of what its rows were made from."""
ROWS_PER_CORE = 30_000
"""Rows of all fits together that justify starting a process on another core."""


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
    restored : list of str
        Damaged tables that were repaired: all their rows were made again.
    """

    fitted: list[str] = field(default_factory=list)
    unchanged: list[str] = field(default_factory=list)
    not_possible: list[str] = field(default_factory=list)
    removed: list[str] = field(default_factory=list)
    plan_error: str | None = None
    restored: list[str] = field(default_factory=list)

    @property
    def changed(self) -> bool:
        """Whether the lake was changed."""
        return bool(self.fitted or self.removed)

    def note(self, name: str, *, possible: bool, before: bool) -> None:
        """Record the result of a refit."""
        (self.fitted if possible else self.removed if before else self.not_possible).append(name)


def fit(
    lake: Lake,
    frames: Mapping[str, pl.DataFrame],
    progress: Callable[[int, int, str], None] | None = None,
    workers: Workers | None = None,
    meanwhile: Callable[[], None] = lambda: None,
) -> FitReport:
    """Fit all models and comparisons whose rows or method changed.

    Parameters
    ----------
    lake : Lake
    frames : mapping of str to polars.DataFrame
        The modelling tables.
    progress : callable, optional
        Called with (done, to do, name).
    workers : Workers, optional
        Where models are fitted; default: on this machine.
    meanwhile : callable, optional
        Called while others fit, if there is anything to fit.

    Returns
    -------
    FitReport
    """
    report = FitReport()
    models, comparisons = _hashes(lake, MODEL_CARDS, "model"), _hashes(lake, COMPARISONS, "comparison")
    stale = _stale(frames, models, comparisons)
    tasks = _tasks(stale)
    small: list[Small] = []

    def beside() -> None:
        small.extend(_small_tables(frames))
        if tasks:
            meanwhile()

    made: dict[Fit, dict[str, Any]] = defaultdict(dict)
    results = map_unordered(_fitter, tasks, _fits_per_core(tasks), workers, beside)
    for done, (by, name, result) in enumerate(results, start=1):
        made[by][name] = result
        if by is not grouped_cv.boost:
            event("fitted", name=name, possible=bool(result))
        if progress is not None:
            progress(done, len(tasks), name)
    compared: dict[str, Rows] = made[compare.compare]
    fitted: dict[str, grouped_cv.ModelRows | None] = {
        name: None if rows is None else grouped_cv.beside_boosted(rows, made[grouped_cv.boost][name])
        for name, rows in made[grouped_cv.fit_line].items()
    }
    for names, found, before in ((specs.MODELS, fitted, models), (specs.COMPARISONS, compared, comparisons)):
        for name in (one.name for one in names):
            if name in found:
                report.note(name, possible=bool(found[name]), before=name in before)
            else:
                report.unchanged.append(name)
    _write_models(lake, {name: rows for name, rows in fitted.items() if rows is not None or name in models})
    _write(
        lake, COMPARISONS, "comparison", {name: rows for name, rows in compared.items() if rows or name in comparisons}
    )
    _write_small_tables(lake, small, report)
    return report


def stale_fits(lake: Lake, frames: Mapping[str, pl.DataFrame]) -> list[str]:
    """Return the fitted models and comparisons whose rows or method changed since."""
    models, comparisons = _hashes(lake, MODEL_CARDS, "model"), _hashes(lake, COMPARISONS, "comparison")
    stale = _stale(frames, models, comparisons)
    return [spec.name for spec, _ in stale if spec.name in models or spec.name in comparisons]


def _stale(
    frames: Mapping[str, pl.DataFrame], models: Mapping[str, set[str]], comparisons: Mapping[str, set[str]]
) -> list[Stale]:
    stale: list[Stale] = [
        (model, specs.columns_of(frames[model.level], model))
        for model in specs.MODELS
        if models.get(model.name) != {grouped_cv.inputs_hash(frames[model.level], model)}
    ]
    return stale + [
        (spec, specs.columns_of(frames[spec.level], spec))
        for spec in specs.COMPARISONS
        if comparisons.get(spec.name) != {compare.inputs_hash(frames[spec.level], spec)}
    ]


def _tasks(stale: list[Stale]) -> list[Task]:
    """Return what is to be fitted; last what loads scikit-learn, which takes a second and which a helper has loaded."""
    first: list[Task] = []
    last: list[Task] = []
    for spec, frame in stale:
        if isinstance(spec, specs.CompareSpec):
            first.append((compare.compare, spec, frame))
        else:
            (last if spec.chance else first).append((grouped_cv.fit_line, spec, frame))
            last.append((grouped_cv.boost, spec, frame))
    return first + last


def _fits_per_core(tasks: list[Task]) -> int:
    rows = sum(frame.height for by, _, frame in tasks if by is not grouped_cv.boost)
    return len(tasks) * ROWS_PER_CORE // max(rows, 1) + 1


def _fitter() -> Callable[[Task], tuple[Fit, str, Any]]:
    return _fitted


def _fitted(task: Task) -> tuple[Fit, str, Any]:
    """Fit one model or comparison."""
    by, spec, frame = task
    with threadpool_limits(1):  # a fit is small: threads cost more than they save
        return by, spec.name, by(frame, spec)


def _write_small_tables(lake: Lake, small: list[Small], report: FitReport) -> None:
    """Write the inexpensive tables whose inputs changed."""
    stale: dict[Table, tuple[str, dict[str, Rows]]] = {}
    for table, key, made in small:
        before = _hashes(lake, table, key)
        changed = {name: rows for name, rows in made.items() if before.get(name, set()) != _inputs(rows)}
        for name, rows in changed.items():
            report.note(f"{table.name}: {name}", possible=bool(rows), before=name in before)
        report.unchanged += [f"{table.name}: {name}" for name in made if name not in changed]
        stale[table] = key, changed
    at_once(lambda table: _write(lake, table, *stale[table]), stale)


def _small_tables(frames: Mapping[str, pl.DataFrame]) -> Iterator[Small]:
    """Build the rows of the inexpensive tables."""
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


def _write(lake: Lake, table: Table, key: str, rows: Mapping[str, Rows | pl.DataFrame]) -> None:
    """Replace the rows of the given keys in one commit."""
    if rows:
        frames = [pl.DataFrame(found, schema=table.dtypes) for found in rows.values()]
        lake.replace(table, pl.concat(frames), {key: list(rows)})


def _write_models(lake: Lake, fitted: dict[str, grouped_cv.ModelRows | None]) -> None:
    """Write the fitted models; write the cards last, because their inputs mark the whole fit as current."""
    parts: dict[Table, Callable[[grouped_cv.ModelRows], Rows | pl.DataFrame]] = {
        PREDICTIONS: lambda rows: rows.predictions, EFFECTS: lambda rows: rows.effects,
        MODEL_PARAMETERS: lambda rows: rows.parameters, MODEL_CARDS: lambda rows: [rows.card],
    }  # fmt: skip

    def write(table: Table) -> None:
        rows = {name: [] if rows is None else parts[table](rows) for name, rows in fitted.items()}
        _write(lake, table, "model", rows)

    at_once(write, [table for table in parts if table is not MODEL_CARDS])
    write(MODEL_CARDS)
