"""The tables beside a record's drawings: picks, measures, design, amendments."""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from pipeline.metrics.declare import Level
from pipeline.metrics.well import Rows
from pipeline.picks.catalogue import is_time
from pipeline.report.plain_words import in_words
from pipeline.report.text import cell
from pipeline.units import format_number, shown, with_unit

LONG = 25
"""A longer table of measures is folded. [rows]"""
DECISIONS = ("screenout", "pressure_out")
"""Picks that are 1 or 0."""


@dataclass(frozen=True)
class Facts:
    """A table beside the drawings: title, headings (True for a column of numbers), rows of texts."""

    title: str
    heads: list[tuple[str, bool]]
    rows: list[list[str]]
    folded: bool = False


def pick_rows(picks: Rows, origin: datetime, system: str) -> list[dict[str, Any]]:
    """Return picks for the page's table, with the options of the commands that change them."""
    rows = []
    for row in picks:
        amended = row["amended_reason"] is not None
        moment, now = row["time"], row["amended_time"]
        options = [_option(row["pick"], now or moment)]
        if row["value"] is not None or row["time"] is not None:
            options.append("--confirm")
        rows.append(
            {
                "name": in_words(row["pick"]), "key": row["pick"], "level": row["level"], "number": row["number"],
                "value": _said(row["pick"], row["value"], row["unit"], system), "amended": amended,
                "state": "amended" if differs(row) else "confirmed",
                "error": _amount(row["standard_error"], row["unit"], system, error=True),
                "time": _moment(moment, origin), "confidence": row["confidence"], "reason": row["reason"],
                "method": row["method"], "options": options,
                "set_value": _said(row["pick"], row["amended_value"], row["unit"], system),
                "set_time": _moment(now, origin), "set_reason": row["amended_reason"] or "",
            }
        )  # fmt: skip
    return rows


def differs(row: dict[str, Any]) -> bool:
    """Whether an engineer changed a pick: a confirmed one is as it was picked."""
    now = row["amended_value"], row["amended_time"]
    return row["amended_reason"] is not None and now != (row["value"], row["time"])


def _option(pick: str, moment: datetime | None) -> str:
    """Return the option that amends a pick; a time is in UTC, as the page shows it."""
    if not is_time(pick):
        return "--value NUMBER"
    return f"--time '{'YYYY-MM-DD HH:MM:SS' if moment is None else f'{moment:%Y-%m-%d %H:%M:%S}'}+00:00'"


def _said(pick: str, value: float | None, unit: str, system: str) -> str:
    if pick in DECISIONS and value is not None:
        return "yes" if value else "no"
    return _amount(value, unit, system)


def _amount(value: float | None, unit: str, system: str, *, error: bool = False) -> str:
    if value is None:
        return "–"
    line, label = shown(unit, system)
    number = format_number(value * line.factor + (0.0 if error else line.offset), 2 if error else 4)
    return number if unit in ("", "ratio") else f"{number} {label}"


def _moment(moment: datetime | None, origin: datetime) -> str:
    if moment is None:
        return "–"
    return f"{moment:%Y-%m-%d %H:%M:%S} ({format_number((moment - origin).total_seconds() / 60.0, 4)} min)"


def measures(row: dict[str, Any], level: Level[Any], system: str) -> Facts:
    """Return the table of what was measured; it has no row for what is missing."""
    rows = []
    for metric in level.metrics.values():
        value = row.get(metric.name)
        if value is None:
            continue
        line, label = shown(metric.unit, system)
        said = cell(value * line.factor + line.offset if metric.kind == "number" else value)
        name = in_words(metric.name, metric.unit)
        rows.append([with_unit(name, label), said])
    return Facts("Measured", [("", False), ("measured", True)], rows, folded=len(rows) > LONG)


COMPARED: tuple[tuple[str, str, str | None, str, str | None], ...] = (
    ("slurry rate, at 90 % of the design or more", "bpm", "designed_rate_bpm", "at_rate_rate_bpm", None),
    ("mean slurry rate, ramps included", "bpm", None, "avg_slurry_rate_bpm", "avg_slurry_rate_bpm"),
    ("highest slurry rate", "bpm", None, "max_slurry_rate_bpm", "max_slurry_rate_bpm"),
    ("mean treating pressure", "psi", None, "avg_treating_pressure_psi", "avg_treating_pressure_psi"),
    ("highest pressure of the main treatment", "psi", "pressure_limit_psi", "max_treating_pressure_psi",
     "max_treating_pressure_psi"),
    ("breakdown pressure", "psi", None, "breakdown_pressure_psi", "breakdown_pressure_psi"),
    ("ISIP", "psi", None, "isip_psi", "isip_psi"),
    ("pressure after 5 min", "psi", None, "pressure_5min_psi", "pressure_5min_psi"),
    ("pressure after 10 min", "psi", None, "pressure_10min_psi", "pressure_10min_psi"),
    ("pressure after 15 min", "psi", None, "pressure_15min_psi", "pressure_15min_psi"),
    ("clean fluid", "bbl", "designed_fluid_bbl", "clean_bbl", "clean_bbl"),
    ("flush", "bbl", None, "flush_bbl", "flush_bbl"),
    ("proppant", "lbm", "designed_proppant_lbm", "proppant_lbm", "proppant_lbm"),
)  # fmt: skip
"""What a stage's table compares: words, lake unit, column of the design (or limit), of the measures, of the report."""


def design_against_record(
    designed: dict[str, Any],
    measured: dict[str, Any],
    reported: dict[str, Any],
    system: str,
    amended: Collection[str] = (),
) -> Facts:
    """Return the table of design, record and the provider's report; a row for each that has any of them.

    Of the measures, those that follow an amended pick of the same name say so.
    """
    rows = []
    for words, unit, design, measure, report in COMPARED:
        values = [
            designed.get(design) if design else None,
            measured.get(measure),
            reported.get(report) if report else None,
        ]
        if any(value is not None for value in values):
            line, label = shown(unit, system)
            texts = ["–" if value is None else format_number(value * line.factor + line.offset) for value in values]
            if values[1] is not None and {measure, measure.removesuffix("_psi")} & set(amended):
                texts[1] += " (amended)"
            rows.append([f"{words} [{label}]", *texts])
    heads = [("", False), ("design or limit", True), ("measured", True), ("reported", True)]
    return Facts("Design against record", heads, rows)


def _as_picked(row: dict[str, Any], picks: Rows) -> bool:
    key = row["level"], row["number"], row["pick"]
    mine = next((one for one in picks if (one["level"], one["number"], one["pick"]) == key), None)
    if mine is None:
        return False
    value = mine["value"] if row["value"] is None else row["value"]
    moment = mine["time"] if row["time"] is None else row["time"]
    return bool((value, moment) == (mine["value"], mine["time"]))


def verdict(design: dict[str, Any], measured: dict[str, Any], shown_name: Callable[[str], str]) -> str:
    """Return a stage's design, crew and end in a few words."""
    names = [f"{word} {shown_name(design[name])}" for word, name in (("design", "design"), ("by", "frac_crew"))
             if design.get(name)]  # fmt: skip
    ends = {"screenout": "screened out", "pressure_out": "pressured out", "cut_short": "cut short"}
    ended = [words for name, words in ends.items() if measured.get(name)]
    return ", ".join([*names, *ended])


def history(amendments: Rows, picks: Rows) -> Facts:
    """Return the amendments of a record, the latest first; a run's page has those of its plugs."""
    of = {(row["level"], row["number"]) for row in picks}
    rows = [
        [f"{row['at']:%Y-%m-%d %H:%M}", row["by"], f"{row['level']} {row['number']}, {row['pick'].replace('_', ' ')}",
         "withdrawn" if row["withdrawn"] else "as it was picked" if _as_picked(row, picks) else "; ".join(
             cell(value) for value in (row["value"], row["time"]) if value is not None), row["why"]]
        for row in amendments
        if (row["level"], row["number"]) in of
    ]  # fmt: skip
    heads = [("when (UTC)", False), ("who", False), ("pick", False), ("set to, in lake units", False), ("why", False)]
    return Facts("History: amendments and confirmations", heads, rows)
