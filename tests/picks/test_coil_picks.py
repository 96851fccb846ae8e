"""Coil picks on plain runs."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pipeline.picks.coil_plugs import Assigned, _plug_picks, _unmet, assign
from pipeline.picks.coil_record import CoilRecord, trace
from pipeline.picks.coil_states import find_stalls, find_states, find_trips, lock_up_ft, overpulls
from pipeline.picks.coil_stops import Stop, find_stops
from pipeline.picks.toe import cement_spans, find_stations


def run(pieces: list[tuple[float, ...]]) -> CoilRecord:
    """A run from (seconds, depth reached[, pressure]) pieces."""
    seconds, depths, pressures = [0.0], [0.0], [3000.0]
    for piece in pieces:
        seconds.append(seconds[-1] + piece[0])
        depths.append(piece[1])
        pressures.append(piece[2] if len(piece) > 2 else 3000.0)
    time = np.arange(seconds[-1] + 1.0)
    depth = np.interp(time, seconds, depths)
    index = np.minimum(np.searchsorted(seconds, time, side="left"), len(pressures) - 1)
    pressure = np.asarray(pressures)[index] + np.random.default_rng(1).normal(0.0, 5.0, time.size)
    return CoilRecord(time, depth, pressure, np.full(time.size, 2.5))


def assigned(record: CoilRecord, plugs: dict[int, float]) -> Assigned:
    path = trace(record)
    assert path is not None
    return assign(find_stops(record, path, 500.0), plugs, path)


MILL = 3400.0


def test_tag_and_mill_time_with_a_pick_up() -> None:
    record = run(
        [
            (6000, 10000),
            (300, 10000.5, MILL),
            (10, 9991),
            (20, 10000.5),
            (300, 10001.0, MILL),
            (60, 10030),
            (600, 10200),
        ]
    )
    found = assigned(record, {5: 10005.0}).plugs[5]
    assert found.tag.time_s == pytest.approx(6000.0, abs=3.0)
    assert found.tag.value == pytest.approx(10000.0, abs=1.0)
    assert found.mill.value == pytest.approx((300 + 10 + 20 + 300 + 2) / 60.0, abs=0.2)


WIPED = [
    (6000, 10000),
    (600, 10001, MILL),
    (30, 10020),
    (2000, 8050),
    (120, 8050),
    (2000, 10020),
    (300, 10200),
    (400, 10201, MILL),
    (30, 10230),
    (9000, 0),
]


def test_a_choke_that_closes_is_no_motor_at_work() -> None:
    """400 psi more at the wellhead and in the coil, from before a wait to the end: the stops stay as they were."""
    plain = run(
        [(6000, 10000), (600, 10001, MILL), (60, 10030), (300, 10030), (600, 10200), (600, 10201, MILL), (60, 10240)]
    )
    closed = np.where(plain.time_s > 6640.0, 400.0, 0.0)
    assert plain.pressure_psi is not None
    choked = replace(plain, pressure_psi=plain.pressure_psi + closed, wellhead_psi=1500.0 + closed)
    ours, theirs = (assigned(record, {3: 10000.0, 2: 10200.0}) for record in (plain, choked))
    for plug in (2, 3):
        assert theirs.plugs[plug].mill.value == pytest.approx(ours.plugs[plug].mill.value, abs=0.05)
    assert theirs.other == [] == ours.other
    void = replace(choked, wellhead_psi=np.where(plain.time_s % 4.0 < 1.0, np.nan, 1500.0 + closed))
    assert void.motor_psi is void.pressure_psi  # a quarter of it is void


def test_a_wiper_trip_between_plugs_is_no_mill_time_and_counts_once() -> None:
    record = run(WIPED)
    plugs = assigned(record, {2: 10195.0, 3: 10000.0}).plugs
    assert plugs[3].mill.value == pytest.approx(10.1, abs=0.3)
    assert plugs[2].mill.value == pytest.approx(6.7, abs=0.3)
    path = trace(record)
    assert path is not None
    trips = find_trips(path, 8000.0)
    assert len(trips) == 1
    assert (trips[0].end_s - trips[0].start_s) / 60.0 == pytest.approx(4120 / 60.0, rel=0.01)


def test_a_wiper_trip_while_on_a_plug_is_taken_out_of_its_minutes() -> None:
    record = run(
        [
            (6000, 10000),
            (300, 10000.5, MILL),
            (2000, 8000),
            (2000, 10000.5),
            (300, 10001, MILL),
            (60, 10030),
            (300, 10100),
        ]
    )
    found = assigned(record, {3: 10000.0}).plugs[3]
    assert found.mill.value == pytest.approx(10.0, abs=0.2)  # the way to and from the trip is not on the plug
    assert "away from the plug" in found.mill.reason


@pytest.mark.parametrize(
    ("pieces", "short"),
    [
        ([(6000, 10000), (600, 10001, MILL), (9000, 0)], 0),
        ([(6000, 10000), (300, 9800), (300, 10000), (100, 10050)], 1),
        ([(6000, 10000), (300, 9945), (300, 10000), (100, 10050)], 0),
    ],
)
def test_the_last_pull_and_a_short_pull_are_no_wiper_trips(pieces: list[tuple[float, ...]], short: int) -> None:
    path = trace(run(pieces))
    assert path is not None
    assert [trip.wiper for trip in find_trips(path, 8000.0)] == [False] * short


def test_a_pull_from_above_the_plugs_is_a_weight_check_and_no_trip() -> None:
    path = trace(run([(6000, 7000), (300, 6800), (300, 7000), (3000, 10000)]))
    assert path is not None
    assert len(find_trips(path, 8000.0, from_ft=6500.0)) == 1
    assert find_trips(path, 8000.0, from_ft=7500.0) == []


OFF_PLUG = [(6000, 10000), (600, 10001, MILL)]


@pytest.mark.parametrize(("up_ft", "minutes"), [(8000, 33.0), (9850, 2.5)])
def test_a_trip_right_off_a_plug_ends_its_mill_time_when_the_mill_leaves(up_ft: float, minutes: float) -> None:
    seconds = minutes * 60.0
    record = run(
        [*OFF_PLUG, (seconds, up_ft, 4200.0), (60, up_ft, 4200.0), (seconds, 10001), (60, 10030), (300, 10400)]
    )
    assert record.pump_bpm is not None
    record.pump_bpm[6598:] = 4.2  # the rate goes up just before the mill leaves: friction, not a stall
    record.pressure_psi[6590:6600] += 900.0  # type: ignore[index]
    record.pump_bpm[6590:6600] = 4.2
    path = trace(record)
    assert path is not None
    found = assigned(record, {3: 10000.0})
    assert found.plugs[3].mill.value == pytest.approx(10.0, abs=0.1)
    assert found.plugs[3].mill.time_s == pytest.approx(6600.0, abs=4.0)
    assert find_stalls(record, path, found.stops[3]) == []


def test_a_run_that_ends_on_a_plug_has_its_mill_time_and_is_pulled_out_not_stalled() -> None:
    record = run([*OFF_PLUG, (9000, 0)])
    path = trace(record)
    assert path is not None
    found = assigned(record, {3: 10000.0})
    assert found.stops[3].ending == "pulled off"
    assert found.plugs[3].mill.value == pytest.approx(10.0, abs=0.1)
    assert found.plugs[3].mill.confidence == "medium"
    assert "ended on the plug" in found.plugs[3].mill.reason
    assert find_stalls(record, path, found.stops[3]) == []


def test_a_mill_back_on_the_plug_by_a_slipped_counter_mills_on() -> None:
    record = run([*OFF_PLUG, (600, 9700), (600, 9992), (400, 9992.5, MILL), (30, 10030), (300, 10400)])
    found = assigned(record, {3: 10000.0}).plugs[3]
    assert found.mill.value == pytest.approx((600 + 400) / 60.0, abs=0.3)


def test_a_plug_that_was_passed_without_a_stop_is_not_met() -> None:
    found = assigned(run([(6000, 10400)]), {4: 10000.0}).plugs[4]
    assert found.mill.value is None
    assert "without a stop" in found.mill.reason


def test_a_halt_with_the_motor_idle_is_no_plug() -> None:
    found = assigned(run([(6000, 10000), (600, 10000), (600, 10400)]), {4: 10000.0}).plugs[4]
    assert found.mill.value is None


def test_a_plug_below_the_deepest_point_is_not_of_this_run_and_one_at_the_end_is_unfinished() -> None:
    record = run([(6000, 10000), (300, 10000.5, MILL)])
    assert 9 not in assigned(record, {9: 11000.0}).plugs
    last = assigned(record, {4: 10000.0}).plugs[4]
    assert last.tag.value is not None
    assert last.mill.value is None
    assert "record ends with the mill on the plug" in last.mill.reason


def test_void_depths_take_the_last_good_one() -> None:
    record = run([(100, 1000)])
    record.depth_ft[50:60] = np.nan
    path = trace(record)
    assert path is not None
    assert path.depth_ft[55] == record.depth_ft[49]


def test_a_record_without_depth_has_no_path() -> None:
    record = run([(100, 1000)])
    record.depth_ft[:] = np.nan
    assert trace(record) is None


def test_a_counter_reset_is_carried_on_and_a_spike_leaves_nothing_behind() -> None:
    record = run(WIPED)
    record.depth_ft[3000:] -= 4321.0
    record.depth_ft[1000:1003] += 900.0
    path = trace(record)
    assert path is not None
    assert len(path.jumps_ft) == 3
    plain = trace(run(WIPED))
    assert plain is not None
    assert np.abs(path.depth_ft - plain.depth_ft).max() < 10.0


def test_stalls_need_a_surge_and_a_pick_up() -> None:
    stall = [(200, 10000.4, MILL), (5, 10000.4, 4400.0), (10, 9991), (20, 10000.4)]
    surge = [(200, 10000.8, MILL), (5, 10000.8, 4400.0)]
    record = run([(6000, 10000), *stall, *surge, (200, 10001, MILL), (60, 10040), (300, 10100)])
    path = trace(record)
    assert path is not None
    (stop,) = find_stops(record, path, 500.0)
    stalls = find_stalls(record, path, stop)
    assert stalls is not None
    assert len(stalls) == 1
    assert stalls[0][1] - stalls[0][0] == pytest.approx(35.0, abs=3.0)
    record.pressure_psi[6400] = 9000.0  # type: ignore[index]  # one sample is a spike
    assert len(find_stalls(record, path, stop) or []) == 1


def test_every_sample_in_the_hole_has_exactly_one_state() -> None:
    path = trace(run(WIPED))
    assert path is not None
    trips = find_trips(path, 8000.0)
    states = find_states(path, [(6000.0, 6700.0)], [(6300.0, 6320.0)], trips, [(500.0, 600.0)])
    parts = ("milling", "stalled", "wiping", "short_trip", "jetting", "running_in", "pulling_out", "stationary")
    total = np.sum([getattr(states, name) for name in parts], axis=0)
    assert (total == states.in_hole).all()


def test_overpull_and_lock_up() -> None:
    record = run([(6000, 10000), (600, 10400), (300, 10400), (100, 10350), (100, 10400), (300, 10400), (9000, 0)])
    path = trace(record)
    assert path is not None
    weight = 8000.0 + 0.5 * path.depth_ft + np.where(path.speed_ft_min < 0.0, 3000.0, 0.0)
    stops = find_stops(record, path, 9000.0)
    assert lock_up_ft(path, weight, stops, 8000.0) is None
    slack = (path.frontier_ft - path.depth_ft < 1.0) & (path.depth_ft > 10399.0)
    assert lock_up_ft(path, np.where(slack, weight - 9000.0, weight), stops, 8000.0) == pytest.approx(10400.0, abs=2.0)
    assert overpulls(path, weight) == []
    spike = weight.copy()
    spike[9000:9003] += 12_000.0
    assert overpulls(path, spike) == []  # a pull lasts five seconds or longer
    weight[9000:9020] += 12_000.0
    ((moment, _, excess),) = overpulls(path, weight)
    assert moment == pytest.approx(9000.0, abs=2.0)
    assert excess == pytest.approx(12_000.0, abs=500.0)


@pytest.mark.parametrize(("minutes", "pushed"), [(12.0, True), (8.0, False)])
def test_a_plug_that_was_not_met_was_perhaps_pushed_onto_one_that_took_longer(minutes: float, pushed: bool) -> None:
    """A stop is long from 1.5 times the usual minutes on."""
    path = trace(run([(6000, 10000), (600, 10400)]))
    assert path is not None
    stop = Stop(10100.0, ((0.0, 60.0 * minutes),), "passed", minutes, None, (), 0.0)
    found = _unmet(3, 10050.0, stop, 7.0, path)
    assert ("possibly pushed" in found.tag.reason) is pushed and found.mill.value is None


def test_stations_need_sand_and_standing_still() -> None:
    record = run([(6000, 15000), (600, 15000), (120, 14978), (600, 14978), (200, 14950), (3000, 0)])
    sand = np.zeros(record.time_s.size)
    sand[6050:6550] = 1.0
    sand[6750:7200] = 1.0
    sand[7400:7500] = 1.0  # on the move
    path = trace(record)
    assert path is not None
    stations, pick = find_stations(CoilRecord(record.time_s, record.depth_ft, sand_ppa=sand), path)
    assert pick.value == 2
    assert [station.minutes for station in stations] == pytest.approx([500 / 60, 450 / 60], abs=0.1)
    assert find_stations(record, path)[1].value is None


def test_cement_is_milled_foot_by_foot() -> None:
    path = trace(run([(6000, 15000), (2000, 15200), (12, 15210), (3000, 0)]))
    assert path is not None
    ((_, _, feet),) = cement_spans(path)
    assert feet == pytest.approx(200.0, abs=2.0)


MOVED = [
    (6000, 9000),
    (600, 9001, MILL),
    (60, 9040),
    (900, 9560),
    (600, 9561, MILL),
    (60, 9600),
    (900, 10000),
    (600, 10001, MILL),
    (60, 10040),
    (300, 10100),
]


def test_a_plug_that_moved_is_matched_once_and_is_no_stop_without_a_plug() -> None:
    """Plugs at 9,000, 9,500 and 10,000 ft; the second one lies 60 ft deeper and is the only one missing there."""
    plugs = {4: 9000.0, 3: 9500.0, 2: 10000.0}
    found = assigned(run(MOVED), plugs)
    assert found.plugs[3].tag.value == pytest.approx(9560.0, abs=1.0)
    assert found.plugs[3].mill.confidence == "low"
    assert found.other == []
    gone = run(MOVED)
    keep = (gone.time_s < 7000.0) | (gone.time_s > 7100.0)  # a gap on the way: the mill can have met it there
    cut = CoilRecord(*(getattr(gone, name)[keep] for name in ("time_s", "depth_ft", "pressure_psi", "pump_bpm")))
    hidden = assigned(cut, plugs)
    assert hidden.plugs[3].tag.value is None
    assert len(hidden.other) == 1


@pytest.mark.parametrize("wait_s", [150.0, 360.0, 900.0])
def test_a_wait_on_the_plug_with_an_idle_motor_is_no_mill_time_and_loses_no_plug(wait_s: float) -> None:
    """Five minutes of milling, then circulating at the same depth and rate without the motor's pressure."""
    found = assigned(run([(6000, 10000), (300, 10001, MILL), (wait_s, 10001), (60, 10040), (300, 10400)]), {3: 10000.0})
    assert found.plugs[3].mill.value == pytest.approx(5.0, abs=0.2)
    assert "waiting with an idle motor excluded" in found.plugs[3].mill.reason
    assert found.other == []


def test_a_short_pause_of_the_motor_is_part_of_its_milling() -> None:
    found = assigned(run([(6000, 10000), (300, 10001, MILL), (60, 10001), (60, 10040), (300, 10400)]), {3: 10000.0})
    assert found.plugs[3].mill.value == pytest.approx(6.0, abs=0.2)


@pytest.mark.parametrize("deeper", [2.0, 4.0, 6.0, -4.0])
def test_a_counter_that_slipped_on_a_trip_does_not_part_the_plug(deeper: float) -> None:
    back = 10000.5 + deeper
    pieces = [
        (6000, 10000),
        (240, 10000.5, MILL),
        (400, 9800),
        (400, back),
        (240, back + 0.5, MILL),
        (60, 10050),
        (300, 10400),
    ]
    found = assigned(run(pieces), {3: 10000.0})
    assert found.plugs[3].mill.value == pytest.approx(8.0, abs=0.4)
    assert found.other == []


def test_of_two_stops_near_a_plug_the_one_at_its_depth_is_the_plug() -> None:
    """The bottom of the hole, milled for fifteen minutes, lies 20 ft below the last plug."""
    pieces = [
        (5000, 9500),
        (300, 9501, MILL),
        (60, 9540),
        (600, 10000),
        (360, 10001, MILL),
        (60, 10020),
        (900, 10021, MILL),
        (9000, 0),
    ]
    found = assigned(run(pieces), {3: 9500.0, 2: 10000.0})
    assert found.plugs[2].mill.value == pytest.approx(6.0, abs=0.3)


@pytest.mark.parametrize(
    ("depth_ft", "offset_ft", "told"),
    [(9020.0, 10.0, False), (9024.0, 10.0, True), (9020.0, None, False), (9030.0, None, True), (8988.0, 10.0, True)],
)
def test_a_tag_off_its_plug_is_doubted_beyond_what_the_runs_depth_error_leaves(
    depth_ft: float, offset_ft: float | None, told: bool
) -> None:
    """A plug set at 9,000 ft: 12 ft off the expected depth where the run's error is known, 25 ft where it is not."""
    stop = Stop(depth_ft, ((100.0, 700.0),), "passed", 10.0, 300.0, ((110.0, 690.0),), 0.0)
    picks = _plug_picks(stop, 9000.0, offset_ft, moved=False, doubled=False)
    assert ("from its set depth after correction" in picks.tag.reason) == told
    assert (picks.tag.confidence != "high") == told
