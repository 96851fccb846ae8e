"""The page of a plan: figures of each design, and how margin, hours, cost and production trade off."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import altair as alt
import polars as pl
import vl_convert
from markupsafe import Markup

from pipeline.plan.run import Planned
from pipeline.report.build import CAUTION, cell, render
from pipeline.report.charts import MARK, QUIET, theme
from pipeline.workspace import replace_text

TRADES = (
    ("pad_hours", "pressure_margin", "Hours to fracture the pad [h]", "Margin to the pressure limit at the toe [psi]"),
    ("cost_per_stage", "oil_180_days", "Cost per stage [1000 USD]", "Oil at 180 days on [bbl/ft]"),
)
"""Quantities set against each other: x, y and their axis titles."""


def write_plan(planned: Planned, path: Path) -> Path:
    """Write a plan's page.

    Parameters
    ----------
    planned : Planned
    path : Path
        An ``.html`` file.
    """
    designs = [design.name for design in planned.plan.designs]
    figures: dict[str, dict[str, Any]] = {}
    for line in planned.lines:
        row = figures.setdefault(line.quantity, {"unit": line.unit, "basis": line.basis, "cells": {}})
        row["cells"][line.design] = _cell(line.value, line.low, line.high, line.note)
    table = planned.table()
    charts = [{"svg": Markup(_trade(table, *trade)), "alt": f"{trade[3]} against {trade[2]}"} for trade in TRADES]
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
        verdict=planned.ranking.verdict, charts=charts, taught=taught,
    )  # fmt: skip
    path.parent.mkdir(parents=True, exist_ok=True)
    replace_text(path, html)
    return path


def _cell(value: float | None, low: float | None, high: float | None, note: str) -> dict[str, str]:
    shown = "" if low is None or high is None else f"{low:,.4g} to {high:,.4g}"
    return {"text": cell(value), "range": shown, "note": note}


def _trade(lines: pl.DataFrame, x: str, y: str, x_title: str, y_title: str) -> str:
    """Draw two quantities of all designs with their intervals; designs without a value stay away."""
    wide = lines.filter(pl.col("quantity") == x).join(
        lines.filter(pl.col("quantity") == y), on="design", suffix="_y"
    ).drop_nulls(["value", "value_y"])  # fmt: skip
    columns = ["design", "value", "low", "high", "value_y", "low_y", "high_y"]
    data = alt.Data(values=wide.select(columns).to_dicts())
    if wide.is_empty():
        text = alt.Chart(alt.Data(values=[{"t": "No design lies inside the data of both quantities"}]))
        chart: Any = text.mark_text(color=QUIET, fontSize=13).encode(text="t:N").properties(width=420, height=80)
    else:
        base = alt.Chart(data, width=420, height=260)
        xs = alt.X("value:Q", title=x_title, scale=alt.Scale(zero=False))
        ys = alt.Y("value_y:Q", title=y_title, scale=alt.Scale(zero=False))
        across = base.mark_rule(color=MARK, strokeWidth=2).encode(x=alt.X("low:Q", title=x_title), x2="high:Q", y=ys)
        upright = base.mark_rule(color=MARK, strokeWidth=2).encode(
            x=xs, y=alt.Y("low_y:Q", title=y_title), y2="high_y:Q"
        )
        points = base.mark_point(filled=True, size=110, color=MARK, opacity=1).encode(x=xs, y=ys)
        names = base.mark_text(align="left", dx=9, dy=-9, fontSize=12).encode(x=xs, y=ys, text="design:N")
        chart = alt.layer(across, upright, points, names)
    return str(vl_convert.vegalite_to_svg(chart.configure(**theme()).to_dict()))
