"""Check whether the lake contains exactly the rows listed in `sources`."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any

import polars as pl
from deltalake.exceptions import DeltaError

from pipeline import __version__
from pipeline.lake import Condition, Lake
from pipeline.schemas import LANDED
from pipeline.schemas.base import Table
from pipeline.schemas.lineage import FINDINGS, SNAPSHOTS, SOURCES
from pipeline.schemas.wells import WELLS

_CHECKED = (*LANDED.values(), FINDINGS, SOURCES)
REPAIRED = (*_CHECKED, SNAPSHOTS)
"""Tables that an ingest makes readable again if they were damaged."""


@dataclass(frozen=True)
class Verified:
    """Problems of a lake's landed rows.

    Attributes
    ----------
    orphans : dict of Table to list of str
        Ids of rows that are not in `sources`: leftovers of a killed run, not visible to readers.
    incomplete : list of dict
        Rows of `sources` for landed files with missing rows or findings.
    missing : dict of Table to list of str
        Missing files of the lake; all content of a table whose log cannot be read counts as incomplete.
    """

    orphans: dict[Table, list[str]]
    incomplete: list[dict[str, Any]]
    missing: dict[Table, list[str]]


def restore_tables(lake: Lake) -> tuple[list[str], dict[Table, Condition]]:
    """Make externally damaged tables readable again. Their lost rows are landed again.

    Missing or truncated files are removed from the table's log; a table with an unreadable log is moved away.

    Returns
    -------
    restored : list of str
        Names of the tables.
    found : dict of Table to Condition
        All tables that hold landed rows, as they are now.
    """
    restored, found = [], {}
    for table in REPAIRED:
        try:
            found[table] = lake.condition(table)
            damaged = bool(found[table].missing)
            if damaged:
                lake.drop_missing_files(table)
        except DeltaError:
            damaged = True
            lake.move_away(table)
        if damaged:
            found[table] = lake.condition(table)
            restored.append(table.name)
    return restored, found


def settled(lake: Lake, now: dict[Table, Condition]) -> bool:
    """Whether the lake is unchanged since the last step, by versions, files and row counts; reads no samples.

    Parameters
    ----------
    lake : Lake
    now : dict of Table to Condition
        Of all tables that hold landed rows.
    """
    last = lake.scan(SNAPSHOTS).sort("at").tail(1).collect()
    if last.is_empty() or last["code_version"][0] != __version__:
        return False
    versions = json.loads(last["versions"][0])
    if any(now[table].version != versions.get(table.name) or now[table].missing for table in _CHECKED):
        return False
    sources = lake.scan_raw(SOURCES).filter(pl.col("state") == "landed").collect()
    landed = dict(sources.group_by("lands").agg(pl.col("rows_landed").sum()).iter_rows())
    landed[WELLS.name] = landed.get(WELLS.name, 0) + lake.scan_raw(WELLS).filter(pl.col("stub")).collect().height
    told = lake.scan_raw(FINDINGS).filter(pl.col("source_id").is_not_null()).select(pl.len()).collect().item()
    return told == sources["findings"].sum() and all(
        now[table].rows == landed.get(name, 0) for name, table in LANDED.items()
    )


def verify(lake: Lake) -> Verified:
    """Count the rows of every landed file."""
    missing = lake.damaged(REPAIRED)
    known = SOURCES.empty() if SOURCES in missing else lake.scan_raw(SOURCES).collect()
    sources = known.filter(pl.col("state") == "landed")
    visible = set(sources["source_id"])
    held = {table: _counts(lake, table, whole=table not in missing) for table in (*LANDED.values(), FINDINGS)}
    orphans = {table: sorted(set(counts) - visible) for table, counts in held.items()}
    incomplete = [
        row
        for row in sources.iter_rows(named=True)
        if held[LANDED[row["lands"]]].get(row["source_id"], 0) != row["rows_landed"]
        or held[FINDINGS].get(row["source_id"], 0) != row["findings"]
    ]
    if WELLS not in missing:
        stubs = lake.scan_raw(WELLS).filter(pl.col("stub")).select("source_id").collect()["source_id"]
        orphans[WELLS] = sorted(set(orphans[WELLS]) | (set(stubs) - visible))
    return Verified({table: ids for table, ids in orphans.items() if ids}, incomplete, missing)


def _counts(lake: Lake, table: Table, *, whole: bool) -> dict[str, int]:
    """Rows of each file; wells created by landing do not count as rows of the wells table."""
    try:
        found = lake.scan_raw(table) if whole else lake.scan_sound(table)
    except DeltaError:  # its log cannot be read
        return {}
    rows = found.filter(pl.col("source_id").is_not_null())
    if table is WELLS:
        rows = rows.filter(~pl.col("stub"))
    return dict(rows.group_by("source_id").len().collect(engine="streaming").iter_rows())
