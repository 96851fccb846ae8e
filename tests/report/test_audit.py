"""Audit pages: no peak is lost, every pick is named, every stage is reached, and drawing is quick and small."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from xml.etree import ElementTree

import numpy as np
import polars as pl

from pipeline.report.audit import BOTTOM, TOP, draw_audit, min_max_path, stage_svg
from pipeline.schemas import PICKS
from tests.conftest import Campaign


def test_downsampling_keeps_every_peak() -> None:
    rng = np.random.default_rng(1)
    y = rng.uniform(0.2, 0.4, 20_000)
    y[12_345], y[777] = 0.99, 0.01
    path = min_max_path(np.linspace(0.0, 1.0, y.size), y)
    heights = [int(number) for number in re.findall(r"[V ](\d+)", path)]
    assert min(heights) == round(BOTTOM - 0.99 * (BOTTOM - TOP))
    assert max(heights) == round(BOTTOM - 0.01 * (BOTTOM - TOP))
    assert len(path) < 12_000


def test_void_and_empty_channels_draw_nothing() -> None:
    assert min_max_path(np.array([0.0, 1.0]), np.array([np.nan, np.nan])) == ""


def test_every_stage_has_its_page_and_every_well_its_overview(campaign: Campaign) -> None:
    audit = campaign.workspace.out / "audit"
    stages = campaign.truth.stages.select("well_id", "stage").rows()
    assert all((audit / well / f"{stage}.svg").exists() for well, stage in stages)
    sizes = [path.stat().st_size for path in audit.rglob("*.svg")]
    assert len(sizes) == len(stages)
    assert np.median(sizes) < 40_000
    report = campaign.refreshed.report.path.read_text(encoding="utf-8")
    for well, stage in stages:
        assert f'href="audit/{well}/{stage}.svg"' in report
        assert f'href="{stage}.svg"' in (audit / well / "index.html").read_text(encoding="utf-8")


def test_stage_numbers_of_findings_lead_to_their_pages_too(campaign: Campaign) -> None:
    text = campaign.refreshed.report.path.read_text(encoding="utf-8")
    ledger = text[text.index('id="findings"') :]
    ledger = ledger[: ledger.index("</details>")]
    assert 'href="audit/cinder-knoll-1h/5.svg">5</a>' in ledger  # the leaking plug's finding


def test_picks_are_marked_and_named(campaign: Campaign) -> None:
    text = (campaign.workspace.out / "audit" / "saltgrass-2h" / "3.svg").read_text(encoding="utf-8")
    ElementTree.fromstring(text)
    for name in ("injection start", "ball seat", "breakdown pressure", "isip", "shut in", "first proppant"):
        assert name in text


def test_pages_are_drawn_again_only_when_picks_change(campaign: Campaign) -> None:
    again = draw_audit(campaign.lake, campaign.workspace.out / "audit", "caution")
    assert again.drawn == []
    assert again.unchanged == len(campaign.truth.wells)


def test_a_hostile_title_is_inert() -> None:
    time = [datetime(2031, 1, 1, tzinfo=UTC) + timedelta(seconds=i) for i in range(50)]
    frame = pl.DataFrame(
        {
            "time": time,
            "treating_pressure_psi": [1.0] * 50,
            "slurry_rate_bpm": [2.0] * 50,
            "proppant_conc_ppa": [None] * 50,
        },
        schema_overrides={"proppant_conc_ppa": pl.Float64},
    )
    text = stage_svg('<script>alert(1)</script>"onload="x', frame, PICKS.empty())
    assert "<script>" not in text
    root = ElementTree.fromstring(text)
    assert "onload" not in root.attrib
