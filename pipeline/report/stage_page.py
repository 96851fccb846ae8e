"""The drawings of a stage: its whole record, and the places where an engineer looks before trusting a pick."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from pipeline.metrics.stage.measure import Picked
from pipeline.metrics.well import Rows
from pipeline.picks.arrays import at_time
from pipeline.picks.falloff import Falloff
from pipeline.picks.hammer import Hammer
from pipeline.picks.screenout import RISE_S, Climb, earlier_span, find_climb
from pipeline.picks.shutin import SHIFT_S, Extrapolated, Fit, extrapolate, slope_through
from pipeline.picks.stage import fit_falloff
from pipeline.picks.stepdown import Plateau, find_plateaus
from pipeline.report.record_page import Band, Line, Mark, Panel, Record, Strip, marks, reasons
from pipeline.units import format_number, format_quantities, shown

PRESSURE, RATE, PROPPANT = 0, 1, 2
SHARED = ("hammer_", "step_down", "drag_", "zero_offset")
"""Picks that are not marked: at the time of another one, or before the stage; their numbers are in the table."""
BEFORE_S, AFTER_S = 60.0, 120.0
"""Shown before and after a pick. [s]"""
LEAD_S = 240.0
"""Shown of the plateau before ball seat or breakdown. [s]"""
LONGEST_S = 1200.0
"""Longest view of a part. [s]"""
FALLOFF_S = 400.0
"""Shown of the falloff. [s]"""

DOWNHOLE = (
    ("downhole pressure", "psi", "downhole_pressure_psi"),
    ("downhole temperature", "degF", "downhole_temperature_degf"),
)  # fmt: skip
"""Channels of a gauge in the well: name, lake unit, column."""
Span = tuple[float, float]


def stage_record(one: Picked, picks: Rows, system: str) -> tuple[Record, list[Span]]:
    """Return what a stage's page draws, and the spans in which all samples are kept.

    Parameters
    ----------
    one : Picked
    picks : list of dict
        Its rows of the table of picks, as shown.
    system : str
        ``field`` or ``metric``.
    """
    timeline = one.picks.timeline
    pressure = Strip("treating pressure", "psi", timeline.record.pressure_psi, 3.0)
    strips = [pressure, Strip("slurry rate", "bpm", one.samples.channels["slurry_rate_bpm"], 1.3)]
    if (proppant := one.samples.channel("proppant_conc_ppa")) is not None:
        strips.append(Strip("proppant", "ppa", proppant))
    every = marks(picks, one.origin, "psi", system, SHARED)
    for name, unit, column in DOWNHOLE:
        if (values := one.samples.channel(column)) is not None:
            strips.append(Strip(name, unit, values))
    looked = [_start(one, every, picks), *_shut_ins(one, every, system), _step_down(one, system), _climb(one, system)]
    found = [panel for panel in looked if panel is not None]
    last = float(timeline.record.time_s[-1])
    zero = one.picks.effective["zero_offset"].value
    words = "Picks are marked; a dashed mark is one below high confidence."
    if zero:
        line, unit = shown("psi", system)
        words += f" The gauge's reading at zero pressure, {format_number(zero * line.factor, 3)} {unit}, is subtracted."
    whole = Panel("Whole record", words, 0.0, max(last, 1.0), tuple(range(len(strips))), marks=every)
    around = [(panel.from_s, min(panel.to_s, panel.from_s + LONGEST_S)) for panel in found]
    return Record(one.origin, timeline.record.time_s, strips, [whole, *found]), around


def _start(one: Picked, every: Sequence[Mark], picks: Rows) -> Panel | None:
    """Return the view from the first rate to the main treatment: ball seat and breakdown."""
    timeline = one.picks.timeline
    if timeline.start is None or timeline.main is None:
        return None
    time = timeline.record.time_s
    end = float(time[timeline.main]) + AFTER_S
    seen = [one.picks.effective[name].time_s for name in ("ball_seat", "breakdown_pressure")]
    lead = min((moment - LEAD_S for moment in seen if moment is not None), default=0.0)
    begin = max(float(time[timeline.start]) - BEFORE_S, lead, end - LONGEST_S, 0.0)
    words = reasons([row for name in ("ball_seat", "breakdown_pressure") for row in picks if row["pick"] == name])
    return Panel("Start of injection: ball seat and breakdown", words, begin, end, (PRESSURE, RATE),
                 marks=_within(every, begin, end))  # fmt: skip


def _shut_ins(one: Picked, every: Sequence[Mark], system: str) -> list[Panel]:
    """Return the views of the shut-ins: on the square root of time with the fits, and the ringing over time."""
    panels: list[Panel] = []
    for name, moment, title in (
        ("isip", "shut_in", "ISIP"), ("initial_isip", "initial_shut_in", "ISIP of the first shut-in")
    ):  # fmt: skip
        pick, end = one.picks.effective[name], one.picks.effective[moment].time_s
        if pick.value is None or end is None:
            continue
        fall, ringing, _ = fit_falloff(one.picks.timeline, one.design, end)
        made = extrapolate(fall, ringing)
        if made is None:
            continue
        here = [mark for mark in every if mark.time_s == end and mark.value is not None]
        panels.append(_on_the_root(made, fall, end, title, pick.reason, here, system))
        if ringing is not None:
            panels.append(_over_time(made.best, fall, ringing, end, title, system))
    return panels


def _on_the_root(
    made: Extrapolated, fall: Falloff, end: float, title: str, reason: str, here: list[Mark], system: str
) -> Panel:
    best = made.best
    stop = float(fall.time_s[-1])
    reach = np.linspace(0.0, np.sqrt(min(best.begin_s + best.length_s, stop)), 25) ** 2

    def line(start: float, power: float, name: str, look: Any) -> Line:
        slope = slope_through(fall, best, start, power)
        return Line(PRESSURE, (end + reach).tolist(), (start - slope * reach**power).tolist(), name, look)

    lines = [
        line(best.root, 0.5, "square root of time: the fit", "fit"),
        line(best.line, 1.0, "straight line in time", "also"),
    ]
    for begin, root in made.after.moved:
        shifted = Fit(root, root, 0.0, 0.0, "", begin, made.after.length_s)
        slope = slope_through(fall, shifted, root)
        values = (root - slope * np.sqrt(reach)).tolist()
        lines.append(Line(PRESSURE, (end + reach).tolist(), values, f"window moved by {SHIFT_S:.0f} s", "moved"))
    window = Band(end + best.begin_s, end + best.begin_s + best.length_s, "window of the fit")
    window_s = f"{best.begin_s:.0f} to {best.begin_s + best.length_s:.0f} s"
    words = f"{_sentence(reason, system)} The automatic fit is of {window_s} after the shut-in, and is extended to it."
    late = fall.pressure_psi[at_time(fall.time_s, made.after.begin_s) :]
    heights = [float(late.min()), float(late.max()), best.root, best.line, *(root for _, root in made.after.moved)]
    heights += [mark.value for mark in here if mark.value is not None]
    room = max(0.5 * (max(heights) - min(heights)), 20.0)
    return Panel(f"Shut-in: {title} on the square root of time", words, end, end + min(stop, FALLOFF_S), (PRESSURE,),
                 lines, [window], here, origin_s=end,
                 between=(min(heights) - room, max(heights) + room))  # fmt: skip


def _over_time(best: Fit, fall: Falloff, ringing: Hammer, end: float, title: str, system: str) -> Panel:
    shown_s = min(float(fall.time_s[-1]), 8.0 * ringing.period_s + 10.0)
    clock = np.linspace(0.0, shown_s, 60)
    decline = best.root - slope_through(fall, best, best.root) * np.sqrt(clock)
    envelope = ringing.amplitude_psi * np.exp(-clock / ringing.decay_s)
    time = (end + clock).tolist()
    lines = [
        Line(PRESSURE, time, decline.tolist(), "decline", "fit"),
        Line(PRESSURE, time, (decline + envelope).tolist(), "envelope of the ringing", "shape"),
        Line(PRESSURE, time, (decline - envelope).tolist(), "", "shape"),
    ]
    line, unit = shown("psi", system)
    words = (
        f"Water hammer: period {ringing.period_s:.1f} s, {ringing.samples_per_period:.1f} samples per period, "
        f"amplitude {format_number(ringing.amplitude_psi * line.factor, 3)} {unit} at the shut-in, 1/e of it after "
        f"{ringing.decay_s:.0f} s."
    )
    heights = [best.root + ringing.amplitude_psi, float((decline - envelope).min())]
    room = 0.3 * (heights[0] - heights[1])
    return Panel(f"Ringing after the shut-in: {title}", words, end - 15.0, end + shown_s, (PRESSURE, RATE), lines,
                 between=(heights[1] - room, heights[0] + room))  # fmt: skip


def _step_down(one: Picked, system: str) -> Panel | None:
    """Return the view of the rates held on the way down; None if the rate was cut at once."""
    held = find_plateaus(one.picks.timeline)
    if len(held) < 2 or one.picks.timeline.end is None:
        return None
    end = float(one.picks.timeline.record.time_s[one.picks.timeline.end])
    lines = [line for number, plateau in enumerate(held) for line in _plateau(plateau, named=number == 0)]
    kp, kt = one.picks.effective["step_down_kp"], one.picks.effective["step_down_kt"]
    words = f"{len(held)} steady rates. {_sentence(kp.reason if kp.value is None else kt.reason, system)}"
    begin = max(held[0].start_s - BEFORE_S, end - LONGEST_S)
    return Panel("Rates held on the way down", words, begin, end + BEFORE_S, (PRESSURE, RATE), lines)


def _plateau(plateau: Plateau, *, named: bool) -> list[Line]:
    time = [plateau.start_s, plateau.end_s]
    name = "held rate and its settled pressure" if named else ""
    return [Line(PRESSURE, time, [plateau.pressure_psi] * 2, name), Line(RATE, time, [plateau.rate_bpm] * 2, "")]


def _climb(one: Picked, system: str) -> Panel | None:
    """Return the view of a climb of pressure before the rate was cut, if there is one."""
    timeline = one.picks.timeline
    climb = find_climb(timeline)
    if climb is None:
        return None
    time = timeline.record.time_s
    cut = float(time[climb.cut])
    lines = [_early_line(one, climb, cut), _late_line(one, climb)]
    reason = one.picks.effective["screenout"].reason
    mark = Mark(cut, "rate is cut", reason, sure=True)
    begin = max(earlier_span(cut)[0], 0.0)
    return Panel("End of the treatment: pressure before the rate was cut", _sentence(reason, system), begin,
                 min(cut + AFTER_S, float(time[-1])), (PRESSURE, RATE), lines, marks=[mark])  # fmt: skip


def _early_line(one: Picked, climb: Climb, cut: float) -> Line:
    record = one.picks.timeline.record
    begin, end = (max(moment, 0.0) for moment in earlier_span(cut))
    part = slice(at_time(record.time_s, begin), at_time(record.time_s, end))
    values = record.pressure_psi[part]
    level = float(np.nanmean(values)) if values.size and not np.isnan(values).all() else float("nan")
    half = 0.5 * (end - begin) / 60.0 * climb.early_psi_min
    return Line(PRESSURE, [begin, end], [level - half, level + half], "slope of the ten minutes before", "also")


def _late_line(one: Picked, climb: Climb) -> Line:
    record = one.picks.timeline.record
    start = float(record.pressure_psi[at_time(record.time_s, climb.begin_s)])
    end = climb.begin_s + RISE_S
    return Line(PRESSURE, [climb.begin_s, end], [start, start + climb.late_psi_min * RISE_S / 60.0],
                "steepest half minute at held rate")  # fmt: skip


def _within(every: Sequence[Mark], begin: float, end: float) -> list[Mark]:
    return [mark for mark in every if begin <= mark.time_s <= end]


def _sentence(reason: str, system: str) -> str:
    text = format_quantities(reason, system)
    return f"{text[:1].upper()}{text[1:]}."
