"""`heelward check`: a sound lake is called sound; each kind of damage is told with its repair, and the repair works."""

from __future__ import annotations

from pathlib import Path

import polars as pl
import pytest
from deltalake import write_deltalake

from pipeline import steps
from pipeline.commands.check import check
from pipeline.schemas.ledger import ACTIVITY
from pipeline.schemas.picks import PICKS
from pipeline.schemas.records import TREATMENT
from pipeline.schemas.wells import STAGES
from pipeline.workspace import Workspace


def told(workspace: Workspace) -> str:
    lines, sound = check(workspace)
    assert sound == (lines[-1] == "sound")
    assert sum("fix:" in line for line in lines) == (0 if sound else int(lines[-1].split()[0]))
    return "\n".join(lines)


def test_a_lake_that_is_sound_is_called_sound(measured_slice: Workspace) -> None:
    before = {path: path.stat().st_mtime_ns for path in measured_slice.root.rglob("*")}
    text = told(measured_slice)
    assert text.endswith("sound") and "6 rules" in text
    assert before == {path: path.stat().st_mtime_ns for path in measured_slice.root.rglob("*")}, "nothing is written"


def test_a_missing_file_of_the_lake_is_told_and_ingest_repairs_it(measured_slice: Workspace) -> None:
    lake = Path(steps.open_lake(measured_slice).root)
    next((lake / "treatment").rglob("*.parquet")).unlink()
    text = told(measured_slice)
    assert "table 'treatment' are missing or truncated" in text and "run `heelward ingest`" in text
    steps.run_ingest(measured_slice)
    steps.run_measure(measured_slice)
    assert told(measured_slice).endswith("sound")


def test_rows_with_one_key_are_told(measured_slice: Workspace) -> None:
    lake = steps.open_lake(measured_slice)
    for table in (PICKS, TREATMENT):
        delta = lake.open(table)
        assert delta is not None
        rows = lake.scan_raw(table).collect().head(3)
        write_deltalake(delta, rows, mode="append")
    text = told(measured_slice)
    assert "table 'picks' has 6 rows with the key of another (well_id, level, number, pick)" in text
    assert "table 'treatment' has 6 rows with the key of another" in text
    assert "is recorded as landed, but rows of it are missing or too many" in text


def test_a_file_that_changed_or_is_gone_is_told(measured_slice: Workspace) -> None:
    landing = measured_slice.root / "landing"
    changed, gone = landing / "tables" / "wells.csv", landing / "tables" / "cost.csv"
    changed.write_text(changed.read_text() + "\n")
    gone.unlink()
    text = told(measured_slice)
    assert "landing/tables/wells.csv changed since it was landed" in text
    assert "note: landing/tables/cost.csv no longer exists; its rows stay in the lake" in text


def test_a_rule_that_rows_break_is_told(measured_slice: Workspace) -> None:
    lake = steps.open_lake(measured_slice)
    rows = lake.scan_raw(ACTIVITY).collect().sort("start_time")
    longer = rows.with_columns(
        pl.col("end_time") + pl.duration(hours=pl.when(pl.int_range(pl.len()) == 0).then(30).otherwise(0))
    )
    lake.replace(ACTIVITY, longer, {})
    assert "Intervals of one pad that overlap: " in told(measured_slice)


def test_rows_that_no_reader_sees_are_told_and_removed_by_ingest(measured_slice: Workspace) -> None:
    lake = steps.open_lake(measured_slice)
    rows = lake.scan_raw(STAGES).collect().with_columns(source_id=pl.lit("a stopped run"))
    delta = lake.open(STAGES)
    assert delta is not None
    write_deltalake(delta, rows, mode="append")
    assert "table 'stages' holds rows of 1 file(s) that no reader sees" in told(measured_slice)
    steps.run_ingest(measured_slice)
    assert told(measured_slice).endswith("sound")


@pytest.mark.parametrize("code", [0, 1])
def test_the_command_ends_with_its_verdict(measured_slice: Workspace, code: int) -> None:
    from typer.testing import CliRunner

    from pipeline.cli import app

    if code:
        (measured_slice.root / "landing" / "tables" / "wells.csv").write_text("x")
    done = CliRunner().invoke(app, ["check", "-w", str(measured_slice.root)])
    assert done.exit_code == code, done.output
