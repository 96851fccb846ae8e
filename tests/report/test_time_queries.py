"""Queries of coil, time and cost on a few rows: what they add up, keep apart and declare missing."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import polars as pl
import pytest

from pipeline.metrics.findings import offset_findings
from tests.builders import query_on

START = datetime(2025, 3, 1, tzinfo=UTC)


def test_a_faster_wiper_rate_saves_its_share_of_the_wiper_hours() -> None:
    runs = pl.DataFrame(
        {
            "well_id": ["a", "b", "c"], "run": [1, 1, 1], "wiper_trips": [2, 2, 0], "wiper_rate_bpm": [4.0, 3.0, None],
            "wiper_hours": [3.0, 4.0, 0.0], "hours": [10.0, 10.0, 8.0], "plugs_per_wiper": [4.0, 5.0, None],
            "bottoms_up_per_wiper": [2.0, 2.0, None], "wiper_lateral_velocity_ft_min": [240.0, 170.0, None],
            "wiper_annular_velocity_ft_min": [240.0, 170.0, None], "wiper_transport_ratio_low": [0.6, 0.5, None],
            "wiper_transport_ratio_high": [0.8, 0.7, None], "planned_velocity_ft_min": [180.0, 180.0, 180.0],
            "lateral_margin": [1.33, 0.94, None],
        }
    )  # fmt: skip
    listed = pl.DataFrame(
        {"well_id": ["a", "b", "c"], "run": [1, 1, 1], "coil_crew": ["x", "x", "y"], "coil_diameter_in": [2.375] * 3}
    )
    wells = pl.DataFrame({"well_id": ["a", "b", "c"], "well_name": ["A", "B", "C"], "pad": ["p"] * 3})
    tables = {"coil_run_metrics": runs, "coil_runs": listed, "wells": wells}
    found = query_on("hole_cleaning", tables)
    assert found.select("well", "saved_hours").rows() == [("A", 0.0), ("B", 1.0)]  # 4 h at 3 bpm are 3 h at 4 bpm
    title = query_on("hole_cleaning_title", tables)["title"][0]
    assert "7 of 20 coil hours; runs slower than planned: 1 of 2" in title
    assert title.endswith("about 1 h")


def test_cost_states_are_kept_apart_and_what_is_missing_is_declared() -> None:
    cost = pl.DataFrame(
        {
            "well_id": ["a"] * 3, "line": [1, 2, 3], "state": ["budget", "accrued", "accrued"], "currency": ["USD"] * 3,
            "price_basis": ["p"] * 3, "category": ["stimulation", "stimulation", "coiled tubing"],
            "amount": [100.0, 90.0, 30.0],
        }
    )  # fmt: skip
    wells = pl.DataFrame(
        {
            "well_id": ["a", "b"], "well_name": ["A", "B"], "pad": ["p", "p"], "heel_md_ft": [9000.0, None],
            "toe_md_ft": [9060.0, 9100.0],
        }
    )  # fmt: skip
    stages = pl.DataFrame({"well_id": ["a", "a", "a"], "stage": [1, 2, 3]})
    plugs = pl.DataFrame({"well_id": ["a", "a"], "plug": [1, 2], "mill_min": [9.0, None]})
    found = query_on("cost_units", {"cost": cost, "wells": wells, "stage_metrics": stages, "plug_metrics": plugs})
    rows = {(row["well"], row["state"]): row for row in found.iter_rows(named=True)}
    accrued, budget = rows["A", "accrued"], rows["A", "budget"]
    assert (accrued["per_stage"], accrued["per_plug"], accrued["per_lateral_ft"]) == (40.0, 30.0, 2.0)
    assert accrued["provisional"] and not budget["provisional"]
    assert budget["per_plug"] is None
    assert "no coiled tubing line" in budget["missing"]
    assert (
        rows["B", "no cost line"]["missing"] == "no cost line; no stage measured; no plug milled; heel or toe unknown"
    )


def test_gaps_of_well_and_fleet_are_apart_and_modes_are_not_mixed() -> None:
    order = [("a", 1, 0.0), ("b", 1, 3.0), ("a", 2, 6.0)]
    metrics = pl.DataFrame(
        [
            {
                "well_id": well, "stage": stage, "start_time": START + timedelta(hours=hour),
                "end_time": START + timedelta(hours=hour + 2),
            }
            for well, stage, hour in order
        ]
    )  # fmt: skip
    stages = pl.DataFrame(
        [
            {
                "well_id": well,
                "stage": stage,
                "frac_crew": "x",
                "operation_mode": "zipper" if stage == 1 else "single well",
            }
            for well, stage, _ in order
        ]
    )
    wells = pl.DataFrame({"well_id": ["a", "b"], "well_name": ["A", "B"], "pad": ["p", "p"]})
    tables = {"stage_metrics": metrics, "stages": stages, "wells": wells}
    found = {(row["well"], row["stage"]): row for row in query_on("swaps", tables).iter_rows(named=True)}
    assert found["A", 2]["well_gap_min"] == pytest.approx(240.0)  # its own last rate was four hours ago
    assert found["A", 2]["fleet_gap_min"] == pytest.approx(60.0)  # the fleet's was one
    assert found["B", 1]["well_gap_min"] is None
    by_crew = query_on("swaps_by_crew", tables)
    assert by_crew.select("mode", "stages", "middle").rows() == [
        ("zipper", 1, 60.0)
    ]  # a single well's wireline is not logged


def test_a_neighbour_that_felt_a_stage_is_a_finding() -> None:
    rows = [
        {"offset_id": "b", "spacing_ft": 880.0, "pressure_response_psi": 450.0, "response_stage": 7},
        {"offset_id": "c", "spacing_ft": None, "pressure_response_psi": 30.0, "response_stage": None},
        {"offset_id": "d", "spacing_ft": 900.0, "pressure_response_psi": None, "response_stage": None},
    ]
    (found,) = offset_findings("a", rows)
    assert (found["kind"], found["number"]) == ("offset_response", 7)
    assert found["message"] == "b, {880 ft} away, pressure rose by {450 psi} during stage 7"
