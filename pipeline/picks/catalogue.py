"""All picks by name, with what each may be."""

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
"""A gauge that reads less than nothing at rest is off by that much."""


def hard_range(pick: str) -> tuple[float, float]:
    """Return the values that a pick can have, in its unit; no engineer's word goes beyond them.

    Raises
    ------
    KeyError
        If there is no such pick.
    """
    return _BY_NAME.get(pick) or _BY_UNIT[METHODS[pick].unit]
