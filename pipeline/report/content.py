"""Content of a report, before it becomes a page, a PDF or a spreadsheet: every number is from a saved query."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from functools import partial
from typing import Any

import duckdb
import polars as pl
import polars.selectors as cs

from pipeline import queries
from pipeline.errors import HeelwardError
from pipeline.metrics.measure import LEVELS
from pipeline.report.pages import ChartSpec, Labels, Page
from pipeline.report.plain_words import capitals, plain
from pipeline.report.sketch import Sketch, begin
from pipeline.report.text import inert
from pipeline.sql import Statement
from pipeline.units import format_quantities

MOST_POINTS = 1200
"""A chart with more rows draws a random sample of this size, with a note."""
SAMPLED = ("scatter", "strip")
CHOICES = ("quarter", "pad", "crew", "formation", "design")
"""Columns by which a reader can select jobs, if a chart's rows have them."""
LEDGER = (
    "wells", "stages", "plugs", "coil_runs", "acceptance", "toe_preparation", "wireline", "pad_days", "cost_units",
    "neighbours", "well_designs", "production_by_well", "quarter_safety",
    "amendments_by_pick", "amendments", "set_aside", "findings_by_kind", "findings",
    "review_queue", "who_can_be_compared", "production_excluded", "model_cards", "model_effects", "sources",
)  # fmt: skip
Told = Callable[[str], None]


@dataclass(frozen=True)
class Rows:
    """Rows of a query in display units, with inert texts.

    Attributes
    ----------
    answer : Answer
        Result of the query, in the lake's units.
    frame : polars.DataFrame
    units : dict of str to str
        Label of each column's unit.
    """

    answer: queries.Answer
    frame: pl.DataFrame
    units: dict[str, str]

    @property
    def query(self) -> Statement:
        """The query."""
        return self.answer.query

    def label(self, column: str) -> str:
        """Return a column's heading with the display unit, which replaces the unit in the column's name."""
        return capitals(queries.heading(column, self.answer.unit(column), self.units.get(column, "")))

    @property
    def labels(self) -> Labels:
        """What a chart of the rows calls their columns."""
        return Labels(self.units, {name: self.label(name) for name in self.frame.columns})


@dataclass(frozen=True)
class Drawn:
    """A chart: its result as a sentence, its rows, its sketch (None if there is nothing to draw).

    `was` is its result on the day that the report is compared with, if that was another one.
    """

    chart: ChartSpec
    title: str
    rows: Rows
    sketch: Sketch | None
    cells: list[dict[str, Any]]
    choices: list[str]
    sampled_from: int | None
    was: str = ""

    @property
    def spec(self) -> dict[str, Any] | None:
        """What the page's script draws."""
        return None if self.sketch is None else self.sketch.spec

    @property
    def about(self) -> str:
        """What it draws, in a few words."""
        chart = self.chart
        return chart.x_label if chart.kind == "interval" else chart.colour_label or chart.y_label or chart.x_label


@dataclass(frozen=True)
class Part:
    """A part of the report, for one reader."""

    page: Page
    numbers: list[dict[str, Any]]
    charts: list[Drawn]
    tables: list[Rows]
    look: str = ""
    numbers_from: Rows | None = None

    @property
    def brief(self) -> list[str]:
        """The sentences that open the part: its numbers, the results of its main charts, what to look at next."""
        told = [drawn.title for drawn in self.charts if drawn.chart.brief]
        if self.numbers:
            told.insert(0, _in_numbers(self.numbers))
        return [f"{text}." for text in (*told, *([f"Look next: {self.look}"] if self.look else []))]

    @property
    def anchor(self) -> str:
        """Anchor for links to the part."""
        return re.sub("[^a-z0-9]+", "-", self.page.title.lower()).strip("-")


@dataclass(frozen=True)
class Change:
    """Something that the report says now and said otherwise on a past day."""

    part: str
    what: str
    before: str
    now: str


@dataclass(frozen=True)
class Since:
    """What differs from the report of a past day, and why."""

    day: date
    causes: list[str]
    changes: list[Change]


@dataclass(frozen=True)
class Content:
    """Complete content of a report; compared with a past day, if `since` is given."""

    headline: dict[str, Any]
    parts: list[Part]
    ledger: list[Rows]
    used: dict[str, Statement] = field(default_factory=dict)
    since: Since | None = None

    @property
    def drawn(self) -> list[Drawn]:
        """The charts that have something to draw, in order."""
        return [drawn for part in self.parts for drawn in part.charts if drawn.sketch is not None]

    @property
    def sketches(self) -> list[Sketch]:
        """Their sketches."""
        return [drawn.sketch for drawn in self.drawn if drawn.sketch is not None]


def gather(
    connection: duckdb.DuckDBPyConnection,
    pages: list[Page],
    system: str,
    told: Told = lambda _what: None,
) -> Content:
    """Run every query of a report.

    Parameters
    ----------
    connection : duckdb connection
        With the lake's tables as views.
    pages : list of Page
    system : str
        ``field`` or ``metric``.
    told : callable, optional
        Called with the name of each finished query.
    """
    used: dict[str, Statement] = {}
    asked: dict[tuple[str, tuple[tuple[str, Any], ...]], Rows] = {}

    def rows(name: str, given: Mapping[str, Any] | None = None, chart: Rows | None = None) -> Rows:
        key = name, tuple(sorted((given or {}).items()))
        found = asked.get(key) if chart is None else None
        if found is None:
            found = _rows(connection, name, given or {}, system, chart)
        if chart is None:
            asked[key] = found  # several charts of a part draw the same rows
        used[name] = found.query
        told(name)
        return found

    parts: list[Callable[[], Part]] = []
    for page in pages:
        counted = None if page.numbers is None else rows(page.numbers)
        numbers = [] if counted is None else [row | {"was": ""} for row in counted.frame.to_dicts()]
        charts = [_chart(rows, chart, system) for chart in page.charts]
        look = "" if page.look is None else str(rows(page.look).frame["sentence"][0] or "")
        tables = [side_by_side(rows(name), page.across.get(name)) for name in page.tables]
        parts.append(partial(_part, page, numbers, charts, tables, look, counted))
    headline = rows("headline").frame.row(0, named=True)
    ledger = [rows(name) for name in LEDGER]
    return Content(headline, [end() for end in parts], ledger, used)


def _part(page: Page, numbers: list[dict[str, Any]], charts: list[Callable[[], Drawn]], *others: Any) -> Part:
    return Part(page, numbers, [end() for end in charts], *others)


def side_by_side(rows: Rows, column: str | None) -> Rows:
    """Return rows with a column of their own for each value of a column: their `value` stands there.

    What the others have in common is said once; where it differs, it is said for each.
    """
    if column is None or rows.frame.is_empty():
        return rows
    frame = rows.frame
    first = next(name for name in frame.columns if name not in (column, "value"))
    others = [name for name in frame.columns if name not in (first, column, "value")]
    apart = frame.pivot(column, index=first, values="value", aggregate_function="first", maintain_order=True)
    told = frame.group_by(first, maintain_order=True).agg(
        pl.when(pl.col(name).n_unique() > 1)
        .then(pl.format("{}: {}", pl.col(column), pl.col(name).fill_null("")).str.join("; "))
        .otherwise(pl.col(name).first())
        .first()
        .alias(name)
        for name in others
    )
    found = apart.join(told, on=first, how="left", maintain_order="left")
    described = {item.name: item for item in rows.answer.columns}
    columns = [described.get(name) or replace(described["value"], name=name) for name in found.columns]
    return Rows(replace(rows.answer, frame=found, columns=columns), found, rows.units)


def steps_of(pages: list[Page]) -> int:
    """Number of queries that `gather` will run."""
    per_page = [
        len(page.charts) * 2 + sum(chart.cells is not None for chart in page.charts) + len(page.tables)
        + (page.numbers is not None) + (page.look is not None)
        for page in pages
    ]  # fmt: skip
    return sum(per_page) + len(LEDGER) + 1


def _in_numbers(numbers: list[dict[str, Any]]) -> str:
    """Return the numbers of a part in one sentence; what all have in common is said once."""
    split = [str(row["verdict"]).partition(" against earlier quarters: ") for row in numbers]
    quarters, words = {row["quarter"] for row in numbers}, {part[2] for part in split}
    if len(quarters) == len(words) == 1 and "" not in words:
        each = ", ".join(
            f"{str(row['measure']).lower()} {row['value']} ({change})"
            for row, (change, _, _) in zip(numbers, split, strict=True)
        )
        return f"{quarters.pop()}, in brackets against earlier quarters: {each}; each is {words.pop()}"
    return "; ".join(f"{row['measure']}: {number_said(row)}" for row in numbers)


def number_said(row: Mapping[str, Any]) -> str:
    """Return a number of a part with its quarter and verdict."""
    return f"{row['value']} in {row['quarter']} ({row['verdict']})"


def method_notes() -> list[dict[str, str]]:
    """Return every metric's definition, unit, source and version, from its declaration."""
    return [
        {
            "level": level.name.removesuffix("_metrics").replace("_", " "), "metric": metric.name,
            "unit": "" if metric.unit == "ratio" else metric.unit, "meaning": metric.meaning,
            "source": metric.source or "our definition", "version": str(metric.version),
        }
        for level in LEVELS
        for metric in level.metrics.values()
    ]  # fmt: skip


def _rows(
    connection: duckdb.DuckDBPyConnection, name: str, given: Mapping[str, Any], system: str, chart: Rows | None
) -> Rows:
    answer = queries.run(connection, queries.load(name), dict(given), None if chart is None else chart.answer.frame)
    frame, units = queries.in_units_shown(answer, system)
    return Rows(answer, plain(inert(frame)), units)


def _check_columns(chart: ChartSpec, found: Rows) -> None:
    """Reject a chart whose definition names a column that is not in its query."""
    wanted = {"x": chart.x, "y": chart.y, "colour": chart.colour, "x_end": chart.x_end}
    for key, column in wanted.items():
        if column is not None and column not in found.frame.columns:
            known = ", ".join(found.frame.columns)
            raise HeelwardError(
                f"chart of query '{chart.query}': {key} = '{column}' is not a column of the query; its columns: {known}"
            )


def _sample(frame: pl.DataFrame) -> pl.DataFrame:
    """Return a reproducible random sample of a chart's rows; the browser does not receive the others.

    Each row has its own random number, drawn from what it is about: one row more changes at most one of those shown,
    and another estimate none.
    """
    frame = frame.sort(frame.columns)
    names = frame.select(cs.exclude(cs.float()))
    alike = pl.int_range(pl.len()).over(names.columns) if names.width else pl.int_range(pl.len())
    lot = names.with_columns(frame.select(_alike=alike)).hash_rows(seed=1)
    return frame.with_columns(_lot=lot).sort("_lot").head(MOST_POINTS).drop("_lot")


def _chart(rows: Callable[..., Rows], chart: ChartSpec, system: str) -> Callable[[], Drawn]:
    """Ask for what a chart shows and begin to sketch it; return what gives the chart."""
    found = rows(chart.query, chart.given)
    title_given = chart.given if chart.title_given is None else chart.title_given
    title = str(rows(chart.title, title_given, found).frame["title"][0])
    title = title[:1].upper() + title[1:]
    _check_columns(chart, found)
    frame, every = found.frame, found.frame.height
    if chart.kind in SAMPLED and every > MOST_POINTS:
        frame = _sample(frame)
    cells = None if chart.cells is None else rows(chart.cells, chart.given).frame
    added_up = None if cells is None else cells.to_dicts()
    choices = [name for name in CHOICES if name in (frame if cells is None else cells).columns]
    measure = chart.colour if chart.kind == "cells" and chart.colour else None
    empty = frame.is_empty() or (measure is not None and frame[measure].null_count() == frame.height)
    sketched = None if empty else begin(chart, frame, found.labels, added_up)
    chart = chart.model_copy(update={"words": format_quantities(chart.words, system)})
    sampled_from = every if frame.height < every else None

    def end() -> Drawn:
        made = None if sketched is None else sketched()
        return Drawn(chart, title, found, made, added_up or [], choices, sampled_from)

    return end
