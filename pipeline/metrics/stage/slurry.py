"""Stage metrics of pad, proppant steps, flush, additives and ramp."""

from __future__ import annotations

import numpy as np

from pipeline.metrics.declare import Missing
from pipeline.metrics.stage.metrics import capacity_bbl, clean_bbl, flush_bbl
from pipeline.metrics.stage.view import NO_INJECTION, STAGE, StageView
from pipeline.physics.constants import GAL_PER_BBL
from pipeline.picks.arrays import at_time, deviation, integral, largest, median, percentile
from pipeline.picks.types import Array

STEADY_SHARE = 0.02
"""Rates within this share of their median count as one rate. [1]"""


def _clean_until(s: StageView, pick: str) -> tuple[Array, Array]:
    """Clean rate from the start of the injection to a given time."""
    moment = s.picks.effective[pick]
    if s.injection is None:
        raise Missing(NO_INJECTION)
    if moment.time_s is None:
        raise Missing(moment.reason)
    if s.clean is None:
        raise Missing("neither clean rate nor concentration in the record")
    stop = at_time(s.time_s, moment.time_s)
    return s.time_s[: stop + 1], s.clean[: stop + 1]


@STAGE.metric("bbl", "clean fluid before first proppant, with ball pump-down, without acid", source="trade convention")
def pad_bbl(s: StageView) -> float:
    span = _clean_until(s, "first_proppant")
    acid = (s.row.get("acid_gal") or 0.0) / GAL_PER_BBL
    return integral(span[0], span[1] / 60.0)[0] - acid


@STAGE.metric("bbl", "clean fluid at rate before first proppant")
def pad_at_rate_bbl(s: StageView) -> float:
    span = _clean_until(s, "first_proppant")
    fast = np.where(s.at_rate[: span[1].size], span[1], 0.0)
    return integral(span[0], fast / 60.0)[0]


@STAGE.metric("", "plateaus of concentration that rise above the one before", kind="count")
def proppant_steps(s: StageView) -> int:
    return int(s.pick("proppant_steps"))


@STAGE.metric("", "number of sweeps between proppant steps", kind="count")
def sweeps(s: StageView) -> int:
    return int(s.pick("sweeps"))


@STAGE.metric("ppa", "highest concentration (99 % quantile)")
def max_conc_ppa(s: StageView) -> float:
    if s.conc is None:
        raise Missing("no concentration in the record")
    loaded = s.conc[s.conc > 0.1]
    if not loaded.size:
        raise Missing("no proppant was pumped")
    return percentile(loaded, 99.0)


@STAGE.metric("bbl", "volume to the perforations minus the flush; negative if over-flushed")
def flush_short_bbl(s: StageView) -> float:
    flush, capacity = flush_bbl(s), capacity_bbl(s)
    return float(capacity - flush)


@STAGE.metric("ratio", "clean fluid over designed fluid")
def fluid_share(s: StageView) -> float:
    designed = s.row.get("designed_fluid_bbl")
    if not designed:
        raise Missing("no designed fluid in the stages table")
    return float(clean_bbl(s) / designed)


@STAGE.metric("ratio", "mean rate over samples at rate, over the designed rate")
def rate_share(s: StageView) -> float:
    if not s.design.rate_bpm:
        raise Missing("no designed rate in the stages table")
    mean = s.mean(s.rate, s.at_rate)
    return mean / s.design.rate_bpm


@STAGE.metric("", "whether fewer holes were fired than designed", kind="flag")
def misfired(s: StageView) -> bool:
    designed, shot = s.row.get("holes_designed"), s.row.get("holes_shot")
    if designed is None or shot is None:
        raise Missing("holes as designed or as shot not in the stages table")
    return bool(shot < designed)


@STAGE.metric("psi", "highest pressure from breakdown to the first sample at rate")
def max_ramp_pressure_psi(s: StageView) -> float:
    broke = s.picks.effective["breakdown_pressure"]
    fast = np.flatnonzero(s.at_rate)
    if broke.time_s is None:
        raise Missing(broke.reason)
    if not fast.size:
        raise Missing("never at rate")
    span = s.pressure[at_time(s.time_s, broke.time_s) : int(fast[0]) + 1]
    highest = largest(span, -np.inf)
    if not np.isfinite(highest):
        raise Missing("no pressure between breakdown and rate")
    return highest


@STAGE.metric("gal", "friction reducer: integral of clean rate times 42 times loading")
def friction_reducer_gal(s: StageView) -> float:
    if s.reducer is None:
        raise Missing("no friction reducer in the record")
    if s.injection is None:
        raise Missing(NO_INJECTION)
    if s.clean is None:
        raise Missing("no clean rate")
    return s.total(s.clean * GAL_PER_BBL * s.reducer / 1000.0 / 60.0)


@STAGE.metric("gpt", "time mean of the friction reducer loading over the main treatment")
def friction_reducer_gpt(s: StageView) -> float:
    if s.reducer is None:
        raise Missing("no friction reducer in the record")
    return s.mean(s.reducer, s.main)


@STAGE.metric("psi/gpt", "change of pressure with friction reducer loading, at constant rate without proppant")
def pressure_per_reducer_psi_gpt(s: StageView) -> float:
    if s.reducer is None:
        raise Missing("no friction reducer in the record")
    mask = s.at_rate & ~np.isnan(s.reducer)
    if s.conc is not None:
        mask &= ~(s.conc > 0.1)
    if np.count_nonzero(mask) < 120:
        raise Missing("less than two minutes at rate without proppant")
    rate, loading, pressure = s.rate[mask], s.reducer[mask], s.pressure[mask]
    usual = median(rate)
    one = np.abs(rate - usual) <= STEADY_SHARE * usual
    loading, pressure = loading[one], pressure[one]
    if not deviation(loading) >= 0.05:
        raise Missing("the loading hardly changed")
    centred = loading - loading.mean()
    return float((centred @ pressure) / (centred @ centred))
