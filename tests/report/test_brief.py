"""The sentences that open each part: from the charts themselves, few, without contradiction, and fit for a mail."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from pipeline import queries
from pipeline.metrics.tables import columns_known
from pipeline.report.brief import write_brief
from pipeline.report.content import Content, Part, gather
from pipeline.report.html import Sheet
from pipeline.report.pages import load_pages
from pipeline.report.plain_words import UNTOUCHED
from tests.builders import query_on
from tests.conftest import Fitted

SHEET = Sheet("A *team* <report>", "", {}, "2031-01-01 00:00", None)


@pytest.fixture(scope="module")
def content(fitted: Fitted) -> Content:
    return gather(queries.connect(fitted.lake, zone="UTC"), load_pages(), "field")


def test_each_part_opens_with_three_to_six_sentences_of_its_own_charts(content: Content) -> None:
    for part in content.parts:
        titles = {f"{drawn.title[:1].upper()}{drawn.title[1:]}." for drawn in part.charts}
        own = [sentence for sentence in part.brief if sentence in titles]
        assert 3 <= len(part.brief) <= 6 and len(own) >= 3, part.brief
        assert part.brief[-1].startswith("Look next: ")
        assert all(
            sentence.endswith(".") and not re.search(r"\bp 0|[a-z]_[a-z]|\bNone\b|\bnull\b", sentence)
            for sentence in part.brief
        )


def test_no_two_sentences_of_the_report_contradict_each_other(content: Content) -> None:
    """What one says rises or falls, no other calls unchanged or without a clear trend; nothing is both tested and not."""
    said = [drawn.title for part in content.parts for drawn in part.charts] + [
        s for part in content.parts for s in part.brief
    ]
    moving = {match[1].lower() for text in said if (match := re.match(r"(.+?) (?:falls|rises) by ", text))}
    still = {match[1].lower() for text in said if (match := re.match(r"(.+?): no clear trend", text))}
    assert not moving & still
    first = {match[1] for text in said if (match := re.match(r"(?i)(.+?) comes first", text))}
    assert len({name.lower() for name in first}) <= 1


@pytest.mark.parametrize(
    ("verdicts", "told"),
    [
        (["+1 h against earlier quarters: within x", "−2 USD against earlier quarters: within x"],
         "2030Q1, in brackets against earlier quarters: hours 3 h (+1 h), cost 4 USD (−2 USD); each is within x."),
        (["+1 h against earlier quarters: within x", "the first quarter on record"],
         "Hours: 3 h in 2030Q1 (+1 h against earlier quarters: within x); Cost: 4 USD in 2030Q1 (the first quarter on record)."),
    ],
)  # fmt: skip
def test_numbers_become_one_sentence(content: Content, verdicts: list[str], told: str) -> None:
    rows: list[dict[str, Any]] = [
        {"measure": measure, "quarter": "2030Q1", "value": value, "verdict": verdict}
        for measure, value, verdict in zip(("Hours", "Cost"), ("3 h", "4 USD"), verdicts, strict=True)
    ]
    assert Part(content.parts[0].page, rows, [], []).brief == [told]


def test_it_is_written_for_a_mail(content: Content, tmp_path: Path) -> None:
    evil = replace(content.parts[0], look="[click](http://x) <b>*now*</b>")
    markdown, plain = write_brief(replace(content, parts=[evil, *content.parts[1:]]), SHEET, tmp_path)
    text = markdown.read_text(encoding="utf-8")
    assert "# A \\*team\\* \\<report\\>" in text and "\\[click\\](http://x) \\<b\\>" in text and "can kill" in text
    lines = plain.read_text(encoding="utf-8").splitlines()
    assert max(map(len, lines)) <= 78 and "QUARTER" in lines and sum(line.startswith("- ") for line in lines) >= 10


def test_a_quarter_without_a_time_log_is_not_told_as_a_fall(fitted: Fitted) -> None:
    """Two pads of the last quarter, one without a log: its name is told, not a smaller number of hours."""
    lake = fitted.lake
    con = queries.connect(lake, zone="UTC")
    told = queries.run(con, queries.load("quarter_look")).frame["sentence"][0]
    assert " lost " in told and "of all lost time of" in told
    empty = query_on("quarter_look", {})["sentence"][0]
    assert empty.startswith("Nothing is measured yet")


def test_the_report_shows_no_name_of_a_column(content: Content) -> None:
    known = {name for table in columns_known().values() for name in table if "_" in name}
    tables = [*content.ledger, *(rows for part in content.parts for rows in part.tables)]
    tables += [drawn.rows for part in content.parts for drawn in part.charts]
    left = {
        (rows.query.name, column, word)
        for rows in tables
        for column, dtype in rows.frame.schema.items()
        if dtype == pl.String and column not in UNTOUCHED
        for text in rows.frame[column].drop_nulls().unique()
        for word in re.findall(r"(?<![\\w/.\\-])[a-z0-9]+(?:_[a-z0-9]+)+(?![\\w/\\-]|\\.\\w)", text)
        if word in known
    }
    assert not left
    titles = [drawn.title for part in content.parts for drawn in part.charts]
    assert not [title for title in titles if re.search(r"[a-z]_[a-z]|\\btrue\\b|\\bfalse\\b|\\dE[-+]?\\d", title)]
