"""The page of one record: its samples with the picks, the places where an engineer looks, and the tables beside them.

The samples are thinned to the lowest and highest per column; around the picks all of them are kept. A page is one file,
without requests, and is drawn by a script in it: `reports/record.js`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from pipeline.metrics.well import Rows
from pipeline.picks.arrays import usual_step_s
from pipeline.report.plain_words import in_words
from pipeline.report.record_facts import Facts, differs
from pipeline.report.text import CAUTION
from pipeline.report.theme import render, script, script_json
from pipeline.report.typed import amend_pattern
from pipeline.units import format_number, shown

COLUMNS = 1000
"""Columns of the whole record over all channels; a column keeps the lowest and the highest sample of each channel."""
MOST_KEPT = 1200
"""Samples that are kept around the picks. [1]"""
PICKS_BESIDE = 30
"""A page with more picks keeps fewer samples, so that its weight does not grow with the plugs of a run. [1]"""
STEPS = 8000
"""A value is written in steps of about this share of the highest one: 1 psi of 8,000. [1]"""
BREAK_S = 30.0
"""No line is drawn across a longer time without samples. [s]"""
Array = NDArray[np.float64]
Look = Literal["fit", "also", "moved", "shape", "limit"]
"""How a line is drawn: what the pick rests on, another law, another window, an envelope, a limit."""


@dataclass(frozen=True)
class Strip:
    """A channel, in a strip of its own below the others: its name, unit in the lake, samples, share of the height."""

    name: str
    unit: str
    values: Array
    share: float = 1.0
    downwards: bool = False


@dataclass(frozen=True)
class Line:
    """A line on a strip: times [s], values in the strip's lake unit, and what it is."""

    strip: int
    time_s: Sequence[float]
    values: Sequence[float]
    name: str
    look: Look = "fit"


@dataclass(frozen=True)
class Band:
    """A span of time, behind the samples: from, to [s], what it is, and its colour (0 is the window of a fit)."""

    from_s: float
    to_s: float
    name: str
    colour: int = 0


@dataclass(frozen=True)
class Mark:
    """A pick: its time [s], what is written beside it, its value in the first strip's lake unit if it has that unit."""

    time_s: float
    label: str
    why: str
    sure: bool
    value: float | None = None
    amended: bool = False


@dataclass(frozen=True)
class Panel:
    """A drawing of a span of the record.

    Attributes
    ----------
    title, words : str
    from_s, to_s : float
        [s]
    strips : tuple of int
        The strips that it shows.
    origin_s : float, optional
        With it, the axis is the square root of the time since then.
    between : tuple of float, optional
        Lowest and highest value of the first strip while all of the span is shown, in its lake unit; default: of the
        samples.
    """

    title: str
    words: str
    from_s: float
    to_s: float
    strips: tuple[int, ...]
    lines: Sequence[Line] = ()
    bands: Sequence[Band] = ()
    marks: Sequence[Mark] = ()
    origin_s: float | None = None
    between: tuple[float, float] | None = None


@dataclass(frozen=True)
class Record:
    """What a page draws: start of the record, times [s], channels and drawings."""

    origin: datetime
    time_s: Array
    strips: list[Strip]
    panels: list[Panel]


@dataclass(frozen=True)
class Place:
    """Where a page stands: level, number, title, links away from it, what it is in a few words, findings on it."""

    level: str
    number: int
    title: str
    links: list[tuple[str, str]]
    picture: str | None = None
    words: str = ""
    notes: Sequence[str] = ()


def kept(
    time_s: Array, strips: Sequence[Array], around: Sequence[tuple[float, float]], share: float = 1.0
) -> NDArray[np.int64]:
    """Return the samples that a page keeps: lowest and highest of each column, and all within the given spans. [s]

    With a share below one it keeps about that share of them.
    """
    n = time_s.size
    size = max(math.ceil(n * max(len(strips), 1) / (share * COLUMNS)), 1)
    starts = np.arange(math.ceil(n / size)) * size
    chosen = [np.array([0, n - 1])]
    for values in strips:
        padded = np.full(starts.size * size, np.nan)
        padded[:n] = values
        columns = padded.reshape(starts.size, size)
        void = np.isnan(columns)
        some = ~void.all(axis=1)
        chosen += [(starts + np.where(void, np.inf, columns).argmin(axis=1))[some],
                   (starts + np.where(void, -np.inf, columns).argmax(axis=1))[some],
                   (starts + void.argmax(axis=1))[void.any(axis=1)]]  # fmt: skip
    near = np.zeros(n, dtype=bool)
    for begin_s, end_s in around:
        near |= (time_s >= begin_s) & (time_s <= end_s)
    inside = np.flatnonzero(near)
    chosen.append(inside[:: max(math.ceil(inside.size / (share * MOST_KEPT)), 1)])
    found = np.unique(np.concatenate(chosen))
    return found[found < n].astype(np.int64)


def drawing(record: Record, around: Sequence[tuple[float, float]], system: str, share: float = 1.0) -> dict[str, Any]:
    """Return the samples (or a share of them) and drawings of a page, in display units, for its script."""
    index = kept(record.time_s, [strip.values for strip in record.strips], around, share)
    time = record.time_s[index]
    step = usual_step_s(record.time_s) if record.time_s.size > 1 else 1.0
    gaps = np.flatnonzero(np.diff(record.time_s) > max(BREAK_S, 3.0 * step))
    cut = np.unique(np.searchsorted(index, gaps, side="right")) if gaps.size else np.array([], dtype=np.int64)
    scales = [shown(strip.unit, system) for strip in record.strips]
    strips = [
        {"name": strip.name, "unit": label, "share": strip.share, "down": strip.downwards,
         **_packed(strip.values[index] * line.factor + line.offset)}
        for strip, (line, label) in zip(record.strips, scales, strict=True)
    ]  # fmt: skip
    return {
        "origin": record.origin.timestamp(), "time": _packed(time, 0.1 if step < 1.0 else 1.0),
        "breaks": cut.tolist(), "strips": strips,
        "panels": [_panel(panel, scales) for panel in record.panels],
    }  # fmt: skip


def _packed(values: Array, step: float | None = None) -> dict[str, Any]:
    """Return numbers as differences of whole steps; a void sample is null."""
    if step is None:
        highest = float(np.nanmax(np.abs(values), initial=0.0)) if not np.isnan(values).all() else 0.0
        step = _round_down(highest / STEPS) if highest > 0.0 else 1.0
    void = np.isnan(values)
    whole = np.round(values[~void] / step).astype(np.int64)
    found: list[int | None] = np.diff(whole, prepend=0).tolist()
    for at in np.flatnonzero(void):
        found.insert(int(at), None)
    return {"step": round(step, 12), "values": found}


def _round_down(value: float) -> float:
    """Return the largest of 1, 2 or 5 times a power of ten that is not above a value."""
    size = 10.0 ** math.floor(math.log10(value))
    return float(next(share * size for share in (5.0, 2.0, 1.0) if share * size <= value * (1 + 1e-9)))


def _panel(panel: Panel, scales: Sequence[tuple[Any, str]]) -> dict[str, Any]:
    def to_shown(strip: int, value: float) -> float:
        line, _ = scales[strip]
        return float(round(value * line.factor + line.offset, 5))

    first = panel.strips[0]
    return {
        "from": panel.from_s, "to": panel.to_s, "strips": list(panel.strips), "root": panel.origin_s,
        "range": None if panel.between is None else [to_shown(first, value) for value in panel.between],
        "lines": [
            {"strip": line.strip, "time": [round(float(t), 2) for t in line.time_s], "name": line.name,
             "value": [to_shown(line.strip, float(value)) for value in line.values], "look": line.look}
            for line in panel.lines
            if min(line.time_s) <= panel.to_s and max(line.time_s) >= panel.from_s
        ],
        "bands": [{"from": band.from_s, "to": band.to_s, "name": band.name, "colour": band.colour}
                  for band in panel.bands],
        "marks": [{"time": mark.time_s, "label": mark.label, "why": mark.why, "sure": mark.sure,
                   "amended": mark.amended, "value": None if mark.value is None else to_shown(first, mark.value)}
                  for mark in panel.marks],
    }  # fmt: skip


def marks(picks: Rows, origin: datetime, unit: str, system: str, left_out: Sequence[str] = ()) -> list[Mark]:
    """Return the marks of picks that have a time; their value is drawn where it has the given lake unit.

    A pick that an engineer changed has two: as it is now, and as it was picked.
    """
    made: list[Mark] = []

    def mark(row: dict[str, Any], moment: datetime | None, value: float | None, why: str, *, amended: bool) -> None:
        if moment is None:
            return
        label = in_words(row["pick"])
        if value is not None and row["unit"]:
            line, name = shown(row["unit"], system)
            label += f" {format_number(value * line.factor + line.offset, 4)} {name}"
        was = row["amended_reason"] is not None and not amended
        made.append(
            Mark((moment - origin).total_seconds(), f"{label} (automatic)" if was else label, why,
                 amended or (row["confidence"] == "high" and not was), value if row["unit"] == unit else None, amended)
        )  # fmt: skip

    for row in picks:
        if row["pick"].startswith(tuple(left_out)):
            continue
        picked = row["time"], row["value"]
        now = row["amended_time"] or row["time"], row["value"] if row["amended_value"] is None else row["amended_value"]
        if row["amended_reason"] is not None:
            mark(row, *now, row["amended_reason"], amended=True)
        if row["amended_reason"] is None or differs(row):
            mark(row, *picked, f"{row['confidence']}: {row['reason']}", amended=False)
    return sorted(made, key=lambda one: one.time_s)


def reasons(picks: Rows) -> str:
    """Return the reasons of picks as one sentence."""
    of: dict[str, list[str]] = {}  # what several have in common is said once
    for row in picks:
        of.setdefault(row["reason"], []).append(in_words(row["pick"]))
    text = "; ".join(f"{' and '.join(names)}: {reason}" for reason, names in of.items())
    return f"{text[:1].upper()}{text[1:]}."


def render_record(
    place: Place, record: Record, around: Sequence[tuple[float, float]], picks: list[dict[str, Any]],
    facts: Sequence[Facts], system: str, well: str | None = None,
) -> str:  # fmt: skip
    """Return the page of a record; all texts are escaped. Without a well's name it has no commands."""
    share = max(1.0 - 0.25 * max(len(picks) / PICKS_BESIDE - 1.0, 0.0), 0.3)
    begin = record.origin + timedelta(seconds=float(record.time_s[0]) if record.time_s.size else 0.0)
    commands = {} if well is None else {pick["level"]: amend_pattern(well, pick["level"]) for pick in picks}
    return render(
        "record.html", short=True, place=place,
        subtitle=f"from {begin:%Y-%m-%d %H:%M:%S} UTC; {record.time_s.size:,} samples",
        panels=record.panels, picks=picks, facts=facts, commands=commands, caution=CAUTION, script=script("record.js"),
        drawn=script_json(drawing(record, around, system, share) | {"commands": commands}), seen=set(),
    )  # fmt: skip
