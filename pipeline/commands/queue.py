"""`heelward review`: the picks most worth a person's minute, or a random sample of picks that measures the picker."""

from __future__ import annotations

import polars as pl

from pipeline import queries
from pipeline.errors import HeelwardError
from pipeline.queries import sentences_shown
from pipeline.report.typed import amend_command, in_workspace, look_command
from pipeline.schemas.picks import PICKS
from pipeline.steps import connect
from pipeline.units import format_quantity
from pipeline.workspace import Workspace

AUDITED = ("isip", "breakdown_pressure", "mill_min")
"""Picks of which a sample is drawn: those that comparisons and models rest on."""


def queue(workspace: Workspace, count: int) -> list[str]:
    """Return the first picks of the review queue with what to type, line by line.

    Parameters
    ----------
    workspace : Workspace
    count : int
        Number of picks.
    """
    rows = queries.run(connect(workspace), queries.load("review_queue")).frame.head(count)
    if rows.is_empty():
        return ["no pick waits for a review: nothing is measured, or every pick was amended or confirmed"]
    lines, typed_in = [], in_workspace(workspace.root)
    for row in rows.iter_rows(named=True):
        moved = f"moves it by {row['moves']:.0%} of its limit"
        lines += [
            f"{row['place']}. {row['well']}, {row['level']} {row['number']}, {row['pick']}: {row['value']}, confidence "
            f"{row['confidence']}",
            f"   {row['reason']}",
            f"   {row['stands_apart']:.1f} standard deviations from the mean of its kind; {moved}",
            *_typed(row, typed_in),
        ]
    return [*lines, "what counts as doubt: `heelward query review_queue`, and the data dictionary of the report"]


def _typed(row: dict[str, object], workspace: str = "") -> list[str]:
    """Return the commands that show, confirm and amend a pick."""
    well, level, number, pick = str(row["well"]), str(row["level"]), int(str(row["number"])), str(row["pick"])
    look = look_command(well, level, number, workspace)
    return [
        *([] if look is None else [f"   look:    {look}"]),
        f"   confirm: {amend_command(well, level, number, pick, '--confirm', workspace)}",
        f"   amend:   {amend_command(well, level, number, pick, '--value NUMBER', workspace)}",
    ]


def audit(workspace: Workspace, count: int, seed: int) -> list[str]:
    """Return a random sample of picks: confirmed or amended one by one, they measure the picker without selection.

    Parameters
    ----------
    workspace : Workspace
    count : int
        Number of picks.
    seed : int
        The same seed on the same picks draws the same sample.

    Raises
    ------
    HeelwardError
        If there are not that many picks.
    """
    made = queries.run_sql(connect(workspace), "SELECT * FROM pick").frame
    made = made.filter(pl.col("pick").is_in(AUDITED), pl.col("value").is_not_null())
    made = made.sort("well_id", "level", "number", "pick")
    if not 1 <= count <= made.height:
        raise HeelwardError(
            f"--audit: give a number from 1 to {made.height}, the number of picks"
            if made.height
            else "there is no pick to audit: nothing is measured"
        )
    system = workspace.settings.display_units
    drawn = sentences_shown(PICKS, made.sample(count, seed=seed, shuffle=True), system)
    lines = [f"{count} of {made.height} picks, drawn with seed {seed}: look at each, then confirm or amend it"]
    differences: dict[str, list[float]] = {}
    typed_in = in_workspace(workspace.root)
    for place, row in enumerate(drawn.iter_rows(named=True), start=1):
        done = row["amended_reason"] is not None
        value = format_quantity(row["value"], row["unit"], system, 5)
        lines.append(
            f"{place}. {row['well']}, {row['level']} {row['number']}, {row['pick']}: {value}{', done' if done else ''}"
        )
        if done and row["amended_value"] is not None:
            differences.setdefault(row["pick"], []).append(row["amended_value"] - row["value"])
        elif not done:
            lines += _typed(row, typed_in)
    finished = drawn["amended_reason"].count()
    if finished < count:
        return [*lines, f"{finished} of {count} are done; the picker's error is told when all are"]
    for pick, apart in sorted(differences.items()):
        size = format_quantity(
            sum(abs(one) for one in apart) / len(apart), drawn.filter(pick=pick)["unit"][0], system, 3
        )
        lines.append(f"{pick}: mean absolute difference of {len(apart)} picks {size}")
    return lines
