"""`heelward check`: whether the lake holds what its files say, once and without contradiction, and how to repair it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import polars as pl

from pipeline import queries
from pipeline.errors import SHOWN_FILES, SetAside
from pipeline.ingest import amend
from pipeline.ingest.content import content_of
from pipeline.ingest.verify import Verified, verify
from pipeline.lake import Lake, damage
from pipeline.metrics.measure import stale_wells
from pipeline.metrics.tables import TABLES
from pipeline.metrics.well import planning
from pipeline.schemas.base import Table
from pipeline.schemas.lineage import SOURCES
from pipeline.steps import connect, open_lake
from pipeline.workspace import Workspace

INGEST = "run `heelward ingest`"
REFRESH = "run `heelward refresh`"


def check(workspace: Workspace) -> tuple[list[str], bool]:
    """Check a workspace's lake; nothing is changed.

    Returns
    -------
    lines : list of str
        What was checked, the problems with their repair, and what is only worth knowing.
    sound : bool
        Whether there is no problem.
    """
    lake = open_lake(workspace)
    verified = verify(lake)
    made = lake.damaged(table for table in TABLES.values() if table not in verified.missing)
    problems = [*_rows(verified), *(f"{damage(table, files)}\n  fix: {REFRESH}" for table, files in made.items())]
    notes: list[str] = []
    files = 0
    if not verified.missing and not made:
        landed = lake.scan(SOURCES).filter(pl.col("state") == "landed").sort("path").collect()
        files = landed.height
        problems += _keys(lake)
        problems += _rules(workspace)
        changed, gone = _originals(workspace, landed.unique("path", maintain_order=True))
        if amend.FILE in changed:
            changed.remove(amend.FILE)
            notes.append(f"note: {amend.FILE} has amendments that are not in the lake yet: {REFRESH}")
        if changed:
            problems.append(f"{_named(changed)} changed since it was landed\n  fix: {INGEST}; it lands the file again")
        if gone:
            notes.append(f"note: {_named(gone)} no longer exists; its rows stay in the lake")
        stale = [] if problems else stale_wells(lake, planning(workspace.settings))
        if stale:
            notes.append(f"note: stale wells: {len(stale)}: {REFRESH}")
    told = f"checked: {len(TABLES)} tables, the rows and content of {files} landed files, {len(_rules_of())} rules"
    verdict = f"{len(problems)} problem(s) found" if problems else "sound"
    return [told, *problems, *notes, verdict], not problems


def _rows(verified: Verified) -> Iterator[str]:
    for table, missing in verified.missing.items():
        yield f"{damage(table, missing)}\n  fix: {INGEST}"
    if verified.incomplete:
        paths = [row["path"] for row in verified.incomplete]
        what = f"{_named(paths)} is recorded as landed, but rows of it are missing or too many"
        yield f"{what}\n  fix: {INGEST}; it lands the file again"
    for table, ids in verified.orphans.items():
        what = f"table '{table.name}' holds rows of {len(ids)} file(s) that no reader sees: left by a stopped run"
        yield f"{what}\n  fix: {INGEST}"


def _keys(lake: Lake) -> Iterator[str]:
    """Yield the tables with two rows of one key; samples are checked well by well."""
    for table in TABLES.values():
        repeated = sum(int(keys.is_duplicated().sum()) for keys in _keys_of(lake, table))
        if repeated:
            again = INGEST if table.landed else REFRESH
            yield (
                f"table '{table.name}' has {repeated} rows with the key of another ({', '.join(table.key)})\n"
                f"  fix: delete the folder of this table in the lake, then {again}"
            )


def _keys_of(lake: Lake, table: Table) -> Iterator[pl.DataFrame]:
    keys = lake.scan(table).select(table.key)
    if "time" not in table.key:
        yield keys.collect()
        return
    for well in keys.select(pl.col("well_id").unique()).collect()["well_id"].sort():
        yield keys.filter(pl.col("well_id") == well).collect()


def _rules_of() -> list[Path]:
    return sorted((queries.folder() / "checks").glob("*.sql"))


def _rules(workspace: Workspace) -> Iterator[str]:
    """Yield the rules that rows of the lake break: sums, overlaps, stages without a file."""
    connection = connect(workspace)
    for path in _rules_of():
        rule = queries.load(path.stem, path.parent)
        broken = queries.run(connection, rule).frame
        if broken.height:
            first = ", ".join(f"{name} {value}" for name, value in broken.row(0, named=True).items())
            what = f"{rule.title}: {broken.height}, such as {first}"
            yield f"{what}\n  fix: {REFRESH}; if it stays, correct the table it is from"


def _originals(workspace: Workspace, landed: pl.DataFrame) -> tuple[list[str], list[str]]:
    """Return the landed files whose content is no longer that which was landed, and those that are gone."""
    changed, gone = [], []
    for path, digest in landed.select("path", "content_hash").iter_rows():
        file = Path(path) if Path(path).is_absolute() else workspace.root / path
        if not file.is_file():
            gone.append(path)
            continue
        try:
            same = content_of(file).digest == digest
        except (SetAside, OSError):
            same = False
        if not same:
            changed.append(path)
    return changed, gone


def _named(paths: list[str]) -> str:
    shown = ", ".join(paths[:SHOWN_FILES])
    return shown if len(paths) <= SHOWN_FILES else f"{shown} and {len(paths) - SHOWN_FILES} more: each"
