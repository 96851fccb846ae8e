"""What a workspace holds: landed, set aside, stale."""

from __future__ import annotations

import polars as pl

from pipeline.metrics.measure import stale_wells
from pipeline.schemas import FINDINGS, SNAPSHOTS, SOURCES
from pipeline.steps import open_lake
from pipeline.workspace import Workspace


def describe(workspace: Workspace) -> str:
    """Return the state of a workspace in words."""
    lake = open_lake(workspace)
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
        at = f", line {row['line']}" if row["line"] is not None else ""
        lines.append(
            f"set aside: {row['path']}{at}: {row['reason']}\n  expected {row['expected']}; found {row['found']}"
        )
        lines.append(f"  mend: {row['mend']}")
    stale = stale_wells(lake, workspace.settings.time_zone)
    lines.append(f"stale: {', '.join(stale)} (run `heelward refresh`)" if stale else "stale: nothing")
    steps = lake.scan(SNAPSHOTS).group_by("step").agg(pl.col("at").max()).sort("at").collect()
    lines += [f"last {step} that changed something: {at:%Y-%m-%d %H:%M} UTC" for step, at in steps.iter_rows()]
    report = workspace.out / "report.html"
    lines.append(f"report: {report if report.exists() else 'not built yet'}")
    return "\n".join(lines)


def _counts(frame: pl.DataFrame, column: str) -> str:
    counted = frame.group_by(column).len().sort("len", descending=True)
    return ", ".join(f"{count} {name}" for name, count in counted.iter_rows())
