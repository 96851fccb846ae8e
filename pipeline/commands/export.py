"""Write results in open formats, for a team's other stores."""

from __future__ import annotations

from pathlib import Path

import polars as pl

from pipeline import queries
from pipeline.commands.review import find_well
from pipeline.errors import HeelwardError
from pipeline.files import replace_bytes, replace_text
from pipeline.lake import Lake
from pipeline.report.las_file import las_record
from pipeline.report.stim_job import stim_job
from pipeline.schemas.base import Table
from pipeline.schemas.picks import PICKS
from pipeline.schemas.records import COIL, TREATMENT
from pipeline.schemas.wells import WELLS
from pipeline.steps import connect, open_lake
from pipeline.workspace import Workspace


def export(workspace: Workspace, well: str, out: Path, *, stage: int | None, run: int | None) -> str:
    """Write a well's measured stages as WITSML, or the record of a stage or coil run as LAS.

    Returns
    -------
    str
        What was written.

    Raises
    ------
    HeelwardError
        If there is nothing to write, or the file's ending does not fit what is asked for.
    """
    lake, well_id = open_lake(workspace), find_well(workspace, well)
    name = _name_of(lake, well_id)
    if stage is not None and run is not None:
        raise HeelwardError("give --stage or --run, not both")
    if stage is None and run is None:
        if out.suffix.lower() != ".xml":
            raise HeelwardError(f"{out}: a well's stages are written as WITSML: use a name that ends in .xml")
        return _stages(workspace, well_id, name, out)
    if out.suffix.lower() != ".las":
        raise HeelwardError(f"{out}: a record is written as LAS: use a name that ends in .las")
    table, level = (TREATMENT, "stage") if stage is not None else (COIL, "run")
    return _record(lake, table, level, well_id, name, stage if stage is not None else run or 0, out)


def _name_of(lake: Lake, well_id: str) -> str:
    found = lake.scan(WELLS).filter(pl.col("well_id") == well_id).select("well_name").collect()
    return str(found.item(0, 0)) if found.height else well_id


def _stages(workspace: Workspace, well_id: str, name: str, out: Path) -> str:
    marts = queries.run_sql(connect(workspace), "SELECT * FROM stage").frame
    rows = marts.filter(pl.col("well_id") == well_id).sort("stage")
    if rows.is_empty():
        raise HeelwardError(f"{name} has no measured stages: run `heelward measure` first")
    replace_bytes(out, stim_job(name, rows.iter_rows(named=True)))
    return f"{out}: {rows.height} stages of {name} as WITSML 2.1 (StimJob)"


def _record(lake: Lake, table: Table, level: str, well_id: str, name: str, number: int, out: Path) -> str:
    samples = lake.scan(table).filter(pl.col("well_id") == well_id, pl.col(level) == number).sort("time").collect()
    if samples.is_empty():
        held = lake.scan(table).filter(pl.col("well_id") == well_id).select(pl.col(level).unique().sort()).collect()
        known = ", ".join(str(value) for value in held[level].to_list()) or "none"
        raise HeelwardError(f"{name} has no record of {level} {number}; it has: {known}")
    picks = lake.scan(PICKS).filter(well_id=well_id, level=level, number=number).sort("pick").collect()
    replace_text(out, las_record(name, f"{level.upper()} {number}", samples, table, picks.iter_rows(named=True)))
    return (
        f"{out}: {samples.height} samples of {level} {number} of {name} as LAS 2.0; elapsed time from its start in UTC"
    )
