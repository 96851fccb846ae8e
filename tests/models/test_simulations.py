"""Campaigns whose truth is known, in a short form: what is said holds as often as it should.

The whole table is printed by `python -m tests.benchmarks.simulations`.
"""

from __future__ import annotations

import pytest

from tests.benchmarks.simulations import Setting, measured, table

CAMPAIGNS = 16
MANY = 100
SLOW = {"card better than the mean, nothing planted, 8 pads", "card better than the mean, nothing planted, 20 pads"}


def named(line: Setting) -> str:
    return f"{line.what}, {line.setting}"


@pytest.mark.parametrize("line", [line for line in table() if named(line) not in SLOW], ids=named)
def test_what_is_said_holds_as_often_as_it_should(line: Setting) -> None:
    found = measured(line, CAMPAIGNS // 2 if "60 pads" in line.setting or "card" in line.what else CAMPAIGNS)
    assert found.holds(), found.row()


@pytest.mark.long
@pytest.mark.parametrize("line", table(), ids=named)
def test_it_holds_on_many_campaigns(line: Setting) -> None:
    found = measured(line, MANY, seed=1)
    assert found.holds(), found.row()
