"""Start, end and pauses of a stage, in a record that covers more than the stage."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pipeline.jit import compiled
from pipeline.picks.arrays import (
    at_time,
    duration_s,
    filled,
    joined,
    largest,
    lasting,
    median,
    noisier,
    percentile,
    runs,
)
from pipeline.picks.types import Array, Doubts, Mask, Method, Pick, StageDesign, StageRecord
from pipeline.units import qty

PUMPING_BPM = 2.0
"""Below this rate (or a quarter of a small main rate) nothing is injected: pumps idle, meters read noise. [bbl/min]"""
IDLE_BPM = 0.5
"""Below this rate the pumps stand still; a tenth of a small main rate. [bbl/min]"""
SUSTAINED_S = 20.0
"""A rate that lasts at least this long is sustained. [s]"""
MAIN_BPM = 20.0
"""The main treatment is pumped at this rate or more (trade convention), or at half of a small job's rate. [bpm]"""
SMALLEST_BPM = 0.5
"""No rate below this is a treatment, however small the job. [bbl/min]"""
WILD_BPM = 5.0
"""A larger scatter from sample to sample is not a pump rate. [bbl/min]"""
SAND_PPA = 0.25
"""With this concentration or more, pumping at the main rate is treating, however slow for the design. [ppa]"""
DROPOUT_S = 90.0
"""A rate of zero for up to this time, while no other channel changes, is a void channel. [s]"""

INJECTION_START = Method("injection_start", "", "first sustained rate into the well after the line test", 2)
MAIN_START = Method("main_start", "", "first sustained rate at the main rate or more", 2)
SHUT_IN = Method("shut_in", "", "rate at zero after the end of the last pumping at treating rate or with proppant", 2)
INITIAL_SHUT_IN = Method("initial_shut_in", "", "first shut-in with treating rate before and after it", 1)


@dataclass(frozen=True)
class Timeline:
    """A stage's record with its injection interval.

    Attributes
    ----------
    record : StageRecord
        With single-sample rate spikes repaired and void rates NaN.
    start, main, end : int, optional
        Index of the first sample of the injection, of the main treatment, and of the first shut-in sample.
        None if not in the record.
    void_rate_s : float
        Seconds inside the injection in which the rate channel was void. [s]
    main_bpm : float
        Main rate of the job: the main treatment is pumped at this rate or more. [bbl/min]
    """

    record: StageRecord
    start: int | None
    main: int | None
    end: int | None
    void_rate_s: float
    main_bpm: float = MAIN_BPM

    @property
    def pumping_bpm(self) -> float:
        """Rate from which something is injected. [bbl/min]"""
        return pumping_rate_bpm(self.main_bpm)


def pumping_rate_bpm(main_bpm: float) -> float:
    """Return the rate from which something is injected: 2 bpm, or a quarter of a small main rate. [bbl/min]"""
    return min(PUMPING_BPM, 0.25 * main_bpm)


def main_rate_bpm(rate_bpm: Array, time_s: Array, design: StageDesign) -> float:
    """Return the main rate of a job. [bbl/min]

    What the tables or settings state; else 20 bpm, or half of the design rate where that is less. Without a design,
    and if 20 bpm is never sustained: half of the 80th percentile of the rates above 0.5 bpm.
    """
    if design.main_bpm:
        return design.main_bpm
    if design.rate_bpm:
        return min(MAIN_BPM, 0.5 * design.rate_bpm)
    spans = joined(runs(rate_bpm >= MAIN_BPM), time_s, 10.0)
    if len(lasting(spans, time_s, SUSTAINED_S)):
        return MAIN_BPM
    pumped = rate_bpm[rate_bpm > SMALLEST_BPM]
    return min(MAIN_BPM, 0.5 * percentile(pumped, 80.0)) if pumped.size else MAIN_BPM


def repair_rate(record: StageRecord, main_bpm: float = MAIN_BPM) -> tuple[StageRecord, Array]:
    """Remove single-sample spikes from the rate, and void it during drop-outs.

    Parameters
    ----------
    record : StageRecord
    main_bpm : float
        Main rate of the job. [bbl/min]

    Returns
    -------
    record : StageRecord
        With the repaired rates.
    void_s : array, shape (m, 2)
        Start and end of each drop-out. [s]

    Notes
    -----
    A drop-out is a rate that falls to zero within two samples and recovers within 90 s while the pressure neither
    falls by the friction that a stop would remove nor rings. Such seconds are unmeasured, not a shut-in.
    """
    rate = record.rate_bpm
    clean = record.clean_bpm
    spike = _spikes(rate)
    if spike.size:
        rate = rate.copy()
        rate[spike] = 0.5 * (rate[spike - 1] + rate[spike + 1])
    voids: list[tuple[float, float]] = []
    low = runs(rate < pumping_rate_bpm(main_bpm))
    for first in low[low[:, 0] >= 3, 0]:
        before = rate[first - 2]
        if before <= main_bpm:
            continue
        limit = int(np.searchsorted(record.time_s, record.time_s[first] + DROPOUT_S, side="right"))
        back = np.flatnonzero(rate[first:limit] >= 0.8 * before)
        if not back.size:
            continue
        stop = int(first) + int(back[0])
        level = median(record.pressure_psi[max(first - 10, 0) : first])
        moved = largest(np.abs(record.pressure_psi[first:stop] - level), 0.0)
        if moved < max(100.0, 0.04 * level):
            if rate is record.rate_bpm:
                rate = rate.copy()
            rate[first - 1 : stop + 1] = np.nan
            if clean is not None:
                clean = clean.copy()
                clean[first - 1 : stop + 2] = np.nan
            voids.append((record.time_s[first - 1], record.time_s[stop]))
    repaired = replace(record, rate_bpm=rate, clean_bpm=clean)
    return repaired, np.asarray(voids, dtype=float).reshape(-1, 2)


@compiled
def _spikes(rate: Array) -> NDArray[np.intp]:
    """Single samples above both of their neighbours by 10 bpm and by half."""
    found = np.empty(rate.size, np.intp)
    count = 0
    for k in range(1, rate.size - 1):
        beside = max(abs(rate[k - 1]), abs(rate[k + 1]))
        if rate[k] - beside > max(10.0, 0.5 * beside):
            found[count] = k
            count += 1
    return found[:count]


def find_timeline(record: StageRecord, design: StageDesign) -> tuple[Timeline, dict[str, Pick]]:
    """Find injection start, main treatment, shut-ins.

    Parameters
    ----------
    record : StageRecord
    design : StageDesign

    Returns
    -------
    timeline : Timeline
    picks : dict of str to Pick
        ``injection_start``, ``main_start``, ``shut_in``, ``initial_shut_in``.

    Notes
    -----
    Pumping at treating rate is at least the main rate, and at least half of the design rate or carries proppant (if
    no design is known, or its rate is never approached: half of the 80th percentile of the rates above the main
    rate). The stage ends with its last such pumping: later pumping at a lower rate without proppant is the pump-down
    for the next stage. The stage begins with the first sustained rate of the pumping that leads up to it; pumping
    before a line test, or at a small fraction of the later pressure, is priming.
    """
    given, rate = record, filled(record.rate_bpm, -1.0)
    lowest = main_rate_bpm(rate, record.time_s, design)
    record, voids = repair_rate(record, lowest)
    if record.rate_bpm is not given.rate_bpm:
        rate = filled(record.rate_bpm, -1.0)
    held = rate
    if len(voids):  # a void rate does not end pumping
        held = rate.copy()
        for begin, finish in voids:
            held[at_time(record.time_s, begin) : at_time(record.time_s, finish) + 1] = lowest + 1.0
    nothing = f"no sustained rate of {qty(lowest, 'bpm')} or more in the record"
    fast = held >= lowest
    level = _treating_level(rate, fast, design, lowest)
    treated = held >= level
    if record.conc_ppa is not None:
        treated |= fast & (record.conc_ppa >= SAND_PPA)
    treating = joined(runs(treated), record.time_s, 10.0)
    treating = _without_priming(record, lasting(treating, record.time_s, SUSTAINED_S))
    if noisier(rate, WILD_BPM):
        treating, nothing = treating[:0], "the rate jumps from sample to sample: check the times of this record"
    if not len(treating):
        missing = {m.name: m.missing(nothing) for m in (INJECTION_START, MAIN_START, SHUT_IN, INITIAL_SHUT_IN)}
        return Timeline(record, None, None, None, 0.0, lowest), missing

    pumping = joined(runs(held >= pumping_rate_bpm(lowest)), record.time_s, 10.0)
    picks: dict[str, Pick] = {}
    end, picks["shut_in"] = _final_shut_in(record, held, treating, pumping, lowest)
    first, picks["injection_start"] = _injection_start(record, held, treating, pumping)
    rapid = joined(runs(fast), record.time_s, 10.0)
    rapid = lasting(rapid[rapid[:, 0] >= first], record.time_s, SUSTAINED_S)
    main = int(rapid[0, 0]) if len(rapid) else int(treating[0, 0])
    picks["main_start"] = MAIN_START.at(
        None, float(record.time_s[main]), "high", f"first sustained rate of {qty(lowest, 'bpm')}"
    )
    picks["initial_shut_in"] = _initial_shut_in(record, held < _idle_bpm(lowest), treating, main, end)
    inside = voids[(voids[:, 0] >= record.time_s[first])] if len(voids) else voids
    void_s = float((inside[:, 1] - inside[:, 0]).sum()) if len(inside) else 0.0
    return Timeline(record, first, main, end, void_s, lowest), picks


def _idle_bpm(main_bpm: float) -> float:
    return min(IDLE_BPM, 0.1 * main_bpm)


def _treating_level(rate: Array, fast: NDArray[np.bool_], design: StageDesign, main_bpm: float) -> float:
    """Lowest rate that counts as treating. [bbl/min]"""
    reference = design.rate_bpm
    held = rate[fast]
    if held.size and (not reference or _stays_below(held, 0.5 * reference)):  # never near its design
        reference = percentile(held, 80.0)
    return max(main_bpm, 0.5 * (reference or 0.0))


def _stays_below(rate: Array, limit_bpm: float) -> bool:
    """Whether the 95th percentile is below a limit: no need to find it if a tenth of many samples are not."""
    if rate.size > 20 and 10 * np.count_nonzero(rate >= limit_bpm) >= rate.size:
        return False
    return percentile(rate, 95.0) < limit_bpm


def _final_shut_in(
    record: StageRecord, held: Array, treating: NDArray[np.intp], pumping: NDArray[np.intp], main_bpm: float
) -> tuple[int | None, Pick]:
    last = int(treating[-1, 1])
    if last >= held.size:
        return None, SHUT_IN.missing("the record ends at treating rate")
    reached = median(held[max(int(treating[-1, 0]), last - 60) : last])
    gone = last + runs(held[last:] < max(_idle_bpm(main_bpm), 0.02 * reached))
    gone = gone[(duration_s(gone, record.time_s) >= 10.0) | (gone[:, 1] == held.size)] if len(gone) else gone
    if not len(gone):
        return None, SHUT_IN.missing("the rate never falls to zero after the treatment")
    end = int(gone[0, 0])
    if record.time_s[end] - record.time_s[end - 1] > 30.0:
        return None, SHUT_IN.missing("a gap in the record hides the shut-in")
    doubts = Doubts()
    if record.time_s[end] - record.time_s[last] > 600.0:
        doubts.add("more than ten minutes between treating rate and shut-in")
    later = pumping[pumping[:, 0] > end] if len(pumping) else pumping
    note = "rate at zero after the last treating rate"
    if len(later):
        note += "; later pumping at low rate is not part of this stage"
    return end, SHUT_IN.at(None, float(record.time_s[end]), doubts.confidence, doubts.words(note))


def _injection_start(
    record: StageRecord, held: Array, treating: NDArray[np.intp], pumping: NDArray[np.intp]
) -> tuple[int, Pick]:
    time = record.time_s
    into = pumping[pumping[:, 0] <= treating[0, 0]]
    into = lasting(into, time, SUSTAINED_S)
    begin = int(into[-1, 0]) if len(into) else int(treating[0, 0])
    for first, stop in into[-2::-1] if len(into) > 1 else []:
        idle = slice(int(stop), begin)
        if time[begin] - time[stop - 1] > 1800.0 or _line_test(record.pressure_psi, idle, begin):
            break
        ahead = median(record.pressure_psi[begin : begin + 30])
        if not median(record.pressure_psi[first:stop]) > 0.5 * ahead:
            break
        begin = int(first)
    doubts = Doubts()
    if begin == 0:
        doubts.add("the record begins while pumping", grave=True)
    return begin, INJECTION_START.at(None, float(time[begin]), doubts.confidence, doubts.words("sustained rate begins"))


def _without_priming(record: StageRecord, treating: NDArray[np.intp]) -> NDArray[np.intp]:
    """Leave out leading runs at low pressure before a line test: lines are primed at the rate of a small job."""
    while len(treating) > 1:
        (first, stop), (begin, end) = treating[:2]
        after = median(record.pressure_psi[begin:end])
        if not median(record.pressure_psi[first:stop]) < 0.5 * after:
            break
        if not _line_test(record.pressure_psi, slice(int(stop), int(begin)), int(begin)):
            break
        treating = treating[1:]
    return treating


def _line_test(pressure: Array, idle: slice, begin: int) -> bool:
    """Whether the lines were tested (pressure well above the later pressure, without rate) while the pumps idled."""
    held = pressure[idle]
    level = median(pressure[begin : begin + 10])
    return held.size >= 5 and largest(held, -np.inf) > 1.25 * max(level, 0.0) + 500.0


def _initial_shut_in(record: StageRecord, idle: Mask, treating: NDArray[np.intp], main: int, end: int | None) -> Pick:
    stopped = runs(idle)
    inside = stopped[(stopped[:, 0] > main) & (stopped[:, 1] < (end if end is not None else idle.size))]
    inside = lasting(inside, record.time_s, 60.0)
    inside = inside[inside[:, 1] <= treating[-1, 0]] if len(inside) else inside
    if not len(inside):
        return INITIAL_SHUT_IN.missing("the pumps did not stop before the end")
    return INITIAL_SHUT_IN.at(
        None, float(record.time_s[inside[0, 0]]), "high", f"{len(inside)} shut-in(s) before the final one"
    )
