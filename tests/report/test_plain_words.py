"""What a reader sees says our names in words; names of files, queries and wells stay as they are."""

from __future__ import annotations

import re

import polars as pl
import pytest

from pipeline import queries
from pipeline.metrics.tables import columns_known
from pipeline.report.content import gather
from pipeline.report.pages import load_pages
from pipeline.report.plain_words import UNTOUCHED, plain
from tests.conftest import Fitted


@pytest.mark.parametrize(
    ("column", "text", "told"),
    [
        ("missing_because", "isip_gradient_psi_ft: no TVD; plug_margin_psi: none", "ISIP gradient: no TVD; plug margin: none"),
        ("reason", "see set_depth_ft.", "see set depth."),
        ("note", "not in landing/tables/coil_runs.csv, coil_runs-2.csv or my_coil_runs", "not in landing/tables/coil_runs.csv, coil_runs-2.csv or my_coil_runs"),
        ("note", "Crew_7 and heron_gate_1h", "Crew_7 and heron_gate_1h"),
        ("kind", "out_of_order", "out of order"),
        ("model", "mill_minutes", "mill minutes per plug"),
        ("comparison", "coil_crews_mill_time", "coil crews mill time"),
        ("level", "crew_a", "crew_a"), ("well", "stage_length_ft", "stage_length_ft"), ("term", "design: slick_v2", "design: slick_v2"),
        ("path", "tables/set_depth_ft", "tables/set_depth_ft"),
        ("map", "set_depth_ft", "set_depth_ft"),
    ],
)  # fmt: skip
def test_names_of_ours_become_words(column: str, text: str, told: str) -> None:
    frame = pl.DataFrame({column: [text, None, "plain text"], "stage": [1, 2, 3]})
    assert plain(frame)[column].to_list() == [told, None, "plain text"]


def test_the_report_shows_no_name_of_a_column(fitted: Fitted) -> None:
    content = gather(queries.connect(fitted.lake, zone="UTC"), load_pages(), "field")
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
