"""All picks by name, with the valid range of each."""

from __future__ import annotations

from pipeline.picks import coil_plugs, coil_states, pump_down, stage, toe
from pipeline.picks.types import Method

METHODS: dict[str, Method] = {
    method.name: method for part in (stage, pump_down, coil_plugs, coil_states, toe) for method in part.METHODS
}
_BY_UNIT = {
    "psi": (0.0, 20_000.0), "s": (0.0, 3_600.0), "ft": (0.0, 40_000.0), "min": (0.0, 10_000.0), "ratio": (0.0, 1.0),
    "psi/bpm**2": (0.0, 1_000.0), "psi/bpm**0.5": (0.0, 10_000.0), "": (0.0, 1_000.0),
}  # fmt: skip
_SOFT = {"psi": (0.0, 12_500.0), "ft": (0.0, 30_000.0), "s": (0.0, 120.0), "min": (0.0, 120.0)}
_BY_NAME = {"zero_offset": (-250.0, 250.0)}
"""Lowest valid pressure, because a gauge with a zero offset can read below zero."""


COUNTED = ("screenout", "pressure_out", "proppant_steps", "sweeps", "stalls", "wiper_trips", "stations")
"""Picks that are a number without a unit."""


def is_time(pick: str) -> bool:
    """Whether a pick is a moment: it has a time and no value."""
    return not METHODS[pick].unit and pick not in COUNTED


def hard_range(pick: str) -> tuple[float, float]:
    """Return the valid range of a pick, in its unit; amendments outside it are refused.

    Raises
    ------
    KeyError
        If the pick does not exist.
    """
    return _BY_NAME.get(pick) or _BY_UNIT[METHODS[pick].unit]


def soft_range(pick: str) -> tuple[float, float]:
    """Return the usual range of a pick, in its unit; an amendment outside it is recorded with a warning."""
    return _BY_NAME.get(pick) or _SOFT.get(METHODS[pick].unit) or hard_range(pick)
