"""Which report: of which quarter, as of which day, with which names replaced."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
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
    """What a report is asked to be; the plain one shows everything of today under its own names.

    Attributes
    ----------
    quarter : str, optional
        Such as ``2025Q2``: nothing later is shown.
    as_of : date, optional
        Tables as they were at the end of this day, on the workspace's clock.
    mask : tuple of str
        Kinds of names that are replaced by aliases: crews, wells, pads.
    """

    quarter: str | None = None
    as_of: date | None = None
    mask: tuple[str, ...] = ()

    @property
    def name(self) -> str:
        """Name of its folder below the workspace's output; empty for the plain edition."""
        parts = [self.quarter or "", f"as_of_{self.as_of}" if self.as_of else "", "masked" if self.mask else ""]
        return "_".join(part for part in parts if part)

    def words(self) -> str:
        """Say what this edition leaves out or replaces; empty for the plain one."""
        said = []
        if self.quarter:
            said.append(f"Nothing after {self.quarter} is shown; comparisons and models are of all jobs in the lake")
        if self.as_of:
            said.append(f"Tables as they were at the end of {self.as_of}; queries and words are today's")
        if self.mask:
            said.append(f"Names of {', '.join(self.mask)} are replaced by aliases, files and authors withheld")
        return "; ".join(said)


PLAIN = Edition()
"""Everything of today under its own names."""


def edition(quarter: str | None = None, as_of: str | None = None, mask: str | None = None) -> Edition:
    """Read an edition from the words of a command.

    Raises
    ------
    HeelwardError
        Says which word is wrong and how it is written.
    """
    if quarter is not None and not _QUARTER.fullmatch(quarter):
        raise HeelwardError(f"--quarter takes a quarter such as 2025Q2, got '{quarter}'")
    day = None
    if as_of is not None:
        try:
            day = date.fromisoformat(as_of)
        except ValueError:
            raise HeelwardError(f"--as-of takes a day such as 2025-07-05, got '{as_of}'") from None
    kinds = tuple(dict.fromkeys(part.strip() for part in (mask or "").split(",") if part.strip()))
    unknown = [kind for kind in kinds if kind not in MASKED]
    if unknown:
        raise HeelwardError(f"--mask takes {', '.join(MASKED)}, separated by commas; got '{', '.join(unknown)}'")
    return Edition(quarter, day, kinds)


def versions_as_of(lake: Lake, day: date, zone: str) -> dict[str, int]:
    """Return the table versions of the last snapshot of a day or before.

    Raises
    ------
    HeelwardError
        If the lake has no snapshot that old.
    """
    end = datetime.combine(day + timedelta(days=1), time(), ZoneInfo(zone)).astimezone(UTC)
    kept = lake.scan(SNAPSHOTS).select("at", "versions").sort("at").collect()
    before = kept.filter(pl.col("at") < end)
    if before.is_empty():
        first = (
            "none yet" if kept.is_empty() else f"the first is of {kept['at'][0].astimezone(ZoneInfo(zone)):%Y-%m-%d}"
        )
        raise HeelwardError(f"nothing was on record by the end of {day}: of the lake's snapshots {first}")
    found: dict[str, int] = json.loads(before["versions"][-1])
    return found


def until(quarter: str | None, table: Table, rows: pl.LazyFrame) -> pl.LazyFrame:
    """Leave out the rows of a table that are of a later quarter; the marts leave out the others."""
    if quarter is None or "quarter" not in table.columns:
        return rows
    return rows.filter(pl.col("quarter").is_null() | (pl.col("quarter") <= quarter))
