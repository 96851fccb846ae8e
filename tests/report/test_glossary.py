"""Words explained where they stand, charts kept as pictures, and a spreadsheet of all that a report shows."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import BrokenExecutor, Future
from pathlib import Path

import openpyxl
import pytest

from pipeline import steps
from pipeline.report import pictures
from pipeline.report.content import gather
from pipeline.report.glossary import anchor, explained, glossary, terms_in
from pipeline.report.pages import load_pages
from pipeline.report.pictures import Pictures
from pipeline.report.sketch import Sketch
from pipeline.workspace import Workspace


@pytest.mark.parametrize(
    ("text", "marked"),
    [
        ("Two screen-outs.", ["screen-outs"]),
        ("An ISIP, and another ISIP", ["ISIP"]),  # the first only
        ("fleet hours of a fleet", ["fleet hours", "fleet"]),  # the longest word that fits
        ("query_fleet and isip_psi and non-standby", []),  # within a name there is no word
        ("Swap", ["Swap"]),
    ],
)
def test_words_of_the_glossary_are_marked_once(text: str, marked: list[str]) -> None:
    html = explained(text, set())
    parts = [part.split("</a>")[0].split(">")[-1] for part in html.split('class="term"')[1:]]
    assert parts == marked
    assert html.striptags() == text


def test_a_text_with_words_is_escaped_and_a_word_above_is_left_alone() -> None:
    seen = {"swap"}
    html = explained("<b>swap</b> & standby", seen, "../words.html")
    assert html.startswith("&lt;b&gt;swap&lt;/b&gt; &amp; <a")
    assert f'href="../words.html#{anchor("standby")}"' in html and seen == {"swap", "standby"}
    assert list(terms_in(["a screen-out", "NPT"])) == ["NPT", "screen-out"]


def test_every_explanation_is_a_sentence_or_two_and_every_anchor_is_its_own() -> None:
    assert len({anchor(term) for term in glossary()}) == len(glossary())
    assert all(means.endswith(".") and 20 < len(means) < 200 for means in glossary().values())


def test_a_chart_that_did_not_change_is_not_drawn_again_and_old_pictures_go(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def spec(high: float, **more: str) -> Sketch:
        rows = {"values": [{"a": 1.0, "b": high}]}
        axes = {name: {"field": name, "type": "quantitative"} for name in ("a", "b")}
        return Sketch.of({"data": rows, "mark": "point", "encoding": {"x": axes["a"], "y": axes["b"]}, **more})

    first = Pictures(tmp_path / "pictures")
    drawn = first.svg(spec(2.0))
    assert drawn.startswith("<svg") and "aria-" not in drawn
    assert ">1.025<" in Pictures(tmp_path / "other").svg(spec(2.0, title="1.025"))  # what is read stays whole
    path = next((tmp_path / "pictures").glob("*.svg"))
    path.write_text("kept", encoding="utf-8")
    again = Pictures(tmp_path / "pictures")
    assert again.svg(spec(2.0)) == "kept"
    other = Pictures(tmp_path / "pictures")
    assert other.svg(spec(9.0)) != drawn
    other.sweep()
    assert not path.exists() and len(list((tmp_path / "pictures").glob("*.svg"))) == 1


def test_pictures_that_a_helper_began_are_those_drawn_here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whether it has drawn them, has not come to them, or has died."""
    axes = {name: {"field": name, "type": "quantitative"} for name in ("a", "b")}
    encoding = {"x": axes["a"], "y": axes["b"]}
    specs = [
        Sketch.of({"data": {"values": [{"a": 1.0, "b": high}]}, "mark": "point", "encoding": encoding})
        for high in (2.0, 3.0, 4.0, 5.0)
    ]
    plain = Pictures(tmp_path / "here")
    plain.draw(specs)
    given: list[Future[str]] = []

    def ahead(function: Callable[[str], str], text: str) -> Future[str] | None:
        found: Future[str] = Future()
        if len(given) == 0:
            found.set_result(function(text))
        elif len(given) == 2:
            found.set_exception(BrokenExecutor("it has died"))
        given.append(found)
        return found if len(given) < 4 else None

    monkeypatch.setattr(pictures, "ahead", ahead)
    begun = Pictures(tmp_path / "there")
    begun.begin(specs)
    begun.draw(specs)
    assert given[1].cancelled() and len(given) == 4
    assert [begun.svg(spec) for spec in specs] == [plain.svg(spec) for spec in specs]


@pytest.mark.turn
def test_the_spreadsheet_has_the_rows_of_every_number_chart_and_table(measured_slice: Workspace) -> None:
    steps.run_fit(measured_slice)
    built = steps.run_report(measured_slice, beside=["xlsx"])
    book = openpyxl.load_workbook(built.path.parent / "tables.xlsx", read_only=True)
    with steps.connect(measured_slice) as connection:
        content = gather(connection, load_pages(), "field")
    drawn = [(one.rows, one.chart.given) for part in content.parts for one in part.charts]
    wanted = {" ".join([rows.query.name, *given.values()])[:31] for rows, given in drawn}
    assert wanted | {"quarter_numbers", "stages", "review_queue"} <= set(book.sheetnames)
    page = book["wells_along"]
    assert page.max_row == 1 + max(rows.frame.height for rows, _ in drawn if rows.query.name == "wells_along")
