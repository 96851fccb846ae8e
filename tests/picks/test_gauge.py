"""What only a fault of the gauge explains is left out; what a well can do stays."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pipeline.picks.gauge import repair_pressure
from pipeline.picks.stage import StagePicks, pick_stage
from pipeline.picks.types import StageDesign, StageRecord
from tests.builders import simple_stage

DESIGN = StageDesign(rate_bpm=80.0)


def shut_in(picks: StagePicks) -> int:
    end = picks.timeline.end
    assert end is not None
    return end


@pytest.fixture(scope="module")
def record() -> StageRecord:
    return simple_stage()


@pytest.fixture(scope="module")
def sound(record: StageRecord) -> StagePicks:
    return pick_stage(record, DESIGN)


def changed(record: StageRecord, at: slice | int, value: float) -> StageRecord:
    pressure = record.pressure_psi.copy()
    pressure[at] = value
    return replace(record, pressure_psi=pressure)


def test_a_sound_record_is_left_as_it_is(record: StageRecord, sound: StagePicks) -> None:
    repaired, faulty = repair_pressure(record)
    assert not faulty.any()
    assert repaired is record
    assert sound.faulty_pressures == 0


@pytest.mark.parametrize("frozen_s", [120, 160, 250, 400])
def test_a_gauge_that_stands_still_over_the_shut_in_gives_no_false_isip(
    record: StageRecord, sound: StagePicks, frozen_s: int
) -> None:
    end = shut_in(sound)
    begin = end - 5
    still = changed(record, slice(begin, min(begin + frozen_s, record.time_s.size)), record.pressure_psi[begin])
    isip, true = pick_stage(still, DESIGN).effective["isip"], sound.effective["isip"]
    assert true.value is not None
    assert isip.value is None or abs(isip.value - true.value) < 60.0, isip


def test_a_gauge_that_stands_still_from_soon_after_the_shut_in_is_left_out(
    record: StageRecord, sound: StagePicks
) -> None:
    begin = shut_in(sound) + 5
    picks = pick_stage(changed(record, slice(begin, None), record.pressure_psi[begin]), DESIGN)
    assert picks.faulty_pressures >= record.time_s.size - begin - 1
    assert picks.effective["isip"].value is None


@pytest.mark.parametrize(("size", "count"), [(4000.0, 1), (-4000.0, 1), (2500.0, 2)])
def test_spikes_are_left_out(record: StageRecord, sound: StagePicks, size: float, count: int) -> None:
    main = sound.timeline.main
    assert main is not None
    at = slice(main + 600, main + 600 + count)
    spiked = replace(record, pressure_psi=record.pressure_psi.copy())
    spiked.pressure_psi[at] += size
    picks = pick_stage(spiked, DESIGN)
    assert picks.faulty_pressures == count
    assert np.isnan(picks.timeline.record.pressure_psi[at]).all()


@pytest.mark.parametrize("seconds", [1, 20, 45])
def test_a_lost_signal_is_left_out_while_pumping_and_in_the_falloff(
    record: StageRecord, sound: StagePicks, seconds: int
) -> None:
    main, end = sound.timeline.main, shut_in(sound)
    assert main is not None
    pumping = pick_stage(changed(record, slice(main + 600, main + 600 + seconds), 0.0), DESIGN)
    assert pumping.faulty_pressures == seconds
    after = pick_stage(changed(record, slice(end + 100, end + 100 + seconds), 0.0), DESIGN)
    isip, true = after.effective["isip"], sound.effective["isip"]
    assert isip.value == pytest.approx(true.value, abs=15.0)


def test_what_a_well_does_is_no_fault(record: StageRecord, sound: StagePicks) -> None:
    end, time = shut_in(sound), record.time_s
    pressure = record.pressure_psi.copy()
    # bled off in four seconds, and a line test after it
    pressure[end + 200 : end + 204] = np.linspace(pressure[end + 200], 0.0, 4)
    pressure[end + 204 :] = 0.0
    assert not repair_pressure(replace(record, pressure_psi=pressure))[1].any()
    # a gauge of 5 psi steps repeats its values late in the falloff, and at rest
    coarse = np.round(record.pressure_psi / 5.0) * 5.0
    assert not repair_pressure(replace(record, pressure_psi=coarse))[1].any()
    # a record of few samples may differ by any amount from one to the next
    thin = slice(None, None, 10)
    sparse = StageRecord(time[thin], record.pressure_psi[thin], record.rate_bpm[thin])
    assert not repair_pressure(sparse)[1].any()


def test_a_stage_pumped_at_less_than_half_of_its_design_rate_is_still_a_stage() -> None:
    slow = simple_stage(rate=42.0)
    picks = pick_stage(slow, StageDesign(rate_bpm=95.0))
    told = pick_stage(slow, StageDesign())
    for name in ("main_start", "shut_in", "isip"):
        assert picks.effective[name].time_s == told.effective[name].time_s
    assert picks.effective["isip"].value is not None


@pytest.mark.parametrize("after_s", [30, 60, 85, 100, 130])
@pytest.mark.parametrize("takes_s", [3, 15])
def test_a_bleed_off_ends_the_falloff(record: StageRecord, sound: StagePicks, after_s: int, takes_s: int) -> None:
    begin = shut_in(sound) + after_s
    pressure = record.pressure_psi.copy()
    pressure[begin : begin + takes_s] = np.linspace(pressure[begin], 20.0, takes_s)
    pressure[begin + takes_s :] = 20.0 + np.random.default_rng(3).normal(0.0, 2.0, pressure.size - begin - takes_s)
    isip = pick_stage(replace(record, pressure_psi=pressure), DESIGN).effective["isip"]
    if after_s < 90:
        assert isip.value is None, isip
    else:
        assert isip.value == pytest.approx(sound.effective["isip"].value, abs=15.0)
