"""Lakes of older versions are brought up to this one, once; a lake of a newer version is refused."""

from __future__ import annotations

import polars as pl
import pytest

from pipeline import steps
from pipeline.errors import HeelwardError
from pipeline.lake import Lake
from pipeline.lake.migrate import MIGRATIONS, migrate, number, version_of
from pipeline.schemas.lineage import SNAPSHOTS
from pipeline.schemas.wells import STAGES
from pipeline.workspace import Workspace


@pytest.fixture
def old(slice_workspace: Workspace) -> tuple[Workspace, Lake]:
    """A lake as 0.1.0 left it: its words for the operation mode."""
    steps.run_ingest(slice_workspace)
    lake = steps.open_lake(slice_workspace)
    words = {"single well": "single", "zipper": "alternating"}
    lake.replace(STAGES, lake.scan_raw(STAGES).collect().with_columns(pl.col("operation_mode").replace(words)), {})
    write_version(lake, "0.1.0")
    return slice_workspace, lake


def write_version(lake: Lake, version: str) -> None:
    lake.replace(SNAPSHOTS, lake.scan_raw(SNAPSHOTS).collect().with_columns(code_version=pl.lit(version)), {})


def modes(lake: Lake) -> set[str]:
    return set(lake.scan(STAGES).collect()["operation_mode"].drop_nulls())


def test_the_first_step_that_writes_makes_the_changes_once(old: tuple[Workspace, Lake]) -> None:
    space, lake = old
    assert modes(lake) <= {"single", "alternating"} and version_of(lake) == (0, 1, 0)
    steps.run_measure(space)
    assert modes(lake) <= {"single well", "zipper"} and modes(lake)
    taken = lake.scan(SNAPSHOTS).sort("at").collect()
    assert taken["step"].to_list() == ["ingest", "migrate", "measure"]
    before = lake.version(STAGES)
    steps.run_measure(space)
    assert lake.version(STAGES) == before and migrate(lake) == []


def test_a_migration_that_was_killed_before_it_was_noted_is_made_again_without_harm(
    old: tuple[Workspace, Lake],
) -> None:
    _, lake = old
    assert migrate(lake) and modes(lake) <= {"single well", "zipper"}
    assert migrate(lake) == [], "nothing is left to change"


def test_reading_changes_nothing(old: tuple[Workspace, Lake]) -> None:
    space, lake = old
    steps.connect(space).close()
    assert modes(lake) <= {"single", "alternating"}


def test_a_lake_of_a_newer_version_is_refused(old: tuple[Workspace, Lake]) -> None:
    space, lake = old
    write_version(lake, "99.1.0")
    with pytest.raises(HeelwardError, match=r"(?s)written by heelward 99\.1\.0.*fix: update heelward"):
        steps.run_ingest(space)


def test_versions_are_compared_as_numbers() -> None:
    assert number("0.2.0.dev0") == (0, 2, 0) < number("0.10.0") < number("1.0.0rc1")
    assert [one.to for one in MIGRATIONS] == sorted(one.to for one in MIGRATIONS)
