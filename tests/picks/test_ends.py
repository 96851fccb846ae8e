"""How a stage ends when pumps are lost, and when its flush is short."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pipeline.physics.constants import CAPACITY_IN2_FT_PER_BBL
from pipeline.physics.fluids import hydrostatic_psi, slurry_density_ppg
from pipeline.picks.stage import pick_stage
from pipeline.picks.types import Array, Pipe, StageDesign, StageRecord
from tests.builders import simple_stage

TVD_FT, LENGTH_FT, INSIDE_IN, BPM = 10_000.0, 18_000.0, 4.67, 90.0
CAPACITY_BBL = LENGTH_FT * INSIDE_IN**2 / CAPACITY_IN2_FT_PER_BBL
DESIGN = StageDesign(
    rate_bpm=BPM, capacity_bbl=CAPACITY_BBL, pipe=Pipe(LENGTH_FT, INSIDE_IN, 8.34), pressure_limit_psi=11000.0
)


def flushed(share: float, ppa: float, *, climb_psi_min: float = 0.0) -> StageRecord:
    """Pump at one rate, proppant to the end but a flush; the pressure changes only with the weight of the column."""
    flush_s = int(60.0 * share * CAPACITY_BBL / BPM)
    conc = np.concatenate((np.zeros(600), np.full(1500, ppa), np.zeros(flush_s)))
    mean = column_mean(conc)
    density = slurry_density_ppg(8.34, mean, DESIGN.absolute_volume_gal_lbm)
    noise = np.random.default_rng(1).normal(0.0, 5.0, conc.size)
    pressure = 12_500.0 - hydrostatic_psi(density, TVD_FT) + noise
    late = np.arange(conc.size) - (conc.size - 120)
    pressure = pressure + climb_psi_min / 60.0 * np.maximum(late, 0)
    fall = 4500.0 - 8.0 * np.sqrt(np.arange(400.0)) + np.random.default_rng(2).normal(0.0, 2.0, 400)
    rate = np.concatenate((np.zeros(60), np.full(conc.size, BPM), np.zeros(400)))
    whole = np.concatenate((np.full(60, 3000.0), pressure, fall))
    return StageRecord(
        np.arange(rate.size, dtype=float), whole, rate, None, np.concatenate((np.zeros(60), conc, np.zeros(400)))
    )


def column_mean(conc: Array) -> Array:
    """Mean concentration over the vertical part of the pipe, at a constant rate."""
    seconds = int(60.0 * TVD_FT * INSIDE_IN**2 / CAPACITY_IN2_FT_PER_BBL / BPM)
    padded = np.concatenate((np.zeros(seconds), conc))
    total = np.concatenate(([0.0], np.cumsum(padded)))
    return (total[seconds:-1] - total[: -1 - seconds]) / seconds


@pytest.mark.parametrize("share", [0.3, 0.5, 0.8])
@pytest.mark.parametrize("ppa", [1.0, 2.0, 3.0])
def test_a_short_flush_that_only_lightens_the_column_is_no_screen_out(share: float, ppa: float) -> None:
    found = pick_stage(flushed(share, ppa), DESIGN).effective["screenout"]
    assert found.value == 0.0, found.reason
    assert "flush short" in found.reason


@pytest.mark.parametrize("share", [0.3, 0.5])
def test_a_screen_out_in_the_flush_is_still_found(share: float) -> None:
    found = pick_stage(flushed(share, 2.0, climb_psi_min=1500.0), DESIGN).effective["screenout"]
    assert (found.value, found.confidence) == (1.0, "high"), found.reason


@pytest.mark.parametrize("stop_s", [15, 60, 240])
def test_proppant_after_a_stop_at_a_low_rate_belongs_to_the_stage(stop_s: int) -> None:
    stage = simple_stage()
    assert stage.conc_ppa is not None
    sound = pick_stage(stage, StageDesign(rate_bpm=80.0))
    end = sound.timeline.end
    assert end is not None
    falling = stage.pressure_psi[end : end + stop_s]
    slow = np.full(900, 5200.0) + np.random.default_rng(4).normal(0.0, 3.0, 900)
    pressure = np.concatenate((stage.pressure_psi[:end], falling, slow, stage.pressure_psi[end:]))
    rate = np.concatenate(
        (stage.rate_bpm[:end], np.zeros(stop_s), np.full(900, 32.0), np.zeros(stage.rate_bpm.size - end))
    )
    conc = np.concatenate(
        (
            stage.conc_ppa[:end],
            np.zeros(stop_s),
            np.full(700, 2.0),
            np.zeros(200),
            np.zeros(rate.size - end - stop_s - 900),
        )
    )
    record = StageRecord(np.arange(rate.size, dtype=float), pressure, rate, None, conc)
    picks = pick_stage(record, StageDesign(rate_bpm=80.0))
    # the flush, at the rate of the proppant before it, ends the stage
    assert picks.effective["shut_in"].time_s == pytest.approx(end + stop_s + 900, abs=2.0)
    clean = pick_stage(
        replace(record, conc_ppa=np.where(np.arange(rate.size) > end, 0.0, conc)), StageDesign(rate_bpm=80.0)
    )
    assert clean.effective["shut_in"].time_s == sound.effective["shut_in"].time_s, "a pump-down, without proppant"
