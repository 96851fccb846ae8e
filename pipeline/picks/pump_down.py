"""Pump-down of guns and plug in the lateral, if the stage's record continues into it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.picks.arrays import at_time, duration_s, filled, integral, joined, lasting, runs
from pipeline.picks.timeline import MAIN_BPM, Timeline
from pipeline.picks.types import Doubts, Method, Pick

PUMPING_BPM = 3.0
"""Lower rates are not a pump-down. [bbl/min]"""
LEAST_S = 120.0
"""A shorter pumping interval is not a pump-down. [s]"""

PUMP_DOWN_START = Method("pump_down_start", "", "begin of the longest pumping at 3 bpm or more after the shut-in", 1)
PUMP_DOWN_END = Method("pump_down_end", "", "end of the longest pumping at 3 bpm or more after the shut-in", 1)


@dataclass(frozen=True)
class PumpDown:
    """A recorded pump-down.

    Attributes
    ----------
    start_s, end_s : float
        [s]
    minutes : float
        Time with rate. [min]
    peak_bpm, peak_psi : float
        Highest value of the samples, excluding the top one per cent. [bbl/min], [psi]
    volume_bbl : float
        [bbl]
    whole : bool
        Whether the record continues beyond its end.
    """

    start_s: float
    end_s: float
    minutes: float
    peak_bpm: float
    peak_psi: float
    volume_bbl: float
    whole: bool


def find_pump_down(timeline: Timeline) -> tuple[Pick, Pick] | None:
    """Find the pump-down for the next stage after a stage's shut-in.

    Returns
    -------
    (start, end), optional
        Two times; None if the record has no pump-down. The longest if there are several.
    """
    if timeline.end is None:
        return None
    record, first = timeline.record, timeline.end
    time, rate = record.time_s[first:], filled(record.rate_bpm[first:], 0.0)
    spans = joined(runs(rate >= PUMPING_BPM), time, 60.0)
    spans = lasting(spans, time, LEAST_S)
    spans = np.asarray([span for span in spans if rate[span[0] : span[1]].max() < 1.5 * MAIN_BPM])
    if not len(spans):
        return None
    begin, stop = spans[int(np.argmax(duration_s(spans, time)))]
    doubts = Doubts()
    if len(spans) > 1:
        doubts.add(f"the longest of {len(spans)} after the shut-in")
    if stop == time.size:
        doubts.add("the record ends during the pump-down", grave=True)
    words = doubts.words("rate after the shut-in, without proppant")
    return (
        PUMP_DOWN_START.at(None, float(time[begin]), doubts.confidence, words),
        PUMP_DOWN_END.at(None, float(time[stop - 1]), doubts.confidence, words),
    )


def pump_down_between(timeline: Timeline, start_s: float, end_s: float) -> PumpDown:
    """Measure a pump-down between two times of a stage's record. [s]"""
    record = timeline.record
    begin = at_time(record.time_s, start_s)
    stop = max(int(np.searchsorted(record.time_s, end_s, side="right")), begin + 1)
    on = slice(begin, stop)
    rate = filled(record.rate_bpm[on], 0.0)
    volume, _ = integral(record.time_s[on], record.rate_bpm[on] / 60.0)
    pressure = record.pressure_psi[on]
    pressure = pressure[~np.isnan(pressure)]
    return PumpDown(
        float(record.time_s[begin]),
        float(record.time_s[stop - 1]),
        float(record.time_s[stop - 1] - record.time_s[begin]) / 60.0,
        float(np.percentile(rate, 99.0)),
        float(np.percentile(pressure, 99.0)) if pressure.size else float("nan"),
        volume,
        bool(stop < record.time_s.size),
    )


METHODS = (PUMP_DOWN_START, PUMP_DOWN_END)
