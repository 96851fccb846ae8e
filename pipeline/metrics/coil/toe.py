"""Toe-preparation metrics: one row per well."""

from __future__ import annotations

import numpy as np

from pipeline.metrics.coil.view import TOE, RunView, ToeView
from pipeline.metrics.declare import Missing, known
from pipeline.physics.constants import GAL_PER_BBL, WATER_DENSITY_PPG
from pipeline.physics.fluids import absolute_volume_gal_per_lbm, slurry_density_ppg
from pipeline.physics.hydraulics import nozzle_area_in2, nozzle_pressure_drop_psi
from pipeline.picks.arrays import integral, median

DISCHARGE = 0.95
"""Practical limit of the discharge coefficient of short nozzles (Guo and Liu 2011). [1]"""


@TOE.metric("", "coil runs needed", kind="count")
def runs(t: ToeView) -> int:
    return len(t.runs)


@TOE.metric("", "whether cement was milled and the toe opened in a single run", kind="flag")
def one_run(t: ToeView) -> bool:
    return len(t.runs) == 1


@TOE.metric("h", "hours in the hole, all runs")
def hours(t: ToeView) -> float:
    return _added(t, "in_hole")


def _added(t: ToeView, state: str) -> float:
    return sum(run.hours_in(state) for run in t.runs)


@TOE.metric("h", "hours from the first sample in the hole to the last, including time between runs")
def elapsed_hours(t: ToeView) -> float:
    edges = []
    for run in t.runs:
        if run.states is None or not run.states.in_hole.any():
            raise Missing("no depth in the record")
        inside = np.flatnonzero(run.states.in_hole)
        edges += [run.moment(float(run.record.time_s[inside[i]])) for i in (0, -1)]
    return (max(edges) - min(edges)).total_seconds() / 3600.0


@TOE.metric("ft", "cement milled: stretches that took 2.5 to 60 s per foot")
def cement_ft(t: ToeView) -> float:
    if any(run.path is None for run in t.runs):
        raise Missing("no depth in the record")
    return float(sum(feet for run in t.runs for _, _, feet in run.cement))


@TOE.metric("", "stations cut", kind="count")
def stations_cut(t: ToeView) -> int:
    values = [run.station_pick.value for run in t.runs if run.station_pick.value is not None]
    if not values:
        raise Missing("no sand channel in the record")
    return int(sum(values))


def _stations(t: ToeView) -> list[tuple[RunView, int]]:
    return [(run, index) for run in t.runs for index in range(len(run.stations))]


@TOE.metric("min", "mean cutting time per station")
def station_min(t: ToeView) -> float:
    minutes = [run.stations[index].minutes for run, index in _stations(t)]
    if not minutes:
        raise Missing("no station cut")
    return float(np.mean(minutes))


@TOE.metric("psi", "mean circulating pressure while cutting")
def jetting_pressure_psi(t: ToeView) -> float:
    found = [run.stations[index].pressure_psi for run, index in _stations(t)]
    known = [value for value in found if value is not None]
    if not known:
        raise Missing("no station cut, or no circulating pressure")
    return float(np.mean(known))


@TOE.metric(
    "psi", "modelled pressure drop through the nozzles while cutting", source="API RP 13D form; Guo and Liu 2011"
)
def modelled_nozzle_drop_psi(t: ToeView) -> float:
    drops = []
    for run, index in _stations(t):
        count, diameter, rate = run.row.get("nozzles"), run.row.get("nozzle_diameter_in"), run.stations[index].rate_bpm
        if not count or not diameter or rate is None or run.path is None or run.record.sand_ppa is None:
            raise Missing("no nozzles in the tables, or no pump rate")
        on = run.path.within([(run.stations[index].start_s, run.stations[index].end_s)])
        sand = median(run.record.sand_ppa[on])
        density = slurry_density_ppg(WATER_DENSITY_PPG, sand, absolute_volume_gal_per_lbm(2.65))
        area = nozzle_area_in2(count, diameter)
        drops.append(float(nozzle_pressure_drop_psi(rate * GAL_PER_BBL, density, area, DISCHARGE)))
    if not drops:
        raise Missing("no station cut")
    return float(np.mean(drops))


@TOE.metric("bbl", "slurry pumped while cutting")
def cutting_bbl(t: ToeView) -> float:
    return _volume(t, [(run, run.stations[i].start_s, run.stations[i].end_s) for run, i in _stations(t)])


@TOE.metric("bbl", "clean fluid pumped from the last station until the coil was out of the hole")
def flush_bbl(t: ToeView) -> float:
    last = [(run, run.stations[-1].end_s, float(run.record.time_s[-1]) + 1.0) for run in t.runs if run.stations]
    return _volume(t, last)


def _volume(t: ToeView, spans: list[tuple[RunView, float, float]]) -> float:
    if not spans:
        raise Missing("no station cut")
    total = 0.0
    for run, start, end in spans:
        if run.record.pump_bpm is None:
            raise Missing("no pump rate in the record")
        first, last = np.searchsorted(run.record.time_s, (start, end))
        total += integral(run.record.time_s[first:last], run.record.pump_bpm[first:last] / 60.0)[0]
    return total


@TOE.metric("psi", "casing test pressure")
def casing_test_psi(t: ToeView) -> float:
    return _test(t, "casing_test_psi")


@TOE.metric("", "whether the casing test held", kind="flag")
def casing_test_held(t: ToeView) -> bool:
    return bool(known(t.tests.get("casing_test_held"), "no casing test recorded"))


@TOE.metric("bpm", "rate of the injectivity test")
def injectivity_bpm(t: ToeView) -> float:
    return _test(t, "injectivity_bpm")


@TOE.metric("psi", "pressure of the injectivity test")
def injectivity_psi(t: ToeView) -> float:
    return _test(t, "injectivity_psi")


def _test(t: ToeView, column: str) -> float:
    return float(known(t.tests.get(column), "not recorded"))


@TOE.metric("", "whether the first stage reached 90 % of its design rate", kind="flag")
def stage_1_reached_rate(t: ToeView) -> bool:
    share = t.stage_1.get("rate_share")
    if share is None:
        raise Missing("stage 1 not measured, or without a design rate")
    return bool(share >= 0.9)
