"""The page of a record: what it draws agrees with the samples and the picks, and a reader can use it."""

from __future__ import annotations

import json
import re
from datetime import UTC, datetime
from html import unescape
from pathlib import Path
from typing import Any
from urllib.parse import unquote

import numpy as np
import polars as pl
import pytest
from axe_playwright_python.sync_playwright import Axe

from pipeline import steps
from pipeline.commands.review import amend, describe
from pipeline.errors import HeelwardError
from pipeline.metrics.coil.view import RUN
from pipeline.metrics.measure import read_wells
from pipeline.metrics.stage.measure import pick_stages
from pipeline.metrics.wireline.metrics import WIRELINE_RUN
from pipeline.report import audit
from pipeline.report.audit import draw_audit
from pipeline.report.mask import make_mask
from pipeline.report.record_facts import design_against_record, measures
from pipeline.report.record_page import Mark, Panel, Place, Record, Strip, drawing, kept, render_record
from pipeline.report.stage_page import stage_record
from pipeline.schemas.picks import PICKS
from pipeline.schemas.records import TREATMENT
from pipeline.workspace import Workspace
from tests.conftest import Campaign

HEAVIEST = 150_000


def data_of(path: Path) -> dict[str, Any]:
    found = re.search(r'id="drawn">(.*?)</script>', path.read_text(encoding="utf-8"), re.DOTALL)
    assert found is not None
    loaded: dict[str, Any] = json.loads(found[1])
    return loaded


def unpacked(packed: dict[str, Any]) -> np.ndarray:
    """Read numbers as the page's script does."""
    last, out = 0, []
    for value in packed["values"]:
        last += value or 0
        out.append(np.nan if value is None else last * packed["step"])
    return np.array(out)


@pytest.fixture(scope="module")
def drawn(campaign: Campaign) -> Path:
    return campaign.workspace.out / "audit"


def test_every_stage_coil_run_and_recorded_pump_down_has_a_page_of_modest_weight(
    campaign: Campaign, drawn: Path
) -> None:
    for well, stage in campaign.truth.stages.select("well_id", "stage").rows():
        assert (drawn / well / f"{stage}.html").exists()
    for well, run in campaign.truth.runs.select("well_id", "run").rows():
        assert (drawn / well / f"run-{run}.html").exists()
    picks = campaign.lake.scan(PICKS).filter(level="wireline").select("well_id", "number").unique().collect()
    assert picks.height
    for well, number in picks.rows():
        assert (drawn / well / f"pump-down-{number}.html").exists()
    assert max(path.stat().st_size for path in drawn.rglob("*.html")) < HEAVIEST


def test_every_link_of_the_pages_leads_somewhere(drawn: Path) -> None:
    folder = drawn / "saltgrass-2h"
    for page in folder.glob("*.html"):
        text = page.read_text(encoding="utf-8")
        for href in re.findall(r'href="([^"#]+)"', text):
            assert (folder / unquote(unescape(href))).exists(), f"{page.name} leads to {href}"
    assert 'href="4.html">Next: stage 4' in (folder / "3.html").read_text(encoding="utf-8")
    assert "Previous: stage" not in (folder / "1.html").read_text(encoding="utf-8")


def test_the_kept_samples_hold_every_peak_all_samples_near_a_pick_and_the_void_ones() -> None:
    rng = np.random.default_rng(3)
    time = np.arange(40_000.0)
    one, two = rng.uniform(0.0, 1.0, time.size), rng.uniform(0.0, 1.0, time.size)
    one[12_345], two[777], one[30_000:30_010] = 9.0, -9.0, np.nan
    index = kept(time, [one, two], [(500.0, 900.0)])
    assert {12_345, 777, 30_000, 0, 39_999} <= set(index.tolist())
    assert set(range(500, 901)) <= set(index.tolist())
    assert index.size < 5_000
    assert (np.diff(index) > 0).all()


def test_the_page_holds_the_samples_in_the_units_shown(campaign: Campaign, drawn: Path) -> None:
    well = read_wells(campaign.lake, ["saltgrass-2h"])("saltgrass-2h")
    one = next(one for one in pick_stages(well) if one.number == 3)
    data = data_of(drawn / "saltgrass-2h" / "3.html")
    time = unpacked(data["time"])
    index = np.searchsorted(one.samples.time_s, time)
    pressure, rate, *_ = data["strips"]
    assert (pressure["name"], pressure["unit"], rate["unit"]) == ("treating pressure", "psi", "bpm")
    assert unpacked(pressure) == pytest.approx(one.picks.timeline.record.pressure_psi[index], abs=0.6, nan_ok=True)
    assert unpacked(rate) == pytest.approx(one.samples.channels["slurry_rate_bpm"][index], abs=0.05)
    assert datetime.fromtimestamp(data["origin"], UTC) == one.origin
    metric = drawing(stage_record(one, [], "metric")[0], [], "metric")
    assert metric["strips"][0]["unit"] == "MPa"
    assert np.nanmax(unpacked(metric["strips"][0])) == pytest.approx(
        np.nanmax(one.picks.timeline.record.pressure_psi) * 0.006894757, rel=1e-3
    )


def test_the_fit_meets_the_isip_at_the_shut_in_and_the_window_is_told(campaign: Campaign) -> None:
    well = read_wells(campaign.lake, ["saltgrass-2h"])("saltgrass-2h")
    for one in pick_stages(well):
        isip, end = one.picks.effective["isip"], one.picks.effective["shut_in"].time_s
        panels = {panel.title: panel for panel in stage_record(one, [], "field")[0].panels}
        panel = panels["Shut-in: ISIP on the square root of time"]
        assert isip.value is not None and end is not None and panel.origin_s == end
        fit = next(line for line in panel.lines if line.look == "fit")
        assert (fit.time_s[0], fit.values[0]) == (end, pytest.approx(isip.value))
        assert fit.values[-1] < isip.value  # it declines
        (window,) = panel.bands
        assert end < window.from_s < window.to_s
        level = np.interp(window.to_s, fit.time_s, fit.values)
        record = one.picks.timeline.record
        near = np.nanmedian(record.pressure_psi[(record.time_s > window.to_s - 30) & (record.time_s < window.to_s)])
        assert level == pytest.approx(near, abs=80.0)  # the drawn line runs through the samples of its window


def test_a_screened_out_stage_shows_the_climb_and_a_stepped_one_its_plateaus(campaign: Campaign) -> None:
    out = campaign.truth.stages.filter(pl.col("screenout")).row(0, named=True)
    one = next(
        one for one in pick_stages(read_wells(campaign.lake, [out["well_id"]])(out["well_id"]))
        if one.number == out["stage"]
    )  # fmt: skip
    panel = next(p for p in stage_record(one, [], "field")[0].panels if p.title.startswith("End of the treatment"))
    late = next(line for line in panel.lines if line.look == "fit")
    slope = 60.0 * (late.values[1] - late.values[0]) / (late.time_s[1] - late.time_s[0])
    assert slope >= 150.0
    said = re.search(r"pressure rose by \{([\d.]+) psi/min\}", one.picks.effective["screenout"].reason)
    assert said is not None and slope == pytest.approx(float(said[1]), rel=1e-6)
    assert late.time_s[0] <= panel.marks[0].time_s


def test_design_record_and_report_stand_side_by_side_and_nothing_is_made_up() -> None:
    table = design_against_record(
        {"designed_rate_bpm": 80.0, "pressure_limit_psi": 9500.0}, {"avg_slurry_rate_bpm": 78.25, "isip_psi": 3500.0},
        {"isip_psi": 3522.0}, "field", {"isip", "breakdown_pressure"},
    )  # fmt: skip
    assert table.rows == [
        ["slurry rate, at 90 % of the design or more [bpm]", "80", "–", "–"],
        ["mean slurry rate, ramps included [bpm]", "–", "78.25", "–"],
        ["highest pressure of the main treatment [psi]", "9,500", "–", "–"],
        ["ISIP [psi]", "–", "3,500 (amended)", "3,522"],
    ]


def test_a_page_names_its_file_its_lines_and_the_commands(campaign: Campaign, drawn: Path) -> None:
    text = unescape((drawn / "saltgrass-2h" / "3.html").read_text(encoding="utf-8"))
    rows = campaign.lake.scan(TREATMENT).filter(well_id="saltgrass-2h", stage=3)
    first, last, count = rows.select(
        pl.col("source_row").min().alias("a"), pl.col("source_row").max().alias("b"), pl.len()
    ).collect().row(0)  # fmt: skip
    assert f'<td class="n">{first:,}</td><td class="n">{last:,}</td><td class="n">{count:,}</td>' in text
    assert data_of(drawn / "saltgrass-2h" / "3.html")["commands"] == {
        "stage": ["heelward amend --by 'YOUR NAME' --why 'REASON' ", " 'Saltgrass 2H' "]
    }
    assert re.search(r'<tr id="stage-3-isip".{0,200}data-options="--value NUMBER\|--confirm"', text, re.DOTALL)


def test_an_amended_pick_shows_both_values_and_its_history(measured_slice: Workspace) -> None:
    row = steps.open_lake(measured_slice).scan(PICKS).filter(level="stage", pick="isip").drop_nulls("value").collect().row(0, named=True)  # fmt: skip
    well, stage = row["well_id"], row["number"]
    amend(measured_slice, well, "stage", stage, "isip", value=3333.0, time=None, by="A. Reader", why="<b>ringing</b>",
          withdraw=False)  # fmt: skip
    steps.run_ingest(measured_slice)
    steps.run_measure(measured_slice)
    said = describe(measured_slice, well, "stage", stage)
    page = measured_slice.out / "audit" / well / f"{stage}.html"
    assert str(page) in said
    text = page.read_text(encoding="utf-8")
    assert "<strong>3,333 psi</strong>" in text and "<s>" in text and "&lt;b&gt;ringing&lt;/b&gt;" in text
    assert "<b>" not in text
    assert "History: amendments" in text
    data = data_of(page)
    mark = next(mark for mark in data["panels"][0]["marks"] if mark["label"].startswith("ISIP"))
    assert mark["amended"] and mark["value"] == pytest.approx(3333.0) and "A. Reader" in mark["why"]
    fit = next(panel for panel in data["panels"] if panel["root"] is not None)
    (automatic,) = [mark for mark in fit["marks"] if mark["label"].endswith("(automatic)")]
    assert automatic["value"] == pytest.approx(row["value"], abs=0.1) and not automatic["amended"]
    assert fit["range"][0] < 3333.0 < fit["range"][1], "both are seen"


def test_pump_downs_and_coil_runs_show_what_was_measured(campaign: Campaign, drawn: Path) -> None:
    for level, number, file in ((WIRELINE_RUN, 4, "pump-down-4.html"), (RUN, 1, "run-1.html")):
        row = campaign.lake.scan(level.table).filter(well_id="saltgrass-2h", run=number).collect().row(0, named=True)
        said = {cells[0]: cells[1] for cells in measures(row, level, "field").rows}
        assert len(said) == sum(row[name] is not None for name in level.metrics)
        text = (drawn / "saltgrass-2h" / file).read_text(encoding="utf-8")
        assert ">Measured</h2>" in text and all(f">{name}</td>" in text for name in said)
    metric = dict(measures({"peak_pressure_psi": 3000.0}, WIRELINE_RUN, "metric").rows)
    assert metric == {"peak pressure [MPa]": "20.68"}


def test_pages_of_a_large_lake_are_drawn_on_request(
    measured_slice: Workspace, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(audit, "MOST_PAGES", 2)
    lake = steps.open_lake(measured_slice)
    well = lake.scan(PICKS).select("well_id").first().collect().item()
    every = draw_audit(lake, tmp_path)
    assert well in every.drawn and not list(tmp_path.rglob("[0-9]*.html"))
    assert (tmp_path / well / "index.html").exists() and list((tmp_path / well).glob("*.svg"))
    assert draw_audit(lake, tmp_path, well=well).drawn == [well]
    assert list((tmp_path / well).glob("[0-9]*.html"))
    assert draw_audit(lake, tmp_path).drawn == []  # what was drawn on request stays


def test_a_record_that_does_not_exist_is_told(measured_slice: Workspace) -> None:
    well = steps.open_lake(measured_slice).scan(PICKS).select("well_id").first().collect().item()
    with pytest.raises(HeelwardError, match=r"coil run 99 of .* has no measurements; on record: 1"):
        describe(measured_slice, well, "run", 99)


def test_a_masked_page_names_nobody_and_has_no_commands(campaign: Campaign, tmp_path: Path) -> None:
    names = campaign.workspace.root / "aliases.json"
    before = names.read_text(encoding="utf-8") if names.exists() else None
    mask = make_mask(campaign.lake, ("wells", "crews", "pads"), campaign.workspace.root)
    draw_audit(campaign.lake, tmp_path, well="saltgrass-2h", mask=mask)
    if before is None:
        names.unlink()
    (page,) = tmp_path.rglob("3.html")
    text = page.read_text(encoding="utf-8").lower()
    assert "saltgrass" not in text and "heelward amend" not in text and "landing/" not in text


def test_a_hostile_name_is_inert_on_a_page() -> None:
    evil = "</script><img src=x onerror=alert(1)>"
    time = np.arange(100.0)
    panel = Panel(evil, evil, 0.0, 99.0, (0,), marks=[Mark(5.0, evil, evil, sure=True)])
    record = Record(datetime(2025, 1, 1, tzinfo=UTC), time, [Strip(evil, "psi", time)], [panel])
    text = render_record(Place("stage", 1, evil, [(evil, "1.html")]), record, [], [], [], "field")
    assert "<img" not in text and "</script><" not in text.replace("</script>\n<script>", "")


@pytest.mark.browser
def test_a_reader_enlarges_and_reads_by_keyboard_and_pointer(drawn: Path, opened: Any) -> None:
    seen = opened(drawn / "saltgrass-2h" / "3.html", wait=False)
    page = seen.page
    seen_from = "() => window.heelward.views[0]()"
    whole = page.evaluate(seen_from)
    page.focus(".record >> nth=0")
    page.keyboard.press("ArrowRight")
    reading = page.inner_text(".told >> nth=0")
    assert "UTC" in reading and "treating pressure" in reading and "psi" in reading and "slurry rate" in reading
    page.keyboard.press("+")
    near = page.evaluate(seen_from)
    assert near["to"] - near["from"] == pytest.approx((whole["to"] - whole["from"]) / 2)
    page.keyboard.press("0")
    assert page.evaluate(seen_from)["to"] == whole["to"]
    box = page.locator(".record svg >> nth=0").bounding_box()
    page.mouse.move(box["x"] + 300, box["y"] + 150)
    page.mouse.down()
    page.mouse.move(box["x"] + 500, box["y"] + 150)
    page.mouse.up()
    part = page.evaluate(seen_from)
    assert whole["from"] < part["from"] < part["to"] < whole["to"]
    page.dblclick(".record svg >> nth=0", position={"x": 300, "y": 150})
    assert page.evaluate(seen_from)["from"] == whole["from"]
    assert seen.messages == [] and len(seen.requests) == 1


@pytest.mark.browser
@pytest.mark.parametrize("name", ["3.html", "run-1.html", "pump-down-4.html"])
def test_record_pages_are_quiet_accessible_and_fit_a_phone(drawn: Path, opened: Any, name: str) -> None:
    for width, scheme in ((1280, "light"), (360, "dark")):
        seen = opened(drawn / "saltgrass-2h" / name, width=width, scheme=scheme, wait=False)
        assert seen.page.locator(".record path.samples").count() >= 2
        assert seen.page.evaluate("document.documentElement.scrollWidth") <= width
        found = Axe().run(seen.page).response["violations"]
        assert [one["id"] for one in found if one["impact"] in ("serious", "critical")] == []
        assert seen.messages == [] and len(seen.requests) == 1
        seen.page.close()


def test_the_overview_leads_to_the_pages(drawn: Path) -> None:
    text = (drawn / "saltgrass-2h" / "index.html").read_text(encoding="utf-8")
    assert 'href="3.html"' in text and 'src="3.svg"' in text and 'href="pump-down-4.html"' in text
