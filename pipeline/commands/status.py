"""State of a workspace: landed, set aside, stale."""

from __future__ import annotations

import polars as pl

from pipeline.errors import SetAside, grouped
from pipeline.ingest import amend
from pipeline.ingest.content import content_of
from pipeline.ingest.discover import as_recorded, discover
from pipeline.ingest.folder import readable
from pipeline.ingest.known import SourceIndex
from pipeline.ingest.maps import read_maps
from pipeline.ingest.prepare import LINEAGE
from pipeline.ingest.propose import CHECK
from pipeline.ingest.verify import verify
from pipeline.lake import Lake, damage
from pipeline.metrics.measure import stale_wells
from pipeline.metrics.tables import TABLES
from pipeline.metrics.well import planning
from pipeline.models.fit import stale_fits
from pipeline.report.build import last_built, mark_of
from pipeline.report.plain_words import in_words
from pipeline.schemas.lineage import FINDINGS, SNAPSHOTS, SOURCES
from pipeline.steps import modelled, open_lake, versions
from pipeline.units import format_quantities
from pipeline.workspace import Workspace

NAMED = 6
"""Names that a line gives."""


def describe(workspace: Workspace) -> str:
    """Return the state of a workspace as text."""
    lake = open_lake(workspace)
    damaged = [
        f"{damage(table, files)}\n  fix: run `heelward refresh`; it makes their rows again"
        for table, files in lake.damaged(TABLES.values()).items()
    ]
    if damaged:
        return "\n".join(["The lake is damaged: files were changed outside heelward.", *damaged])
    verified, sources = verify(lake), lake.scan(SOURCES).collect()
    if sources.is_empty():
        return "Nothing has landed yet. Put records into the landing folder and run `heelward refresh`."
    lines = [f"files: {_counts(sources, 'state')}", *_waiting(workspace, sources)]
    landed = sources.filter(pl.col("state") == "landed")
    if landed.height:
        lines.append(f"landed in: {_counts(landed, 'lands')}")
    lines += _findings(lake, workspace)
    aside = sources.filter(pl.col("state") == "set aside").sort("path").iter_rows(named=True)
    lines += grouped([(row["path"], SetAside(**{key: row[key] for key in LINEAGE})) for row in aside])
    lines += _questions(workspace)
    if (waiting := workspace.root / amend.FILE).is_file() and content_of(waiting).digest not in set(
        sources["content_hash"]
    ):
        lines.append(f"stale: {waiting.name} has amendments that are not in the lake yet (run `heelward refresh`)")
    lines += [f"this map cannot be used; its files wait:\n{item}" for item in read_maps(workspace.maps)[1]]
    skipped = lake.scan(FINDINGS).filter(pl.col("step") == "discover").sort("path").collect()
    lines += [f"not read: {row['path']}: {row['message']}" for row in skipped.iter_rows(named=True)]
    lines += [
        f"incomplete: {row['path']} is recorded as landed, but some of its rows are missing from the lake\n"
        "  fix: run `heelward ingest`; it lands the file again"
        for row in verified.incomplete
    ]
    if verified.orphans:
        lines.append("a stopped run left rows that are not used in any report; the next ingest removes them")
    lines += _stale(lake, workspace)
    steps = lake.scan(SNAPSHOTS).group_by("step").agg(pl.col("at").max()).sort("at").collect()
    lines += [f"last {step} with changes: {at:%Y-%m-%d %H:%M} UTC" for step, at in steps.iter_rows()]
    report = workspace.out / "report.html"
    lines.append(f"report: {report if report.exists() else 'not built yet'}")
    return "\n".join(lines)


def _waiting(workspace: Workspace, sources: pl.DataFrame) -> list[str]:
    """Return the files of the landing folders that are new, or changed since they were looked at."""
    known = SourceIndex(sources.iter_rows(named=True))
    maps, broken = read_maps(workspace.maps)
    new: set[str] = set()
    changed: set[str] = set()
    for item in readable(discover(workspace, maps).items, maps, broken, known, workspace):
        row = known.get(item.key)
        if row is None:
            (changed if known.of_path(item.path) else new).add(item.path)
        elif not as_recorded(item, row):
            changed.add(item.path)
    return [
        f"waiting: {_some(sorted(paths), f'{what} file')} (run `heelward refresh`)"
        for what, paths in (("new", new), ("changed", changed)) if paths
    ]  # fmt: skip


def _stale(lake: Lake, workspace: Workspace) -> list[str]:
    """Return what a refresh would do, and why: wells to measure, models to fit, the report to draw."""
    wells: dict[str, list[str]] = {}
    for well, why in stale_wells(lake, planning(workspace.settings)).items():
        wells.setdefault(why, []).append(well)
    lines = [f"stale: {_some(names, 'well')}: {why}" for why, names in wells.items()]
    if wells:
        lines.append("stale: models and report, once these wells are measured")
    elif fits := stale_fits(lake, modelled(workspace, lake)):
        named = _some([in_words(name) for name in fits], "model")
        lines.append(f"stale: {named}: their rows or methods changed")
    elif (workspace.out / "report.html").exists():
        mark = mark_of(workspace, versions(lake), workspace.settings.beside)
        if last_built(workspace, mark) is None:
            lines.append("stale: the report: tables, settings, pages or this version changed since it was built")
    return [f"{line} (run `heelward refresh`)" for line in lines] or ["stale: nothing"]


def _some(names: list[str], what: str) -> str:
    """Return how many there are, and the names of the first."""
    shown = ", ".join(names[:NAMED]) + (", …" if len(names) > NAMED else "")
    return f"{len(names)} {what}{'s'[: len(names) != 1]} ({shown})"


def _findings(lake: Lake, workspace: Workspace) -> list[str]:
    """Return the findings, told once per kind, rare kinds first."""
    found = lake.scan(FINDINGS).filter(pl.col("step") != "discover").collect().sort("path", "well_id", "number")
    part = pl.format(", {} {}", "level", "number").fill_null("")
    found = found.with_columns(where=pl.coalesce("path", pl.concat_str("well_id", part), "pad"))
    kinds = found.group_by("kind", maintain_order=True).agg(
        pl.len().alias("count"), pl.first("message"), pl.first("where")
    )
    lines = [f"findings: {found.height}" + (f" of {kinds.height} kinds, one of each:" if kinds.height else "")]
    for kind, count, message, where in kinds.sort("count", "kind").iter_rows():
        told = format_quantities(message, workspace.settings.display_units)
        lines.append(f"  {count} {kind.replace('_', ' ')}: {f'{where}: ' if where else ''}{told}")
    return lines


def _questions(workspace: Workspace) -> list[str]:
    """Return the maps with unconfirmed guesses."""
    lines = []
    for path in sorted(workspace.maps.glob("*.toml")):
        text = path.read_text(encoding="utf-8", errors="replace")
        open_lines = [str(at) for at, line in enumerate(text.splitlines(), 1) if CHECK in line]
        if open_lines:
            word = "line" if len(open_lines) == 1 else "lines"
            lines.append(
                f"to confirm: {path} has guesses in {word} {', '.join(open_lines)}: correct them or remove '{CHECK}'"
            )
    return lines


def _counts(frame: pl.DataFrame, column: str) -> str:
    counted = frame.group_by(column).len().sort("len", descending=True)
    return ", ".join(f"{count} {name}" for name, count in counted.iter_rows())
