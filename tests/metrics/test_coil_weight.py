"""Weight of the coil: drag, friction and margin to lock-up, by hand and against what was planted."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import polars as pl
import pytest

from pipeline.demo.basin import COIL_FRICTION
from pipeline.metrics.coil import weight
from pipeline.metrics.measure import COIL_RUN_METRICS
from pipeline.physics.coil import buoyed_weight_lb_ft, drag_lbf, helical_buckling_lbf
from tests.builders import missing
from tests.conftest import Fitted

COIL = {"string": "coil", "top_md_ft": 0.0, "outside_diameter_in": 2.375, "inside_diameter_in": 2.063}
CASING = {"string": "casing", "top_md_ft": 0.0, "outside_diameter_in": 5.5, "inside_diameter_in": 4.778}


def test_a_coil_weighs_what_the_tables_of_tubes_say() -> None:
    """2.375 in by 0.156 in: 3.70 lb/ft in air (tables of coiled tubing, from memory); steel of 65.5 lbm/gal in water."""
    in_air = buoyed_weight_lb_ft(2.375, 2.063, 0.0)
    assert in_air == pytest.approx(3.70, abs=0.01)
    assert buoyed_weight_lb_ft(2.375, 2.063, 8.4) == pytest.approx(in_air * (1.0 - 8.4 / 65.5))


def test_drag_and_buckling_by_hand() -> None:
    """0.2 x 3.2 lb/ft x 9,000 ft = 5,760 lbf; I = pi/64 (2.375^4 - 2.063^4) = 0.6726 in4, r = 1.2015 in, w = 0.26667 lb/in."""
    assert drag_lbf(0.2, 3.2, 9000.0) == pytest.approx(5760.0)
    by_hand = 2.0 * 2.0**0.5 * (30.0e6 * 0.672631 * 0.2666667 / 1.2015) ** 0.5
    assert helical_buckling_lbf(2.375, 2.063, 4.778, 3.2) == pytest.approx(by_hand, rel=2e-4)


def run(**more: Any) -> Any:
    """A run to 2,000 ft below the heel and back at 60 ft/min: 20,000 lbf hanging, drag of 300 lbf and 0.64 lbf/ft."""
    depth = 10_000.0 + np.concatenate((np.arange(2001.0), np.full(600, 2000.0), np.arange(2000.0, -1.0, -1.0)))
    speed = 60.0 * np.gradient(depth)
    drag = 300.0 + 0.64 * (depth - 10_000.0)
    nothing = np.zeros(depth.size, dtype=bool)
    view = {
        "path": SimpleNamespace(depth_ft=depth, speed_ft_min=speed, frontier_ft=np.maximum.accumulate(depth)),
        "states": SimpleNamespace(milling=nothing, stalled=nothing), "seconds": np.ones(depth.size),
        "record": SimpleNamespace(weight_lbf=20_000.0 - np.sign(speed) * drag), "heel_ft": 10_000.0,
        "strings": [COIL, CASING],
    }  # fmt: skip
    return SimpleNamespace(**(view | more))


def test_friction_is_the_growth_of_drag_over_the_weight() -> None:
    """The deepest band has its middle at 1,875 ft: 300 + 0.64 x 1,875 = 1,500 lbf."""
    per_ft = float(buoyed_weight_lb_ft(2.375, 2.063, weight.WATER_DENSITY_PPG))
    assert weight.lateral_running_speed_ft_min(run()) == pytest.approx(60.0)
    assert weight.coil_drag_lbf(run()) == pytest.approx(1500.0, rel=2e-3)
    assert weight.coil_friction(run()) == pytest.approx(0.64 / per_ft, rel=5e-3)
    margin = float(helical_buckling_lbf(2.375, 2.063, 4.778, per_ft)) / (0.64 * 2000.0)
    assert weight.modelled_lock_up_margin(run()) == pytest.approx(margin, rel=5e-3)


def test_what_the_weight_of_a_coil_needs_is_said() -> None:
    assert "no heel depth" in missing(weight.coil_drag_lbf, run(heel_ft=None))
    assert "no weight" in missing(weight.coil_drag_lbf, run(record=SimpleNamespace(weight_lbf=None)))
    assert "fewer than 4 bands" in missing(weight.coil_drag_lbf, run(heel_ft=11_500.0))
    assert "never went below the heel" in missing(weight.lateral_running_speed_ft_min, run(heel_ft=13_000.0))
    assert "no coil with both diameters" in missing(weight.coil_friction, run(strings=[CASING]))
    assert "no casing diameter" in missing(weight.modelled_lock_up_margin, run(strings=[COIL]))
    one_way = run()
    one_way.states.milling = one_way.path.speed_ft_min < 0.0  # weight on the mill is no weight of moving coil
    assert "fewer than 4 bands" in missing(weight.coil_drag_lbf, one_way)
    same = run(record=SimpleNamespace(weight_lbf=np.full(4602, 20_000.0)))
    assert "does not grow" in missing(weight.coil_friction, same)


def test_the_planted_friction_of_each_crew_is_found(fitted: Fitted) -> None:
    crews = pl.DataFrame(
        [{"well_id": well.well_id, "planted": COIL_FRICTION[well.coil_crew]} for well in fitted.truth.wells]
    )
    runs = fitted.lake.scan(COIL_RUN_METRICS).collect().join(crews, on="well_id").drop_nulls("coil_friction")
    assert runs.height >= 20
    assert (runs["coil_friction"] / runs["planted"] - 1.0).abs().max() < 0.05  # type: ignore[operator]
    long = runs.filter(pl.col("deepest_ft") > 16_000.0)
    assert (long["modelled_lock_up_margin"] < 1.4).all() and (runs["modelled_lock_up_margin"] > 0.7).all()
