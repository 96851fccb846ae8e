"""What changed in the report since a past day: its numbers, results and orders, and why."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date

import duckdb
import polars as pl

from pipeline.report.content import Change, Content, Drawn, Part, Since, number_said
from pipeline.report.plain_words import in_words
from pipeline.report.text import inert

MOST_NAMED = 5
"""Pads or picks named in one sentence; the others are counted. [1]"""
_JOBS = {
    "stage": "SELECT pad, well_id, stage AS number FROM stage",
    "plug": "SELECT pad, well_id, plug AS number FROM plug WHERE mill_min IS NOT NULL",
    "coil run": "SELECT pad, well_id, run AS number FROM coil_run",
    "pump-down": "SELECT pad, well_id, run AS number FROM pump_down",
}
"""Jobs that results rest on: pad, well and number of each."""
_PICKS = "SELECT well, well_id, level, number, pick, value, time, version, amended_reason, amended_value FROM pick"
_PICK = ["well_id", "level", "number", "pick"]
_FILES = "SELECT source_id, lands FROM sources WHERE state = 'landed'"


def compared(now: Content, before: Content, day: date, causes: list[str]) -> Content:
    """Return the content of a report with what differs from its state on a past day.

    Parameters
    ----------
    now, before : Content
        Of the same pages, from the tables of today and of the end of that day.
    day : date
    causes : list of str
        Sentences from `causes`.
    """
    parts, changes = [], _counts(now.headline, before.headline)
    for part, old in zip(now.parts, before.parts, strict=True):
        numbers, found = _numbers(part, old)
        changes += found
        charts = []
        for drawn, was in zip(part.charts, old.charts, strict=True):
            found = _chart(part.page.title, drawn, was)
            changes += found
            charts.append(replace(drawn, was=was.title if drawn.title != was.title else ""))
        parts.append(replace(part, numbers=numbers, charts=charts))
    return replace(now, parts=parts, since=Since(day, causes, changes))


def _counts(now: Mapping[str, object], before: Mapping[str, object]) -> list[Change]:
    names = [name for name in now if now[name] != before[name]]
    return [Change("All records", in_words(name), _told(before[name]), _told(now[name])) for name in names]


def _told(value: object) -> str:
    return "none" if value is None else f"{value:,}" if isinstance(value, int) else str(value)


def _numbers(part: Part, old: Part) -> tuple[list[dict[str, object]], list[Change]]:
    """Return the numbers of a part, each with what it was, and the changes."""
    was = {row["measure"]: number_said(row) for row in old.numbers}
    rows, changes = [], []
    for row in part.numbers:
        text = number_said(row)
        before = was.get(row["measure"], "none")
        rows.append(row | {"was": before if before != text else ""})
        if before != text:
            changes.append(Change(part.page.title, str(row["measure"]), before, text))
    return rows, changes


def _chart(page: str, drawn: Drawn, old: Drawn) -> list[Change]:
    """Return the changes of a chart: the order of what it compares, and its result."""
    found = []
    if drawn.chart.kind == "interval":
        order, was = _order(drawn), _order(old)
        if order != was:
            found.append(Change(page, f"Order by {drawn.chart.x_label}", _listed(was), _listed(order)))
    if drawn.title != old.title:
        found.append(Change(page, drawn.about, old.title, drawn.title))
    return found


def _order(drawn: Drawn) -> list[str]:
    """Return the names that an interval chart compares, from the lowest value to the highest."""
    frame = drawn.rows.frame
    if frame.is_empty():
        return []
    return [str(name) for name in frame.drop_nulls(drawn.chart.x).sort(drawn.chart.x)[drawn.chart.y]]


def _listed(names: list[str]) -> str:
    return ", ".join(names) or "none"


def causes(
    now: duckdb.DuckDBPyConnection, before: duckdb.DuckDBPyConnection, versions: tuple[str, str], *, settings: bool
) -> list[str]:
    """Return in sentences why results can differ between two states of the lake.

    Parameters
    ----------
    now, before : duckdb connection
        With the marts of both states.
    versions : tuple of str
        Version of heelward then and now.
    settings : bool
        Whether the workspace's settings changed.
    """
    said = [*_jobs(now, before), *_files(now, before), *_picks(now, before)]
    if versions[0] != versions[1]:
        said.append(f"heelward {versions[0]} measured then, {versions[1]} now.")
    if settings:
        said.append("The settings of the workspace changed.")
    return said or ["No file, job, amendment, method or setting changed."]


def _jobs(now: duckdb.DuckDBPyConnection, before: duckdb.DuckDBPyConnection) -> list[str]:
    """Tell the jobs that came and went."""
    new, old = ({what: inert(one.sql(sql).pl()) for what, sql in _JOBS.items()} for one in (now, before))
    return [*_only(new, old, "added"), *_only(old, new, "withdrawn")]


def _only(one: dict[str, pl.DataFrame], other: dict[str, pl.DataFrame], verb: str) -> list[str]:
    """Tell the jobs that only the first of two states has."""
    told: list[str] = []
    pads: set[str] = set()
    for what, jobs in one.items():
        only = jobs.join(other[what], on=["well_id", "number"], how="anti")
        if only.height:
            told.append(f"{only.height:,} {what}{'s' if only.height > 1 else ''}")
            pads |= set(only["pad"].drop_nulls())
    if not told:
        return []
    one_only = len(told) == 1 and told[0].startswith("1 ")
    where = f" on {_named(sorted(pads))}" if pads else ""
    return [f"{_and(told)} {'was' if one_only else 'were'} {verb}{where}."]


def _files(now: duckdb.DuckDBPyConnection, before: duckdb.DuckDBPyConnection) -> list[str]:
    """Tell the files that came, with what they hold."""
    new, old = (one.sql(_FILES).pl() for one in (now, before))
    said = []
    for frame, other, verb in ((new, old, "landed"), (old, new, "replaced or withdrawn")):
        counted = frame.join(other, on="source_id", how="anti").group_by("lands").len().sort("len", "lands")
        names = [f"{count:,} of {lands.replace('_', ' ')}" for lands, count in counted.reverse().iter_rows()]
        if names:
            said.append(f"Files {verb}: {_and(names)}.")
    return said


def _picks(now: duckdb.DuckDBPyConnection, before: duckdb.DuckDBPyConnection) -> list[str]:
    """Tell the picks of the same jobs that differ: amended, by another version of a method, or from other records."""
    new, old = (inert(one.sql(_PICKS).pl()) for one in (now, before))
    both = new.join(old, on=_PICK, how="inner", suffix="_was")
    amended = both.filter(
        pl.col("amended_reason").ne_missing(pl.col("amended_reason_was"))
        | pl.col("amended_value").ne_missing(pl.col("amended_value_was"))
    )
    methods = both.filter(pl.col("version") != pl.col("version_was"))
    moved = both.filter(
        pl.col("version") == pl.col("version_was"),
        pl.col("value").ne_missing(pl.col("value_was")) | pl.col("time").ne_missing(pl.col("time_was")),
    )
    said = []
    if amended.height:
        names = [
            f"{row['well']} {row['level']} {row['number']} {in_words(row['pick'])}"
            for row in amended.sort("well", "level", "number", "pick").iter_rows(named=True)
        ]
        said.append(f"{amended.height:,} pick{_s(amended.height)} amended or confirmed: {_named(names)}.")
    if methods.height:
        kinds = methods.group_by("pick").agg(pl.max("version"), pl.max("version_was")).sort("pick")
        names = [f"{in_words(pick)} (version {was} to {is_now})" for pick, is_now, was in kinds.iter_rows()]
        said.append(f"Methods changed: {_named(names)}.")
    if moved.height:
        wells = moved["well"].unique().sort().to_list()
        said.append(f"{moved.height:,} pick{_s(moved.height)} moved with the records of {_named(wells)}.")
    return said


def _s(count: int) -> str:
    return " was" if count == 1 else "s were"


def _and(parts: list[str]) -> str:
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"


def _named(names: list[str]) -> str:
    more = len(names) - MOST_NAMED
    return _and(names) if more <= 0 else f"{', '.join(names[:MOST_NAMED])} and {more} more"
