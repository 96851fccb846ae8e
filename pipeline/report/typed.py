"""Commands that a reader copies into a terminal."""

from __future__ import annotations

import shlex

SHOWN = {"stage": "--stage", "run": "--run", "wireline": "--pump-down"}
"""Option of `heelward inspect` for the page of each level."""


def look_command(well: str, level: str, number: int) -> str | None:
    """Return the command that draws the page of a record; None for a plug, which is on the page of its run."""
    if level not in SHOWN:
        return None
    return f"heelward inspect {SHOWN[level]} {number} --open {_named(well)}"


def amend_command(well: str, level: str, number: int, pick: str, options: str) -> str:
    """Return the command that amends or confirms a pick, with options such as ``--value NUMBER``."""
    level = "" if level == "stage" else f" --level {level}"
    return f"heelward amend{level} --by 'YOUR NAME' --why 'REASON' {options} {_named(well, number)} {pick}"


def _named(well: str, number: int | None = None) -> str:
    said = shlex.quote(well) + ("" if number is None else f" {number}")
    return f"-- {said}" if well.startswith("-") else said
