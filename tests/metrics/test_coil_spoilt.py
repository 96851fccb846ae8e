"""Spoilt coil records through measuring: each is a finding, and what can still be measured is."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

import numpy as np
import polars as pl
import pytest

from pipeline.demo.basin import CampaignSize, make_wells, perforations_ft
from pipeline.demo.coil import CoilScript, RunTruth, simulate_mill_out
from pipeline.metrics.coil.measure import measure_runs
from pipeline.metrics.well import WellInput, WellRows
from pipeline.physics.constants import FT_M
from pipeline.schemas.records import COIL, TREATMENT

NAMES = {
    "depth_ft": "depth", "weight_lbf": "weight", "circulating_pressure_psi": "pressure", "pump_rate_bpm": "pump",
    "wellhead_pressure_psi": "wellhead", "return_rate_bpm": "returns", "sand_conc_ppa": "sand", "bypass_open": "bypass",
}  # fmt: skip


def made() -> tuple[WellInput, RunTruth]:
    rng = np.random.default_rng(5)
    well = make_wells(CampaignSize(stages=(9, 9), long_stages=(9, 9)), rng)[0]
    plugs = [(stage, perforations_ft(well, stage)[1] + 12.0) for stage in range(2, well.stages + 1)]
    frame, truth = simulate_mill_out(well, plugs, CoilScript(6.0, 0.0003), 0, rng)[0]
    samples = frame.select(
        pl.lit(1, pl.Int32).alias("run"),
        (pl.lit(datetime(2025, 3, 1, tzinfo=UTC)) + pl.duration(seconds=pl.col("second"))).alias("time"),
        *(pl.col(source).alias(name) for name, source in NAMES.items()),
    ).cast({"time": pl.Datetime("us", "UTC")})
    tables: dict[str, list[dict[str, Any]]] = {
        "wells": [{"heel_md_ft": well.heel_ft}],
        "strings": [
            {"string": "casing", "top_md_ft": 0.0, "bottom_md_ft": 6000.0, "inside_diameter_in": 6.094},
            {"string": "casing", "top_md_ft": 6000.0, "bottom_md_ft": None, "inside_diameter_in": 4.778},
        ],
        "plugs": [{"plug": plug, "set_depth_ft": depth, "material": "composite"} for plug, depth in plugs],
        "coil_runs": [
            {
                "run": 1, "kind": "mill-out", "coil_diameter_in": 2.375, "target_depth_ft": well.toe_ft - 60.0,
                "motor_limit_bpm": 3.0,
            }
        ],
        "amendments": [], "toe_tests": [], "cost": [],
    }  # fmt: skip
    return WellInput("w", "print", tables, TREATMENT.empty(), samples), truth


def measured(spoil: Callable[[pl.DataFrame], pl.DataFrame]) -> tuple[WellRows, RunTruth]:
    well, truth = made()
    well.coil = spoil(well.coil)
    rows = WellRows()
    measure_runs(well, rows)
    return rows, truth


def kinds(rows: WellRows) -> set[str]:
    return {row["kind"] for row in rows.findings}


def test_a_clean_record_gives_no_finding_and_all_plugs() -> None:
    rows, truth = measured(lambda frame: frame)
    assert kinds(rows) == set()
    assert [row["plug"] for row in rows.plugs if row["mill_min"] is not None] == [plug.plug for plug in truth.plugs]
    (run,) = rows.runs
    # the widest casing is where debris is left behind: 6.094 in, not 4.778 in
    assert run["wiper_annular_velocity_ft_min"] == pytest.approx(
        1029.414 * run["wiper_rate_bpm"] / (6.094**2 - 2.375**2), rel=1e-4
    )
    assert 0.0 < run["wiper_transport_ratio_low"] < run["wiper_transport_ratio_high"] < 1.0
    assert run["lateral_margin"] == pytest.approx(run["wiper_lateral_velocity_ft_min"] / 180.0)
    assert run["over_motor_limit_s"] < 2.0
    assert run["bypass_used"] is True


def jump(frame: pl.DataFrame) -> pl.DataFrame:
    after = pl.int_range(pl.len()) > frame.height // 3
    return frame.with_columns(pl.when(after).then(pl.col("depth_ft") - 240.0).otherwise("depth_ft").alias("depth_ft"))


def void(name: str) -> Callable[[pl.DataFrame], pl.DataFrame]:
    return lambda frame: frame.with_columns(pl.lit(None, pl.Float64).alias(name))


def hole(frame: pl.DataFrame) -> pl.DataFrame:
    middle = frame.height // 2
    return pl.concat([frame[:middle], frame[middle + 600 :]])


@pytest.mark.parametrize(
    ("spoil", "kind", "milled"),
    [
        (jump, "depth_jump", 8),
        (lambda frame: frame.with_columns(pl.col("depth_ft") * FT_M), "depth_unit", 0),
        (lambda frame: frame.with_columns(-pl.col("weight_lbf")), "weight_reversed", 8),
        (void("circulating_pressure_psi"), "missing_channel", 7),
        (void("pump_rate_bpm"), "missing_channel", 8),
        (void("weight_lbf"), "missing_channel", 8),
        (void("return_rate_bpm"), "missing_channel", 8),
        (void("depth_ft"), "no_depth", 0),
        (hole, "depth_gap", 6),
        (lambda frame: frame[: frame.height // 2], "plugs_left", 3),
    ],
)
def test_what_is_wrong_is_said_and_the_rest_measured(
    spoil: Callable[[pl.DataFrame], pl.DataFrame], kind: str, milled: int
) -> None:
    rows, truth = measured(spoil)
    assert kind in kinds(rows)
    planted = {plug.plug: plug for plug in truth.plugs}
    origin = datetime(2025, 3, 1, tzinfo=UTC)
    found = [row for row in rows.plugs if row["mill_min"] is not None]
    assert len(found) >= milled
    for row in found:
        plug = planted[row["plug"]]
        assert (row["tag_time"] - origin).total_seconds() == pytest.approx(plug.tag_second or 0.0, abs=10.0)
        assert row["mill_min"] == pytest.approx(plug.mill_min, abs=1.0)
    (run,) = rows.runs
    for name, value in run.items():
        assert value is not None or f"{name}: " in (run["missing_because"] or "") or name == "missing_because"


def test_motor_limit_with_the_bypass_closed_is_a_finding() -> None:
    rows, _ = measured(lambda frame: frame.with_columns(pl.lit(0.0).alias("bypass_open")))
    assert "over_motor_limit" in kinds(rows)


def test_lake_schema_of_coil_holds_every_channel() -> None:
    assert set(NAMES) <= set(COIL.dtypes)
