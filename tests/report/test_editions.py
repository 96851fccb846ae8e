"""Editions: as it was on a past day, up to a quarter; and what a wrong word is told."""

from __future__ import annotations

import shutil
from datetime import UTC, date, datetime, timedelta
from typing import Any

import polars as pl
import pytest
from deltalake import DeltaTable
from polars.testing import assert_frame_equal

from pipeline import steps
from pipeline.commands.review import amend
from pipeline.errors import HeelwardError
from pipeline.lake import Lake
from pipeline.metrics.tables import TABLES
from pipeline.report.edition import Edition, edition, until, versions_as_of
from pipeline.schemas.base import Table
from pipeline.schemas.fitted import CHANGES, QUARTER_MEANS
from pipeline.schemas.lineage import FINDINGS
from pipeline.schemas.wells import STAGES, WELLS
from pipeline.workspace import Workspace
from tests.builders import connect_on
from tests.conftest import Campaign

FIRST_DAY = datetime(2025, 7, 5, 17, 0, tzinfo=UTC)


class Clock:
    """Stands in for the time that snapshots are taken at."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.at = FIRST_DAY
        clock = self

        class Then(datetime):
            @classmethod
            def now(cls, tz: Any = None) -> Any:
                clock.at += timedelta(seconds=1)
                return clock.at

        monkeypatch.setattr(steps, "datetime", Then)


def tables(lake: Lake, versions: dict[str, int]) -> dict[str, pl.DataFrame]:
    """All tables, each in an order of its own."""
    pinned = lake.at(versions)
    found = {name: pinned.scan(table).collect() for name, table in TABLES.items() if name in versions}
    return {name: frame.sort(frame.columns) for name, frame in found.items()}


@pytest.mark.turn
def test_a_past_day_is_rebuilt_equal_after_later_landings_and_many_commits(
    slice_workspace: Workspace, monkeypatch: pytest.MonkeyPatch
) -> None:
    clock = Clock(monkeypatch)
    land_and_measure(slice_workspace)
    lake = steps.open_lake(slice_workspace)
    day = date(2025, 7, 5)
    before = tables(lake, versions_as_of(lake, day, "America/Denver"))
    built = steps.run_report(slice_workspace, edition=Edition(as_of=day), beside=[])
    text = built.path.read_text(encoding="utf-8")
    assert "2025-07-05" in text

    # a later day: a file changes, one goes, an amendment comes
    clock.at += timedelta(days=3)
    files = sorted((slice_workspace.root / "landing" / "treatment").rglob("*.*"))
    lines = files[0].read_text(encoding="utf-8").splitlines(keepends=True)
    files[0].write_text("".join(lines[: len(lines) - 400]), encoding="utf-8")
    land_and_measure(slice_workspace)
    # and far more commits than the log keeps apart, with its clean-up
    for table in (WELLS, STAGES, FINDINGS):
        rows = lake.scan_raw(table).collect()
        for number in range(105 if table is STAGES else 3):
            lake.replace(table, rows.head(0) if number % 2 else rows, {})
        delta = DeltaTable(lake.uri(table))
        delta.create_checkpoint()
        delta.cleanup_metadata()
    assert len(DeltaTable(lake.uri(STAGES)).history()) > 100

    after = tables(lake, versions_as_of(lake, day, "America/Denver"))
    assert before.keys() == after.keys()
    for name, frame in before.items():
        assert_frame_equal(frame, after[name])
    again = steps.run_report(slice_workspace, edition=Edition(as_of=day), beside=[])
    assert again.path == built.path
    assert without_clock(again.path.read_text(encoding="utf-8")) == without_clock(text)
    changed = tables(lake, steps.versions(lake))["stage_metrics"]
    assert not changed.equals(before["stage_metrics"])  # there was something to be told apart


def land_and_measure(space: Workspace) -> None:
    steps.run_ingest(space)
    steps.run_measure(space)
    steps.run_fit(space)


def without_clock(text: str) -> str:
    """The page but for the moment it was built at."""
    head, _, rest = text.partition('<details id="built-from">')
    return head + rest.partition("Table versions")[2]


def test_a_day_before_the_first_snapshot_is_refused_with_the_first(
    slice_workspace: Workspace, monkeypatch: pytest.MonkeyPatch
) -> None:
    Clock(monkeypatch)
    with pytest.raises(HeelwardError, match="none yet"):
        steps.run_report(slice_workspace, edition=Edition(as_of=date(2025, 7, 4)))
    steps.run_ingest(slice_workspace)
    with pytest.raises(HeelwardError, match="the first is on 2025-07-05"):
        steps.run_report(slice_workspace, edition=Edition(as_of=date(2025, 7, 4)))


@pytest.mark.turn
def test_what_changed_since_a_day_is_told_with_its_causes(
    slice_workspace: Workspace, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One stage landed and one ISIP amended after the day: both are causes, and the sentences that moved are marked."""
    clock = Clock(monkeypatch)
    file = max((slice_workspace.root / "landing" / "treatment").rglob("*.*"))
    later = slice_workspace.root / file.name
    file.rename(later)
    land_and_measure(slice_workspace)

    clock.at += timedelta(days=3)
    later.rename(file)
    words: dict[str, Any] = {"time": None, "by": "K. Ito", "why": "read by eye", "withdraw": False}
    amend(slice_workspace, "Saltgrass 1H", "stage", 1, "isip", value=4000.0, **words)
    land_and_measure(slice_workspace)
    built = steps.run_report(slice_workspace, edition=Edition(against=date(2025, 7, 5)), beside=["brief", "pdf"])
    brief = " ".join((built.path.parent / "brief.txt").read_text(encoding="utf-8").split())
    page = built.path.read_text(encoding="utf-8")
    assert "1 stage was added on Saltgrass." in brief
    assert "1 pick was amended or confirmed: Saltgrass 1H stage 1 ISIP." in brief
    before, now = (len(steps.run_sql(slice_workspace, "FROM stage").frame) - less for less in (1, 0))
    assert f"All records, stages: {now} (before: {before})." in brief
    assert "heelward" not in brief.partition("SINCE 2025-07-05")[2].partition("WELLS")[0]  # same version, same settings
    assert 'class="was"' in page
    assert "On 2025-07-05: " in page and "Since 2025-07-05" in page

    same = steps.run_report(slice_workspace, edition=Edition(against=date(2025, 7, 8)), beside=["brief"])
    told = (same.path.parent / "brief.txt").read_text(encoding="utf-8")
    assert "No file, job, amendment, method or setting changed." in told
    assert "Nothing that the report says has changed." in told
    with pytest.raises(HeelwardError, match="the first is on 2025-07-05"):
        steps.run_report(slice_workspace, edition=Edition(against=date(2025, 7, 4)))


def test_the_day_ends_on_the_workspaces_clock(slice_workspace: Workspace, monkeypatch: pytest.MonkeyPatch) -> None:
    clock = Clock(monkeypatch)
    steps.run_ingest(slice_workspace)
    lake = steps.open_lake(slice_workspace)
    early = versions_as_of(lake, date(2025, 7, 5), "America/Denver")
    clock.at = datetime(2025, 7, 6, 4, 0, tzinfo=UTC)  # still 5 July in Denver, 22:00
    steps.run_measure(slice_workspace)
    assert len(versions_as_of(lake, date(2025, 7, 5), "America/Denver")) > len(early)
    assert versions_as_of(lake, date(2025, 7, 5), "UTC") == early


@pytest.mark.turn
def test_a_quarter_shows_nothing_later(campaign: Campaign) -> None:
    plain = campaign.report.path.read_bytes()
    built = steps.run_report(campaign.workspace, edition=Edition(quarter="2024Q2"), beside=[])
    text = built.path.read_text(encoding="utf-8")
    assert "last quarter 2024Q2" in text
    assert "2024Q2" in text
    part = text[text.index('id="quarter"') : text.index('id="crews-and-designs"')]
    assert "2024Q3" not in part and "2025Q1" not in part
    assert "Fleet hours per stage, 2024Q2" in part
    shutil.rmtree(built.path.parent)
    assert campaign.report.path.read_bytes() == plain  # the plain one lies apart


def test_rows_are_cut_at_the_end_of_the_quarter() -> None:
    days = [date(2024, 6, 30), date(2024, 7, 1), None]
    lines = pl.DataFrame({"well_id": ["a"] * 3, "line": [1, 2, 3], "service_date": days})
    with connect_on({"cost": lines}, quarter="2024Q2") as connection:
        assert connection.sql("SELECT line FROM cost_line ORDER BY line").fetchall() == [(1,), (3,)]
    with connect_on({"cost": lines}) as connection:
        assert connection.sql("SELECT count(*) FROM cost_line").fetchall() == [(3,)]


@pytest.mark.parametrize("table", [CHANGES, QUARTER_MEANS], ids=lambda table: table.name)
def test_fitted_rows_of_a_later_quarter_are_left_out(table: Table) -> None:
    rows = pl.DataFrame({"quarter": ["2024Q2", "2024Q3", None]}).lazy()
    assert until("2024Q2", table, rows).collect()["quarter"].to_list() == ["2024Q2", None]
    assert until(None, table, rows).collect().height == 3


@pytest.mark.parametrize(
    ("asked", "told"),
    [
        ({"quarter": "2024-Q2"}, "--quarter: expected a quarter such as 2025Q2, got '2024-Q2'"),
        ({"as_of": "2025-07-05", "against": "2025-07-05"}, "--against: expected a day before that of --as-of"),
        ({"as_of": "5 July"}, "--as-of: expected a day such as 2025-07-05, got '5 July'"),
        ({"mask": "crews,people"}, "--mask: expected crews, wells, pads, separated by commas; got 'people'"),
    ],
)
def test_a_wrong_word_is_named_with_how_it_is_written(asked: dict[str, str], told: str) -> None:
    with pytest.raises(HeelwardError, match=told.split("(")[0]):
        edition(**asked)


def test_editions_lie_apart() -> None:
    assert edition().name == ""
    assert edition("2025Q2", "2025-07-05", "crews, wells").name == "2025Q2_as_of_2025-07-05_masked"
