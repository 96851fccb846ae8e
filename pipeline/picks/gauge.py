"""Faults of the pressure gauge: samples that no pressure in a well can have."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from pipeline.jit import compiled
from pipeline.picks.arrays import filled, largest, noisier
from pipeline.picks.timeline import IDLE_BPM
from pipeline.picks.types import Array, Mask, StageRecord

STEP_S = 2.5
"""Samples further apart can differ by any pressure. [s]"""
SPIKE_PSI, SPIKE_SAMPLES = 1500.0, 2
"""So much within a sample, and back after so few, is no pressure: fluid and pipe give way. [psi], [1]"""
DROPPED_PSI, DROPPED_S, UNDER_PRESSURE_PSI = 100.0, 60.0, 1000.0
"""A reading below the first, up to so long, between samples above the third is a lost signal. [psi], [s], [psi]"""
SAME_LEVEL = 0.25
"""A lost signal comes back within this share of where it was, a spike within this share of its size. [1]"""
FROZEN_S = 15.0
"""A gauge that repeats one value exactly for longer, while the well cannot be at rest, stands still. [s]"""
JUMP_PSI = 50.0
"""By so much a frozen reading is left behind when the gauge moves again. [psi]"""
AFTER_PUMPING_S, FALLS_S = 60.0, 30.0
"""So soon after pumping a pressure falls or rings, and does not stay the same for so long. [s]"""
LIVE_PSI = 0.5
"""A record whose pressure moves less from sample to sample while pumping may repeat values. [psi]"""
FLOWING_BPM = 5.0
"""A well that takes more than this rate is not at rest. [bbl/min]"""


def repair_pressure(record: StageRecord) -> tuple[StageRecord, Mask]:
    """Void the samples of a treating pressure that only a fault of the gauge explains.

    Parameters
    ----------
    record : StageRecord

    Returns
    -------
    record : StageRecord
        With NaN in their place.
    faulty : array of bool, shape (n,)
        Which samples they are.

    Notes
    -----
    Three faults: a spike (up or down by 1,500 psi within one step and back after at most two samples, but not while
    the pressure rings), a lost signal (a reading near zero for up to 60 s, entered and left within one step at about
    the same level), and a gauge that stands still (one value exactly, for 15 s or more, while the rate changes by more
    than half or after which the reading jumps; or for 30 s within a minute after pumping). A gauge at rest, and a
    record without any noise, may repeat values. The limits are chosen on simulated records.
    """
    time, pressure, rate = record.time_s, record.pressure_psi, filled(record.rate_bpm, -1.0)
    pumping = rate > FLOWING_BPM
    faulty = _jumps(time, pressure, pumping)
    repeated = _repeated(time, pressure, FROZEN_S)
    if len(repeated) and noisier(pressure[pumping], LIVE_PSI):
        top = largest(pressure[pumping], 0.0)  # repeated at the end of the gauge's range, which was reached
        for begin, stop in repeated:
            if pressure[begin] < top and _stands_still(time, pressure, rate, int(begin), int(stop)):
                faulty[begin:stop] = True
    if not faulty.any():
        return record, faulty
    kept = pressure.copy()
    kept[faulty] = np.nan
    return replace(record, pressure_psi=kept), faulty


def _stands_still(time: Array, pressure: Array, rate: Array, first: int, stop: int) -> bool:
    """Whether the pressure could not have stayed the same over samples in which its reading did."""
    before = slice(int(np.searchsorted(time, time[first] - AFTER_PUMPING_S)), first + 1)
    pumped = largest(rate[before], 0.0)
    held = rate[first:stop]
    most, least = largest(held, 0.0), held[held >= 0.0].min(initial=np.inf)
    if max(pumped, most) <= FLOWING_BPM:
        return False  # at rest
    if most > FLOWING_BPM and least < 0.5 * most:
        return True
    if most <= IDLE_BPM and time[stop - 1] - time[first] >= FALLS_S:
        return True
    return bool(stop < time.size and abs(pressure[stop] - pressure[stop - 1]) > JUMP_PSI)


@compiled
def _jumps(time: Array, pressure: Array, pumping: Mask) -> Mask:
    """Which samples are spikes, or near zero for a short time, with one step in and one step out.

    None is before pumping begins, when lines are tested and bled. Soon after pumping the pressure rings: no sample
    there is a spike.
    """
    faulty = np.zeros(pressure.size, np.bool_)
    k = 0
    while k < pumping.size and not pumping[k]:
        k += 1
    k = max(k, 1)
    while k < pressure.size:
        before = pressure[k - 1]
        step = pressure[k] - before
        if not abs(step) > min(SPIKE_PSI, UNDER_PRESSURE_PSI - DROPPED_PSI) or time[k] - time[k - 1] > STEP_S:
            k += 1
            continue
        dropped = before > UNDER_PRESSURE_PSI and pressure[k] < DROPPED_PSI
        stop = k + 1
        while stop < pressure.size and time[stop] - time[stop - 1] <= STEP_S:
            if dropped and pressure[stop] < DROPPED_PSI:
                if time[stop] - time[k] > DROPPED_S:
                    break
            elif abs(pressure[stop] - before) < 0.5 * abs(step) or stop - k >= SPIKE_SAMPLES:
                break
            stop += 1
        if stop < pressure.size and time[stop] - time[stop - 1] <= STEP_S:
            back, off = pressure[stop] - pressure[stop - 1], abs(pressure[stop] - before)
            lost = dropped and off <= SAME_LEVEL * before and time[stop] - time[k] <= DROPPED_S
            there = abs(step) > SPIKE_PSI and off <= SAME_LEVEL * abs(step) and not _rings(time, pumping, k)
            spike = there and stop - k <= SPIKE_SAMPLES and abs(back) > SPIKE_PSI and back * step < 0.0
            if lost or spike:
                faulty[k:stop] = True
        k = stop
    return faulty


@compiled
def _rings(time: Array, pumping: Mask, k: int) -> bool:
    """Whether the pumps stand still at a sample, and ran soon before it."""
    at = k
    while at >= 0 and not pumping[at] and time[k] - time[at] < AFTER_PUMPING_S:
        at -= 1
    return 0 <= at < k and time[k] - time[at] < AFTER_PUMPING_S


@compiled
def _repeated(time: Array, pressure: Array, least_s: float) -> NDArray[np.intp]:
    """Begin and end (excluded) of each run of one exact value that lasts so long."""
    found = np.empty((pressure.size, 2), np.intp)
    count, first = 0, 0
    for k in range(1, pressure.size + 1):
        if k == pressure.size or pressure[k] != pressure[first]:
            if time[k - 1] - time[first] >= least_s:
                found[count] = first, k
                count += 1
            first = k
    return found[:count]
