"""Amendments: an engineer's word counts everywhere, stays, is shown beside the pick, and can be taken back."""

from __future__ import annotations

import shutil
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from pipeline import queries, steps
from pipeline.commands.review import amend, describe
from pipeline.errors import HeelwardError
from pipeline.ingest.amend import FILE, read_moment
from pipeline.metrics.measure import PLUG_METRICS, STAGE_METRICS, WIRELINE_METRICS
from pipeline.metrics.tables import TABLES
from pipeline.picks.catalogue import METHODS, hard_range
from pipeline.schemas.base import meta
from pipeline.schemas.lineage import FINDINGS
from pipeline.schemas.picks import PICKS
from pipeline.workspace import Workspace, open_workspace
from tests.conftest import Fitted


@pytest.fixture
def space(measured_slice: Workspace) -> Workspace:
    return measured_slice


def say(space: Workspace, number: int, pick: str, level: str = "stage", **given: Any) -> str:
    words = {"value": None, "time": None, "by": "A. Reader", "why": "looked again", "withdraw": False} | given
    return amend(space, "SALTGRASS #1H", level, number, pick, **words)


def again(space: Workspace) -> None:
    steps.run_ingest(space)
    steps.run_measure(space)


def stage(space: Workspace, number: int) -> dict[str, Any]:
    rows = steps.open_lake(space).scan(STAGE_METRICS).filter(stage=number).collect()
    return rows.row(0, named=True)


def pick(space: Workspace, name: str, number: int = 2) -> dict[str, Any]:
    rows = steps.open_lake(space).scan(PICKS).filter(level="stage", number=number, pick=name).collect()
    return rows.row(0, named=True)


def test_an_amended_value_counts_in_all_that_follows_and_the_automatic_stays_beside(space: Workspace) -> None:
    before = stage(space, 2)
    say(space, 2, "isip", value=before["isip_psi"] + 200.0)
    again(space)
    after = stage(space, 2)
    assert after["isip_psi"] == pytest.approx(before["isip_psi"] + 200.0)
    assert after["isip_gradient_psi_ft"] > before["isip_gradient_psi_ft"]
    assert stage(space, 3)["plug_differential_psi"] is not None
    row = pick(space, "isip")
    assert row["value"] == pytest.approx(before["isip_psi"])
    assert after["isip_confidence"] == "amended" and before["isip_confidence"] == row["confidence"] != "amended"
    findings = steps.open_lake(space).scan(FINDINGS).filter(path=FILE).collect()
    assert findings.is_empty(), "value or time: the other one is empty"
    assert row["amended_value"] == pytest.approx(before["isip_psi"] + 200.0)
    assert "A. Reader" in row["amended_reason"]
    assert stage(space, 1)["isip_psi"] is not None


def test_a_confirmed_pick_is_not_an_amended_one(space: Workspace) -> None:
    before = pick(space, "isip")
    amend(space, "Saltgrass 1H", "stage", 2, "isip", value=None, time=None, by="A. Reader", why="seen", withdraw=False,
          confirm=True)  # fmt: skip
    again(space)
    assert stage(space, 2)["isip_confidence"] == "confirmed"
    assert pick(space, "isip")["amended_value"] == before["value"]
    state = queries.run(steps.connect(space), queries.load("amendments"), {}).frame["state"]
    assert state.to_list() == ["confirmed"]
    page = describe(space, "Saltgrass 1H", "stage", 2).rpartition("page: ")[2]
    text = Path(page).read_text(encoding="utf-8")
    assert '<em class="provisional">confirmed</em>' in text and "(amended)" not in text


def test_a_confirmed_moment_counts_as_confirmed_too(space: Workspace) -> None:
    amend(space, "Saltgrass 1H", "stage", 2, "shut_in", value=None, time=None, by="A. Reader", why="seen", withdraw=False,
          confirm=True)  # fmt: skip
    again(space)
    counted = queries.run(steps.connect(space), queries.load("amendments_by_pick"), {}).frame
    assert counted.select("pick", "amended", "confirmed").rows() == [("shut_in", 0, 1)]


def test_an_amended_shut_in_moves_volumes_and_isip(space: Workspace) -> None:
    before = stage(space, 2)
    earlier = before["end_time"].timestamp() - 120.0
    say(space, 2, "shut_in", time=datetime.fromtimestamp(earlier, UTC).isoformat())
    again(space)
    after = stage(space, 2)
    assert (before["end_time"] - after["end_time"]).total_seconds() == pytest.approx(120.0)
    assert after["clean_bbl"] < before["clean_bbl"] - 50.0
    assert after["pump_time_min"] < before["pump_time_min"]


def test_it_survives_landing_again_and_a_lake_made_anew(space: Workspace) -> None:
    say(space, 2, "isip", value=3333.0)
    again(space)
    file = next((space.root / "landing" / "treatment" / "larkspoke").glob("*02.csv"))
    lines = file.read_text(encoding="utf-8").splitlines(keepends=True)
    file.write_text("".join(lines[:-3]), encoding="utf-8")
    again(space)
    assert stage(space, 2)["isip_psi"] == 3333.0
    import shutil

    shutil.rmtree(space.lake)
    again(space)
    assert stage(space, 2)["isip_psi"] == 3333.0


def test_it_survives_a_new_method_version(space: Workspace, monkeypatch: pytest.MonkeyPatch) -> None:
    from dataclasses import replace

    from pipeline.metrics import measure

    say(space, 2, "isip", value=3333.0)
    again(space)
    newer = {name: replace(method, version=method.version + 1) for name, method in measure.METHODS.items()}
    monkeypatch.setattr(measure, "METHODS", newer)
    measured = steps.run_measure(space)
    assert measured.wells == 1  # the new version made the well stale
    assert stage(space, 2)["isip_psi"] == 3333.0


def test_the_latest_word_counts_and_a_withdrawal_takes_it_back(space: Workspace) -> None:
    before = stage(space, 2)["isip_psi"]
    say(space, 2, "isip", value=3333.0)
    say(space, 2, "isip", value=3300.0)
    again(space)
    assert stage(space, 2)["isip_psi"] == 3300.0
    say(space, 2, "isip", withdraw=True)
    again(space)
    assert stage(space, 2)["isip_psi"] == pytest.approx(before)
    assert pick(space, "isip")["amended_reason"] is None


def test_a_plug_can_be_amended_too(space: Workspace) -> None:
    say(space, 2, "mill_min", level="plug", value=7.5)
    again(space)
    plugs = steps.open_lake(space).scan(PLUG_METRICS).filter(plug=2).collect()
    assert plugs["mill_min"].to_list() == [7.5]


def test_the_report_counts_amendments_and_says_how_far_they_lie(space: Workspace) -> None:
    say(space, 2, "isip", value=stage(space, 2)["isip_psi"] + 50.0)
    steps.refresh(space)
    by_pick = steps.run_query(space, "amendments_by_pick", {}).frame
    assert by_pick.select("pick", "amended").rows() == [("isip", 1)]
    assert by_pick["mean_size"][0] == pytest.approx(50.0)
    text = (space.out / "report.html").read_text(encoding="utf-8")
    assert "looked again" in text
    assert "(amended)" in (space.out / "audit" / "saltgrass-1h" / "2.svg").read_text(encoding="utf-8")
    assert "-> " in describe(space, "Saltgrass 1H", "stage", 2)


@pytest.mark.parametrize(
    ("number", "name", "given", "words"),
    [
        (2, "isipp", {"value": 1.0}, "it has: ball_seat"),
        (9, "isip", {"value": 1.0}, "stage 9 of saltgrass-1h has no measurements"),
        (2, "isip", {}, "--value or --time"),
        (2, "isip", {"value": 1.0, "withdraw": True}, "or only --withdraw"),
        (2, "isip", {"time": "yesterday"}, "--time: expected a time"),
        (2, "isip", {"value": 1.0, "by": "=cmd()"}, "--by must be one line of text"),
        (2, "isip", {"value": 1.0, "why": " "}, "--why must be one line of text"),
        (2, "isip", {"value": 1.0, "why": "hammer\x07faded"}, "without control characters"),
        (2, "isip", {"value": 1.0, "why": "two\nlines"}, "--why must be one line of text"),
        (2, "isip", {"value": 1.0, "by": "A.\u202eRed"}, "--by must be one line of text"),
        (2, "isip", {"value": 1.0, "by": "＝cmd()"}, "--by must be one line of text"),
        (2, "isip", {"value": 1.0, "why": "x" * 1001}, "at most 1000 characters"),
        (2, "isip", {"value": float("nan")}, "isip must be within 0 to 20000 psi, got nan"),
        (2, "isip", {"value": float("inf")}, "isip must be within 0 to 20000 psi, got inf"),
        (2, "isip", {"value": -5.0}, "isip must be within 0 to 20000 psi, got -5"),
        (2, "isip", {"value": 999_999.0}, "isip must be within 0 to 20000 psi"),
        (2, "drag_reduction", {"value": 1.5}, "drag_reduction must be within 0 to 1 ratio"),
        (2, "isip", {"time": "9999-12-31 23:59:59"}, "--time"),
        (2, "isip", {"time": "1999-12-31 23:59:59"}, "is outside the record"),
        (2, "shut_in", {"time": "2023-07-10 08:00:00"}, r"write \+00:00 after a time in UTC"),
        (2, "sweeps", {"time": "2023-07-10 00:30:00+00:00"}, "sweeps is a number: give --value"),
        (2, "shut_in", {"value": 1.0}, "shut_in is a moment: give --time"),
    ],
)
def test_mistakes_are_named_and_nothing_is_written(
    space: Workspace, number: int, name: str, given: dict[str, Any], words: str
) -> None:
    with pytest.raises(HeelwardError, match=words):
        say(space, number, name, **given)
    assert not (space.root / FILE).exists()


def test_a_hand_written_file_lands_like_any_other(space: Workspace) -> None:
    (space.root / FILE).write_text(
        "well,level,number,pick,value,time,by,at,why,withdrawn\nNowhere 1H,stage,2,isip,1,,X,2025-01-01 00:00:00,y,no\n",
        encoding="utf-8",
    )
    aside = steps.run_ingest(space).set_aside
    assert aside[0][0] == FILE
    assert "is unknown" in aside[0][1].reason


def test_times_without_an_offset_are_on_the_pads_clock() -> None:
    assert read_moment("2025-07-01 06:00:00", "America/Denver") == datetime(2025, 7, 1, 12, tzinfo=UTC)
    assert read_moment("2025-07-01T06:00:00+00:00", "America/Denver") == datetime(2025, 7, 1, 6, tzinfo=UTC)


def test_committed_slice_has_no_amendments() -> None:
    from pipeline import resources

    assert not (Path(resources.folder("sample_lake")) / FILE).exists()


def test_twelve_amendments_at_once_are_all_kept(space: Workspace) -> None:
    before = stage(space, 2)["isip_psi"]
    with ThreadPoolExecutor(12) as pool:
        list(pool.map(lambda k: say(space, 2, "isip", value=before + k), range(12)))
    rows = (space.root / FILE).read_text(encoding="utf-8").splitlines()
    assert len(rows) == 13
    assert len({row.split(",")[7] for row in rows}) == 13  # each has its own moment
    assert not list(space.root.glob(".*.part"))


def test_a_word_that_came_by_hand_and_cannot_be_counts_for_nothing_and_is_said(space: Workspace) -> None:
    before = stage(space, 2)["isip_psi"]
    head = "well,level,number,pick,value,time,by,at,why,withdrawn\n"
    rows = "".join(
        f"Saltgrass 1H,stage,2,isip,{value},,X,2025-01-01 00:00:0{n},y,no\n"
        for n, value in enumerate((99999, "nan", -5))
    )
    (space.root / FILE).write_text(head + rows, encoding="utf-8")
    again(space)
    assert stage(space, 2)["isip_psi"] == pytest.approx(before)
    found = steps.open_lake(space).scan(FINDINGS).filter(kind="amendment_ignored").collect()["message"].sort().to_list()
    assert len(found) == 3
    assert "isip must be within 0 to 20000 psi, got -5" in found[0]


def test_a_file_of_amendments_that_cannot_be_read_is_named_and_kept(space: Workspace) -> None:
    (space.root / FILE).write_text("well,level\nx,y\n", encoding="utf-8")
    with pytest.raises(HeelwardError, match="every row needs a UTC time in the column 'at'"):
        say(space, 2, "isip", value=3333.0)
    assert (space.root / FILE).read_text(encoding="utf-8") == "well,level\nx,y\n"


def test_every_pick_has_a_range() -> None:
    for name in METHODS:
        low, high = hard_range(name)
        assert low < high


def test_a_pump_down_is_amended_like_any_pick(fitted: Fitted, tmp_path: Path) -> None:
    """Its end is moved two minutes back: minutes and barrels follow, the automatic times stay beside."""
    copied = tmp_path / "space"
    shutil.copytree(fitted.workspace.root, copied, ignore=shutil.ignore_patterns("out"))
    space = open_workspace(copied)
    rows = steps.open_lake(space).scan(WIRELINE_METRICS).filter(pl.col("basis") == "pump record").collect()
    before = rows.row(0, named=True)

    def picked() -> dict[str, Any]:
        rows = steps.open_lake(space).scan(PICKS).filter(level="wireline", well_id=before["well_id"])
        return rows.filter(number=before["run"], pick="pump_down_end").collect().row(0, named=True)

    end = picked()["time"]
    well = before["well_id"]
    moved = (end - timedelta(minutes=2)).isoformat()
    words = {"by": "A. Reader", "why": "the pumps idled", "withdraw": False}
    amend(space, well, "wireline", before["run"], "pump_down_end", value=None, time=moved, **words)
    again(space)
    after = steps.open_lake(space).scan(WIRELINE_METRICS).filter(well_id=before["well_id"], run=before["run"]).collect()
    assert after["pump_down_min"][0] == pytest.approx(before["pump_down_min"] - 2.0, abs=0.05)
    assert after["pump_down_bbl"][0] < before["pump_down_bbl"] - 20.0
    kept = picked()
    assert (kept["time"], kept["amended_time"]) == (end, end - timedelta(minutes=2))


def test_a_value_outside_the_usual_range_is_recorded_with_a_warning(space: Workspace) -> None:
    assert "warning: outside the usual 0 to 12500 psi" in say(space, 2, "isip", value=14_000.0)
    assert "warning" not in say(space, 2, "isip", value=6_000.0)


def test_who_amended_stands_only_where_a_masked_report_withholds_it(space: Workspace) -> None:
    """Every pick of a stage, plugs and a run is amended or confirmed; no reason of a missing metric names anybody."""
    picks = steps.open_lake(space).scan(PICKS).filter(pl.col("number") <= 3).collect()
    for row in picks.iter_rows(named=True):
        if row["value"] is not None or row["time"] is not None:
            moment = row["time"].isoformat() if row["value"] is None else None
            say(space, row["number"], row["pick"], row["level"], value=row["value"], time=moment, why="told by Zebulon")
    again(space)
    lake = steps.open_lake(space)
    amended = lake.scan(PICKS).filter(pl.col("amended_reason").is_not_null()).collect()
    assert amended.height > 20 and amended["amended_reason"].str.contains("A. Reader: told by Zebulon").all()
    for table in TABLES.values():
        shown = [
            name for name, column in table.columns.items()
            if column.dtype == pl.String and not meta(column).get("private")
        ]  # fmt: skip
        rows = lake.scan(table).select(shown).collect()
        for name in shown:
            told = rows[name].filter(rows[name].str.contains("Zebulon|Reader"))
            assert told.is_empty(), f"{table.name}.{name}: {told[0]}"
