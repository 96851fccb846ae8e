"""Weight of the coil while it moves: drag in the lateral, its friction, and how far it is from locking up."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.metrics.coil.view import NO_DEPTH, RUN, RunView
from pipeline.metrics.declare import Missing, known, once
from pipeline.metrics.well import casing, sections
from pipeline.physics.coil import buoyed_weight_lb_ft, drag_lbf, helical_buckling_lbf
from pipeline.physics.constants import WATER_DENSITY_PPG
from pipeline.picks.arrays import median

BAND_FT = 250.0
"""Weights up and down are compared within bands of this depth. [ft]"""
FEWEST_S = 30.0
"""Seconds of movement each way that a band needs. [s]"""
FEWEST_BANDS = 4
"""Bands from which the growth of drag along the lateral is fitted. [1]"""
MOVES_FT_MIN = 15.0
"""Coil slower than this is not counted as moving. [ft/min]"""


@dataclass(frozen=True)
class Drag:
    """Drag along the lateral: at its deepest band, and what it grows by. [lbf, lbf/ft]"""

    deepest_lbf: float
    growth_lbf_ft: float


@RUN.metric("ft/min", "median speed of running in below the heel")
def lateral_running_speed_ft_min(r: RunView) -> float:
    down, _ = _moving(r)
    if r.seconds[down].sum() < FEWEST_S:
        raise Missing("the run never went below the heel")
    assert r.path is not None
    return median(r.path.speed_ft_min[down])


@RUN.metric("lbf", "drag at the deepest lateral on which the coil moved both ways: half of pulling less running weight")
def coil_drag_lbf(r: RunView) -> float:
    return _drag(r).deepest_lbf


@RUN.metric(
    "ratio",
    "apparent friction of coil on casing: growth of drag along the lateral over the coil's weight in water",
    source="Johancsik et al. 1984",
)
def coil_friction(r: RunView) -> float:
    found = _drag(r).growth_lbf_ft / _weight_lb_ft(r)
    if found <= 0.0:
        raise Missing("the drag does not grow along the lateral")
    return found


@RUN.metric(
    "ratio",
    "modelled load at which the coil forms a helix over its compression at the heel with the mill at the deepest point",
    source="Chen, Lin and Cheatham 1990",
)
def modelled_lock_up_margin(r: RunView) -> float:
    (outside, inside), weight = _coil(r), _weight_lb_ft(r)
    rows = casing(r.strings)
    hole = rows[-1]["inside_diameter_in"] if rows else None
    if hole is None or hole <= outside:
        raise Missing("no casing diameter in the tables")
    assert r.path is not None
    lateral = float(r.path.frontier_ft[-1]) - known(r.heel_ft, "no heel depth in the tables")
    compression = float(drag_lbf(coil_friction(r), weight, lateral))
    return float(helical_buckling_lbf(outside, inside, hole, weight)) / compression


def _coil(r: RunView) -> tuple[float, float]:
    """Outside and inside diameter of the coil in the hole. [in]"""
    rows = sections(r.strings, "coil")
    outside = rows[-1]["outside_diameter_in"] if rows else None
    inside = rows[-1]["inside_diameter_in"] if rows else None
    if outside is None or inside is None or outside <= inside:
        raise Missing("no coil with both diameters in the strings table")
    return outside, inside


def _weight_lb_ft(r: RunView) -> float:
    """Weight of the coil in water. [lb/ft]"""
    return float(buoyed_weight_lb_ft(*_coil(r), WATER_DENSITY_PPG))


def _moving(r: RunView) -> tuple[np.ndarray, np.ndarray]:
    """Samples below the heel with the coil running in, and with it pulled; milling and stalls are neither."""
    if r.path is None or r.states is None:
        raise Missing(NO_DEPTH)
    lateral = r.path.depth_ft > known(r.heel_ft, "no heel depth in the tables")
    free = lateral & ~r.states.milling & ~r.states.stalled
    return free & (r.path.speed_ft_min > MOVES_FT_MIN), free & (r.path.speed_ft_min < -MOVES_FT_MIN)


@once
def _drag(r: RunView) -> Drag:
    if r.record.weight_lbf is None:
        raise Missing("no weight in the record")
    down, up = _moving(r)
    assert r.path is not None and r.heel_ft is not None
    band = np.maximum((r.path.depth_ft - r.heel_ft) // BAND_FT, 0.0).astype(int)
    seen = ~np.isnan(r.record.weight_lbf)
    away, half = [], []
    for level in range(int(band[down | up].max(initial=-1)) + 1):
        ways = [one & seen & (band == level) for one in (down, up)]
        if min(float(r.seconds[one].sum()) for one in ways) >= FEWEST_S:
            running, pulling = (median(r.record.weight_lbf[one]) for one in ways)
            away.append((level + 0.5) * BAND_FT)
            half.append(0.5 * (pulling - running))
    if len(away) < FEWEST_BANDS:
        raise Missing(f"the coil moved both ways on fewer than {FEWEST_BANDS} bands of the lateral")
    growth, at_heel = np.polyfit(away, half, 1)
    return Drag(float(at_heel + growth * away[-1]), float(growth))
