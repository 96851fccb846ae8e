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


def amend_pattern(well: str, level: str) -> tuple[str, str]:
    """Return what stands before the option, and between it and the number, in a command that amends a pick."""
    level = "" if level == "stage" else f" --level {level}"
    return f"heelward amend{level} --by 'YOUR NAME' --why 'REASON' ", f" {_named(well)} "


def amend_command(well: str, level: str, number: int, pick: str, option: str) -> str:
    """Return the command that amends or confirms a pick, with an option such as ``--value NUMBER``."""
    begin, named = amend_pattern(well, level)
    return f"{begin}{option}{named}{number} {pick}"


def _named(well: str) -> str:
    said = shlex.quote(well)
    return f"-- {said}" if well.startswith("-") else said
