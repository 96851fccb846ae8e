"""Five readers, each with a task, from the command or the link that they begin with to what they take away."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any
from urllib.parse import unquote, urlparse

import polars as pl
import pytest

from pipeline import steps
from pipeline.report.edition import Edition
from pipeline.workspace import Workspace
from tests.command import heelward
from tests.conftest import Campaign

pytestmark = pytest.mark.browser


def words(page: Any, place: str) -> str:
    """Return what a place of a page shows, in one line."""
    return " ".join(str(page.inner_text(place)).split())


@pytest.mark.turn
def test_the_manager_forwards_the_brief(campaign: Campaign, opened: Any) -> None:
    """The text of the mail has the sentences that open the parts of the page, and no name of a column."""
    done = heelward("report", "--brief", "-w", campaign.workspace.root)
    assert done.returncode == 0, done.stderr
    path = next(Path(line.strip()) for line in done.stdout.splitlines() if line.strip().endswith("brief.txt"))
    mail = " ".join(path.read_text(encoding="utf-8").split())
    page = opened(campaign.report.path).page
    for part in ("wells", "quarter", "crews-and-designs", "next-pad"):
        sentences = [" ".join(one.inner_text().split()) for one in page.locator(f"#{part} .brief li").all()]
        assert 2 <= len(sentences) <= 6, (part, len(sentences))
        for sentence in sentences:
            assert sentence in mail
    assert "Look next:" in mail and "Caution" not in mail.split("WELLS")[0]
    assert not re.findall(r"\b[a-z]+_[a-z_]+\b", mail)


@pytest.mark.turn
def test_the_analyst_finds_the_better_crew_and_on_what_data(campaign: Campaign, opened: Any) -> None:
    """From the sentence of the part to the chart, the jobs that were compared, and the stages of one crew."""
    page = opened(campaign.report.path).page
    page.click("nav[aria-label='Parts of the report'] a:has-text('Crews and designs')")
    assert "Crew" in words(page, "#crews-and-designs .brief")
    rows = steps.run_query(campaign.workspace, "crews_compared", {"comparison": "frac_crews_pump_time"}).frame
    best = rows.drop_nulls("difference").sort("difference").row(0, named=True)
    figure = page.locator("#crews-and-designs figure", has_text="Query crews_compared").first
    assert best["crew"] in figure.locator("h3").inner_text()
    figure.locator("a:has-text('crews_compared') >> nth=0").click()
    assert page.locator("#query-crews_compared pre").is_visible()
    page.click("nav[aria-label='Parts of the report'] a:has-text('Ledger')")
    page.click("#stages summary")
    page.fill("#stages input[type=search]", best["crew"])
    shown = page.locator("#stages tbody tr").count()
    made = steps.run_query(campaign.workspace, "stages", {}).frame
    assert shown == made.filter(pl.col("crew") == best["crew"]).height
    assert words(page, "#stages [role=status] >> nth=0") == f"{shown} of {made.height} rows"


@pytest.mark.turn
def test_the_engineer_amends_a_doubtful_pick_and_sees_the_report_follow(measured_slice: Workspace, opened: Any) -> None:
    """From the queue to the page of the stage, its reason and its fit; the command that stands there is run."""
    steps.run_fit(measured_slice)
    built = steps.run_report(measured_slice, beside=[])
    page = opened(built.path).page
    page.evaluate("location.hash = '#review-queue'")
    row = page.locator("#review-queue tbody tr", has_text="ISIP").first
    number = row.locator("a").nth(1)
    stage = number.inner_text()
    number.click()
    assert Path(unquote(urlparse(page.url).path)).name == f"{stage}.html"
    assert words(page, f"#stage-{stage}-isip td:last-child")  # why it is doubtful
    assert page.locator("h2", has_text="shut-in").first.is_visible()  # the fit
    page.locator(f"#stage-{stage}-isip summary").click()
    command = words(page, f"#stage-{stage}-isip code:has-text('--confirm')")
    assert command.startswith("heelward amend ")
    typed = command.replace("'YOUR NAME'", "Ito").replace("'REASON'", "seen")
    given = re.findall(r"'[^']*'|\S+", typed)[1:]
    done = heelward(*(one.strip("'") for one in given), "-w", measured_slice.root)
    assert done.returncode == 0, (command, done.stderr)
    status = heelward("status", "-w", measured_slice.root)
    assert "has amendments that are not in the lake yet" in status.stdout
    assert heelward("refresh", "-w", measured_slice.root).returncode == 0
    page.reload()
    assert "confirmed" in words(page, f"#stage-{stage}-isip th")
    page.go_back()
    page.reload()
    page.evaluate("location.hash = '#review-queue'")
    left = page.locator("#review-queue tbody tr", has_text="ISIP").all_inner_texts()
    assert all(text.split("\t")[4] != stage for text in left)


def test_the_engineer_chooses_a_design_for_the_next_pad(campaign: Campaign, opened: Any) -> None:
    """The part names pad and limit, and sets every candidate with what speaks for and against it side by side."""
    page = opened(campaign.report.path).page
    page.click("nav[aria-label='Parts of the report'] a:has-text('Next pad')")
    told = words(page, "#next-pad .brief")
    planned = steps.run_sql(campaign.workspace, "SELECT DISTINCT design, pad FROM planned").frame
    assert planned["pad"][0] in told
    assert re.search(r"limit of [\d,]+ psi", told), told
    table = page.locator("#next-pad table.rows").first
    texts = table.inner_text()
    for design in planned["design"]:
        assert design in texts
    figures = steps.run_query(campaign.workspace, "next_figures", {}).frame
    assert table.locator("tbody tr").count() == figures["figure"].n_unique(), "a row per figure, a column per design"


def test_a_newcomer_finds_what_a_word_and_a_column_mean(campaign: Campaign, opened: Any) -> None:
    """A word tells its meaning to pointer and keyboard; a column's heading to the pointer, and in the dictionary."""
    page = opened(campaign.report.path).page
    term = page.locator("#crews-and-designs a.term").first
    term.focus()
    shown = term.evaluate("(one) => getComputedStyle(one, '::after').content")
    means = term.get_attribute("data-means")
    assert means and means in shown.replace('\\"', '"')
    term.click()
    target = page.locator(f"#{page.url.partition('#')[2]}")
    assert means in target.inner_text() and target.is_visible()
    page.click("#stages summary")
    heading = page.locator("#stages th[data-column=isip_psi]")
    assert "ISIP" in heading.inner_text() and "psi" in heading.inner_text()
    assert len(heading.get_attribute("title") or "") > 10
    page.click("#method summary")
    page.click("#method a:has-text('data dictionary')")
    assert "isip_psi" in words(page, "main")


@pytest.mark.turn
def test_what_changed_since_a_day_stands_first(measured_slice: Workspace, opened: Any) -> None:
    """An edition against a past day opens with the causes and the changes."""
    steps.run_fit(measured_slice)
    day = steps.open_lake(measured_slice)
    from pipeline.schemas.lineage import SNAPSHOTS

    last = day.scan(SNAPSHOTS).collect()["at"].max()
    assert last is not None
    built = steps.run_report(measured_slice, edition=Edition(against=last.date()), beside=[])  # type: ignore[union-attr]
    page = opened(built.path).page
    assert words(page, "main section >> nth=0").startswith("Since ")
    assert "No file, job, amendment, method or setting changed." in words(page, "#since")
