"""Commands that a reader copies into a terminal."""

from __future__ import annotations

import shlex
from pathlib import Path

SHOWN = {"stage": "--stage", "run": "--run", "wireline": "--pump-down"}
"""Option of `heelward inspect` for the page of each level."""


def look_command(well: str, level: str, number: int, workspace: str = "") -> str | None:
    """Return the command that draws the page of a record; None for a plug, which is on the page of its run.

    `workspace` is what `in_workspace` returns.
    """
    if level not in SHOWN:
        return None
    return f"heelward inspect {workspace}{SHOWN[level]} {number} --open {_named(well)}"


def amend_pattern(well: str, level: str, workspace: str = "") -> tuple[str, str]:
    """Return what stands before the option, and between it and the number, in a command that amends a pick."""
    level = "" if level == "stage" else f"--level {level} "
    return f"heelward amend {workspace}{level}--by 'YOUR NAME' --why 'REASON' ", f" {_named(well)} "


def amend_command(well: str, level: str, number: int, pick: str, option: str, workspace: str = "") -> str:
    """Return the command that amends or confirms a pick, with an option such as ``--value NUMBER``."""
    begin, named = amend_pattern(well, level, workspace)
    return f"{begin}{option}{named}{number} {pick}"


def in_workspace(folder: Path) -> str:
    """Return the option that a command typed here needs for a workspace; empty in its own folder."""
    return "" if folder.resolve() == Path.cwd() else f"-w {shlex.quote(str(folder))} "


def _named(well: str) -> str:
    said = shlex.quote(well)
    return f"-- {said}" if well.startswith("-") else said
