"""Toe-preparation metrics: one row a well."""

from __future__ import annotations

import numpy as np

from pipeline.metrics.coil_view import TOE, RunView, ToeView
from pipeline.metrics.declare import Unseen
from pipeline.physics.constants import GAL_PER_BBL, WATER_DENSITY_PPG
from pipeline.physics.fluids import absolute_volume_gal_per_lbm, slurry_density_ppg
from pipeline.physics.hydraulics import nozzle_area_in2, nozzle_pressure_drop_psi
from pipeline.picks.arrays import integral, median

DISCHARGE = 0.95
"""Practical limit of short nozzles (Guo and Liu 2011). [1]"""


@TOE.metric("", "coil runs it took", kind="count")
def runs(t: ToeView) -> int:
    return len(t.runs)


@TOE.metric("", "whether cement was milled and the toe opened in one run", kind="flag")
def one_run(t: ToeView) -> bool:
    return len(t.runs) == 1


@TOE.metric("h", "hours in the hole, all runs")
def hours(t: ToeView) -> float | Unseen:
    return _added(t, "in_hole")


def _added(t: ToeView, state: str) -> float | Unseen:
    parts = [run.hours_in(state) for run in t.runs]
    missing = [part for part in parts if isinstance(part, Unseen)]
    return missing[0] if missing else sum(part for part in parts if not isinstance(part, Unseen))


@TOE.metric("h", "hours from the first sample in the hole to the last, time between runs included")
def elapsed_hours(t: ToeView) -> float | Unseen:
    edges = []
    for run in t.runs:
        if run.states is None or not run.states.in_hole.any():
            return Unseen("no depth in the record")
        inside = np.flatnonzero(run.states.in_hole)
        edges += [run.moment(float(run.record.time_s[inside[i]])) for i in (0, -1)]
    return (max(edges) - min(edges)).total_seconds() / 3600.0


@TOE.metric("ft", "cement milled: stretches that took 2.5 to 60 s a foot")
def cement_ft(t: ToeView) -> float | Unseen:
    if any(run.path is None for run in t.runs):
        return Unseen("no depth in the record")
    return float(sum(feet for run in t.runs for _, _, feet in run.cement))


@TOE.metric("", "stations cut", kind="count")
def stations_cut(t: ToeView) -> int | Unseen:
    values = [run.station_pick.value for run in t.runs if run.station_pick.value is not None]
    return int(sum(values)) if values else Unseen("no sand channel in the record")


def _stations(t: ToeView) -> list[tuple[RunView, int]]:
    return [(run, index) for run in t.runs for index in range(len(run.stations))]


@TOE.metric("min", "mean minutes of cutting a station")
def station_min(t: ToeView) -> float | Unseen:
    minutes = [run.stations[index].minutes for run, index in _stations(t)]
    return float(np.mean(minutes)) if minutes else Unseen("no station cut")


@TOE.metric("psi", "mean circulating pressure while cutting")
def jetting_pressure_psi(t: ToeView) -> float | Unseen:
    found = [run.stations[index].pressure_psi for run, index in _stations(t)]
    known = [value for value in found if value is not None]
    return float(np.mean(known)) if known else Unseen("no station cut, or no circulating pressure")


@TOE.metric(
    "psi", "modelled pressure drop through the nozzles while cutting", source="API RP 13D form; Guo and Liu 2011"
)
def modelled_nozzle_drop_psi(t: ToeView) -> float | Unseen:
    drops = []
    for run, index in _stations(t):
        count, diameter, rate = run.row.get("nozzles"), run.row.get("nozzle_diameter_in"), run.stations[index].rate_bpm
        if not count or not diameter or rate is None or run.path is None or run.record.sand_ppa is None:
            return Unseen("no nozzles in the tables, or no pump rate")
        on = run.path.within([(run.stations[index].start_s, run.stations[index].end_s)])
        sand = median(run.record.sand_ppa[on])
        density = slurry_density_ppg(WATER_DENSITY_PPG, sand, absolute_volume_gal_per_lbm(2.65))
        area = nozzle_area_in2(count, diameter)
        drops.append(float(nozzle_pressure_drop_psi(rate * GAL_PER_BBL, density, area, DISCHARGE)))
    return float(np.mean(drops)) if drops else Unseen("no station cut")


@TOE.metric("bbl", "slurry pumped while cutting")
def cutting_bbl(t: ToeView) -> float | Unseen:
    return _volume(t, [(run, run.stations[i].start_s, run.stations[i].end_s) for run, i in _stations(t)])


@TOE.metric("bbl", "fluid pumped clean after the last station until the coil was out")
def flush_bbl(t: ToeView) -> float | Unseen:
    last = [(run, run.stations[-1].end_s, float(run.record.time_s[-1]) + 1.0) for run in t.runs if run.stations]
    return _volume(t, last)


def _volume(t: ToeView, spans: list[tuple[RunView, float, float]]) -> float | Unseen:
    if not spans:
        return Unseen("no station cut")
    total = 0.0
    for run, start, end in spans:
        if run.record.pump_bpm is None:
            return Unseen("no pump rate in the record")
        first, last = np.searchsorted(run.record.time_s, (start, end))
        total += integral(run.record.time_s[first:last], run.record.pump_bpm[first:last] / 60.0)[0]
    return total


@TOE.metric("psi", "casing test pressure")
def casing_test_psi(t: ToeView) -> float | Unseen:
    return _test(t, "casing_test_psi")


@TOE.metric("", "whether the casing test held", kind="flag")
def casing_test_held(t: ToeView) -> bool | Unseen:
    value = t.tests.get("casing_test_held")
    return Unseen("no casing test recorded") if value is None else bool(value)


@TOE.metric("bpm", "rate of the injectivity test")
def injectivity_bpm(t: ToeView) -> float | Unseen:
    return _test(t, "injectivity_bpm")


@TOE.metric("psi", "pressure of the injectivity test")
def injectivity_psi(t: ToeView) -> float | Unseen:
    return _test(t, "injectivity_psi")


def _test(t: ToeView, column: str) -> float | Unseen:
    value = t.tests.get(column)
    return Unseen("not recorded") if value is None else float(value)


@TOE.metric("", "whether the first stage reached 90 % of its design rate", kind="flag")
def stage_1_reached_rate(t: ToeView) -> bool | Unseen:
    share = t.stage_1.get("rate_share")
    return Unseen("stage 1 not measured, or without a design rate") if share is None else bool(share >= 0.9)
