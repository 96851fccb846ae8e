"""Audit pages: no peak is lost, every pick is named, every stage is reached, and drawing is quick and small."""

from __future__ import annotations

import re
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import polars as pl
import pytest

from pipeline import parallel, steps
from pipeline.report import audit
from pipeline.report.audit import begin_audit, draw_audit
from pipeline.report.record_svg import BOTTOM, STAGE, TOP, _nice, _power, min_max_path, record_svg
from pipeline.schemas.picks import PICKS
from pipeline.workspace import Workspace
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
    runs = campaign.truth.runs.select("well_id", "run").rows()
    assert all((audit / well / f"run-{run}.svg").exists() for well, run in runs)
    sizes = [path.stat().st_size for path in audit.rglob("*.svg")]
    assert len(sizes) == len(stages) + len(runs)
    assert np.median(sizes) < 40_000
    report = campaign.report.path.read_text(encoding="utf-8")
    for well, stage in stages:
        assert f'href="audit/{well}/{stage}.html"' in report
        assert f'href="{stage}.html"' in (audit / well / "index.html").read_text(encoding="utf-8")


def test_stage_numbers_of_findings_lead_to_their_pages_too(campaign: Campaign) -> None:
    text = campaign.report.path.read_text(encoding="utf-8")
    ledger = text[text.index('id="findings"') :]
    ledger = ledger[: ledger.index("</details>")]
    assert 'href="audit/cinder-knoll-1h/5.html">5</a>' in ledger  # the leaking plug's finding


def test_picks_are_marked_and_named(campaign: Campaign) -> None:
    text = (campaign.workspace.out / "audit" / "saltgrass-2h" / "3.svg").read_text(encoding="utf-8")
    ElementTree.fromstring(text)
    for name in ("injection start", "ball seat", "breakdown pressure", "ISIP", "shut-in", "first proppant"):
        assert name in text


def test_a_plug_leads_to_its_run_where_its_tag_is_marked_at_its_depth(campaign: Campaign) -> None:
    plug = campaign.truth.plugs.drop_nulls("mill_min").row(0, named=True)
    record = f"audit/{plug['well_id']}/run-{plug['run']}"
    report = campaign.report.path.read_text(encoding="utf-8")
    assert f'href="{record}.html">{plug["plug"]}</a>' in report
    text = (campaign.workspace.out / f"{record}.svg").read_text(encoding="utf-8")
    ElementTree.fromstring(text)
    assert re.search(rf"plug {plug['plug']} [\d,]+ ft", text)
    assert "depth [ft]" in text and "circulating pressure [psi]" in text


def test_a_record_is_drawn_in_the_units_shown() -> None:
    time = [datetime(2025, 1, 1, tzinfo=UTC) + timedelta(seconds=i) for i in range(50)]
    frame = pl.DataFrame(
        {
            "time": time, "treating_pressure_psi": [7100.0] * 50, "slurry_rate_bpm": [88.0] * 50,
            "proppant_conc_ppa": [2.0] * 50,
        }
    )  # fmt: skip
    pick = {
        "well_id": "a", "level": "stage", "number": 1, "pick": "isip", "value": 4351.132, "unit": "psi", "time": time[30],
        "standard_error": 1.0, "method": "m", "version": 1, "confidence": "high", "reason": "r", "fingerprint": "f",
    }  # fmt: skip
    picks = pl.DataFrame([pick], schema=PICKS.dtypes)
    field, metric = (record_svg("t", frame, picks, STAGE, system) for system in ("field", "metric"))
    assert "pressure [psi]" in field and "slurry rate [bpm]" in field and "proppant [ppa x 10]" in field
    assert "ISIP 4,351 psi" in field
    assert "pressure [MPa]" in metric and "slurry rate [m³/min]" in metric and "ISIP 30 MPa" in metric
    assert "proppant [kg/m³ x 0.01]" in metric
    # the mark stands at 30 of 50 MPa
    heights = [int(mark) for mark in re.findall(r'cy="(\d+)"', metric)]
    assert heights == [round(BOTTOM - 0.6 * (BOTTOM - TOP))]


@pytest.mark.parametrize(
    ("value", "top"), [(9_270.0, 10_000.0), (10_001.0, 12_500.0), (88.0, 100.0), (0.7, 0.75), (1.0, 1.0)]
)
def test_axes_end_at_a_round_value_that_holds_the_highest(value: float, top: float) -> None:
    assert _nice(value) == pytest.approx(top)
    assert value * 10.0 ** _power(value, top) <= top


def test_pages_are_drawn_again_only_when_picks_change(campaign: Campaign) -> None:
    again = draw_audit(campaign.lake, campaign.workspace.out / "audit")
    assert again.drawn == []
    assert again.unchanged == len(campaign.truth.wells)


def test_a_kept_helper_draws_the_pages_of_a_few_wells(
    measured_slice: Workspace, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(parallel, "_cores", lambda: 2)
    lake = steps.open_lake(measured_slice)
    draw_audit(lake, tmp_path / "here")
    with parallel.kept_helpers(lambda: None):
        parallel.call_helpers()
        draw, until = begin_audit(lake, tmp_path / "there"), time.monotonic() + 60.0
        while not (tmp_path / "there").exists() and time.monotonic() < until:
            time.sleep(0.05)
        monkeypatch.setattr(audit, "_draw_few", None)  # this process does not draw
        assert draw().drawn
    here, there = (
        {path.relative_to(folder): path.read_bytes() for path in folder.rglob("*") if path.is_file()}
        for folder in (tmp_path / "here", tmp_path / "there")
    )
    assert here and here == there


def test_a_hostile_title_is_inert() -> None:
    time = [datetime(2025, 1, 1, tzinfo=UTC) + timedelta(seconds=i) for i in range(50)]
    frame = pl.DataFrame(
        {
            "time": time,
            "treating_pressure_psi": [1.0] * 50,
            "slurry_rate_bpm": [2.0] * 50,
            "proppant_conc_ppa": [None] * 50,
        },
        schema_overrides={"proppant_conc_ppa": pl.Float64},
    )
    text = record_svg('<script>alert(1)</script>"onload="x', frame, PICKS.empty(), STAGE)
    assert "<script>" not in text
    root = ElementTree.fromstring(text)
    assert "onload" not in root.attrib
