"""Charts of the report: convert a frame and a chart's definition to a Vega-Lite specification."""

from __future__ import annotations

import json
import textwrap
from collections.abc import Callable, Sequence
from typing import Any

import altair as alt
import polars as pl
from altair.utils.schemapi import debug_mode

from pipeline.report.pages import ChartSpec, Labels
from pipeline.report.theme import chart_theme
from pipeline.units import with_unit

CHECKED = False
"""Whether charts are held against the schema of Vega-Lite: the tests do; a report does not spend time on it."""
HEIGHT = 300
LINE = {"x": 28, "y": 42}
"""Longest line of an axis title: beside long names, the axis of a narrow screen is short. [characters]"""
QUIET, MARK, PAPER, SECOND = "var(--quiet)", "var(--mark)", "var(--paper)", "var(--two)"
INK = "var(--ink)"
ROWS, CELLS = "rows", "cells"
"""Names of a chart's data: the rows it draws; the cells it sums for the jobs that a reader selects."""
TIPS = alt.TooltipValue("")
"""Stands for a chart's tooltips until it is built: they are long, and every step of building would copy them."""
PICKED = "picked"
"""Whether a reader has selected jobs: a parameter of charts that sum cells."""
_LABELS = alt.expr("containerSize()[0] < 420 ? 150 : 330")
"""Maximum width of a row label: leaves space for the values on a narrow screen. [px]"""


def draw(
    spec: ChartSpec, frame: pl.DataFrame, labels: Labels, cells: list[dict[str, Any]] | None = None
) -> dict[str, Any]:
    """Draw a chart.

    Parameters
    ----------
    spec : ChartSpec
    frame : polars.DataFrame
        Rows of the chart's query, not empty.
    labels : Labels
    cells : list of dict, optional
        Rows of the chart's cells.

    Returns
    -------
    dict
        A Vega-Lite specification with its data under the name ``rows``; its colours are names.
    """
    kinds: dict[str, Callable[[ChartSpec, alt.Data, pl.DataFrame, Labels], alt.LayerChart | alt.Chart]] = {
        "trend": _trend, "stack": _stack, "bars": _bars, "interval": _interval, "strip": _strip, "scatter": _scatter,
        "timeline": _timeline, "funnel": _funnel, "trade": _trade, "cells": _cells,
    }  # fmt: skip
    with debug_mode(False):
        chart = kinds[spec.kind](spec, alt.NamedData(name=ROWS), frame, labels)
        built: dict[str, Any] = chart.to_dict(validate=False)
    built |= {"width": "container", "config": chart_theme()}
    tips = _tips_of(spec, frame, labels)
    for layer in built.get("layer", [built]):
        if "tooltip" in layer["encoding"]:
            layer["encoding"]["tooltip"] = tips
    if CHECKED:
        alt.TopLevelSpec.validate(built)
    built["datasets"] = {ROWS: json.loads(frame.write_json())} | ({} if cells is None else {CELLS: cells})
    built["autosize"] = {"type": "fit-x", "contains": "padding"}
    return built


def _axis(spec: ChartSpec, labels: Labels, side: str) -> list[str] | None:
    """Return an axis title with its unit, wrapped for a narrow screen."""
    column, label = (spec.x, spec.x_label) if side == "x" else (spec.y, spec.y_label)
    return textwrap.wrap(with_unit(label, labels.unit(column)), LINE[side]) or None


def _format(column: str, labels: Labels, digits: int = 5) -> str:
    """Return the format of a column's numbers: shares and probabilities are per cent, and no number has an exponent."""
    per_cent = any(word in column for word in ("share", "p_value", "chance", "target"))
    return ".1%" if per_cent and labels.unit(column) in ("", "ratio") else f",.{digits}~r"


def _tips(frame: pl.DataFrame, labels: Labels, times: Sequence[str | None] = ()) -> list[dict[str, Any]]:
    """Return what a reader sees at a mark. Yes and no are seen in the mark itself; `times` are drawn as times."""
    tips = []
    for name, dtype in frame.drop("well_id", strict=False).schema.items():  # the name is told
        if dtype == pl.Boolean:
            continue
        tip = {"field": name, "title": labels.heading(name), "type": "nominal"}
        if name in times:
            tip |= {"type": "temporal", "format": "%Y-%m-%d %H:%M"}
        elif dtype.is_float():
            tip |= {"type": "quantitative", "format": _format(name, labels)}
        elif dtype.is_integer():
            tip |= {"type": "quantitative"}
        tips.append(tip)
    return tips


def _tips_of(spec: ChartSpec, frame: pl.DataFrame, labels: Labels) -> list[dict[str, Any]]:
    """Return what a reader sees at the marks of a chart; of rows that are summed, the sum."""
    if spec.kind == "timeline":
        return _tips(frame, labels, (spec.x, spec.x_end))
    if spec.kind not in ("stack", "bars") or not _piled(spec, frame):
        return _tips(frame, labels)
    tips = _tips(frame.select(*_keys(spec), spec.y), labels)
    return [*tips[:-1], tips[-1] | {"aggregate": "sum", "type": "quantitative", "format": ",.5~r"}]


def _keys(spec: ChartSpec) -> list[str]:
    return [spec.x, *([spec.colour] if spec.colour else [])]


def _piled(spec: ChartSpec, frame: pl.DataFrame) -> bool:
    """Whether rows of several jobs are summed to one bar, not stacked as thin slices."""
    return bool(frame.select(_keys(spec)).is_duplicated().any())


def _every_quarter(spec: ChartSpec, frame: pl.DataFrame) -> dict[str, alt.Scale]:
    """Return the scale of an axis of quarters, with those that have no row."""
    known = sorted(value for value in frame[spec.x].unique().to_list() if value is not None)
    if spec.x != "quarter" or not known:
        return {}
    first, last = (int(value[:4]) * 4 + int(value[-1]) - 1 for value in (known[0], known[-1]))
    return {"scale": alt.Scale(domain=[f"{one // 4}Q{one % 4 + 1}" for one in range(first, last + 1)])}


def _trend(spec: ChartSpec, data: alt.NamedData, frame: pl.DataFrame, labels: Labels) -> alt.LayerChart:
    base = alt.Chart(data, height=HEIGHT)
    x = alt.X(
        field=spec.x, type="ordinal", title=_axis(spec, labels, "x"), axis=alt.Axis(labelAngle=0, labelOverlap=True),
        **_every_quarter(spec, frame),
    )  # fmt: skip
    y = alt.Y(field=spec.y, type="quantitative", title=_axis(spec, labels, "y"), scale=alt.Scale(zero=False))
    rules = [
        base.mark_line(color=QUIET, strokeDash=dash, strokeWidth=1.5).encode(
            x=x, y=alt.Y(field=column, type="quantitative", title=_axis(spec, labels, "y"))
        )
        for column, dash in (("centre", [1, 0]), ("lower", [5, 4]), ("upper", [5, 4]))
        if frame[column].null_count() < frame.height
    ]
    line = base.mark_line(color=MARK, strokeWidth=2).encode(x=x, y=y)
    points = base.mark_point(size=80, strokeWidth=2, color=MARK, fill=PAPER, opacity=1).encode(
        x=x,
        y=y,
        fill=alt.condition("datum.signal", alt.value(MARK), alt.value(PAPER)),
        tooltip=TIPS,
    )
    layers = [*rules, line, points]
    if spec.cells:
        # drawn over the line of all jobs, and hidden until a reader selects jobs
        seen = alt.param(name=PICKED, value=False)
        chosen = (
            alt.Chart(alt.NamedData(name=CELLS), height=HEIGHT)
            .transform_aggregate(total="sum(total)", n="sum(n)", groupby=[spec.x])
            .transform_calculate(chosen="datum.total / datum.n")
        )
        mean = alt.Y(field="chosen", type="quantitative", title=_axis(spec, labels, "y"))
        marks = {"color": SECOND, "opacity": alt.expr(f"{PICKED} ? 1 : 0")}
        layers += [
            chosen.mark_line(strokeWidth=2.5, **marks).encode(x=x, y=mean),
            chosen.mark_point(filled=True, size=70, shape="square", **marks).encode(x=x, y=mean),
        ]
        return alt.layer(*layers).add_params(seen)
    return alt.layer(*layers)


def _told_apart(spec: ChartSpec, frame: pl.DataFrame) -> bool:
    """Whether each value has a different colour; with more values than colours, only the tooltip shows the value."""
    return spec.colour is not None and frame[spec.colour].n_unique() <= len(chart_theme()["range"]["category"])


def _shape(spec: ChartSpec, frame: pl.DataFrame) -> alt.Shape | alt.ShapeValue:
    if not _told_apart(spec, frame):
        return alt.ShapeValue("circle")
    return alt.Shape(field=spec.colour or "", type="nominal")


def _colour(spec: ChartSpec, frame: pl.DataFrame, labels: Labels) -> alt.Color | alt.ColorValue:
    """Colour by a column; listed values have the same colour in every chart that lists them."""
    if not _told_apart(spec, frame):
        return alt.ColorValue(MARK)
    legend: dict[str, Any] = {
        "title": labels.heading(spec.colour or ""),
        "columns": alt.expr("width < 330 ? 2 : 3"),
        "labelLimit": 130,
    }
    scale = {}
    if spec.colour_order and spec.colour:
        seen = frame[spec.colour].unique().to_list()
        order = [*spec.colour_order, *sorted(str(value) for value in seen if value not in spec.colour_order)]
        legend["values"] = [value for value in order if value in seen]
        scale = {"scale": alt.Scale(domain=order)}
    return alt.Color(field=spec.colour or "", type="nominal", legend=alt.Legend(**legend), **scale)


def _stack(spec: ChartSpec, data: alt.NamedData, frame: pl.DataFrame, labels: Labels) -> alt.Chart:
    return _columns(spec, data, frame, labels)


def _bars(spec: ChartSpec, data: alt.NamedData, frame: pl.DataFrame, labels: Labels) -> alt.Chart:
    beside = alt.XOffset(field=spec.colour or "", type="nominal")
    return _columns(spec, data, frame, labels).encode(xOffset=beside)


def _columns(spec: ChartSpec, data: alt.NamedData, frame: pl.DataFrame, labels: Labels) -> alt.Chart:
    in_order = spec.x == "quarter"  # of quarters some may be left out where there is no room; names must all be read
    narrow = "false" if in_order else "width < 90 * domain('x').length"
    level = alt.Axis(
        labelAngle=alt.expr(f"{narrow} ? -35 : 0"), labelAlign=alt.expr(f"{narrow} ? 'right' : 'center'"),
        labelOverlap=in_order,
    )  # fmt: skip
    amount = alt.Axis()
    if frame[spec.y].dtype.is_integer():  # counts have whole-number ticks
        highest = frame.group_by(spec.x).agg(pl.col(spec.y).sum())[spec.y].max()
        amount = alt.Axis(tickCount=max(1, min(int(highest), 8)), format="d")  # type: ignore[arg-type]
    summed: dict[str, Any] = {"aggregate": "sum"} if _piled(spec, frame) else {}
    return (
        alt.Chart(data, height=HEIGHT)
        .mark_bar()
        .encode(
            x=alt.X(
                field=spec.x, type="ordinal", title=_axis(spec, labels, "x"), axis=level, **_every_quarter(spec, frame)
            ),
            y=alt.Y(field=spec.y, type="quantitative", title=_axis(spec, labels, "y"), axis=amount, **summed),
            color=_colour(spec, frame, labels),
            tooltip=TIPS,
        )
    )


def _interval(spec: ChartSpec, data: alt.NamedData, frame: pl.DataFrame, labels: Labels) -> alt.LayerChart:
    order = frame[spec.y].to_list()
    base = alt.Chart(data, height=38 * len(order))
    y = alt.Y(
        field=spec.y, type="nominal", sort=order, title=_axis(spec, labels, "y"), axis=alt.Axis(labelLimit=_LABELS)
    )
    zero = alt.Chart(alt.Data(values=[{"zero": 0}])).mark_rule(color=QUIET).encode(
        x=alt.X(field="zero", type="quantitative")
    )  # fmt: skip
    limits = base.mark_rule(strokeWidth=3, color=MARK).encode(
        y=y,
        x=alt.X(field="low", type="quantitative", title=_axis(spec, labels, "x"), axis=alt.Axis(labelOverlap=True)),
        x2=alt.X2(field="high"),
    )
    known = f"isValid(datum['{spec.x}'])"
    points = base.mark_point(size=110, filled=True, opacity=1, color=MARK).encode(
        y=y, x=alt.X(field=spec.x, type="quantitative", axis=alt.Axis(labelOverlap=True)), tooltip=TIPS
    )
    absent = (
        base.transform_filter(f"!({known})")
        .mark_text(align="left", dx=6, color=QUIET, fontSize=12, text=spec.absent)
        .encode(y=y, x=alt.XDatum(0), tooltip=TIPS)
    )
    layers = [zero, limits, points.transform_filter(known)]
    return alt.layer(*layers, absent) if frame[spec.x].null_count() else alt.layer(*layers)


def _strip(spec: ChartSpec, data: alt.NamedData, frame: pl.DataFrame, labels: Labels) -> alt.LayerChart:
    order = frame[spec.y].unique(maintain_order=True).to_list()  # as the query gives them
    base = alt.Chart(data, height=64 * len(order))
    y = alt.Y(field=spec.y, type="nominal", sort=order, title=_axis(spec, labels, "y"))
    x = alt.X(
        field=spec.x,
        type="quantitative",
        title=_axis(spec, labels, "x"),
        scale=alt.Scale(zero=False),
        axis=alt.Axis(tickCount=6, labelOverlap=True),
    )
    ticks = base.mark_tick(thickness=2, opacity=0.55, size=22).encode(
        y=y,
        yOffset=alt.YOffset(field=spec.colour or "", type="nominal"),
        x=x,
        color=_colour(spec, frame, labels),
        tooltip=TIPS,
    )
    return alt.layer(ticks)


def _timeline(spec: ChartSpec, data: alt.NamedData, frame: pl.DataFrame, labels: Labels) -> alt.Chart:
    return (
        alt.Chart(data, height=46 * frame[spec.y].n_unique())
        .mark_bar(height=24)
        .encode(
            y=alt.Y(field=spec.y, type="nominal", title=_axis(spec, labels, "y")),
            x=alt.X(
                field=spec.x,
                type="temporal",
                title=_axis(spec, labels, "x"),
                axis=alt.Axis(format="%d %b %H:%M", tickCount=5, labelOverlap=True, labelBound=True),
            ),
            x2=alt.X2(field=spec.x_end or spec.x),
            color=_colour(spec, frame, labels),
            tooltip=TIPS,
        )
    )


def _funnel(spec: ChartSpec, data: alt.NamedData, frame: pl.DataFrame, labels: Labels) -> alt.LayerChart:
    """Proportions against their counts, with limits that become narrower as counts grow."""
    base = alt.Chart(data, height=HEIGHT)
    x = alt.X(field=spec.x, type="quantitative", title=_axis(spec, labels, "x"), scale=alt.Scale(zero=False))
    title = _axis(spec, labels, "y")

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
        color=_colour(spec, frame, labels),
        shape=_shape(spec, frame),
        tooltip=TIPS,
    )
    return alt.layer(*lines, points)


def _scatter(spec: ChartSpec, data: alt.NamedData, frame: pl.DataFrame, labels: Labels) -> alt.LayerChart:
    chosen = alt.selection_point(fields=[spec.colour or ""], bind="legend", name=f"chosen_{spec.query}")
    x = alt.X(field=spec.x, type="quantitative", title=_axis(spec, labels, "x"), scale=alt.Scale(zero=False))
    y = alt.Y(field=spec.y, type="quantitative", title=_axis(spec, labels, "y"), scale=alt.Scale(zero=False))
    points: Any = (
        alt.Chart(data, height=HEIGHT)
        .mark_point(filled=True, size=42)
        .encode(
            x=x,
            y=y,
            color=_colour(spec, frame, labels),
            shape=_shape(spec, frame),
            tooltip=TIPS,
        )
    )
    if _told_apart(spec, frame):
        faded = alt.condition(chosen, alt.value(0.75), alt.value(0.08))
        points = points.encode(opacity=faded).add_params(chosen)
    layers: list[Any] = []
    if spec.diagonal:
        both = [*frame[spec.x].drop_nulls().to_list(), *frame[spec.y].drop_nulls().to_list()]
        ends = [{spec.x: value, spec.y: value} for value in (min(both), max(both))]
        layers.append(alt.Chart(alt.Data(values=ends)).mark_line(color=QUIET, strokeDash=[5, 4]).encode(x=x, y=y))
    return alt.layer(*layers, points)


# Quantized, because the names of colours cannot be mixed.
STEPS = [f"var(--{name})" for name in ("least", "less", "middle", "more", "most")]
ON_STEPS = [INK, INK, INK, PAPER, PAPER]
"""Colours of letters that are read on these steps."""
FLAGS = {"screen-out": "S", "pressure-out": "P", "cut short": "C"}
"""Letters in cells, by how the stage ended; `LEFT_OUT` in that of a stage that is not compared."""
LEFT_OUT = "X"
SURE = {"low": "?", "amended": "A"}
"""Letters in cells, by the confidence of what is drawn."""


def _usual(values: pl.Series) -> list[float]:
    """Return the span of values without the highest and lowest twentieth: one odd stage must not take all colours."""
    low, high = (float(values.quantile(share, "linear") or 0.0) for share in (0.05, 0.95))
    return [low, high] if high > low else [low - 0.5, low + 0.5]


def _cells(spec: ChartSpec, data: alt.NamedData, frame: pl.DataFrame, labels: Labels) -> alt.LayerChart:
    """One row per well, one cell per stage; stages without a value have none."""
    measure = spec.colour or ""
    order = frame[spec.y].unique(maintain_order=True).to_list()  # as the query gives them
    base = alt.Chart(data, height=22 * len(order) + 10).transform_filter(f"isValid(datum['{measure}'])")
    x = alt.X(
        field=spec.x, type="ordinal", title=_axis(spec, labels, "x"), axis=alt.Axis(labelAngle=0, labelOverlap=True)
    )
    y = alt.Y(field=spec.y, type="nominal", sort=order, title=None, axis=alt.Axis(labelLimit=_LABELS))
    title = textwrap.wrap(with_unit(spec.colour_label, labels.unit(measure)), LINE["y"])
    legend = alt.Legend(
        title=title,
        titleLimit=400,
        gradientLength=alt.expr("min(width, 300)"),
        format=_format(measure, labels, digits=4),
    )
    span: dict[str, Any] = {"type": "quantize", "zero": False, "domain": _usual(frame[measure])}
    if spec.steps is not None:
        span = {"type": "threshold", "domain": spec.steps}

    def coloured(steps: list[str], shown: alt.Legend | None) -> alt.Color:
        return alt.Color(field=measure, type="quantitative", scale=alt.Scale(range=steps, **span), legend=shown)

    cells = base.mark_rect(stroke=PAPER, strokeWidth=1, cursor="pointer").encode(
        x=x, y=y, tooltip=TIPS, color=coloured(STEPS, legend)
    )
    letter = f"(datum.compared === false ? '{LEFT_OUT}' : {json.dumps(FLAGS)}[datum.ended] || '')"
    if spec.confidence is not None:
        letter += f" + ({json.dumps(SURE)}[datum['{spec.confidence}']] || '')"
    flagged = base.transform_calculate(letter=letter).transform_filter("datum.letter")
    letters = flagged.mark_text(fontWeight="bold", fontSize=13, cursor="pointer").encode(
        x=x, y=y, text=alt.Text(field="letter", type="nominal"), tooltip=TIPS, color=coloured(ON_STEPS, None)
    )
    return alt.layer(cells, letters).resolve_scale(color="independent")


def _trade(spec: ChartSpec, data: alt.NamedData, frame: pl.DataFrame, labels: Labels) -> alt.LayerChart:
    """Two quantities against each other, with intervals and names; rows without both values are not drawn."""
    base = alt.Chart(data, height=HEIGHT).transform_filter(f"isValid(datum['{spec.x}']) && isValid(datum['{spec.y}'])")

    def at(side: str, end: str = "") -> dict[str, Any]:
        column = spec.x if side == "x" else spec.y
        return {"field": column + end, "type": "quantitative", "title": _axis(spec, labels, side)}

    scale = alt.Scale(zero=False)
    x, y = alt.X(**at("x"), scale=scale), alt.Y(**at("y"), scale=scale)
    bars = {"color": MARK, "strokeWidth": 2}
    across = base.mark_rule(**bars).encode(x=alt.X(**at("x", "_low")), x2=alt.X2(field=f"{spec.x}_high"), y=y)
    upright = base.mark_rule(**bars).encode(x=x, y=alt.Y(**at("y", "_low")), y2=alt.Y2(field=f"{spec.y}_high"))
    points = base.mark_point(filled=True, size=110, color=MARK, opacity=1).encode(x=x, y=y, tooltip=TIPS)
    names = base.mark_text(align="left", dx=9, dy=-9, fontSize=13).encode(
        x=x, y=y, text=alt.Text(field=spec.colour or "", type="nominal")
    )
    return alt.layer(across, upright, points, names)
