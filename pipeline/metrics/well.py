"""One well during measuring: all inputs of its rows, and the rows."""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

import numpy as np
import polars as pl

from pipeline.errors import short
from pipeline.picks.catalogue import METHODS, hard_range
from pipeline.picks.types import BY_ENGINEER, Array, Pick
from pipeline.units import as_typed
from pipeline.workspace import Settings

Rows = list[dict[str, Any]]


@dataclass(frozen=True)
class Planning:
    """Values that a team plans with, from the settings.

    Attributes
    ----------
    main_rate_bpm : float, optional
        Rate from which pumping is the main treatment, where the stages table states none. [bbl/min]
    debris_velocity_ft_min : float
        Annular velocity in the lateral that wiper trips are planned with. [ft/min]
    """

    main_rate_bpm: float | None = None
    debris_velocity_ft_min: float = 180.0


PLANNING = Planning()
"""Of a team whose settings state nothing."""


def planning(settings: Settings) -> Planning:
    """Return the values that the team plans with."""
    return Planning(settings.main_rate_bpm, settings.debris_velocity_ft_min)


@dataclass
class WellInput:
    """All inputs of one well's rows."""

    well_id: str
    fingerprint: str
    tables: dict[str, Rows]
    treatment: pl.DataFrame
    coil: pl.DataFrame
    planning: Planning = PLANNING


@dataclass
class WellRows:
    """Result of measuring one well."""

    stages: Rows = field(default_factory=list)
    plugs: Rows = field(default_factory=list)
    runs: Rows = field(default_factory=list)
    toes: Rows = field(default_factory=list)
    wireline: Rows = field(default_factory=list)
    picks: Rows = field(default_factory=list)
    findings: Rows = field(default_factory=list)


def amended(well: WellInput, level: str, number: int, origin: datetime) -> dict[str, Pick]:
    """Return the picks set by engineers in the form the pick functions take; the latest amendment of each counts."""
    found: dict[str, Pick] = {}
    said = [row for row in well.tables["amendments"] if (row["level"], row["number"]) == (level, number)]
    rows = [row for row in said if refusal(row) is None]
    for row in sorted(rows, key=lambda row: row["at"]):
        if row["withdrawn"]:
            found.pop(row["pick"], None)
            continue
        moment = None if row["time"] is None else (row["time"] - origin).total_seconds()
        told = "amended by an engineer"
        found[row["pick"]] = Pick(
            row["pick"], row["value"], "", moment, told, BY_ENGINEER, "amended", told,
            engineer=f"{row['by']}: {row['why']}",
        )  # fmt: skip
    return found


def refusal(row: Mapping[str, Any]) -> str | None:
    """Return the reason why an amendment is not valid, whatever its source; None if it is valid."""
    if row["withdrawn"]:
        return None
    if row["pick"] not in METHODS:
        return f"unknown pick '{short(str(row['pick']))}'"
    if row["value"] is None and row["time"] is None:
        return "it sets neither a value nor a time"
    return impossible(row["pick"], row["value"])


def impossible(pick: str, value: float | None) -> str | None:
    """Return why a pick cannot have a value; None if it can."""
    low, high = hard_range(pick)
    if value is None or low <= value <= high:  # NaN is in no range
        return None
    return f"{pick} must be within {f'{low:g} to {high:g} {METHODS[pick].unit}'.rstrip()}, got {as_typed(value)}"


def amendment_findings(well: WellInput) -> Rows:
    """Return a finding for each amendment that is not valid."""
    return [
        {
            "step": "measure", "well_id": well.well_id, "level": row["level"], "number": row["number"],
            "kind": "amendment_ignored",
            "message": f"the amendment of {short(row['pick'])} by {short(row['by'])} is not valid: {why}",
        }
        for row in well.tables["amendments"]
        if (why := refusal(row)) is not None
    ]  # fmt: skip


@dataclass(frozen=True)
class Samples:
    """The samples of one stage or run in time order: start time, elapsed seconds, channels with NaN if void."""

    number: int
    origin: datetime
    time_s: Array
    channels: dict[str, Array]

    def channel(self, name: str) -> Array | None:
        """Return a channel; None if there is none, or all of its samples are void."""
        values = self.channels.get(name)
        if values is None or not values.size:
            return None
        return None if np.isnan(values[0]) and np.isnan(values).all() else values


def parts(frame: pl.DataFrame, key: str) -> list[Samples]:
    """Split a well's samples into stages or runs, each in time order.

    Columns are converted to arrays once per well and then split, because slicing a frame is slow.
    """
    if frame.is_empty():
        return []
    number, moment = frame[key].to_numpy(), frame["time"].to_physical().to_numpy()
    step = np.diff(number)
    if (step < 0).any() or (np.diff(moment)[step == 0] < 0).any():  # several files, appended one after the other
        return parts(frame.sort(key, "time"), key)
    edges = [0, *(np.flatnonzero(step) + 1).tolist(), frame.height]
    names = [name for name in frame.columns if name not in (key, "time")]
    void = np.full(frame.height, np.nan)
    values = {
        name: void if frame[name].null_count() == frame.height else frame[name].cast(pl.Float64).to_numpy()
        for name in names
    }
    return [
        Samples(
            int(number[a]), frame["time"][a], (moment[a:b] - moment[a]) / 1e6,
            {name: column[a:b] for name, column in values.items()},
        )
        for a, b in itertools.pairwise(edges)
    ]  # fmt: skip


def sections(strings: Rows, string: str) -> Rows:
    """Return the rows of a well's casing or coil, from the top down."""
    return sorted((row for row in strings if row["string"] == string), key=lambda row: row["top_md_ft"] or 0.0)


def casing(strings: Rows) -> Rows:
    """Return the casing rows of a well's `strings`, from the top down."""
    return sections(strings, "casing")


def sections_above(strings: Rows, depth_ft: float) -> list[tuple[dict[str, Any], float]]:
    """Return the casing rows of a well with the length of each above a depth; 0 or less for those below it. [ft]"""
    found = []
    for row in casing(strings):
        bottom = depth_ft if row["bottom_md_ft"] is None else min(row["bottom_md_ft"], depth_ft)
        found.append((row, bottom - (row["top_md_ft"] or 0.0)))
    return found


def pick_row(
    well: WellInput, level: str, number: int, pick: Pick, origin: datetime, effective: Pick | None = None
) -> dict[str, Any]:
    """Return the row of an automatic pick, with the amendment that replaces it, if any."""

    def at(seconds: float | None) -> datetime | None:
        return None if seconds is None else origin + timedelta(seconds=seconds)

    other = effective if effective is not None and effective.by_engineer else None
    done = "confirmed" if other is not None and other.confidence == "confirmed" else "amended"
    return {
        "well_id": well.well_id, "level": level, "number": number, "pick": pick.name, "value": pick.value,
        "unit": pick.unit, "time": at(pick.time_s), "standard_error": pick.standard_error, "method": pick.method,
        "version": pick.version, "confidence": pick.confidence, "reason": pick.reason,
        "amended_value": other.value if other else None, "amended_time": at(other.time_s) if other else None,
        "amended_reason": f"{done} by {other.engineer}" if other else None, "fingerprint": well.fingerprint,
    }  # fmt: skip


def settle(well: WellInput, rows: WellRows, level: str, number: int, origin: datetime, *picks: Pick) -> list[Pick]:
    """Apply the amendments of a level and number to its picks, add the picks' rows, and return them as effective."""
    given = amended(well, level, number, origin)
    effective = [pick.as_amended(given) for pick in picks]
    for pick, counts in zip(picks, effective, strict=True):
        rows.picks.append(pick_row(well, level, number, pick, origin, counts))
    return effective
