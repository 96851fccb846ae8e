"""State of a workspace: landed, set aside, stale."""

from __future__ import annotations

import polars as pl

from pipeline.errors import SetAside
from pipeline.ingest.maps import read_maps
from pipeline.ingest.prepare import LINEAGE
from pipeline.ingest.verify import verify
from pipeline.metrics.measure import stale_wells
from pipeline.schemas.lineage import FINDINGS, SNAPSHOTS, SOURCES
from pipeline.steps import open_lake, planning
from pipeline.workspace import Workspace


def describe(workspace: Workspace) -> str:
    """Return the state of a workspace as text."""
    lake = open_lake(workspace)
    verified = verify(lake)
    damaged = [
        f"{len(files)} file(s) of the lake's table '{table.name}' are missing or truncated, such as {files[0]}\n"
        "  fix: run `heelward ingest`; it lands their rows again"
        for table, files in verified.missing.items()
    ]
    if damaged:
        return "\n".join(["The lake is damaged: files were changed outside heelward.", *damaged])
    sources = lake.scan(SOURCES).collect()
    if sources.is_empty():
        return "Nothing has landed yet. Put records into the landing folder and run `heelward refresh`."
    lines = [f"files: {_counts(sources, 'state')}"]
    landed = sources.filter(pl.col("state") == "landed")
    if landed.height:
        lines.append(f"landed in: {_counts(landed, 'lands')}")
    lines.append(f"findings: {lake.scan(FINDINGS).select(pl.len()).collect().item()}")
    aside = sources.filter(pl.col("state") == "set aside").sort("path")
    for row in aside.iter_rows(named=True):
        lines += SetAside(**{key: row[key] for key in LINEAGE}).lines(row["path"])
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
    stale = stale_wells(lake, planning(workspace))
    lines.append(f"stale: {', '.join(stale)} (run `heelward refresh`)" if stale else "stale: nothing")
    steps = lake.scan(SNAPSHOTS).group_by("step").agg(pl.col("at").max()).sort("at").collect()
    lines += [f"last {step} with changes: {at:%Y-%m-%d %H:%M} UTC" for step, at in steps.iter_rows()]
    report = workspace.out / "report.html"
    lines.append(f"report: {report if report.exists() else 'not built yet'}")
    return "\n".join(lines)


def _counts(frame: pl.DataFrame, column: str) -> str:
    counted = frame.group_by(column).len().sort("len", descending=True)
    return ", ".join(f"{count} {name}" for name, count in counted.iter_rows())
