"""A lake that was damaged from outside: what is told of it, and that a refresh makes it whole."""

from __future__ import annotations

import shutil
from pathlib import Path

import polars as pl
import pytest
from deltalake.exceptions import DeltaError
from polars.testing import assert_frame_equal

from pipeline import steps
from pipeline.commands import check, status
from pipeline.errors import HeelwardError
from pipeline.lake import Lake, open_anew
from pipeline.metrics.tables import TABLES
from pipeline.schemas.lineage import SOURCES
from pipeline.schemas.records import TREATMENT
from pipeline.workspace import Workspace, open_workspace
from tests.conftest import Fitted

MADE = ("stage_metrics", "picks", "pad_day_metrics", "pad_timeline", "findings", "model_cards", "predictions")


def rows(lake: Lake, name: str) -> pl.DataFrame:
    frame = lake.scan(TABLES[name]).collect()
    return frame.drop("fitted_at", "at", strict=False).sort(pl.all())


def cut(lake: Lake, name: str) -> Path:
    delta = lake.open(TABLES[name])
    assert delta is not None
    path = Path(sorted(delta.file_uris())[-1])  # of those that are read now
    path.write_bytes(path.read_bytes()[:200])
    return path


@pytest.fixture
def space(fitted: Fitted, tmp_path: Path) -> Workspace:
    shutil.copytree(fitted.workspace.root, tmp_path / "w")
    return open_workspace(tmp_path / "w")


def test_a_damaged_table_is_told_by_every_reader_and_made_again(space: Workspace) -> None:
    lake = Lake(space.lake)
    before = {name: rows(lake, name) for name in MADE}
    for name in MADE:
        if before[name].is_empty():
            continue
        cut(lake, name)
        told = f"table '{name}' are missing or truncated"
        assert told in status.describe(space)
        lines, sound = check.check(space)
        assert not sound and any(told in line for line in lines)
        with pytest.raises(HeelwardError, match=told):
            steps.run_sql(space, "SELECT count(*) FROM stage")
        steps.run_ingest(space)
        restored = [*steps.run_measure(space).restored, *steps.run_fit(space).restored]
        assert restored == ([] if name == "findings" else [name])
        for other in MADE:
            assert_frame_equal(rows(lake, other), before[other], check_exact=False)
        assert "truncated" not in status.describe(space)


@pytest.mark.parametrize("damage", ["truncated", "gone"])
def test_damaged_checkpoints_of_a_log_lose_nothing(space: Workspace, damage: str) -> None:
    lake = Lake(space.lake)
    before = {name: rows(lake, name) for name in MADE}
    for name in ("treatment", "picks", "model_cards", "snapshots"):
        delta = lake.open(TABLES[name])
        assert delta is not None
        delta.create_checkpoint()
        (path,) = (Path(lake.uri(TABLES[name])) / "_delta_log").glob(f"{delta.version():020}.checkpoint*.parquet")
        path.write_bytes(path.read_bytes()[:300])
        if damage == "gone":
            path.unlink()
        with pytest.raises(DeltaError):
            lake.open(TABLES[name])
    open_anew()  # as a new process
    done = steps.refresh(space)
    assert not done.landed.changed
    assert not done.measured.changed
    assert not done.fitted.changed
    for name in MADE:
        assert_frame_equal(rows(lake, name), before[name])
    assert check.check(space)[1]


def test_a_step_that_failed_reads_every_table_again(space: Workspace, monkeypatch: pytest.MonkeyPatch) -> None:
    lake = Lake(space.lake)
    assert rows(lake, "picks").height
    delta = lake.open(TABLES["picks"])
    assert delta is not None
    delta.create_checkpoint()
    for path in (Path(lake.uri(TABLES["picks"])) / "_delta_log").glob("*.checkpoint*.parquet"):
        path.write_bytes(b"")

    def fails(*_: object) -> None:
        raise DeltaError("another process cannot open it")

    with monkeypatch.context() as patch:
        patch.setattr(steps, "measure", fails)
        with pytest.raises(DeltaError, match="another process"):
            steps.run_measure(space)
    assert not steps.run_measure(space).changed
    assert not list((Path(lake.uri(TABLES["picks"])) / "_delta_log").glob("*.checkpoint*.parquet"))


def test_a_stop_after_the_repair_of_findings_loses_none_of_measuring(space: Workspace) -> None:
    lake = Lake(space.lake)
    before = rows(lake, "findings")
    assert before.filter(pl.col("step") == "measure").height
    cut(lake, "findings")
    space.maps.rename(space.root / "off")
    with pytest.raises(HeelwardError, match="not a folder with source maps"):
        steps.run_ingest(space)
    (space.root / "off").rename(space.maps)
    steps.run_ingest(space)
    steps.run_measure(space)
    assert_frame_equal(rows(lake, "findings"), before)


def test_a_well_that_is_gone_leaves_nothing_after_a_repair(space: Workspace) -> None:
    lake = Lake(space.lake)
    for name in ("stage_metrics", "findings"):
        table = TABLES[name]
        row = lake.scan(table).filter(pl.col("well_id").is_not_null()).head(1).collect()
        if name == "findings":
            row = row.with_columns(step=pl.lit("measure"), source_id=pl.lit(None, dtype=pl.String))
        lake.replace(table, row.with_columns(well_id=pl.lit("zz")), {"well_id": "zz"})
    cut(lake, "picks")
    assert steps.run_measure(space).restored == ["picks"]
    for name in ("stage_metrics", "findings"):
        assert "zz" not in lake.scan(TABLES[name]).collect()["well_id"]


@pytest.mark.parametrize("name", ["snapshots", "treatment", "findings"])
def test_a_step_that_cannot_repair_a_table_says_which_one_is_damaged(space: Workspace, name: str) -> None:
    cut(Lake(space.lake), name)
    reads = () if name == "snapshots" else (steps.run_report,)
    for step in (steps.run_measure, steps.run_fit, steps.run_tidy, *reads):
        with pytest.raises(HeelwardError, match=f"table '{name}' are missing or truncated"):
            step(space)


def test_a_damaged_lake_behind_a_link_is_told(space: Workspace, tmp_path: Path) -> None:
    shutil.move(space.lake, tmp_path / "elsewhere")
    Path(space.lake).symlink_to(tmp_path / "elsewhere")
    cut(Lake(space.lake), "treatment")
    assert "truncated" in status.describe(space)
    assert any("recorded as landed" in line for line in check.check(space)[0])


def test_only_the_files_with_lost_rows_are_named(space: Workspace) -> None:
    lake = Lake(space.lake)
    well = cut(lake, "treatment").parent.name.removeprefix("well_id=")
    landed = lake.scan(SOURCES).filter(pl.col("state") == "landed", pl.col("lands") == TREATMENT.name).collect()
    mine = landed.filter(pl.col("well_id") == well)["path"].to_list()
    lines, _ = check.check(space)
    told = next(line for line in lines if "recorded as landed" in line)
    assert any(path in told for path in mine)
    assert not any(path in told for path in landed.filter(pl.col("well_id") != well)["path"])
