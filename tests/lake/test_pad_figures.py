"""Pads whose figures are computed by hand: single well, zipper and simul-frac, with lost time, standby and a hole in the log.

Each pad has two wells, a and b, of three stages. Hours count from the first rate. Definitions: common practice.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import polars as pl
import pytest

from pipeline.metrics.pad.account import Worked, account
from pipeline.schemas.time import PAD_TIMELINE
from tests.builders import connect_on, query_on

START = datetime(2025, 3, 4, 6, tzinfo=UTC)
Pumped = tuple[str, int, float, float]
Logged = tuple[float, float, str, str | None]

SINGLE: tuple[str, list[Pumped], list[Logged]] = (
    "single well",
    [("a", 1, 0, 2), ("a", 2, 5, 7), ("a", 3, 11, 13), ("b", 1, 23, 25), ("b", 2, 28, 30), ("b", 3, 33, 35)],
    [
        (0, 2, "pumping", "a"), (2, 4.5, "wireline", "a"), (4.5, 5, "swap", "a"),
        (5, 7, "pumping", "a"), (7, 9.5, "wireline", "a"), (9.5, 10.5, "NPT", "a"), (10.5, 11, "swap", "a"),
        (11, 13, "pumping", "a"), (13, 21, "standby", None), (21, 23, "swap", "b"),
        (23, 25, "pumping", "b"), (25, 27.5, "wireline", "b"), (27.5, 28, "swap", "b"),
        (28, 30, "pumping", "b"), (30, 32, "wireline", "b"), (33, 35, "pumping", "b"),  # 32 to 33 is not booked
    ],
)  # fmt: skip
ZIPPER: tuple[str, list[Pumped], list[Logged]] = (
    "zipper",
    [("a", 1, 0, 2), ("b", 1, 2.5, 4.5), ("a", 2, 5, 7), ("b", 2, 8.5, 10.5), ("a", 3, 11, 13), ("b", 3, 14, 16)],
    [
        (0, 2, "pumping", "a"), (2, 2.5, "swap", "b"), (2.5, 4.5, "pumping", "b"), (4.5, 5, "swap", "a"),
        (5, 7, "pumping", "a"), (7, 8, "NPT", "b"), (8, 8.5, "swap", "b"), (8.5, 10.5, "pumping", "b"),
        (10.5, 11, "swap", "a"), (11, 13, "pumping", "a"), (14, 16, "pumping", "b"),  # 13 to 14 is not booked
    ],
)  # fmt: skip
SIMUL: tuple[str, list[Pumped], list[Logged]] = (
    "simul-frac",
    [("a", 1, 0, 2), ("b", 1, 0.25, 2), ("a", 2, 3, 5), ("b", 2, 3, 5.5), ("a", 3, 8, 10), ("b", 3, 8, 10)],
    [
        (0, 2, "pumping", None), (2, 3, "swap", None), (3, 5.5, "pumping", None), (5.5, 6.5, "NPT", None),
        (6.5, 7, "swap", None), (8, 10, "pumping", None),  # 7 to 8 is not booked
    ],
)  # fmt: skip


def lake(pad: tuple[str, list[Pumped], list[Logged]]) -> dict[str, pl.DataFrame]:
    """Return the tables of a pad: stages as measured, their design, and the timeline that the log and they make."""
    mode, pumped, logged = pad

    def at(hour: float) -> datetime:
        return START + timedelta(hours=hour)

    log: list[dict[str, Any]] = [
        {"start_time": at(a), "end_time": at(b), "activity": activity, "well_id": well,
         "cause": "pumps" if activity == "NPT" else None}
        for a, b, activity, well in logged
    ]  # fmt: skip
    rows = account("p", log, [Worked(at(a), at(b), "pumping", well, stage) for well, stage, a, b in pumped], "UTC")
    assert [row["kind"] for row in rows.findings] == ["not_booked"]
    timeline = pl.DataFrame(
        [{**row, "fingerprint": "f"} for row in rows.timeline], schema=pl.Schema(PAD_TIMELINE.dtypes)
    )
    stages = [{"well_id": well, "stage": stage} for well, stage, _, _ in pumped]
    times = [{"start_time": at(a), "end_time": at(b)} for _, _, a, b in pumped]
    metrics = pl.DataFrame([one | when for one, when in zip(stages, times, strict=True)])
    design = pl.DataFrame(stages).with_columns(
        operation_mode=pl.lit(mode), frac_crew=pl.lit("x"), stage_length_ft=pl.lit(200.0)
    )
    wells = pl.DataFrame({"well_id": ["a", "b"], "well_name": ["a", "b"], "pad": ["p", "p"]})
    return {"stage_metrics": metrics, "stages": design, "wells": wells, "pad_timeline": timeline}


FIGURES: dict[str, dict[str, float]] = {
    # first rate at 0, last at 35 h; standby 8 h; six stages of two hours in 27 h
    "single well": {
        "span_hours": 35.0, "standby_hours": 8.0, "npt_hours": 1.0, "fleet_hours": 27.0, "pumping_hours": 12.0,
        "hours_per_stage": 4.5, "stages_per_day": 24 * 6 / 27, "pumping_hours_per_day": 24 * 12 / 27,
        "lateral_ft_per_day": 24 * 1200 / 27, "npt_share": 1 / 27,
    },
    # first rate at 0, last at 16 h
    "zipper": {
        "span_hours": 16.0, "standby_hours": 0.0, "npt_hours": 1.0, "fleet_hours": 16.0, "pumping_hours": 12.0,
        "hours_per_stage": 16 / 6, "stages_per_day": 9.0, "pumping_hours_per_day": 18.0, "lateral_ft_per_day": 1800.0,
        "npt_share": 1 / 16,
    },
    # first rate at 0, last at 10 h; pumping 0 to 2, 3 to 5.5 and 8 to 10: two wells at once count once
    "simul-frac": {
        "span_hours": 10.0, "standby_hours": 0.0, "npt_hours": 1.0, "fleet_hours": 10.0, "pumping_hours": 6.5,
        "hours_per_stage": 10 / 6, "stages_per_day": 14.4, "pumping_hours_per_day": 15.6, "lateral_ft_per_day": 2880.0,
        "npt_share": 0.1,
    },
}  # fmt: skip
GAPS: dict[str, list[tuple[float | None, float | None, float]]] = {
    # before each stage in order: the fleet's gap, the swap that remains of it, and the fleet's time for the stage [min]
    "single well": [
        (None, None, 120.0), (180.0, 30.0, 300.0), (240.0, 30.0, 360.0),  # wireline 150, lost 60
        (600.0, 120.0, 240.0),  # standby 480; the first stage of b needs no wireline
        (180.0, 30.0, 300.0), (180.0, 60.0, 300.0),  # wireline 120; the hour that is not booked stays
    ],
    "zipper": [
        (None, None, 120.0), (30.0, 30.0, 150.0), (30.0, 30.0, 150.0), (90.0, 30.0, 210.0), (30.0, 30.0, 150.0),
        (60.0, 60.0, 180.0),
    ],
    "simul-frac": [
        (None, None, 120.0), (None, None, 0.0), (60.0, 60.0, 180.0), (None, None, 30.0), (150.0, 90.0, 270.0),
        (None, None, 0.0),
    ],
}  # fmt: skip
PADS = {pad[0]: pad for pad in (SINGLE, ZIPPER, SIMUL)}


@pytest.mark.parametrize("mode", PADS)
def test_pace_of_a_pad(mode: str) -> None:
    with connect_on(lake(PADS[mode])) as connection:
        (row,) = connection.sql("SELECT * FROM pad_fleet").pl().iter_rows(named=True)
    assert (row["wells"], row["stages"], row["operation_mode"], row["lateral_ft"]) == (2, 6, mode, 1200.0)
    assert {name: row[name] for name in FIGURES[mode]} == pytest.approx(FIGURES[mode])


@pytest.mark.parametrize("mode", PADS)
def test_gaps_swaps_and_the_fleets_time_of_each_stage(mode: str) -> None:
    with connect_on(lake(PADS[mode])) as connection:
        found = connection.sql(
            "SELECT fleet_gap_min, swap_min, fleet_min FROM stage ORDER BY start_time, well_id, stage"
        ).fetchall()
        wells = connection.sql("SELECT well_id, hours_per_stage FROM well ORDER BY well_id").fetchall()
    assert found == [tuple(None if value is None else pytest.approx(value) for value in row) for row in GAPS[mode]]
    # the stages of a pad add up to its span without standby, whichever wells they are on
    assert sum(minutes for *_, minutes in found) == pytest.approx(60.0 * FIGURES[mode]["fleet_hours"])
    assert sum(hours for _, hours in wells) * 3 == pytest.approx(FIGURES[mode]["fleet_hours"])


def test_shares_of_time_have_the_denominator_of_their_phase() -> None:
    """Toe preparation of 3 h with coil before, mill-out of 5 h after: neither is a share of the fracturing hours."""
    _, pumped, logged = ZIPPER
    before: list[Logged] = [(-5, -2, "coil", "a"), (-2, 0, "standby", None)]
    after: list[Logged] = [(16, 17, "swap", None), (17, 22, "coil", "a")]

    def at(hour: float) -> datetime:
        return START + timedelta(hours=hour)

    log = [
        {"start_time": at(a), "end_time": at(b), "activity": activity, "well_id": well, "cause": None}
        for a, b, activity, well in [*before, *logged, *after]
    ]
    rows = account("p", log, [Worked(at(a), at(b), "pumping", well, stage) for well, stage, a, b in pumped], "UTC")
    days = pl.DataFrame(rows.days)
    found = query_on("quarter_hours", {"pad_day_metrics": days})
    shares = {(row["phase"], row["activity"]): row["share"] for row in found.iter_rows(named=True)}
    assert shares["fracturing", "pumping"] == pytest.approx(12 / 16)
    assert shares["fracturing", "NPT"] == pytest.approx(1 / 16)
    assert shares["toe preparation", "coil"] == pytest.approx(3 / 5)
    assert shares["mill-out", "coil"] == pytest.approx(5 / 6)
    timeline = pl.DataFrame(rows.timeline)
    title = query_on("quarter_hours_title", {"pad_day_metrics": days, "pad_timeline": timeline})["title"][0]
    assert title.endswith("75 % were pumping and 6.2 % were lost")
    # a pad without a time log has pumping hours only: they are no share of anything
    other = account("q", [], [Worked(at(a), at(b), "pumping", well, stage) for well, stage, a, b in pumped], "UTC")
    both = {
        "pad_day_metrics": pl.concat([days, pl.DataFrame(other.days)], how="diagonal_relaxed"),
        "pad_timeline": pl.concat([timeline, pl.DataFrame(other.timeline)], how="diagonal_relaxed"),
    }
    title = query_on("quarter_hours_title", both)["title"][0]
    assert title.endswith("75 % were pumping and 6.2 % were lost; 1 of 2 pads have no time log and are left out")
    title = query_on(
        "quarter_hours_title",
        {"pad_day_metrics": pl.DataFrame(other.days), "pad_timeline": pl.DataFrame(other.timeline)},
    )["title"][0]
    assert title.startswith("No pad has a time log")


def test_what_fleets_waited_for_adds_up_to_their_gaps() -> None:
    found = query_on("gap_by_cause", lake(SINGLE))
    hours = {row["waited_for"]: row["hours"] for row in found.iter_rows(named=True)}
    assert hours == pytest.approx({"wireline": 9.5, "standby": 8.0, "swap": 3.5, "NPT: pumps": 1.0, "not booked": 1.0})
    assert sum(hours.values()) == pytest.approx(23.0)  # 35 h less 12 h of pumping
    assert found["minutes_per_gap"].sum() == pytest.approx(60.0 * 23.0 / 5.0)
