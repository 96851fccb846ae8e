"""The drawing of a pump-down: the part of a stage's record in which guns and plug for the next one are pumped down."""

from __future__ import annotations

from pipeline.metrics.stage.measure import Picked
from pipeline.metrics.well import Rows
from pipeline.picks.pump_down import PUMPING_BPM
from pipeline.report.record_page import Line, Panel, Record, Strip, marks, reasons

AROUND_S = 180.0
"""Shown before and after it. [s]"""


def pump_down_record(before: Picked, picks: Rows, system: str) -> tuple[Record, list[tuple[float, float]]] | None:
    """Return what a pump-down's page draws; None if no time of it is known.

    Parameters
    ----------
    before : Picked
        The stage whose record holds it.
    picks : list of dict
        Its rows of the table of picks, as shown.
    system : str
    """
    named = marks(picks, before.origin, "psi", system)
    if not named:
        return None
    record = before.picks.timeline.record
    first, last = named[0].time_s - AROUND_S, named[-1].time_s + AROUND_S
    on = (record.time_s >= first) & (record.time_s <= last)
    time = record.time_s[on]
    strips = [
        Strip("pressure", "psi", record.pressure_psi[on], 2.0),
        Strip("slurry rate", "bpm", before.samples.channels["slurry_rate_bpm"][on], 2.0),
    ]
    least = Line(
        1, [float(time[0]), float(time[-1])], [PUMPING_BPM, PUMPING_BPM], "lowest rate of a pump-down", "limit"
    )
    panel = Panel("Pump-down", reasons(picks), float(time[0]), float(time[-1]), (0, 1), [least],
                  marks=named)  # fmt: skip
    return Record(before.origin, time, strips, [panel]), []
