"""Numbers that a reader sees are written by one rule."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.units import format_number
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
