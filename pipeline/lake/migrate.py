"""Bring a lake that an older version wrote up to this one, and refuse one that a newer version wrote."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

import polars as pl
from deltalake.exceptions import DeltaError

from pipeline import __version__
from pipeline.errors import HeelwardError
from pipeline.lake.store import Lake
from pipeline.schemas.base import Table
from pipeline.schemas.lineage import SNAPSHOTS
from pipeline.schemas.wells import STAGES

Version = tuple[int, ...]


@dataclass(frozen=True)
class Migration:
    """A change of what stands in a lake.

    Attributes
    ----------
    to : tuple of int
        The version from which a lake has it.
    what : str
        What changes, as told to the user.
    run : callable
        Makes the change; running it again changes nothing. Returns the rows that it changed.
    """

    to: Version
    what: str
    run: Callable[[Lake], int]


def renamed(table: Table, column: str, words: dict[str, str]) -> Callable[[Lake], int]:
    """Return a migration's function that gives values of a column their present words."""

    def run(lake: Lake) -> int:
        old = pl.col(column).is_in(list(words))
        rows = lake.scan_raw(table).collect()
        count = rows.select(old.sum()).item() or 0
        if count:
            lake.replace(table, rows.with_columns(pl.col(column).replace(words)), {})
        return int(count)

    return run


MIGRATIONS = (
    Migration(
        (0, 2, 0), "operation modes in the words of the trade",
        renamed(
            STAGES, "operation_mode",
            {"single": "single well", "alternating": "zipper", "two at once": "simul-frac"},
        ),
    ),
)  # fmt: skip
"""In order of version. What was measured and fitted is not migrated: it is made anew, because its methods changed."""


def number(version: str) -> Version:
    """Return a version as numbers: ``0.2.0.dev0`` is (0, 2, 0)."""
    return tuple(int(part) for part in re.findall(r"\d+", version.split("dev")[0])[:3])


def version_of(lake: Lake) -> Version | None:
    """Return the highest version that wrote a lake; None if none has, or if `snapshots` is damaged.

    Ingest makes damaged tables readable; the step after it asks again.
    """
    try:
        if lake.condition(SNAPSHOTS).missing:
            return None
    except DeltaError:
        return None
    written = lake.scan(SNAPSHOTS).select("code_version").unique().collect()["code_version"].to_list()
    return max(map(number, written), default=None)


def migrate(lake: Lake) -> list[str]:
    """Make the changes that a lake lacks; return what was changed.

    Raises
    ------
    HeelwardError
        If a newer version wrote the lake: this one does not know what it means.
    """
    written, here = version_of(lake), number(__version__)
    if written is None:
        return []
    if written > here:
        raise HeelwardError(
            f"the lake {lake.root} was written by heelward {'.'.join(map(str, written))}, this is {__version__}. "
            "Nothing was changed.\nfix: update heelward here, or use another lake"
        )
    return [f"{one.what} ({count} rows)" for one in MIGRATIONS if written < one.to <= here and (count := one.run(lake))]
