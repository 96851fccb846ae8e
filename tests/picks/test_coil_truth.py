"""Simulated mill-outs against what was planted in them, over seeds; and what spoilt records must never do."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cache

import numpy as np
import polars as pl
import pytest

from pipeline.demo.basin import CampaignSize, Well, make_wells, perforations_ft
from pipeline.demo.coil import CoilScript, PlugTruth, RunTruth, draw_coil_script, simulate_mill_out
from pipeline.physics.constants import FT_M
from pipeline.picks.coil_plugs import Assigned, assign
from pipeline.picks.coil_record import CoilRecord, trace
from pipeline.picks.coil_states import find_stalls, find_trips, weight_is_reversed
from pipeline.picks.coil_stops import find_stops

SEEDS = range(6)
Spoil = Callable[[CoilRecord], CoilRecord]


def plugs_of(well: Well) -> dict[int, float]:
    return {stage: round(perforations_ft(well, stage)[1] + 12.0) for stage in range(2, well.stages + 1)}


def record_of(frame: pl.DataFrame) -> CoilRecord:
    names = ("second", "depth", "pressure", "pump", "returns", "weight", "sand", "bypass", "wellhead")
    return CoilRecord(*(frame[name].to_numpy().astype(float) for name in names))


@cache
def campaign() -> list[tuple[Well, CoilRecord, RunTruth]]:
    """Some dozens of wells, each milled out in one run with ordinary troubles."""
    runs = []
    for seed in SEEDS:
        rng = np.random.default_rng(seed)
        for well in make_wells(CampaignSize(seed=seed, stages=(9, 14)), rng)[:9]:
            plugs = plugs_of(well)
            script = draw_coil_script(list(plugs), rng)
            frame, truth = simulate_mill_out(well, list(plugs.items()), script, well.pad_number, rng)[0]
            runs.append((well, record_of(frame), truth))
    return runs


def picked(well: Well, record: CoilRecord) -> Assigned:
    path = trace(record)
    assert path is not None
    plugs = plugs_of(well)
    return assign(find_stops(record, path, min(plugs.values()) - 120.0), plugs, path)


def test_tags_mill_minutes_and_stalls_over_seeds() -> None:
    tags, minutes, stalls, milled = [], [], [], 0
    for well, record, truth in campaign():
        found = picked(well, record)
        path = trace(record)
        assert path is not None
        for plug in truth.plugs:
            if plug.tag_second is None:
                assert found.plugs[plug.plug].mill.value is None, (well.well_id, plug)
                continue
            milled += 1
            pick = found.plugs[plug.plug]
            if pick.tag.time_s is None or pick.mill.value is None:
                continue
            tags.append(abs(pick.tag.time_s - plug.tag_second))
            minutes.append(abs(pick.mill.value - (plug.mill_min or 0.0)))
            counted = find_stalls(record, path, found.stops[plug.plug])
            assert counted is not None
            stalls.append(abs(len(counted) - (plug.stalls or 0)))
    assert milled > 350
    assert np.count_nonzero(np.asarray(tags) <= 10.0) >= 0.95 * milled
    assert np.count_nonzero(np.asarray(minutes) <= 1.0) >= 0.95 * milled
    assert np.count_nonzero(np.asarray(stalls) == 0) >= 0.95 * milled


def test_plugs_that_moved_or_were_pushed_are_told_and_unsure() -> None:
    fates: dict[str, int] = {}
    for well, record, truth in campaign():
        found = picked(well, record)
        above: PlugTruth | None = None
        for plug in sorted(truth.plugs, key=lambda item: -item.plug):
            fates[plug.fate] = fates.get(plug.fate, 0) + 1
            pick = found.plugs[plug.plug]
            if plug.fate == "moved":
                assert pick.mill.confidence in ("low", "none")
            if plug.fate == "missing":
                assert "without a stop" in pick.tag.reason
            if above is not None and above.fate == "pushed" and plug.fate == "milled":
                assert pick.mill.confidence != "high"
            above = plug
    assert min(fates[name] for name in ("missing", "moved", "pushed")) >= 3


def test_wiper_trips_are_exact_in_98_per_cent_of_runs() -> None:
    exact, minutes = [], []
    for well, record, truth in campaign():
        path = trace(record)
        assert path is not None
        trips = [trip for trip in find_trips(path, well.heel_ft) if trip.wiper]
        exact.append(len(trips) == truth.wiper_trips)
        if truth.wiper_min and exact[-1]:
            mean = np.mean([trip.end_s - trip.start_s for trip in trips]) / 60.0
            minutes.append(abs(mean / truth.wiper_min - 1.0))
    assert np.mean(exact) >= 0.98
    assert max(minutes) <= 0.05


def reset(record: CoilRecord) -> CoilRecord:
    depth = record.depth_ft.copy()
    depth[depth.size // 3 :] -= 240.0  # a stage length: the worst case
    return replace(record, depth_ft=depth)


def metres(record: CoilRecord) -> CoilRecord:
    return replace(record, depth_ft=record.depth_ft * FT_M)


def reversed_sign(record: CoilRecord) -> CoilRecord:
    assert record.weight_lbf is not None
    return replace(record, weight_lbf=-record.weight_lbf)


def blind(record: CoilRecord) -> CoilRecord:
    return replace(record, pressure_psi=None, pump_bpm=None, return_bpm=None, weight_lbf=None)


def gap(record: CoilRecord) -> CoilRecord:
    middle = record.time_s.size // 2
    keep = np.ones(record.time_s.size, dtype=bool)
    keep[middle : middle + 600] = False
    return CoilRecord(*(getattr(record, name)[keep] for name in record.__dataclass_fields__))


def void(record: CoilRecord) -> CoilRecord:
    depth = record.depth_ft.copy()
    middle = depth.size // 2
    depth[middle : middle + 600] = np.nan
    return replace(record, depth_ft=depth)


def halved(record: CoilRecord) -> CoilRecord:
    return CoilRecord(*(getattr(record, name)[: record.time_s.size // 2] for name in record.__dataclass_fields__))


@pytest.mark.parametrize("spoil", [reset, metres, reversed_sign, blind, gap, void, halved])
def test_a_spoilt_record_never_gives_a_plug_to_the_wrong_stop(spoil: Spoil) -> None:
    still = wrong = 0
    for well, record, truth in campaign():
        found = picked(well, spoil(record))
        planted = {plug.plug: plug.tag_second for plug in truth.plugs}
        for plug, pick in found.plugs.items():
            if pick.tag.time_s is None:
                continue
            second = planted[plug]
            if second is None or abs(pick.tag.time_s - second) > 60.0:
                wrong += 1
            still += 1
            if pick.mill.value is not None and second is not None:
                minutes = next(item.mill_min for item in truth.plugs if item.plug == plug)
                assert abs(pick.mill.value - (minutes or 0.0)) < 2.0
    assert wrong == 0
    floor = {"metres": 0, "halved": 60}.get(spoil.__name__, 250)
    assert still >= floor
    if spoil is metres:
        assert still == 0


def test_metres_and_a_reversed_weight_are_noticed() -> None:
    for well, record, _ in campaign()[:5]:
        assert "metres" in picked(well, metres(record)).unusable
        path = trace(record)
        assert path is not None
        assert not weight_is_reversed(record, path)
        assert weight_is_reversed(reversed_sign(record), path)


def test_a_gap_on_a_plug_leaves_its_minutes_unknown() -> None:
    well, record, truth = campaign()[0]
    plug = next(plug for plug in truth.plugs if (plug.mill_min or 0.0) > 5.0)
    assert plug.tag_second is not None
    keep = np.abs(record.time_s - plug.tag_second - 150.0) > 100.0
    cut = CoilRecord(*(getattr(record, name)[keep] for name in record.__dataclass_fields__))
    pick = picked(well, cut).plugs[plug.plug]
    assert pick.tag.value is not None
    assert pick.mill.value is None
    assert "gap" in pick.mill.reason


def test_a_script_draws_plugs_that_are_not_where_they_were_set() -> None:
    rng = np.random.default_rng(0)
    fates = [fate for _ in range(60) for fate in draw_coil_script(list(range(2, 14)), rng).fates.values()]
    assert set(fates) == {"missing", "pushed", "moved"}
    assert CoilScript().fates == {}
