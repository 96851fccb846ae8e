"""What lies beside the page: a PDF of each part with vector charts, the tables as a typed spreadsheet."""

from __future__ import annotations

import json
import re
import zipfile
from datetime import datetime
from pathlib import Path
from typing import Any

import openpyxl
import pypdfium2
import pypdfium2.raw as pdf
import pytest

from pipeline import steps
from pipeline.report.text import CAUTION
from tests.conftest import Campaign
from tests.report.test_report import hostile_workspace


def text_of(path: Path) -> str:
    return "\n".join(page.get_textpage().get_text_bounded() for page in pypdfium2.PdfDocument(path))


def words(text: str) -> str:
    return re.sub(r"[\s\u200b\u00ad-]+", "", text)


def test_each_part_has_a_pdf_with_its_results_words_and_caution(campaign: Campaign) -> None:
    paths = [path for path in campaign.report.beside if path.suffix == ".pdf"]
    assert [path.name for path in paths] == ["wells.pdf", "quarter.pdf", "crews-and-designs.pdf", "next-pad.pdf"]
    page = campaign.report.path.read_text(encoding="utf-8")
    titles = re.findall(r"<figure>\s*<h3>(.*?)</h3>", page)
    every = words("".join(text_of(path) for path in paths))
    assert len(titles) > 20
    import html

    for title in titles:
        assert words(html.unescape(title)).casefold() in every.casefold(), title  # a title begins with a capital
    for path in paths:
        assert words(CAUTION) in words(text_of(path))


def test_charts_in_a_pdf_are_drawn_not_photographed(campaign: Campaign) -> None:
    for path in campaign.report.beside:
        if path.suffix != ".pdf":
            continue
        kinds = [found.type for page in pypdfium2.PdfDocument(path) for found in page.get_objects(max_depth=8)]
        assert pdf.FPDF_PAGEOBJ_IMAGE not in kinds
        assert kinds.count(pdf.FPDF_PAGEOBJ_PATH) > 100


def sheets(path: Path) -> Any:
    return openpyxl.load_workbook(path)


def test_the_spreadsheet_is_typed_with_units_in_its_headings(campaign: Campaign) -> None:
    book = sheets(campaign.report.beside[-1])
    stages = book["stages"]
    heads = {cell.value: index for index, cell in enumerate(stages[1])}
    first = stages[2]
    assert isinstance(first[heads["ISIP [psi]"]].value, float)
    assert isinstance(first[heads["screenout"]].value, bool)
    assert isinstance(first[heads["stage"]].value, int)
    assert stages.max_row - 1 == campaign.truth.stages.height
    sources = book["sources"]
    times = {cell.value: index for index, cell in enumerate(sources[1])}
    assert isinstance(sources[2][times["landed at [UTC]"]].value, datetime)
    told = [row[0].value for row in book["read me"].iter_rows(max_row=3)]
    assert CAUTION in str(told[2])


def test_unknown_is_an_empty_cell_not_a_zero(campaign: Campaign) -> None:
    book = sheets(campaign.report.beside[-1])
    heads = [cell.value for cell in book["plugs"][1]]
    minutes = [row[heads.index("mill [min]")].value for row in book["plugs"].iter_rows(min_row=2)]
    assert None in minutes
    assert 0 not in minutes


@pytest.fixture(scope="module")
def hostile(tmp_path_factory: pytest.TempPathFactory) -> Any:
    space = hostile_workspace(tmp_path_factory.mktemp("hostile"))
    steps.run_ingest(space)
    steps.run_measure(space)
    return space, steps.run_report(space, beside=["pdf", "xlsx"])


def test_hostile_names_stay_text_in_a_spreadsheet(hostile: Any) -> None:
    _, built = hostile
    path = built.beside[-1]
    with zipfile.ZipFile(path) as book:
        for name in book.namelist():
            content = book.read(name).decode("utf-8")
            assert "<f>" not in content, name  # no formula
            assert not re.search("<hyperlinks?[ >]", content), name
            assert "\u202e" not in content
    wells = sheets(path)["stages"]
    heads = [cell.value for cell in wells[1]]
    well = wells[2][heads.index("well")]
    assert well.data_type == "s"
    assert str(well.value).startswith("<script>alert(1)</script>")


def test_hostile_names_stay_text_in_a_pdf(hostile: Any) -> None:
    _, built = hostile
    for path in built.beside[:-1]:
        raw = path.read_bytes()
        assert b"/JavaScript" not in raw and b"/Launch" not in raw and b"/URI" not in raw
        text = text_of(path)
        assert "\u202e" not in text


def test_typesetting_marks_in_names_are_read_as_text(tmp_path: Path) -> None:
    import polars as pl

    from pipeline.queries import Answer
    from pipeline.report.content import Content, Part, Rows
    from pipeline.report.html import Sheet
    from pipeline.report.pages import Page
    from pipeline.report.pdf import write_pdfs
    from pipeline.report.pictures import Pictures
    from pipeline.sql import Described, Statement

    nasty = '#read("/etc/passwd") $x$ *bold* `raw` <label> @ref \\ "quote" =cmd() ' + "w" * 200
    query = Statement("q", nasty, "analyst", "a row", (), (), (), {}, "")
    answer = Answer(query, pl.DataFrame({"well": [nasty]}), [Described("well", "", "")])
    page = Page(title="Part", reader="analyst", question=nasty, charts=[])
    part = Part(page, [], [], [Rows(answer, answer.frame, {})])
    sheet = Sheet(nasty, "", {}, "now", None)
    (path,) = write_pdfs(Content({}, [part], []), sheet, tmp_path, Pictures(tmp_path))
    assert words('#read("/etc/passwd") $x$ *bold* `raw` <label> @ref').replace('"', "") in words(text_of(path)).replace(
        "\u201c", ""
    ).replace("\u201d", "").replace('"', "")
    assert json.dumps(nasty)  # it is what it is
