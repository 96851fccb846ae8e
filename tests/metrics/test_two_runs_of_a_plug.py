"""Plugs over two coil runs: counted once, with the minutes and stalls of both; records of seeds that nothing was tuned on."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import polars as pl
import pytest

from pipeline.demo.basin import CampaignSize, make_wells, perforations_ft
from pipeline.demo.coil import CoilScript, PlugTruth, simulate_mill_out
from pipeline.metrics.coil.measure import measure_runs
from pipeline.metrics.well import WellInput, WellRows
from pipeline.schemas.records import TREATMENT
from tests.metrics.test_coil_spoilt import NAMES

BEGIN = datetime(2025, 3, 1, tzinfo=UTC)
LATER = timedelta(hours=30)


def measured(fails_at: float, seed: int, **more: Any) -> tuple[WellRows, list[PlugTruth], int]:
    """A mill-out in two runs, whose motor fails at a share of the fourth plug; that plug's number."""
    rng = np.random.default_rng(seed)
    well = make_wells(CampaignSize(seed=seed, stages=(9, 9)), rng)[0]
    plugs = [(stage, perforations_ft(well, stage)[1] + 12.0) for stage in range(2, well.stages + 1)]
    script = CoilScript(5.0, 0.0002, motor_trip_after=3, motor_fails_at=fails_at, **more)
    runs = simulate_mill_out(well, plugs, script, 0, rng)
    frames = [
        frame.select(
            pl.lit(run, pl.Int32).alias("run"),
            (pl.lit(BEGIN + LATER * (run - 1)) + pl.duration(seconds=pl.col("second"))).alias("time"),
            *(pl.col(source).alias(name) for name, source in NAMES.items()),
        ).cast({"time": pl.Datetime("us", "UTC")})
        for run, (frame, _) in enumerate(runs, start=1)
    ]
    tables: dict[str, list[dict[str, Any]]] = {
        "wells": [{"heel_md_ft": well.heel_ft}], "strings": [], "amendments": [], "toe_tests": [], "cost": [],
        "plugs": [{"plug": plug, "set_depth_ft": depth, "material": "composite"} for plug, depth in plugs],
        "coil_runs": [{"run": run, "kind": "mill-out"} for run in (1, 2)],
    }  # fmt: skip
    rows = WellRows()
    measure_runs(WellInput("w", "print", tables, TREATMENT.empty(), pl.concat(frames)), rows)
    return rows, [plug for _, truth in runs for plug in truth.plugs], sorted(plugs, key=lambda item: item[1])[3][0]


@pytest.mark.parametrize("seed", range(70, 75))
@pytest.mark.parametrize("fails_at", [0.4, 0.8])
def test_a_plug_milled_on_in_a_second_run_has_the_minutes_and_stalls_of_both(fails_at: float, seed: int) -> None:
    rows, truth, shared = measured(fails_at, seed)
    by_plug = {row["plug"]: row for row in rows.plugs}
    assert len(by_plug) == len(rows.plugs) == len(truth)
    for plug in truth:
        row = by_plug[plug.plug]
        assert row["mill_min"] == pytest.approx(plug.mill_min, abs=0.3)
        assert row["stalls"] == plug.stalls
    row = by_plug[shared]
    assert row["run"] == 1
    assert row["tag_time"] < BEGIN + LATER < row["done_time"]
    assert row["cycle_min"] is None
    assert row["mill_confidence"] == "medium"
    assert [run["plugs_milled"] for run in rows.runs] == [3, 5]
    assert [run["plugs_left"] for run in rows.runs] == [4, 0]
    (mill,) = (pick for pick in rows.picks if (pick["number"], pick["pick"]) == (shared, "mill_min"))
    assert "milled over run 1 (" in mill["reason"]
    assert not [found for found in rows.findings if found["kind"] in ("plugs_left", "plug_not_milled")]


@pytest.mark.parametrize("seed", range(70, 75))
def test_a_plug_milled_through_at_the_end_of_a_run_stays_milled_when_the_next_one_passes_it(seed: int) -> None:
    rows, truth, shared = measured(1.0, seed)
    by_plug = {row["plug"]: row for row in rows.plugs}
    assert len(by_plug) == len(rows.plugs) == len(truth)
    planted = next(plug for plug in truth if plug.plug == shared)
    assert by_plug[shared]["mill_min"] == pytest.approx(planted.mill_min, abs=0.3)
    assert by_plug[shared]["run"] == 1
    assert [run["plugs_milled"] for run in rows.runs] == [4, 4]
    assert not [found for found in rows.findings if found["kind"] in ("plugs_left", "plug_not_milled")]


def test_every_minute_of_a_run_that_ends_on_a_plug_has_its_state() -> None:
    rows, _, _ = measured(0.4, 76, ends_on_plug=True)
    for run in rows.runs:
        assert run["stalled_hours"] < 0.2
        assert run["pulling_out_hours"] > 1.0
        states = [run[f"{state}_hours"] for state in (
            "running_in", "milling", "stalled", "wiper", "short_trip", "jetting", "stationary", "pulling_out"
        )]  # fmt: skip
        assert sum(states) == pytest.approx(run["hours"], rel=1e-9)
