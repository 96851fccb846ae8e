"""What a reader does with the report: picks jobs out, follows numbers to their source, reads it with other eyes."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any
from urllib.parse import unquote

import pytest
from axe_playwright_python.sync_playwright import Axe

from pipeline import steps
from pipeline.lake import connect
from pipeline.metrics.tables import TABLES
from pipeline.report import html
from pipeline.workspace import Workspace
from tests.conftest import Campaign

pytestmark = pytest.mark.browser
TREND = "window.heelward.views[document.querySelector('#quarter .chart').id]"
"""The first chart of the part on quarters, in the page."""


def page_of(campaign: Campaign) -> Path:
    return campaign.report.path


def rows_of(page: Any, query: str) -> list[dict[str, Any]]:
    """Rows that a chart shows now, by the name of its query."""
    found: list[dict[str, Any]] = page.evaluate(
        """(query) => {
            const figure = [...document.querySelectorAll('figure')].find((one) => one.innerText.includes(`Query ${query}`));
            return window.heelward.views[figure.querySelector('.chart').id].data('rows');
        }""",
        query,
    )
    return found


def pick(page: Any, part: str, name: str, value: str) -> None:
    page.select_option(f"#{part} form.choices select[name={name}]", value)
    page.wait_for_timeout(200)


def test_picking_a_crew_keeps_its_jobs_only_and_says_what_is_not_kept_apart(campaign: Campaign, opened: Any) -> None:
    seen = opened(page_of(campaign))
    before = rows_of(seen.page, "crews_spread")
    assert {row["crew"] for row in before} == {"Crew Alder", "Crew Birch", "Crew Cedar", "Crew Dogwood"}
    pick(seen.page, "crews-and-designs", "crew", "Crew Cedar")
    after = rows_of(seen.page, "crews_spread")
    assert after and {row["crew"] for row in after} == {"Crew Cedar"}
    assert len(after) == sum(row["crew"] == "Crew Cedar" for row in before)
    assert {row["crew"] for row in rows_of(seen.page, "screen_outs")} == {"Crew Cedar"}
    told = seen.page.inner_text("#crews-and-designs")
    assert "Shown: Crew Cedar. The title refers to all jobs." in told
    assert "Cannot be selected by crew: all are shown." in told  # the comparison of designs
    assert len({row["crew"] for row in rows_of(seen.page, "mill_depth")}) == 2  # another part is left alone
    seen.page.click("#crews-and-designs form.choices button")
    seen.page.wait_for_timeout(200)
    assert sorted(map(str, rows_of(seen.page, "crews_spread"))) == sorted(map(str, before))
    assert seen.messages == []


def test_a_trend_of_picked_jobs_is_added_up_from_their_cells(campaign: Campaign, opened: Any) -> None:
    seen = opened(page_of(campaign))
    pick(seen.page, "quarter", "crew", "Coil Gannet")
    pick(seen.page, "quarter", "formation", "")
    cells = seen.page.evaluate(f"{TREND}.data('cells')")
    assert cells and {row["crew"] for row in cells} == {"Coil Gannet"}
    shown = seen.page.evaluate(f"[{TREND}.signal('picked'), {TREND}.data('rows').length]")
    assert shown[0] is True
    assert shown[1] > 2  # circles and limits stay those of all
    import polars as pl

    ours = connect(campaign.lake, list(TABLES.values())).sql(
        "SELECT quarter, avg(mill_min) AS mean FROM plug WHERE coil_crew = 'Coil Gannet' AND mill_min IS NOT NULL GROUP BY ALL"
    ).pl()  # fmt: skip
    added = pl.DataFrame(cells).group_by("quarter").agg(pl.col("total").sum() / pl.col("n").sum())
    both = ours.join(added, on="quarter")
    assert both.height == ours.height
    assert (both["mean"] - both["total"]).abs().max() < 1e-9  # type: ignore[operator]


def test_every_number_leads_to_its_query_and_every_stage_to_its_record_and_file(
    campaign: Campaign, opened: Any
) -> None:
    seen = opened(page_of(campaign))
    seen.page.click("#quarter .numbers a.query >> nth=0")
    opened_query = seen.page.locator("#query-quarter_numbers")
    assert opened_query.evaluate("(one) => one.open")
    assert "SELECT" in opened_query.inner_text()
    seen.page.goto(f"{page_of(campaign).as_uri()}#stages")
    seen.page.reload()
    row = seen.page.locator("#stages tbody tr >> nth=0")
    hrefs = [link.get_attribute("href") for link in row.locator("a").all()]
    targets = [(page_of(campaign).parent / unquote(href)).resolve() for href in hrefs if href]
    assert [path.suffix for path in targets][:2] == [".html", ".html"]
    assert all(path.is_file() for path in targets), targets
    assert any("landing" in path.parts for path in targets)
    row.locator("a >> nth=1").click()
    assert re.search(r"/\d+\.html$", seen.page.url)  # a stage, not the overview of the well


@pytest.mark.parametrize("scheme", ["light", pytest.param("dark", marks=pytest.mark.turn)])
def test_no_serious_finding_of_accessibility(campaign: Campaign, opened: Any, scheme: str) -> None:
    seen = opened(page_of(campaign), scheme=scheme)
    seen.page.evaluate(
        """() => {
            for (const row of document.querySelectorAll('tbody tr:nth-child(n+4), details.sql:nth-of-type(n+4)')) row.remove();
            for (const one of document.querySelectorAll('details')) one.open = true;
        }"""
    )  # rows and queries are alike: three of each stand for all
    # charts are pictures with words; what is inside them is drawn, not read
    found = Axe().run(
        seen.page,
        context={"exclude": [[".chart"]]},
        options={"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]},
    )
    serious = [
        (one["id"], one["help"], [node["target"] for node in one["nodes"]][:3])
        for one in found.response["violations"]
        if one["impact"] in ("serious", "critical")
    ]
    assert serious == []


def test_charts_have_words_for_who_does_not_see_them_and_the_keyboard_reaches_everything(
    campaign: Campaign, opened: Any
) -> None:
    seen = opened(page_of(campaign))
    for chart in seen.page.query_selector_all(".drawing"):
        label = chart.get_attribute("aria-label") or ""
        assert chart.get_attribute("role") == "img"
        assert len(label) > 40
    reached = set()
    for _ in range(40):
        seen.page.keyboard.press("Tab")
        reached.add(seen.page.evaluate("document.activeElement.tagName + (document.activeElement.name || '')"))
    assert {"A", "SELECTquarter", "SELECTcrew", "BUTTON"} <= reached


@pytest.mark.turn
def test_dark_and_light_draw_the_charts_in_their_own_colours(campaign: Campaign, opened: Any) -> None:
    inks = []
    for scheme in ("light", "dark"):
        seen = opened(page_of(campaign), scheme=scheme)
        axis = seen.page.locator(".chart svg .role-axis-label text >> nth=0")
        inks.append(axis.evaluate("(one) => getComputedStyle(one).fill"))
        assert inks[-1] == seen.page.evaluate("getComputedStyle(document.body).color")
    assert inks[0] != inks[1]


@pytest.mark.turn
def test_what_is_too_heavy_for_one_page_becomes_a_folder_that_works_alike(
    slice_workspace: Workspace, opened: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(html, "HEAVIEST", 100_000)
    out = slice_workspace.out
    built = steps.refresh(slice_workspace).report
    assert built.path == out / "report" / "index.html"
    seen = opened(built.path)
    assert seen.messages == []
    assert seen.page.evaluate("window.heelward.failed") == 0
    assert all(url.startswith("file:") for url in seen.requests)
    seen.page.click("#ledger a[href='ledger/stages.html']")
    seen.page.wait_for_url("**/ledger/stages.html")
    for _ in range(200):  # waiting for a function needs eval, which this page forbids
        if seen.page.evaluate("window.heelward ? window.heelward.shown : null") == 3:
            break
        seen.page.wait_for_timeout(50)
    seen.page.fill("input[type=search]", "no such stage")
    assert seen.page.inner_text(".choices [role=status]") == "No matching rows"
    seen.page.fill("input[type=search]", "saltgrass 1h")
    assert seen.page.inner_text(".choices [role=status]") == "3 rows"
    assert seen.messages == []
    links = [link.get_attribute("href") for link in seen.page.locator("tbody tr >> nth=0 >> a").all()]
    assert all((built.path.parent / "ledger" / unquote(str(href))).resolve().is_file() for href in links), links
    pointer = opened(out / "report.html", wait=False)
    pointer.page.wait_for_url("**/report/index.html")
    # and back to one page, once it is light again
    monkeypatch.setattr(html, "HEAVIEST", 50_000_000)
    assert steps.run_report(slice_workspace).path == out / "report.html"
    assert not (out / "report").exists()


def test_it_prints_without_what_only_a_screen_needs(campaign: Campaign, opened: Any) -> None:
    seen = opened(page_of(campaign))
    seen.page.emulate_media(media="print")
    assert not seen.page.is_visible("form.choices >> nth=0")
    assert seen.page.is_visible(".caution")
    assert seen.page.is_visible(".chart >> nth=0")


def test_the_rows_of_a_chart_are_saved_as_they_are_shown(campaign: Campaign, opened: Any) -> None:
    seen = opened(page_of(campaign))

    def saved(query: str) -> list[str]:
        button = seen.page.locator(f"figure:has(a[href='#query-{query}']) button.save").first
        with seen.page.expect_download() as download:
            button.click()
        assert download.value.suggested_filename == f"{query}.csv"
        return Path(download.value.path()).read_text(encoding="utf-8-sig").splitlines()

    every = saved("pressure_by_depth")
    assert every[0].startswith("depth [ft],pressure [psi],design,")
    assert len(every) == len(rows_of(seen.page, "pressure_by_depth")) + 1 > 100
    pick(seen.page, "crews-and-designs", "crew", "Crew Cedar")
    some = saved("pressure_by_depth")
    assert len(some) == len(rows_of(seen.page, "pressure_by_depth")) + 1 < len(every)
    assert seen.messages == []


def column(page: Any, table: str, name: str) -> list[str]:
    """Cells of a column of a ledger table, as they stand now."""
    found: list[str] = page.evaluate(
        """([id, name]) => {
            const table = document.querySelector(`#${id} table`);
            const place = [...table.tHead.rows[0].cells].findIndex((head) => head.dataset.column === name);
            return [...table.tBodies[0].rows].map((row) => row.cells[place].textContent);
        }""",
        [table, name],
    )
    return found


def test_a_ledger_is_sorted_searched_and_filtered_by_confidence(campaign: Campaign, opened: Any) -> None:
    page = opened(page_of(campaign)).page
    page.evaluate("location.hash = '#stages'")
    every = column(page, "stages", "isip_psi")
    page.click("#stages th[data-column=isip_psi] button")
    up = column(page, "stages", "isip_psi")
    known = [float(text.replace(",", "")) for text in up if text != "–"]
    assert known == sorted(known) and sorted(up) == sorted(every)
    assert all(text == "–" for text in up[len(known) :])  # what is unknown comes last, whatever the order
    page.click("#stages th[data-column=isip_psi] button")
    down = column(page, "stages", "isip_psi")
    assert (
        down[: len(known)] == up[: len(known)][::-1]
        or [float(text.replace(",", "")) for text in down[: len(known)]] == known[::-1]
    )
    assert page.get_attribute("#stages th[data-column=isip_psi]", "aria-sort") == "descending"
    select = page.locator("#stages .choices label", has_text=page.inner_text("#stages th[data-column=isip_confidence]"))
    select.locator("select").select_option("low")
    assert set(column(page, "stages", "isip_confidence")) == {"low"}
    told = page.inner_text("#stages .choices [role=status]")
    assert told == f"{len(column(page, 'stages', 'isip_confidence'))} of {len(every)} rows"


def test_what_cannot_follow_a_choice_is_greyed_with_the_reason(campaign: Campaign, opened: Any) -> None:
    page = opened(page_of(campaign)).page
    pick(page, "quarter", "crew", "Coil Gannet")
    assert page.locator("#quarter .numbers.apart").count() == 1
    assert page.is_visible("#quarter .numbers-picked")
    greyed = page.locator("#quarter figure.apart")
    assert greyed.count() >= 1
    for figure in greyed.all():
        assert "Cannot be selected by crew" in figure.inner_text()
    pick(page, "crews-and-designs", "crew", "Crew Cedar")
    table = page.locator("#crews-and-designs table.apart")
    assert table.count() == 1
    assert "Cannot be selected by crew" in page.inner_text("#crews-and-designs .scroll + .picked")
    page.click("#quarter form.choices button")
    page.wait_for_timeout(200)
    assert page.locator("#quarter .apart").count() == 0


def test_without_a_script_the_charts_are_pictures(campaign: Campaign, opened: Any) -> None:
    page = opened(page_of(campaign)).page.context.browser.new_context(java_script_enabled=False).new_page()
    page.goto(page_of(campaign).as_uri())
    pictures = page.locator("noscript svg")
    assert pictures.count() == campaign.report.charts
    assert all(picture.bounding_box()["height"] > 80 for picture in pictures.all())
    assert "psi" in pictures.first.inner_html() or "Stage" in pictures.first.inner_html()


def test_a_choice_stands_in_the_address_and_survives_a_reload(campaign: Campaign, opened: Any) -> None:
    seen = opened(page_of(campaign))
    pick(seen.page, "crews-and-designs", "crew", "Crew Cedar")
    address = seen.page.url
    assert "crews-and-designs.crew=Crew+Cedar" in address
    again = opened(page_of(campaign))
    again.page.goto(address)
    again.page.wait_for_function("window.heelward.drawn === window.heelward.wanted")
    again.page.wait_for_timeout(500)
    assert {row["crew"] for row in rows_of(again.page, "crews_spread")} == {"Crew Cedar"}
    assert again.page.input_value("#crews-and-designs form.choices select[name=crew]") == "Crew Cedar"
    assert again.page.input_value("#quarter form.choices select[name=crew]") == ""
    again.page.click("#crews-and-designs form.choices button")
    again.page.wait_for_timeout(300)
    assert "?" not in again.page.url and again.messages == []


def test_a_cell_that_could_be_a_formula_is_saved_as_text(campaign: Campaign, opened: Any) -> None:
    seen = opened(page_of(campaign))
    chart = seen.page.locator("figure:has(a[href='#query-pressure_by_depth'])").first
    seen.page.evaluate(
        "id => { window.heelward.views[id].data('rows')[0].well = '=cmd(\"x\"),1'; }",
        chart.locator(".chart").get_attribute("id"),
    )
    with seen.page.expect_download() as download:
        chart.locator("button.save").click()
    assert '"\'=cmd(""x""),1"' in Path(download.value.path()).read_text(encoding="utf-8-sig")
