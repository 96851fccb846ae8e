"""The part on wells: useful from one stage on, and a cell leads to the page of its stage."""

from __future__ import annotations

import json
import re
from typing import Any

import polars as pl
import pytest

from pipeline import queries
from pipeline.report.charts import _usual, draw
from pipeline.report.content import gather
from pipeline.report.html import waits
from pipeline.report.pages import Labels, load_pages
from pipeline.workspace import Workspace
from tests.builders import connect_on
from tests.conftest import Campaign, Fitted


def test_the_rows_are_the_measured_stages_of_the_latest_wells(fitted: Fitted) -> None:
    with queries.connect(fitted.lake) as connection:
        rows = queries.run(connection, queries.load("wells_along")).frame
        stages = connection.sql("SELECT * FROM stage").pl()
        plugs = connection.sql("SELECT well_id, plug AS stage, mill_min FROM plug").pl()
    assert rows.select("well_id", "stage").is_unique().all()
    latest = stages.drop_nulls("start_time").group_by("well_id").agg(pl.col("start_time").max())
    kept = set(latest.sort("start_time", descending=True).head(20)["well_id"])
    assert set(rows["well_id"]) == kept
    assert rows.height == stages.filter(pl.col("well_id").is_in(kept)).height
    both = rows.join(stages, on=["well_id", "stage"], suffix="_mart")
    assert both["isip"].equals(both["isip_psi"], null_equal=True)
    assert (both.filter(pl.col("at_rate_pressure_psi").is_not_null()).select(
        (pl.col("pressure") - pl.col("at_rate_pressure_psi")).abs().max()).item()) == 0.0  # fmt: skip
    milled = rows.join(plugs, on=["well_id", "stage"])
    assert milled["mill_time"].equals(milled["mill_min"], null_equal=True)
    assert both["isip_confidence"].equals(both["isip_confidence_mart"], null_equal=True)
    assert (
        rows.filter(pl.col("ended") == "screen-out").height and rows.filter(pl.col("isip_confidence") == "low").height
    )


def test_a_mark_of_doubt_stands_on_the_map_of_its_own_pick_only() -> None:
    (wells,) = [page for page in load_pages() if page.title == "Wells"]
    assert {chart.colour: chart.confidence for chart in wells.charts} == {
        "pressure": None, "isip": "isip_confidence", "breakdown": "breakdown_confidence", "placed_share": None,
        "pump_time": None, "mill_time": "mill_confidence",
    }  # fmt: skip


def chart_rows(*values: tuple[str, int, float | None, str]) -> pl.DataFrame:
    """Rows of the chart; a stage that 'doubt' ended has a pick of low confidence, one that is
    'slow' never reached its rate, a 'test' is an injection test."""
    rows = [
        {"well": well, "stage": stage, "isip": value, "placed_share": value, "ended": ended, "pressure": value,
         "at_rate": ended != "slow", "compared": ended != "test", "isip_confidence": "low" if ended == "doubt" else "high",
         "breakdown": None, "breakdown_confidence": "high", "pump_time": None, "mill_time": None}
        for well, stage, value, ended in values
    ]  # fmt: skip
    floats = dict.fromkeys(("isip", "placed_share", "pressure", "breakdown", "pump_time", "mill_time"), pl.Float64)
    return pl.DataFrame(rows, schema_overrides=floats)


@pytest.mark.parametrize(
    ("measure", "rows", "title"),
    [
        ("isip", [("A 1H", 1, 3000.0, "complete"), ("A 1H", 2, 3400.0, "complete"), ("A 2H", 1, 3100.0, "complete")],
         "ISIP of medium or high confidence, without screen-outs: 3,100 psi on median over 2 wells; lowest 3,000 psi "
         "(A 1H, stage 1), highest 3,400 psi (A 1H, stage 2)"),
        ("isip", [("A 1H", 4, 3000.0, "complete"), ("A 1H", 5, 9000.0, "screen-out"), ("A 1H", 6, 900.0, "doubt")],
         "ISIP of medium or high confidence, without screen-outs: 3,000 psi at A 1H, stage 4"),
        ("isip", [("A 1H", 4, None, "complete")],
         "ISIP of medium or high confidence, without screen-outs: nothing measured yet"),
        ("pressure", [("A 1H", 1, 8000.0, "complete"), ("A 1H", 2, 2000.0, "slow"), ("A 1H", 3, 1000.0, "test")],
         "Treating pressure at rate: 8,000 psi at A 1H, stage 1"),
        ("pressure", [("A 1H", 2, 2000.0, "slow")], "Treating pressure: 2,000 psi at A 1H, stage 2"),
        ("pressure", [("A 1H", 2, 2000.0, "test")], "Treating pressure: nothing measured yet"),
        ("placed", [("A 1H", 1, 1.0, "complete"), ("A 1H", 2, 0.5, "screen-out"), ("A 1H", 3, 0.98, "complete")],
         "Proppant placed: 98 % of the design on median over 3 stages; 1 of them below 95 %, 1 screened out"),
    ],
)  # fmt: skip
def test_a_title_names_the_middle_and_the_ends(measure: str, rows: Any, title: str) -> None:
    connection = connect_on({}, "UTC", reads=set())
    found = queries.run(connection, queries.load("wells_along_title"), {"measure": measure}, chart_rows(*rows))
    assert found.frame["title"][0] == title


def test_one_odd_stage_does_not_take_all_colours() -> None:
    low, high = _usual(pl.Series([9000.0 + n for n in range(100)] + [1000.0]))
    assert 9000.0 <= low < high <= 9100.0
    assert _usual(pl.Series([5.0])) == [4.5, 5.5]


def test_what_cannot_be_shown_yet_stands_in_one_list_with_what_it_needs(measured_slice: Workspace) -> None:
    from pipeline import steps

    with steps.connect(measured_slice) as connection:
        content = gather(connection, load_pages(), "field")
    wells, _, _, plan = content.parts
    assert [drawn.chart.colour for drawn in wells.charts if drawn.spec is not None][:3] == [
        "pressure",
        "isip",
        "breakdown",
    ]
    missing = {one["needs"] for one in waits(plan)}
    assert "a plan of candidate designs, named in the settings" in missing
    assert all(one["needs"] for part in content.parts for one in waits(part))


@pytest.mark.browser
def test_a_cell_leads_to_the_page_of_its_stage(campaign: Campaign, opened: Any) -> None:
    seen = opened(campaign.report.path)
    cells = seen.page.locator("#wells figure .mark-rect path")
    assert cells.count() > 100
    cells.first.click(force=True)
    seen.page.wait_for_url(re.compile(r"/audit/.+/\d+\.html$"))
    assert "stage" in seen.page.inner_text("h1")
    assert seen.messages == []


def test_the_page_definitions_say_what_every_chart_needs() -> None:
    assert all(chart.needs for page in load_pages() for chart in page.charts)


def test_a_stage_left_out_of_comparisons_is_marked_and_the_mark_is_explained() -> None:
    (wells,) = [page for page in load_pages() if page.title == "Wells"]
    drawn = draw(wells.charts[0], chart_rows(("A 1H", 1, 9000.0, "test"), ("A 1H", 2, 9100.0, "complete")), Labels())
    assert "datum.compared === false ? 'X'" in json.dumps(drawn)
    assert "X: left out of comparisons" in wells.charts[0].words


def test_a_share_is_shown_in_per_cent() -> None:
    """On the scale of the colours and in the tooltip; another number without a unit is not."""
    (wells,) = [page for page in load_pages() if page.title == "Wells"]
    (spec,) = [chart for chart in wells.charts if chart.colour == "placed_share"]
    drawn = draw(spec, chart_rows(("A 1H", 1, 0.98, "complete")), Labels({"placed_share": "", "pump_time": "min"}))
    text = json.dumps(drawn)
    assert text.count('"format": ".1%"') >= 2
    tips = {tip["field"]: tip.get("format") for tip in drawn["layer"][0]["encoding"]["tooltip"]}
    assert tips["placed_share"] == ".1%" and tips["pump_time"] == ",.5~r"
