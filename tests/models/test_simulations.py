"""Campaigns whose truth is known, in a short form: what is said holds as often as it should.

The whole table is printed by `python -m tests.benchmarks.simulations`.
"""

from __future__ import annotations

import pytest

from tests.benchmarks.simulations import Setting, measured, table

CAMPAIGNS = 16
SLOW = 6
"""Campaigns of the settings that take longest."""


@pytest.mark.parametrize("line", table(), ids=lambda line: f"{line.what}, {line.setting}")
def test_what_is_said_holds_as_often_as_it_should(line: Setting) -> None:
    found = measured(line, SLOW if "60 pads" in line.setting or "card" in line.what else CAMPAIGNS)
    assert found.holds(), found.row()
