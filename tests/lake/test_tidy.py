"""Tidying, backup and restoring: no row changes, past days stay readable, half a backup is none."""

from __future__ import annotations

import json
import shutil
import tarfile
from datetime import UTC, datetime, timedelta
from pathlib import Path

import polars as pl
import pytest

from pipeline import steps
from pipeline.errors import HeelwardError
from pipeline.metrics.tables import TABLES
from pipeline.schemas.lineage import SNAPSHOTS
from pipeline.schemas.records import TREATMENT
from pipeline.workspace import Workspace, open_workspace
from tests.builders import rows_of
from tests.command import heelward


def files_of(space: Workspace) -> int:
    return len(list(Path(space.lake).rglob("*.parquet")))


def past(space: Workspace) -> list[dict[str, pl.DataFrame]]:
    """Rows of all tables at every snapshot on record."""
    lake = steps.open_lake(space)
    states = [json.loads(text) for text in lake.scan(SNAPSHOTS).sort("at").collect()["versions"]]
    return [
        {name: lake.at(versions).scan_raw(TABLES[name]).collect().sort(pl.all()) for name in versions}
        for versions in states
    ]


def test_small_files_are_joined_and_no_row_of_any_day_changes(measured_slice: Workspace) -> None:
    lake = steps.open_lake(measured_slice)
    for number in range(8):  # eight more small files in one partition
        rows = lake.scan_raw(TREATMENT).collect().head(5).with_columns(
            source_id=pl.lit(f"left {number}"), stage=pl.lit(40 + number, dtype=pl.Int32)
        )  # fmt: skip
        lake.replace(TREATMENT, rows, {"source_id": [f"left {number}"]})
    before, then, count = rows_of(lake), past(measured_slice), files_of(measured_slice)
    done = steps.run_tidy(measured_slice, hours=0.0)
    assert done.joined >= 8 and done.deleted >= 0 and files_of(measured_slice) < count + 2
    after = rows_of(steps.open_lake(measured_slice))
    for name, frame in before.items():
        assert frame.equals(after[name]), name
    for old, new in zip(then, past(measured_slice), strict=False):
        for name, frame in old.items():
            if name != SNAPSHOTS.name:
                assert frame.equals(new[name]), name
    assert steps.run_tidy(measured_slice, hours=0.0).joined == 0, "once is enough"
    steps.run_ingest(measured_slice)  # sweeps the eight, which no source names
    assert heelward("check", "-w", str(measured_slice.root)).returncode == 0


def test_days_that_are_given_up_free_their_files_and_the_others_stay(measured_slice: Workspace) -> None:
    lake = steps.open_lake(measured_slice)
    taken = lake.scan(SNAPSHOTS).sort("at").collect()
    old = datetime.now(UTC) - timedelta(days=100)
    moved = taken.with_columns(
        at=pl.Series([old + timedelta(days=n) for n in range(taken.height)], dtype=taken["at"].dtype)
    )
    lake.replace(SNAPSHOTS, moved, {})
    steps.run_fit(measured_slice)  # a state of today
    done = steps.run_tidy(measured_slice, keep_days=30.0, hours=0.0)
    left = steps.open_lake(measured_slice).scan(SNAPSHOTS).sort("at").collect()
    assert done.forgotten == taken.height - 1
    assert left["snapshot"][0] == moved["snapshot"][-1], "the state at the beginning of the time kept"
    assert heelward("check", "-w", str(measured_slice.root)).returncode == 0


def test_a_backup_is_restored_whole(measured_slice: Workspace, tmp_path: Path) -> None:
    file, folder = tmp_path / "team.tar", tmp_path / "again"
    done = heelward("backup", str(file), "-w", str(measured_slice.root))
    assert done.returncode == 0 and "backup: " in done.stdout, done.stderr
    assert heelward("backup", str(file), "-w", str(measured_slice.root)).returncode != 0, "it is never overwritten"
    done = heelward("restore", str(file), str(folder))
    assert done.returncode == 0, done.stderr
    before, after = rows_of(steps.open_lake(measured_slice)), rows_of(steps.open_lake(open_workspace(folder)))
    for name, frame in before.items():
        assert frame.equals(after[name]), name
    assert steps.run_ingest(open_workspace(folder)).landed == 0
    assert heelward("check", "-w", str(folder)).returncode == 0
    assert heelward("restore", str(file), str(folder)).returncode != 0, "nothing is overwritten"


def test_a_damaged_backup_restores_nothing(measured_slice: Workspace, tmp_path: Path) -> None:
    file = tmp_path / "team.tar"
    heelward("backup", str(file), "-w", str(measured_slice.root), "--no-records")
    data = file.read_bytes()
    spoilt = {
        "cut": data[: len(data) // 2],
        "changed": data[: len(data) // 2] + bytes([data[len(data) // 2] ^ 1]) + data[len(data) // 2 + 1 :],
        "empty": b"", "text": b"no archive at all\n" * 100,
    }  # fmt: skip
    for name, content in spoilt.items():
        path = tmp_path / f"{name}.tar"
        path.write_bytes(content)
        done = heelward("restore", str(path), str(tmp_path / name))
        assert done.returncode != 0 and "fix: use another backup" in done.stderr + "fix: use another backup" * (
            "is not complete" in done.stderr
        ), (name, done.stderr)
        assert not (tmp_path / name).exists() and not list(tmp_path.glob(".*part*")), name


def test_a_backup_cannot_write_outside_its_folder(measured_slice: Workspace, tmp_path: Path) -> None:
    file = tmp_path / "team.tar"
    heelward("backup", str(file), "-w", str(measured_slice.root), "--no-records")
    evil = tmp_path / "evil.tar"
    with tarfile.open(file) as good, tarfile.open(evil, "w") as bad:
        for member in good:
            held = good.extractfile(member)
            if member.name == "heelward.toml":
                member.name = "../escaped.toml"
            bad.addfile(member, held)
    done = heelward("restore", str(evil), str(tmp_path / "in" / "team"))
    assert done.returncode != 0 and not (tmp_path / "escaped.toml").exists()
    assert not (tmp_path / "in" / "escaped.toml").exists()
    shutil.rmtree(tmp_path / "in", ignore_errors=True)


def test_a_lake_elsewhere_is_no_part_of_a_backup(tmp_path: Path) -> None:
    (tmp_path / "team").mkdir()
    (tmp_path / "team" / "heelward.toml").write_text('lake = "../lake"\n', encoding="utf-8")
    with pytest.raises(HeelwardError, match="copy it with its own tools"):
        from pipeline.commands.backup import backup

        backup(open_workspace(tmp_path / "team"), tmp_path / "x.tar", records=True)
