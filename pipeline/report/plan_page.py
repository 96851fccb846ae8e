"""The page of a plan: figures of each design, and trade-offs of margin, hours, cost and production."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import polars as pl
import vl_convert
from markupsafe import Markup

from pipeline.files import replace_text
from pipeline.plan.compare import Planned
from pipeline.report.pages import ChartSpec, Labels
from pipeline.report.sketch import sketch
from pipeline.report.text import CAUTION, cell
from pipeline.report.theme import render
from pipeline.units import format_number

TRADES = (
    ("pad_hours", "pressure_margin", "Hours to fracture the pad", "Margin to the pressure limit at the toe"),
    ("cost_per_stage", "oil_180_days", "Cost per stage", "Oil at 180 days on"),
)
"""Pairs of quantities in trade-off charts: x, y and their axis titles."""
NONE_INSIDE = "No design is inside the range of the data for both quantities."


def write_plan(planned: Planned, path: Path) -> Path:
    """Write a plan's page.

    Parameters
    ----------
    planned : Planned
        In display units.
    path : Path
        An ``.html`` file.
    """
    designs = [design.name for design in planned.plan.designs]
    figures: dict[str, dict[str, Any]] = {}
    for line in planned.lines:
        row = figures.setdefault(line.quantity, {"unit": line.unit, "basis": line.basis, "cells": {}})
        row["cells"][line.design] = _cell(line.value, line.low, line.high, line.note)
    table = planned.table()
    charts = [{"svg": _trade(table, *trade), "alt": f"{trade[3]} against {trade[2]}"} for trade in TRADES]
    taught = [
        {
            "name": name,
            "trials": None if isinstance(found, str) else found,
            "note": found if isinstance(found, str) else "",
        }
        for name, found in planned.taught.items()
    ]
    html = render(
        "plan.html", title=f"Designs for {planned.plan.pad.name}", caution=CAUTION, designs=designs, figures=figures,
        verdict=planned.ranking.verdict, charts=charts, none_inside=NONE_INSIDE, taught=taught,
    )  # fmt: skip
    path.parent.mkdir(parents=True, exist_ok=True)
    replace_text(path, html)
    return path


def _cell(value: float | None, low: float | None, high: float | None, note: str) -> dict[str, str]:
    shown = "" if low is None or high is None else f"{format_number(low)} to {format_number(high)}"
    return {"text": cell(value), "range": shown, "note": note}


def _trade(lines: pl.DataFrame, x: str, y: str, x_title: str, y_title: str) -> Markup | None:
    """Draw two quantities of all designs with their intervals; None if no design has both."""
    found = {side: lines.filter(pl.col("quantity") == name) for side, name in (("x", x), ("y", y))}
    sides = [
        frame.select("design", pl.col("value").alias(side), pl.col("low").alias(f"{side}_low"),
                     pl.col("high").alias(f"{side}_high"))
        for side, frame in found.items()
    ]  # fmt: skip
    both = (
        sides[0].join(sides[1], on="design").drop_nulls(["x", "y"]).with_columns(pl.exclude("design").cast(pl.Float64))
    )
    if both.is_empty():
        return None
    spec = ChartSpec(
        kind="trade", query="", title="", x="x", y="y", colour="design", x_label=x_title, y_label=y_title, words=""
    )
    units = {side: frame["unit"][0] for side, frame in found.items()}
    drawn = sketch(spec, both, Labels(units, {"design": "Candidate"})).spec | {"width": 420}
    return Markup(vl_convert.vegalite_to_svg(drawn))
