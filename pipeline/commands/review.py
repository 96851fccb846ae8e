"""An engineer's review: the picks of a stage, and amendments to them."""

from __future__ import annotations

import webbrowser
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import polars as pl

from pipeline.errors import HeelwardError
from pipeline.ingest.amend import Amendment, read_moment, write
from pipeline.ingest.names import WellRegistry
from pipeline.lake import Lake
from pipeline.metrics.well import impossible, planning
from pipeline.picks.catalogue import COUNTED, is_time, soft_range
from pipeline.queries import sentences_shown
from pipeline.report.audit import draw_audit, file_of
from pipeline.schemas.picks import CALLED, PICKS
from pipeline.schemas.records import COIL, TREATMENT
from pipeline.schemas.wells import WELLS
from pipeline.steps import open_lake
from pipeline.units import format_number, format_quantity, shown
from pipeline.workspace import Workspace

NEAR = timedelta(minutes=5)
"""How far outside its record an amended time may lie."""


def find_well(workspace: Workspace, name: str) -> str:
    """Return the id of a well from its name or an alias.

    Raises
    ------
    HeelwardError
        If no well has that name; lists the nearest names.
    """
    names = WellRegistry()
    names.learn(open_lake(workspace).scan(WELLS).collect())
    found = names.find(name)
    if found is None:
        near = ", ".join(names.nearest(name)) or "none"
        raise HeelwardError(f"no well has the name '{name}'; nearest known names: {near}")
    return found


def describe(workspace: Workspace, well: str, level: str, number: int, *, show: bool = False) -> str:
    """Draw the pages of a well and describe the picks of one of its records.

    Parameters
    ----------
    workspace : Workspace
    well : str
        Name or alias.
    level : str
        ``stage``, ``run`` or ``wireline``.
    number : int
    show : bool
        Whether to open the page in the browser of this machine.

    Raises
    ------
    HeelwardError
        If the well is unknown or the record has no measurements.
    """
    lake = open_lake(workspace)
    well_id = find_well(workspace, well)
    system = workspace.settings.display_units
    picks = sentences_shown(PICKS, _picks(lake, well_id, level, number), system).sort("time", "pick")
    lines = []
    for row in picks.iter_rows(named=True):
        value = "" if row["value"] is None else format_quantity(row["value"], row["unit"], system, 5)
        error = "" if row["standard_error"] is None else f" ± {_error(row, system)}"
        moment = "" if row["time"] is None else f"{row['time']:%Y-%m-%d %H:%M:%S}"
        lines.append(f"{row['pick']:20} {value + error:24} {moment:20} {row['confidence']:7} {row['reason']}")
        if row["amended_reason"] is not None:
            lines.append(f"{'':20} {_amended(row, system):45} {row['amended_reason']}")
    audit = workspace.out / "audit"
    draw_audit(lake, audit, well=well_id, system=system, planning=planning(workspace.settings))
    page = audit / well_id / file_of(level, number, "html")
    if show and page.exists():
        webbrowser.open(page.resolve().as_uri())
    said = f"page: {page}" if page.exists() else f"no page: no record holds {level} {number}"
    return "\n".join([f"{well_id}, {level} {number}; times in UTC", *lines, said])


def _picks(lake: Lake, well_id: str, level: str, number: int) -> pl.DataFrame:
    picks = lake.scan(PICKS).filter(well_id=well_id, level=level, number=number).collect()
    if picks.is_empty():
        measured = lake.scan(PICKS).filter(well_id=well_id, level=level).select("number").unique().collect()
        there = ", ".join(str(one) for one in measured["number"].sort().to_list())
        hint = (
            f"on record: {there}" if there else "none is on record; run `heelward measure` if files were landed since"
        )
        raise HeelwardError(f"{CALLED[level]} {number} of {well_id} has no measurements; {hint}")
    return picks


def _error(row: dict[str, Any], system: str) -> str:
    return format_number(row["standard_error"] * shown(row["unit"], system)[0].factor, 2)


def _amended(row: dict[str, Any], system: str) -> str:
    value = "" if row["amended_value"] is None else format_quantity(row["amended_value"], row["unit"], system, 5)
    moment = "" if row["amended_time"] is None else f" {row['amended_time']:%Y-%m-%d %H:%M:%S}"
    return f"-> {value}{moment}"


def amend(
    workspace: Workspace, well: str, level: str, number: int, pick: str, *, value: float | None, time: str | None,
    by: str, why: str, withdraw: bool, confirm: bool = False,
) -> str:  # fmt: skip
    """Record an amendment, confirm a pick as it is, or withdraw either.

    Returns
    -------
    str
        What was recorded, with the automatic pick.

    Raises
    ------
    HeelwardError
        If the pick does not exist, or no value is given.
    """
    lake = open_lake(workspace)
    well_id = find_well(workspace, well)
    picks = _picks(lake, well_id, level, number)
    known = picks["pick"].sort().to_list()
    if pick not in known:
        raise HeelwardError(f"{level} {number} has no pick '{pick}'; it has: {', '.join(known)}")
    if [withdraw, confirm, value is not None or time is not None].count(True) != 1:
        raise HeelwardError("give --value or --time (or both), or only --confirm, or only --withdraw")
    wells = lake.scan(WELLS).filter(pl.col("well_id") == well_id).collect()
    zone = (wells["time_zone"][0] if wells.height else None) or workspace.settings.time_zone
    moment = read_moment(time, zone) if time is not None else None
    row = picks.filter(pl.col("pick") == pick).row(0, named=True)
    if confirm:
        value = row["value"]
        moment = row["time"] if value is None else None  # its time stays as it is
        if value is None and moment is None:
            raise HeelwardError(f"{level} {number} has no {pick} to confirm: {row['reason']}; give --value or --time")
    if time is not None and value is None and pick in COUNTED:
        raise HeelwardError(f"{pick} is a number: give --value. Nothing was written")
    if value is not None and is_time(pick):
        raise HeelwardError(f"{pick} is a moment: give --time. Nothing was written")
    if (refused := impossible(pick, value)) is not None:
        raise HeelwardError(f"--value: {refused}. Nothing was written")
    if time is not None and moment is not None:
        _refuse_outside(moment, zone, *_span(lake, well_id, level, number))
    amendment = Amendment(well_id, level, number, pick, value, moment, by, why, withdraw)
    write(workspace.root, amendment, workspace.settings.wait_s)
    automatic = "nothing" if row["value"] is None else _both(row["value"], row["unit"], workspace)
    if row["time"] is not None:
        automatic += f" at {row['time']:%Y-%m-%d %H:%M:%S} UTC"
    what = f"{well_id}, {level} {number}, {pick}"
    now = "withdrawn" if withdraw else "confirmed" if confirm else "recorded"
    if value is not None:
        now += f": {_both(value, row['unit'], workspace)}"
    if time is not None and moment is not None:
        now += f": {_clocks(moment, zone)}"
    if value is not None:
        low, high = soft_range(pick)
        if not low <= value <= high:
            usual = f"{low:g} to {high:g} {row['unit']}".strip()
            now += f" (warning: outside the usual {usual}; withdraw it if it is a mistake)"
    return f"{what} {now}; automatic pick: {automatic}. Run `heelward refresh`."


def _both(value: float, unit: str, workspace: Workspace) -> str:
    """Return an amount in the unit of its pick, as in `--value`, and in the display unit if that is different."""
    stored, also = (format_quantity(value, unit, system, 6) for system in ("field", workspace.settings.display_units))
    return stored if also == stored else f"{stored} ({also})"


def _clocks(moment: datetime, zone: str) -> str:
    """Return a moment in UTC and on the clock of the pad."""
    return f"{moment:%Y-%m-%d %H:%M:%S} UTC ({moment.astimezone(ZoneInfo(zone)):%Y-%m-%d %H:%M:%S} in {zone})"


def _span(lake: Lake, well_id: str, level: str, number: int) -> tuple[datetime | None, datetime | None]:
    """Return the first and the last sample of the record that a pick is taken from."""
    if level in ("stage", "wireline"):  # a pump-down is in the record of the stage before
        rows = lake.scan(TREATMENT).filter(well_id=well_id, stage=number if level == "stage" else number - 1)
    else:
        rows = lake.scan(COIL).filter(well_id=well_id)
        rows = rows.filter(run=number) if level == "run" else rows
    first, last = rows.select(pl.col("time").min().alias("first"), pl.col("time").max().alias("last")).collect().row(0)
    return first, last


def _refuse_outside(moment: datetime, zone: str, first: datetime | None, last: datetime | None) -> None:
    """Reject a time outside the record."""
    if first is not None and last is not None and not first - NEAR <= moment <= last + NEAR:
        raise HeelwardError(
            f"--time: {_clocks(moment, zone)} is outside the record, which is from {first:%Y-%m-%d %H:%M:%S} to "
            f"{last:%Y-%m-%d %H:%M:%S} UTC. Nothing was written\n"
            "fix: a time without an offset is on the pad's clock; write +00:00 after a time in UTC"
        )
