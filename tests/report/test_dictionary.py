"""The data dictionary names every column with its meaning, and what it says agrees with the schemas."""

from __future__ import annotations

from pathlib import Path

from pipeline.metrics.tables import TABLES, columns_known
from pipeline.report.dictionary import as_markdown, dictionary, write_dictionary


def test_every_column_has_a_meaning_and_the_marts_tell_who_uses_them() -> None:
    sections = {(section.kind, section.name): section for section in dictionary()}
    for name, table in TABLES.items():
        entries = {entry.column: entry for entry in sections["table", name].entries}
        assert set(entries) == set(table.columns)
        assert all(entry.meaning for entry in entries.values())
    isip = next(entry for entry in sections["table", "stage_metrics"].entries if entry.column == "isip_psi")
    assert isip.unit == "psi"
    swap = next(entry for entry in sections["mart", "stage"].entries if entry.column == "swap_min")
    assert swap.unit == "min" and "swaps" in swap.used_by
    assert swap.meaning == columns_known()["stage"]["swap_min"].meaning
    gradient = next(
        entry for entry in sections["table", "stage_metrics"].entries if entry.column == "isip_gradient_psi_ft"
    )
    assert gradient.source == "definition"
    assert ("query", "pad_pace") in sections
    assert ("query", "pad_pace_title") not in sections


def test_page_and_markdown_hold_the_same_columns(tmp_path: Path) -> None:
    page, plain = write_dictionary(tmp_path)
    text, html = plain.read_text(encoding="utf-8"), page.read_text(encoding="utf-8")
    assert text == as_markdown()
    assert "## stage (mart)" in text
    for word in ("swap_min", "pressure_at_design_rate_psi", "mill_error_min"):
        assert f"| {word} |" in text and f"<td>{word}</td>" in html
    assert "<script" not in html
