"""Recorder errors added to a clean signal: noise, spikes, gaps, repeated and out-of-order rows, drop-outs."""

from __future__ import annotations

import numpy as np
import polars as pl

from pipeline.demo.treatment import StageSignal, StageTruth
from pipeline.units import conversion

VOID = -999.25


_METRIC = {"pressure": ("psi", "MPa"), "rate": ("bpm", "m**3/min")}
_METRIC |= {"pressure_2": _METRIC["pressure"], "clean": _METRIC["rate"]}


def in_metric() -> list[pl.Expr]:
    """Return the pressures and rates of a record in metric units, under the same names."""
    return [_converted(channel, *units) for channel, units in _METRIC.items()]


def _converted(channel: str, ours: str, theirs: str) -> pl.Expr:
    factor = conversion(ours, theirs).factor
    value = pl.col(channel)
    return pl.when(value == VOID).then(VOID).otherwise(value * factor).alias(channel)


def record_stage(signal: StageSignal, truth: StageTruth, rng: np.random.Generator) -> pl.DataFrame:
    """Return the record as written, and note the added errors in the truth.

    Returns
    -------
    polars.DataFrame
        ``second`` (of the record) and the channels, in file order; void samples are ``VOID``.
    """
    n = signal.pressure_psi.size
    second = np.arange(n)
    pressure = signal.pressure_psi + rng.normal(0.0, float(rng.uniform(1.5, 5.0)), n)
    noisy = signal.slurry_bpm > 1.0
    jitter = np.where(noisy, rng.normal(0.0, 0.12, n), 0.0)
    rate = np.clip(signal.slurry_bpm + jitter, 0.0, None)
    clean = np.clip(signal.clean_bpm + jitter, 0.0, None)
    conc = np.where(signal.conc_ppa > 0.0, signal.conc_ppa + rng.normal(0.0, 0.004, n), 0.0)
    if rng.random() < 0.12:
        pressure = pressure - 40.0
        truth.mess.append("offset")
    if rng.random() < 0.15:
        at = int(rng.integers(5, max(signal.first_injection - 2, 6)))
        rate[at] = clean[at] = 65.0
        truth.mess.append("spike")
    middle = (signal.first_injection + signal.shut_in) // 2
    if rng.random() < 0.05:
        at = middle + int(rng.integers(-300, 300))
        if rate[at - 5 : at + 25].min() > 30.0:
            rate[at : at + 15] = clean[at : at + 15] = 0.0
            truth.mess.append("drop-out")
    if rng.random() < 0.1:
        pressure[rng.integers(0, n, 6)] = VOID
        truth.mess.append("void")
    total = np.cumsum(clean) / 60.0
    if rng.random() < 0.1:
        total[middle:] -= total[middle]
        truth.mess.append("reset")
    rows = second.copy()
    if "drop-out" not in truth.mess and rng.random() < 0.2:
        starts = {"before": 5, "ball": signal.first_injection + 40, "main": middle, "falloff": signal.shut_in + 190}
        phase = str(rng.choice(list(starts), p=[0.15, 0.2, 0.45, 0.2]))
        at = starts[phase] + int(rng.integers(0, 60))
        rows = np.delete(rows, slice(at, at + int(rng.integers(8, 18))))
        truth.mess.append("gap" if phase in ("ball", "main") else f"gap {phase}")
    if rng.random() < 0.2:
        rows = np.sort(np.concatenate((rows, rng.choice(rows, 5, replace=False))), kind="stable")
        truth.mess.append("repeated")
    if rng.random() < 0.15:
        at = int(rng.integers(10, rows.size - 10))
        rows[[at, at + 1]] = rows[[at + 1, at]]
        truth.mess.append("out of order")
    frame = pl.DataFrame(
        {
            "second": second, "pressure": pressure, "pressure_2": pressure + rng.normal(4.0, 6.0, n), "rate": rate,
            "clean": clean, "conc": conc, "reducer": signal.reducer_gpt, "total": total,
        }
    )  # fmt: skip
    return frame[rows]
