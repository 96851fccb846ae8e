"""The picture of a record: its channels over time with the picks marked and labelled, as an SVG document."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.report.plain_words import in_words
from pipeline.report.theme import templates
from pipeline.units import format_number, shown

WIDTH, HEIGHT = 1000, 500
LEFT, RIGHT, TOP, BOTTOM = 62, 940, 158, 456
COLUMNS = 600
"""Number of vertical lines of a record, each from the lowest to the highest sample of its time span."""
DIVISIONS = 5
UNMARKED = ("hammer_", "step_down", "drag_")
"""Picks that share the time of another pick."""
PICK, AMENDED = "#a23b72", "#5b3a8c"
Array = NDArray[np.float64]


@dataclass(frozen=True)
class Channel:
    """A channel of a record: column, name, unit in the lake, colour."""

    column: str
    name: str
    unit: str
    colour: str


@dataclass(frozen=True)
class Kind:
    """Channels drawn for a kind of record.

    Attributes
    ----------
    left : Channel
        On the left axis; picks in its unit are marked at their value.
    right : tuple of Channel
        On the right axis, the first unscaled, others times a power of ten.
    downwards : bool
        Whether the left axis increases downwards, as for depths.
    """

    left: Channel
    right: tuple[Channel, ...]
    downwards: bool = False


STAGE = Kind(
    Channel("treating_pressure_psi", "pressure", "psi", "#1b4965"),
    (
        Channel("slurry_rate_bpm", "slurry rate", "bpm", "#2f8a86"),
        Channel("proppant_conc_ppa", "proppant", "ppa", "#c8641f"),
    ),
)
COIL_RUN = Kind(
    Channel("depth_ft", "depth", "ft", "#1b4965"),
    (
        Channel("circulating_pressure_psi", "circulating pressure", "psi", "#c8641f"),
        Channel("pump_rate_bpm", "rate", "bpm", "#2f8a86"),
    ),
    downwards=True,
)


def record_svg(title: str, frame: pl.DataFrame, picks: pl.DataFrame, kind: Kind, system: str = "field") -> str:
    """Draw one record.

    Parameters
    ----------
    title : str
    frame : polars.DataFrame
        Samples with a column ``time``, in time order.
    picks : polars.DataFrame
        Rows of the picks table that belong to it.
    kind : Kind
    system : str
        ``field`` or ``metric``.

    Returns
    -------
    str
        An SVG document of about 20 kB.
    """
    origin = frame["time"][0]
    micro = frame["time"].to_physical().to_numpy()
    minutes = (micro - micro[0]) / 6e7
    span = max(float(minutes[-1]), 1e-6)
    top = {channel: _nice(_highest(frame, channel, system)) for channel in (kind.left, kind.right[0])}
    lines = []
    for channel in (kind.left, *kind.right):
        if frame[channel.column].null_count() == frame.height:
            continue
        line, label = shown(channel.unit, system)
        scale, times = top.get(channel), ""
        if scale is None:
            power = _power(_highest(frame, channel, system), top[kind.right[0]])
            scale, times = top[kind.right[0]] / 10.0**power, f" x {10.0**power:g}" if power else ""
        share = frame[channel.column].to_numpy() * line.factor / scale
        if kind.downwards and channel is kind.left:
            share = 1.0 - share
        path = min_max_path(minutes / span, share)
        lines.append({"name": f"{channel.name} [{label}{times}]", "colour": channel.colour, "path": path})
    left = [top[kind.left] * i / DIVISIONS for i in range(DIVISIONS + 1)]
    values = {
        "title": title, "subtitle": f"from {origin:%Y-%m-%d %H:%M:%S} UTC; {frame.height:,} samples",
        "width": WIDTH, "height": HEIGHT, "left": LEFT, "right": RIGHT, "top": TOP, "bottom": BOTTOM, "lines": lines,
        "y_ticks": [
            {"y": round(_y(i / DIVISIONS)), "label": f"{value:,g}",
             "other": f"{top[kind.right[0]] * i / DIVISIONS:,g}"}
            for i, value in enumerate(left[::-1] if kind.downwards else left)
        ],
        "x_ticks": [{"x": round(_x(i / 6)), "label": f"{span * i / 6:.0f}"} for i in range(7)],
        "marks": _marks(picks, origin, span, kind, top[kind.left], system),
    }  # fmt: skip
    return templates().get_template("audit.svg").render(**values)


def min_max_path(x: Array, y: Array, columns: int = COLUMNS) -> str:
    """Return an SVG path of vertical lines from the lowest to the highest sample of each column: no peak is lost.

    Parameters
    ----------
    x, y : array, shape (n,)
        From 0 to 1; ``x`` increasing. NaN in ``y`` is skipped.
    columns : int
    """
    seen = ~np.isnan(y)
    x, y = x[seen], y[seen]
    if not x.size:
        return ""
    column = np.minimum((x * columns).astype(int), columns - 1)
    starts = np.flatnonzero(np.concatenate(([True], np.diff(column) > 0)))
    low, high = np.minimum.reduceat(y, starts), np.maximum.reduceat(y, starts)
    across = np.round(_x((column[starts] + 0.5) / columns)).astype(int)
    lower, upper = np.round(_y(low)).astype(int), np.round(_y(high)).astype(int)
    parts = [f"{a} {b}V{c}" if b != c else f"{a} {b}" for a, b, c in zip(across, lower, upper, strict=True)]
    return "M" + "L".join(parts)


def _x(share: Any) -> Any:
    return LEFT + (RIGHT - LEFT) * share


def _y(share: Any) -> Any:
    return BOTTOM - (BOTTOM - TOP) * np.clip(share, 0.0, 1.0)


def _highest(frame: pl.DataFrame, channel: Channel, system: str) -> float:
    """Return the highest value of a channel in display units; a small positive number if there is none."""
    highest = frame[channel.column].max()
    value = float(highest) if isinstance(highest, int | float) else 0.0
    return max(value * shown(channel.unit, system)[0].factor, 1e-3)


def _nice(value: float) -> float:
    """Return the smallest axis maximum, with equal round steps, that includes a value."""
    step = value / DIVISIONS
    size = 10.0 ** np.floor(np.log10(step))
    return float(
        DIVISIONS
        * next(size * share for share in (1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 10.0) if size * share >= step * (1 - 1e-9))
    )


def _power(value: float, top: float) -> int:
    """Return the highest power of ten that keeps a value below a top."""
    return int(np.floor(np.log10(top / value)))


def _marks(picks: pl.DataFrame, origin: Any, span: float, kind: Kind, top: float, system: str) -> list[dict[str, Any]]:
    """Place the picks that have a time, with staggered names so that neighbours do not overlap."""
    marks: list[dict[str, Any]] = []
    rows = [row for row in picks.iter_rows(named=True) if (row["amended_time"] or row["time"]) is not None]
    rows.sort(key=lambda row: row["amended_time"] or row["time"])
    for row in rows:
        share = ((row["amended_time"] or row["time"]) - origin).total_seconds() / 60.0 / span
        if not 0.0 <= share <= 1.0 or row["pick"].startswith(UNMARKED):
            continue
        amended = row["amended_reason"] is not None
        label, height = _said(row, kind, top, system)
        left = share > 0.82
        x = round(_x(share))
        marks.append(
            {
                "x": x, "y": height, "colour": AMENDED if amended else PICK,
                "dash": "none" if row["confidence"] == "high" else "4 3",
                "label": f"{label} (amended)" if amended else label, "text_x": x - 4 if left else x + 4,
                "anchor": "end" if left else "start", "text_y": 52 + 12 * (len(marks) % 9),
                "why": row["amended_reason"] or f"{row['confidence']}: {row['reason']}",
            }
        )  # fmt: skip
    return marks


def _said(row: dict[str, Any], kind: Kind, top: float, system: str) -> tuple[str, int | None]:
    """Return a pick's name with its value, and the height of its mark on the left axis, if it has that axis's unit."""
    value = row["value"] if row["amended_value"] is None else row["amended_value"]
    name = in_words(row["pick"])
    if value is None or not row["unit"]:
        return name, None
    line, unit = shown(row["unit"], system)
    amount = value * line.factor + line.offset
    share = amount / top if row["unit"] == kind.left.unit else None
    if share is not None and kind.downwards:
        share = 1.0 - share
    return f"{name} {format_number(amount, 3)} {unit}", None if share is None else round(_y(share))
