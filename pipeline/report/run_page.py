"""The drawings of a coil run: its whole record with the states, and each plug that an engineer should look at."""

from __future__ import annotations

from typing import Any

import numpy as np

from pipeline.metrics.coil.view import RunView
from pipeline.metrics.well import Rows
from pipeline.picks.arrays import runs
from pipeline.picks.types import Array
from pipeline.report.record_page import Band, Line, Panel, Record, Strip, marks

STATES = (
    ("milling", "milling"), ("stalled", "stalled"), ("wiping", "wiper trip"), ("short_trip", "short trip"),
    ("jetting", "jetting"), ("running_in", "running in"), ("pulling_out", "pulling out"), ("stationary", "stationary"),
)  # fmt: skip
"""States of a run as masks, with the words of the legend; each has a colour."""
SHORTEST_S = 20.0
"""A state that lasts less is not drawn, unless it is a stall. [s]"""
AROUND_S = 300.0
"""Shown before and after a plug. [s]"""
MOST_PLUGS = 6
"""Plugs with a drawing of their own: those below high confidence. [1]"""

Span = tuple[float, float]


def run_record(view: RunView, listed: dict[int, dict[str, Any]], picks: Rows, system: str) -> tuple[
    Record, list[Span]
]:  # fmt: skip
    """Return what a run's page draws, and the spans in which all samples are kept.

    Parameters
    ----------
    view : RunView
    listed : dict of int to dict
        Rows of the table of plugs, by plug.
    picks : list of dict
        Picks of the run and of its plugs, as shown.
    system : str
    """
    record = view.record
    strips = [Strip("depth", "ft", record.depth_ft, 3.0, downwards=True)]
    for name, unit, values in (
        ("circulating pressure", "psi", record.pressure_psi), ("weight", "lbf", record.weight_lbf),
        ("pump rate", "bpm", record.pump_bpm), ("return rate", "bpm", record.return_bpm),
    ):  # fmt: skip
        if values is not None:
            strips.append(Strip(name, unit, values))
    every = tuple(range(len(strips)))
    tags = [
        row | {"pick": f"plug {row['number']} at"} for row in picks if (row["level"], row["pick"]) == ("plug", "tag")
    ]
    named = marks(tags, view.origin, "ft", system)
    bands = _bands(view)
    depths = [_set_depth(view, number, listed) for number in sorted(view.assigned.stops)]
    lines = [line for line in depths if line is not None]
    words = (
        "Each plug is marked where the mill reached it; its line is at its set depth, from the tag until it was left."
    )
    last = float(record.time_s[-1]) if record.time_s.size else 1.0
    whole = Panel("Whole run", words, 0.0, max(last, 1.0), every, lines, bands, named)
    around = _doubtful(view, picks)
    near = [
        Panel(f"Plug {number}", reason, max(begin - AROUND_S, 0.0), end + AROUND_S, every, lines,
              [band for band in bands if band.to_s > begin - AROUND_S and band.from_s < end + AROUND_S],
              [mark for mark in named if begin - AROUND_S <= mark.time_s <= end + AROUND_S])
        for number, begin, end, reason in around
    ]  # fmt: skip
    return Record(view.origin, record.time_s, strips, [whole, *near]), [(begin, end) for _, begin, end, _ in around]


def _bands(view: RunView) -> list[Band]:
    if view.states is None:
        return []
    time: Array = view.record.time_s
    found = []
    for colour, (name, words) in enumerate(STATES, start=1):
        for begin, stop in runs(np.asarray(getattr(view.states, name))):
            first, last = float(time[begin]), float(time[min(int(stop), time.size - 1)])
            if last - first >= SHORTEST_S or name == "stalled":
                found.append(Band(first, last, words, colour))
    return sorted(found, key=lambda band: band.from_s)


def _set_depth(view: RunView, number: int, listed: dict[int, dict[str, Any]]) -> Line | None:
    stop, depth = view.assigned.stops[number], listed.get(number, {}).get("set_depth_ft")
    if depth is None:
        return None
    return Line(0, [stop.tag_s, stop.left_s], [depth, depth], "set depth of a plug", "limit")


def _doubtful(view: RunView, picks: Rows) -> list[tuple[int, float, float, str]]:
    """Return the plugs whose mill time is below high confidence: number, begin, end, reason."""
    doubtful = [
        row for row in picks
        if row["pick"] == "mill_min" and row["confidence"] in ("low", "medium") and row["amended_reason"] is None
    ]  # fmt: skip
    found: list[tuple[int, float, float, str]] = []
    for row in sorted(doubtful, key=lambda row: (row["confidence"] == "medium", row["number"])):
        stop = view.assigned.stops.get(row["number"])
        if stop is not None and len(found) < MOST_PLUGS:
            found.append((row["number"], stop.tag_s, stop.left_s, f"{row['confidence']}: {row['reason']}."))
    return found
