"""Editions of the report: its quarter, its as-of day, and its masked names."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import polars as pl

from pipeline.errors import HeelwardError
from pipeline.lake import Lake
from pipeline.schemas.base import Table
from pipeline.schemas.lineage import SNAPSHOTS

MASKED = ("crews", "wells", "pads")
_QUARTER = re.compile(r"\d{4}Q[1-4]")


@dataclass(frozen=True)
class Edition:
    """Options of a report; the plain edition shows all current data with real names.

    Attributes
    ----------
    quarter : str, optional
        Such as ``2025Q2``: later data are excluded.
    as_of : date, optional
        State of the tables at the end of this day, in the workspace's time zone.
    mask : tuple of str
        Kinds of names that are replaced by aliases: crews, wells, pads.
    against : date, optional
        What changed since the end of this day is told and marked.
    """

    quarter: str | None = None
    as_of: date | None = None
    mask: tuple[str, ...] = ()
    against: date | None = None

    @property
    def name(self) -> str:
        """Name of its subfolder in the workspace's output; empty for the plain edition."""
        parts = [
            self.quarter or "", f"as_of_{self.as_of}" if self.as_of else "",
            f"against_{self.against}" if self.against else "", "masked" if self.mask else "",
        ]  # fmt: skip
        return "_".join(part for part in parts if part)

    def words(self) -> str:
        """Describe what this edition excludes or replaces; empty for the plain edition."""
        said = []
        if self.quarter:
            said.append(f"Data after {self.quarter} are not shown; comparisons and models use all jobs in the lake")
        if self.as_of:
            said.append(f"State of the tables at the end of {self.as_of}; queries and texts are current")
        if self.against:
            said.append(f"What changed since the end of {self.against} is marked")
        if self.mask:
            said.append(f"Names of {', '.join(self.mask)} are replaced by aliases; files and authors are withheld")
        return "; ".join(said)


PLAIN = Edition()
"""All current data with real names."""


def edition(
    quarter: str | None = None, as_of: str | None = None, mask: str | None = None, against: str | None = None
) -> Edition:
    """Create an edition from command-line options.

    Raises
    ------
    HeelwardError
        Gives the invalid option and the expected format.
    """
    if quarter is not None and not _QUARTER.fullmatch(quarter):
        raise HeelwardError(f"--quarter: expected a quarter such as 2025Q2, got '{quarter}'")
    day, earlier = _day("--as-of", as_of), _day("--against", against)
    if day is not None and earlier is not None and earlier >= day:
        raise HeelwardError(f"--against: expected a day before that of --as-of ({day}), got '{earlier}'")
    kinds = tuple(dict.fromkeys(part.strip() for part in (mask or "").split(",") if part.strip()))
    unknown = [kind for kind in kinds if kind not in MASKED]
    if unknown:
        raise HeelwardError(f"--mask: expected {', '.join(MASKED)}, separated by commas; got '{', '.join(unknown)}'")
    return Edition(quarter, day, kinds, earlier)


def _day(option: str, text: str | None) -> date | None:
    if text is None:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise HeelwardError(f"{option}: expected a day such as 2025-07-05, got '{text}'") from None


def snapshot_of(lake: Lake, day: date, zone: str) -> dict[str, Any]:
    """Return the last snapshot on or before a day: ``versions`` of the tables, ``code_version``, ``settings_hash``.

    Raises
    ------
    HeelwardError
        If the lake has no snapshot that old.
    """
    end = datetime.combine(day + timedelta(days=1), time(), ZoneInfo(zone)).astimezone(UTC)
    kept = lake.scan(SNAPSHOTS).sort("at").collect()
    before = kept.filter(pl.col("at") < end)
    if before.is_empty():
        first = (
            "none yet" if kept.is_empty() else f"the first is on {kept['at'][0].astimezone(ZoneInfo(zone)):%Y-%m-%d}"
        )
        raise HeelwardError(f"no data on record at the end of {day}. Snapshots of the lake: {first}")
    last = before.row(-1, named=True)
    return last | {"versions": json.loads(last["versions"])}


def versions_as_of(lake: Lake, day: date, zone: str) -> dict[str, int]:
    """Return the table versions of the last snapshot on or before a day."""
    found: dict[str, int] = snapshot_of(lake, day, zone)["versions"]
    return found


def until(quarter: str | None, table: Table, rows: pl.LazyFrame) -> pl.LazyFrame:
    """Exclude rows of later quarters from a table with a quarter; the marts exclude the others."""
    if quarter is None or "quarter" not in table.columns:
        return rows
    return rows.filter(pl.col("quarter").is_null() | (pl.col("quarter") <= quarter))
