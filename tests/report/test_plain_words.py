"""What a reader sees says our names in words; names of files, queries and wells stay as they are."""

from __future__ import annotations

import polars as pl
import pytest

from pipeline.report.plain_words import plain


@pytest.mark.parametrize(
    ("column", "text", "told"),
    [
        ("missing_because", "isip_gradient_psi_ft: no TVD; plug_margin_psi: none", "ISIP gradient: no TVD; plug margin: none"),
        ("reason", "see set_depth_ft.", "see set depth."),
        ("note", "not in landing/tables/coil_runs.csv, coil_runs-2.csv or my_coil_runs", "not in landing/tables/coil_runs.csv, coil_runs-2.csv or my_coil_runs"),
        ("note", "Crew_7 and heron_gate_1h", "Crew_7 and heron_gate_1h"),
        ("kind", "out_of_order", "out of order"),
        ("model", "mill_minutes", "mill minutes per plug"),
        ("comparison", "coil_crews_mill_time", "mill time, coil crews"),
        ("level", "crew_a", "crew_a"), ("well", "stage_length_ft", "stage_length_ft"), ("term", "design: slick_v2", "design: slick_v2"),
        ("path", "tables/set_depth_ft", "tables/set_depth_ft"),
        ("map", "set_depth_ft", "set_depth_ft"),
    ],
)  # fmt: skip
def test_names_of_ours_become_words(column: str, text: str, told: str) -> None:
    frame = pl.DataFrame({column: [text, None, "plain text"], "stage": [1, 2, 3]})
    assert plain(frame)[column].to_list() == [told, None, "plain text"]
