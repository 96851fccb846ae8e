"""The drawings of the report: a frame and a chart's definition in, a Vega-Lite specification out."""

from __future__ import annotations

import json
from collections.abc import Callable
from functools import cache
from typing import Any

import altair as alt
import polars as pl

from pipeline import resources
from pipeline.report.pages import ChartSpec

HEIGHT = 300
QUIET, MARK = "#9aa0a6", "#1b4965"
Labels = dict[str, str]


@cache
def theme() -> dict[str, Any]:
    """Return the chart theme."""
    loaded: dict[str, Any] = json.loads((resources.folder("reports") / "theme.json").read_text(encoding="utf-8"))
    return loaded


def draw(spec: ChartSpec, frame: pl.DataFrame, units: Labels) -> dict[str, Any]:
    """Draw a chart.

    Parameters
    ----------
    spec : ChartSpec
    frame : polars.DataFrame
        Rows of the chart's query, not empty.
    units : dict of str to str
        Label of each column's unit, empty where it has none.

    Returns
    -------
    dict
        A Vega-Lite specification with its data.
    """
    kinds: dict[str, Callable[[ChartSpec, alt.Data, pl.DataFrame, Labels], alt.LayerChart | alt.Chart]] = {
        "trend": _trend, "stack": _stack, "bars": _bars, "interval": _interval, "strip": _strip, "scatter": _scatter,
        "timeline": _timeline, "funnel": _funnel,
    }  # fmt: skip
    data = alt.Data(values=json.loads(frame.write_json()))
    chart = kinds[spec.kind](spec, data, frame, units)
    chart = chart.properties(width="container").configure(**theme())
    built: dict[str, Any] = chart.to_dict()
    built["autosize"] = {"type": "fit-x", "contains": "padding"}
    return built


def _title(label: str, unit: str) -> str:
    return f"{label} [{unit}]" if unit and unit != "ratio" else label


def _axis(spec: ChartSpec, units: Labels, side: str) -> str:
    column, label = (spec.x, spec.x_label) if side == "x" else (spec.y, spec.y_label)
    return _title(label, units.get(column, ""))


def _tips(frame: pl.DataFrame, units: Labels) -> list[alt.Tooltip]:
    tips = []
    for name, dtype in frame.schema.items():
        title = _title(name.replace("_", " "), units.get(name, ""))
        if dtype.is_float():
            tips.append(alt.Tooltip(field=name, type="quantitative", title=title, format=",.4~g"))
        elif dtype.is_integer():
            tips.append(alt.Tooltip(field=name, type="quantitative", title=title))
        else:
            tips.append(alt.Tooltip(field=name, type="nominal", title=title))
    return tips


def _trend(spec: ChartSpec, data: alt.Data, frame: pl.DataFrame, units: Labels) -> alt.LayerChart:
    base = alt.Chart(data, height=HEIGHT)
    x = alt.X(
        field=spec.x, type="ordinal", title=_axis(spec, units, "x"), axis=alt.Axis(labelAngle=0, labelOverlap=True)
    )
    y = alt.Y(field=spec.y, type="quantitative", title=_axis(spec, units, "y"), scale=alt.Scale(zero=False))
    rules = [
        base.mark_line(color=QUIET, strokeDash=dash, strokeWidth=1.5).encode(
            x=x, y=alt.Y(field=column, type="quantitative", title=_axis(spec, units, "y"))
        )
        for column, dash in (("centre", [1, 0]), ("lower", [5, 4]), ("upper", [5, 4]))
        if frame[column].null_count() < frame.height
    ]
    line = base.mark_line(color=MARK, strokeWidth=2).encode(x=x, y=y)
    points = base.mark_point(size=80, strokeWidth=2, color=MARK, fill="white", opacity=1).encode(
        x=x,
        y=y,
        fill=alt.condition("datum.signal", alt.value(MARK), alt.value("white")),
        tooltip=_tips(frame, units),
    )
    return alt.layer(*rules, line, points)


def _colour(spec: ChartSpec, frame: pl.DataFrame) -> alt.Color:
    """Colour by a column; values that a definition lists have the same colour in every chart that lists them."""
    legend: dict[str, Any] = {"title": (spec.colour or "").replace("_", " "), "columns": 3, "labelLimit": 130}
    scale = {}
    if spec.colour_order and spec.colour:
        seen = frame[spec.colour].unique().to_list()
        order = [*spec.colour_order, *sorted(str(value) for value in seen if value not in spec.colour_order)]
        legend["values"] = [value for value in order if value in seen]
        scale = {"scale": alt.Scale(domain=order)}
    return alt.Color(field=spec.colour or "", type="nominal", legend=alt.Legend(**legend), **scale)


def _stack(spec: ChartSpec, data: alt.Data, frame: pl.DataFrame, units: Labels) -> alt.Chart:
    return _columns(spec, data, frame, units)


def _bars(spec: ChartSpec, data: alt.Data, frame: pl.DataFrame, units: Labels) -> alt.Chart:
    beside = alt.XOffset(field=spec.colour or "", type="nominal")
    return _columns(spec, data, frame, units).encode(xOffset=beside)


def _columns(spec: ChartSpec, data: alt.Data, frame: pl.DataFrame, units: Labels) -> alt.Chart:
    level = alt.Axis(labelAngle=0, labelOverlap=True)
    amount = alt.Axis(tickMinStep=1) if frame[spec.y].dtype.is_integer() else alt.Axis()
    return (
        alt.Chart(data, height=HEIGHT)
        .mark_bar()
        .encode(
            x=alt.X(field=spec.x, type="ordinal", title=_axis(spec, units, "x"), axis=level),
            y=alt.Y(field=spec.y, type="quantitative", title=_axis(spec, units, "y"), axis=amount),
            color=_colour(spec, frame),
            tooltip=_tips(frame, units),
        )
    )


def _interval(spec: ChartSpec, data: alt.Data, frame: pl.DataFrame, units: Labels) -> alt.LayerChart:
    order = frame[spec.y].to_list()
    base = alt.Chart(data, height=38 * len(order))
    y = alt.Y(
        field=spec.y, type="nominal", sort=order, title=_axis(spec, units, "y") or None, axis=alt.Axis(labelLimit=330)
    )
    zero = alt.Chart(alt.Data(values=[{"zero": 0}])).mark_rule(color=QUIET).encode(
        x=alt.X(field="zero", type="quantitative")
    )  # fmt: skip
    limits = base.mark_rule(strokeWidth=3, color=MARK).encode(
        y=y,
        x=alt.X(field="low", type="quantitative", title=_axis(spec, units, "x")),
        x2=alt.X2(field="high"),
    )
    known = f"isValid(datum['{spec.x}'])"
    points = base.mark_point(size=110, filled=True, opacity=1, color=MARK).encode(
        y=y, x=alt.X(field=spec.x, type="quantitative"), tooltip=_tips(frame, units)
    )
    absent = (
        base.transform_filter(f"!({known})")
        .transform_calculate(nowhere="0")
        .mark_point(size=110, filled=False, strokeWidth=2, color=QUIET, opacity=1)
        .encode(y=y, x=alt.X(field="nowhere", type="quantitative"), tooltip=_tips(frame, units))
    )
    layers = [zero, limits, points.transform_filter(known)]
    return alt.layer(*layers, absent) if frame[spec.x].null_count() else alt.layer(*layers)


def _strip(spec: ChartSpec, data: alt.Data, frame: pl.DataFrame, units: Labels) -> alt.LayerChart:
    base = alt.Chart(data, height=64 * frame[spec.y].n_unique())
    y = alt.Y(field=spec.y, type="nominal", title=_axis(spec, units, "y"))
    x = alt.X(
        field=spec.x,
        type="quantitative",
        title=_axis(spec, units, "x"),
        scale=alt.Scale(zero=False),
        axis=alt.Axis(tickCount=6, labelOverlap=True),
    )
    ticks = base.mark_tick(thickness=2, opacity=0.55, size=22).encode(
        y=y,
        yOffset=alt.YOffset(field=spec.colour or "", type="nominal"),
        x=x,
        color=_colour(spec, frame),
        tooltip=_tips(frame, units),
    )
    return alt.layer(ticks)


def _timeline(spec: ChartSpec, data: alt.Data, frame: pl.DataFrame, units: Labels) -> alt.Chart:
    return (
        alt.Chart(data, height=46 * frame[spec.y].n_unique())
        .mark_bar(height=24)
        .encode(
            y=alt.Y(field=spec.y, type="nominal", title=_axis(spec, units, "y") or None),
            x=alt.X(
                field=spec.x,
                type="temporal",
                title=_axis(spec, units, "x"),
                axis=alt.Axis(format="%d %b %H:%M", tickCount=5, labelOverlap=True, labelBound=True),
            ),
            x2=alt.X2(field=spec.x_end or spec.x),
            color=_colour(spec, frame),
            tooltip=_tips(frame, units),
        )
    )


def _funnel(spec: ChartSpec, data: alt.Data, frame: pl.DataFrame, units: Labels) -> alt.LayerChart:
    """Proportions against their counts, within limits that narrow as counts grow."""
    base = alt.Chart(data, height=HEIGHT)
    x = alt.X(field=spec.x, type="quantitative", title=_axis(spec, units, "x"), scale=alt.Scale(zero=False))
    title = _axis(spec, units, "y")

    def y(column: str) -> alt.Y:
        return alt.Y(field=column, type="quantitative", title=title, axis=alt.Axis(format="%"))

    lines = [
        base.transform_filter(f"datum['{spec.colour}'] == 'limits'")
        .mark_line(color=QUIET, strokeDash=dash, strokeWidth=1.5)
        .encode(x=x, y=y(column))
        for column, dash in (
            ("target", [1, 0]), ("low_95", [5, 4]), ("high_95", [5, 4]), ("low_998", [2, 3]), ("high_998", [2, 3]),
        )
    ]  # fmt: skip
    crews = base.transform_filter(f"datum['{spec.colour}'] != 'limits'")
    points = crews.mark_point(size=90, filled=True, opacity=1).encode(
        x=x,
        y=y(spec.y),
        color=_colour(spec, frame),
        shape=alt.Shape(field=spec.colour or "", type="nominal"),
        tooltip=_tips(frame, units),
    )
    return alt.layer(*lines, points)


def _scatter(spec: ChartSpec, data: alt.Data, frame: pl.DataFrame, units: Labels) -> alt.LayerChart:
    chosen = alt.selection_point(fields=[spec.colour or ""], bind="legend", name=f"chosen_{spec.query}")
    x = alt.X(field=spec.x, type="quantitative", title=_axis(spec, units, "x"), scale=alt.Scale(zero=False))
    y = alt.Y(field=spec.y, type="quantitative", title=_axis(spec, units, "y"), scale=alt.Scale(zero=False))
    points = (
        alt.Chart(data, height=HEIGHT)
        .mark_point(filled=True, size=42)
        .encode(
            x=x,
            y=y,
            color=_colour(spec, frame),
            shape=alt.Shape(field=spec.colour or "", type="nominal"),
            opacity=alt.condition(chosen, alt.value(0.75), alt.value(0.08)),
            tooltip=_tips(frame, units),
        )
        .add_params(chosen)
    )
    layers: list[Any] = []
    if spec.diagonal:
        both = [*frame[spec.x].drop_nulls().to_list(), *frame[spec.y].drop_nulls().to_list()]
        ends = [{spec.x: value, spec.y: value} for value in (min(both), max(both))]
        layers.append(alt.Chart(alt.Data(values=ends)).mark_line(color=QUIET, strokeDash=[5, 4]).encode(x=x, y=y))
    return alt.layer(*layers, points)
