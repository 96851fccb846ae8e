"""All picks by name, with the valid range of each."""

from __future__ import annotations

from pipeline.picks import coil_states, coil_stops, stage, toe
from pipeline.picks.types import Method

METHODS: dict[str, Method] = {
    method.name: method for method in (*stage.METHODS, *coil_stops.METHODS, *coil_states.METHODS, *toe.METHODS)
}
_BY_UNIT = {
    "psi": (0.0, 20_000.0), "s": (0.0, 3_600.0), "ft": (0.0, 40_000.0), "min": (0.0, 10_000.0), "ratio": (0.0, 1.0),
    "psi/bpm**2": (0.0, 1_000.0), "psi/bpm**0.5": (0.0, 10_000.0), "": (0.0, 1_000.0),
}  # fmt: skip
_BY_NAME = {"zero_offset": (-250.0, 250.0)}
"""Lowest valid pressure, because a gauge with a zero offset can read below zero."""


def hard_range(pick: str) -> tuple[float, float]:
    """Return the valid range of a pick, in its unit; amendments outside it are refused.

    Raises
    ------
    KeyError
        If the pick does not exist.
    """
    return _BY_NAME.get(pick) or _BY_UNIT[METHODS[pick].unit]
