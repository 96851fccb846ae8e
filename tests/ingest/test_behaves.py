"""Columns of a strange record that do not behave as their headings say are asked."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from pipeline.errors import SetAside
from pipeline.ingest.content import content_of
from pipeline.ingest.draft import drafts
from pipeline.ingest.names import WellRegistry
from pipeline.ingest.propose import ASKED, LIKELY, SURE
from tests.ingest.strange import found_in, guess_of, pumped, record, record_of_rates


def test_rates_in_two_units_are_never_exchanged(tmp_path: Path) -> None:
    text = record(
        "Time,Treating Pressure (psi),Slurry Rate (bpm),Clean Rate (gpm),Prop Conc (ppa)",
        "2023-03-14 {t},8000,{r},3210,1.5",
    )
    draft = found_in(text, tmp_path)
    assert "Slurry Rate" in guess_of(draft, "slurry_rate_bpm") and "Clean Rate" in guess_of(draft, "clean_rate_bpm")


def test_a_clean_rate_above_the_slurry_rate_is_asked(tmp_path: Path) -> None:
    text = record(
        "Time,Treating Pressure (psi),Slurry Rate (bpm),Clean Rate (bpm),Prop Conc (ppa)",
        "2023-03-14 {t},8000,60,{r},1.5",
    )
    draft = found_in(text, tmp_path)
    assert any("is 'Slurry Rate (bpm)' the slurry rate" in question for question in draft.proposal.questions)


def test_rates_are_asked_too_where_the_unit_of_the_pressure_is_unusual(tmp_path: Path) -> None:
    """60 for psi is unusual, and 12 for bbl/min could be cubic metres."""
    text = record("Time,Treating Pressure (psi),Slurry Rate (bpm)", "2023-03-14 {t},60,12")
    asked = found_in(text, tmp_path).proposal.questions
    assert any("slurry_rate_bpm" in one and "or in m3/min?" in one for one in asked), asked


def test_a_record_without_pressure_asks_for_it(tmp_path: Path) -> None:
    text = record("Time,Slurry Rate (bpm),Prop Conc (ppa)", "2023-03-14 {t},{r},1.5")
    draft = found_in(text, tmp_path)
    assert any(question.startswith("treating_pressure_psi: no column") for question in draft.proposal.questions)


def test_a_depth_that_only_grows_is_no_total(tmp_path: Path) -> None:
    text = record("Time,CT Depth (ft),CT Weight (lbf),Pump Rate (bpm)", "2023-03-14 {t},{i},12000,2.5")
    draft = found_in(text, tmp_path, "Anna 1H run 1.csv")
    assert draft.proposal.lands == "coil"


@pytest.mark.parametrize(
    ("heading", "volume", "confidence", "per"),
    [
        ("Proppant Conc (ppa)", "slurry", SURE, None),  # the unit says it: what the rates say is another question
        ("Proppant Conc (kg/m3)", "clean", LIKELY, None),
        ("Proppant Conc (kg/m3)", "slurry", ASKED, "slurry"),
        ("Proppant Conc (lb/gal)", "", ASKED, None),
    ],
)
def test_what_a_concentration_is_per_volume_of_is_judged_by_the_rates_or_asked(
    tmp_path: Path, heading: str, volume: str, confidence: str, per: str | None
) -> None:
    """Grains of 2,650 kg/m3: 240 kg added to a cubic metre make 1.0906 of slurry; 240 kg in one leave 0.9094."""
    added = [0.0] * 100 + [120.0] * 100 + [240.0] * 300
    share = [1.0 / (1.0 + c / 2650.0) if volume == "clean" else 1.0 - c / 2650.0 for c in added]
    factor = 1.0 if "kg" in heading else 119.826427
    text = record_of_rates(heading, [c / factor for c in added], [70.0 * part if volume else 70.0 for part in share])
    draft = found_in(text, tmp_path, "Teal 1H stage 3.csv")
    guess = next(guess for guess in draft.proposal.guesses if guess.lake == "proppant_conc_ppa")
    assert guess.confidence == confidence
    assert tomllib.loads(f"a = {guess.text}")["a"].get("per") == per
    told = "per volume of clean fluid or of slurry" if volume else "the slurry rate is 0 % above the clean rate"
    asked = [question for question in draft.proposal.questions if told in question]
    assert len(asked) == (confidence == ASKED)


@pytest.mark.parametrize(
    ("headings", "levels", "lake", "heading", "unit", "question"),
    [
        (
            "Treating Pressure (psi),Slurry Rate (bpm),Annulus Pressure (psi)",
            (1010.0, 80.0, 7480.0, 1005.0, 0.0, 4800.0),
            "treating_pressure_psi", "Treating Pressure (psi)", "psi",
            "'Treating Pressure (psi)' does not change with the rate, 'Annulus Pressure (psi)' does",
        ),
        (
            "Tubing Pressure (psi),Casing Pressure (psi),Slurry Rate (bpm)", (900.0, 7480.0, 80.0, 905.0, 4800.0, 0.0),
            "treating_pressure_psi", "Casing Pressure (psi)", "psi", "'Tubing Pressure (psi)' does not change with the rate",
        ),
        (
            "Treating Pressure (psi),Slurry Rate (bpm)", (80.0, 7480.0, 0.0, 4800.0),
            "treating_pressure_psi", "Slurry Rate (bpm)", "psi", "the headings seem to be exchanged",
        ),
        (
            "Treating Pressure (kPa),Slurry Rate (bpm)", (7480.0, 80.0, 4800.0, 0.0),
            "treating_pressure_psi", "Treating Pressure (kPa)", "psi", "at most 1,089 psi at 80.3 bpm is unusual",
        ),
        (
            "Treating Pressure (psi),Slurry Rate (bpm),Prop Conc (kg/m3)", (7480.0, 80.0, 2.0, 4800.0, 0.0, 0.0),
            "proppant_conc_ppa", "Prop Conc (kg/m3)", "ppa", "the unit of 'Prop Conc (kg/m3)': ppa or kg/m3?",
        ),
    ],
)  # fmt: skip
def test_columns_that_do_not_behave_as_their_headings_say_are_asked(
    tmp_path: Path, headings: str, levels: tuple[float, ...], lake: str, heading: str, unit: str, question: str
) -> None:
    draft = found_in(pumped(headings, *levels), tmp_path, "Teal 1H stage 3.csv")
    guess = next(guess for guess in draft.proposal.guesses if guess.lake == lake)
    assert (guess.confidence, guess.heading) == (ASKED, heading)
    assert tomllib.loads(f"a = {guess.text}")["a"]["unit"] == unit
    assert any(question in asked for asked in draft.proposal.questions), draft.proposal.questions


def test_a_concentration_whose_heading_says_of_slurry_is_one(tmp_path: Path) -> None:
    text = pumped(
        "Treating Pressure (psi),Slurry Rate (bpm),Prop Conc per m3 slurry (kg/m3)",
        *(7480.0, 80.0, 240.0, 4800.0, 0.0, 0.0),
    )
    draft = found_in(text, tmp_path, "Teal 1H stage 3.csv")
    assert 'per = "slurry"' in guess_of(draft, "proppant_conc_ppa")


def test_a_record_of_a_wireline_run_is_no_coil_run(tmp_path: Path) -> None:
    rows = [f"2025-03-04 10:{i // 60:02d}:{i % 60:02d},{9000 + i},300,{900 + i % 5},12,3000" for i in range(600)]
    head = "Time,Line Depth (ft),Line Speed (ft/min),Line Tension (lbf),Pump Down Rate (bpm),Pressure (psi)"
    (tmp_path / "Teal 1H PD 3.csv").write_text("\n".join([head, *rows, ""]))
    path = tmp_path / "Teal 1H PD 3.csv"
    with pytest.raises(SetAside, match="the file is a record of a wireline run"):
        drafts(path, content_of(path), WellRegistry(), "UTC", tmp_path / "spool")
