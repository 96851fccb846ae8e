"""Numbers that a reader sees are written by one rule."""

from __future__ import annotations

import math
import re
import shutil
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline import queries
from pipeline.commands.review import amend, describe
from pipeline.errors import short
from pipeline.ingest.inspect import inspect_file
from pipeline.schemas.picks import PICKS
from pipeline.units import format_number, format_quantities, format_quantity, qty
from pipeline.workspace import SETTINGS_FILE, open_workspace
from tests.conftest import Fitted
from tests.test_layout import FILES


@pytest.mark.parametrize(
    ("value", "digits", "text"),
    [
        (265312.0, 4, "265,312"),
        (8412.3, 3, "8,412"),
        (20500.0, 3, "20,500"),
        (1234567.0, 3, "1,234,567"),
        (12.3456, 4, "12.35"),
        (9.8, 4, "9.8"),
        (0.00005, 3, "0.00005"),
        (-1669.0, 3, "-1,669"),
        (999.96, 4, "1,000"),
        (0.0, 4, "0"),
        (float("nan"), 4, "–"),
    ],
)
def test_numbers_are_written_by_one_rule_and_never_with_an_exponent(value: float, digits: int, text: str) -> None:
    assert format_number(value, digits) == text


@given(st.floats(-1e12, 1e12), st.integers(2, 6))
def test_a_written_number_is_the_number_to_its_digits(value: float, digits: int) -> None:
    text = format_number(value, digits)
    assert "e" not in text
    near = 0.5 * 10.0 ** (1 - digits) * abs(value) if abs(value) < 10.0 ** (digits - 1) else 0.5
    assert abs(float(text.replace(",", "")) - value) <= near * 1.001 + 1e-12


def test_nothing_in_the_product_writes_exponents() -> None:
    for path in FILES:
        if path.parts[-2] not in ("synthetic", "ingest"):  # limits in messages of ingest are powers of ten
            assert not re.search(r":[+,]*\.\d+g\}", path.read_text(encoding="utf-8")), path


@pytest.mark.parametrize(
    ("value", "unit", "plus", "field", "metric"),
    [
        (450.25, "psi", False, "450 psi", "3.1 MPa"),
        (-1669.0, "psi", True, "−1,669 psi", "−11.5 MPa"),
        (85.0, "psi", True, "+85 psi", "+0.586 MPa"),
        (12760.4, "ft", False, "12,760 ft", "3,889 m"),
        (180.0, "ft/min", False, "180 ft/min", "54.9 m/min"),
        (0.912, "psi/ft", False, "0.912 psi/ft", "20.6 kPa/m"),
        (150.0, "psi/min", False, "150 psi/min", "1.03 MPa/min"),
        (20.0, "bpm", False, "20 bpm", "3.18 m³/min"),
        (4.25, "min", False, "4.25 min", "4.25 min"),
        (0.03, "ratio", False, "0.03", "0.03"),
        (float("nan"), "psi", False, "–", "–"),
    ],
)
def test_amounts_in_sentences_follow_the_units_shown(
    value: float, unit: str, plus: bool, field: str, metric: str
) -> None:
    sentence = f"rises by {qty(value, unit, plus=plus)} at once"
    assert format_quantities(sentence) == f"rises by {field} at once"
    assert format_quantities(sentence, "metric") == f"rises by {metric} at once"
    if math.isfinite(value) and not plus:
        assert format_quantity(value, unit, "metric") == metric


@pytest.mark.parametrize("text", ["{1.2.3 psi}", "{. psi}", "{٣ psi}", "{" + "9" * 400 + " psi}", "{5 <b>x</b>}", "{}"])
def test_what_is_no_amount_of_ours_stays_as_it_is(text: str) -> None:
    assert format_quantities(text, "metric") == text


def test_braces_of_a_file_are_no_amounts() -> None:
    assert format_quantities(short("{5 psi}"), "metric") == "｛5 psi｝"


FIELD = re.compile(r"[\d] (psi|ft|bpm|bbl|lbf|lbm|ft/min|psi/ft|gal)\b")


def test_a_metric_workspace_shows_metric_units_in_findings_reasons_verdicts_and_reviews(
    fitted: Fitted, tmp_path: Path
) -> None:
    space = tmp_path / "metric"
    shutil.copytree(fitted.workspace.root, space, ignore=shutil.ignore_patterns("landing", "out"))
    settings = space / SETTINGS_FILE
    metric = settings.read_text(encoding="utf-8").replace('display_units = "field"', 'display_units = "metric"')
    settings.write_text(metric, encoding="utf-8")
    workspace = open_workspace(space)
    with queries.connect(fitted.lake, "metric") as connection:
        for sql in (
            "SELECT message FROM findings WHERE step = 'measure'", "SELECT reason FROM pick", "SELECT verdict FROM model_cards",
            "SELECT missing_because FROM stage UNION SELECT missing_because FROM plug UNION SELECT missing_because FROM coil_run",
            "SELECT note FROM planned UNION SELECT verdict FROM planned", "SELECT note FROM comparisons", "SELECT per FROM effects",
        ):  # fmt: skip
            texts = [text for (text,) in connection.sql(sql).fetchall() if text]
            assert texts
            assert not [text for text in texts if FIELD.search(text) or "{" in text], sql
    stage = fitted.lake.scan(PICKS).filter(level="stage", pick="isip").drop_nulls("value").collect().row(0, named=True)
    described = describe(workspace, stage["well_id"], "stage", stage["number"])
    assert "MPa" in described and not FIELD.search(described) and "{" not in described
    told = amend(
        workspace, stage["well_id"], "stage", stage["number"], "isip", value=5000.0, time=None, by="A", why="b", withdraw=False
    )  # fmt: skip
    assert "recorded: 5,000 psi (34.4738 MPa)" in told
    text, _ = inspect_file(workspace, next((fitted.workspace.root / "landing").rglob("*.csv")))
    assert " psi" not in text.replace("in psi", "") or "MPa" in text
