"""The report in a real browser: every chart drawn, nothing fetched, no error; hostile names inert."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from pipeline import steps
from pipeline.report.pages import load_pages
from pipeline.report.text import CAUTION, cell
from pipeline.workspace import Workspace, open_workspace
from tests.builders import TREATMENT_MAP, WELLS_MAP, record_csv, workspace
from tests.conftest import Campaign


@pytest.mark.browser
@pytest.mark.parametrize("width", [360, pytest.param(1024, marks=pytest.mark.long), 1920])
def test_every_chart_is_drawn_without_error_or_request(campaign: Campaign, opened, width: int) -> None:  # type: ignore[no-untyped-def]
    path = campaign.report.path
    seen = opened(path, width)
    state = seen.page.evaluate("(({ drawn, failed, wanted }) => ({ drawn, failed, wanted }))(window.heelward)")
    assert state["drawn"] == state["wanted"] == sum(len(page.charts) for page in load_pages())
    assert state["failed"] == 0
    assert seen.messages == []
    assert seen.requests == [path.as_uri()]
    for chart in seen.page.query_selector_all(".chart"):
        marks = chart.query_selector_all("svg path, svg rect, svg line")
        assert len(marks) > 5
        box, frame = chart.query_selector("svg").bounding_box(), chart.bounding_box()
        assert box["width"] <= frame["width"] + 2
    assert seen.page.evaluate("document.documentElement.scrollWidth") <= width


def test_report_holds_caution_versions_and_ledger(campaign: Campaign) -> None:
    text = campaign.report.path.read_text(encoding="utf-8")
    assert CAUTION.split(".")[0] in text
    for name, version in steps.versions(campaign.lake).items():
        assert f"<code>{name}</code> {version}" in text
    assert "landing/treatment/larkspoke/" in text
    assert campaign.report.size_bytes < 5e6


def test_every_part_has_at_least_two_charts_and_its_reader() -> None:
    pages = load_pages()
    assert [page.reader for page in pages] == ["engineer", "manager", "analyst", "engineer"]
    assert all(len(page.charts) >= 2 for page in pages)


def test_no_address_of_another_host_is_loaded(campaign: Campaign) -> None:
    text = campaign.report.path.read_text(encoding="utf-8")
    body = re.sub(r"<script>.*?</script>", "", text, flags=re.S)
    assert not re.search(r"(src|href|url)[=(][\"']?(https?:)?//", body)
    specs = re.search(r'id="charts">(.*?)</script>', text, flags=re.S)
    assert specs is not None
    assert "url" not in json.dumps([chart["spec"].get("data") for chart in json.loads(specs[1])["charts"].values()])


def hostile_workspace(folder: Path) -> Workspace:
    name = "<script>alert(1)</script> \"'=cmd() \u202e" + "x" * 150
    wells = (
        'well,aliases,pad,time_zone,stages,rotary_table_ft\n"'
        + name.replace('"', '""')
        + '",bad,"</script><img src=x onerror=alert(2)>",UTC,5,0\n'
    )
    maps = {"records": TREATMENT_MAP, "wells": WELLS_MAP}
    files: dict[str, str | bytes] = {
        "tables/wells.csv": wells,
        "bad stage 1.csv": record_csv(900),
        "<b>boo stage 2.csv": "x\n",
    }
    return workspace(folder, maps, files)


@pytest.mark.browser
def test_hostile_names_are_inert(tmp_path: Path, opened) -> None:  # type: ignore[no-untyped-def]
    space = hostile_workspace(tmp_path)
    steps.refresh(space)
    seen = opened(space.out / "report.html")
    assert seen.messages == []
    assert seen.page.query_selector("img") is None
    assert (
        "<script>alert(1)</script>" in seen.page.inner_text("body")
        or seen.page.content().count("&lt;script&gt;alert(1)") > 0
    )


@pytest.mark.browser
def test_an_empty_workspace_makes_a_report_that_says_so(tmp_path: Path, opened) -> None:  # type: ignore[no-untyped-def]
    space = workspace(tmp_path, {"records": TREATMENT_MAP}, {})
    (space.root / "landing").mkdir(exist_ok=True)
    built = steps.refresh(space).report
    assert built.charts == 0
    seen = opened(built.path)
    assert seen.messages == []
    assert "Not shown yet" in seen.page.inner_text("body")


@pytest.mark.turn
def test_a_report_in_metric_units_converts_numbers_and_labels(slice_workspace: Workspace) -> None:
    steps.refresh(slice_workspace)
    settings = slice_workspace.root / "heelward.toml"
    settings.write_text(settings.read_text(encoding="utf-8").replace('"field"', '"metric"'), encoding="utf-8")
    built = steps.run_report(open_workspace(slice_workspace.root))
    text = built.path.read_text(encoding="utf-8")
    assert "ISIP [MPa]" in text
    assert "m³" in text


@pytest.mark.parametrize(
    ("value", "text"), [(None, "–"), (True, "yes"), (0.0, "0"), (12345.6, "12,346"), (0.91234, "0.9123"), ("x", "x")]
)
def test_cells_show_unknown_as_a_dash_and_zero_as_zero(value: object, text: str) -> None:
    assert cell(value) == text
