"""The review queue: doubtful picks that move something come first; a confirmed or amended pick leaves it."""

from __future__ import annotations

import shlex
from pathlib import Path
from typing import Any

import polars as pl
import pytest
from typer.testing import CliRunner

from pipeline import queries, steps
from pipeline.cli import app
from pipeline.commands import queue, status
from pipeline.commands.review import amend
from pipeline.errors import HeelwardError
from pipeline.report.typed import in_workspace
from pipeline.units import format_quantity
from pipeline.workspace import Workspace
from tests.builders import query_on
from tests.conftest import Fitted


def tables(stages: list[tuple[float, str]], **more: Any) -> dict[str, pl.DataFrame]:
    """Return one well whose stages have these ISIP gradients and confidences; 10,000 ft of TVD."""
    rows = [
        {"well_id": "a", "stage": n, "isip_gradient_psi_ft": x, "isip_psi": 1e4 * (x - 0.43)}
        for n, (x, _) in enumerate(stages, 1)
    ]
    picks = [
        {"well_id": "a", "level": "stage", "number": n, "pick": "isip", "value": 1e4 * (x - 0.43), "unit": "psi",
         "confidence": sure, "reason": "r", "method": "m", "version": 1, "fingerprint": "f", **more.get(str(n), {})}
        for n, (x, sure) in enumerate(stages, 1)
    ]  # fmt: skip
    return {"stage_metrics": pl.DataFrame(rows), "picks": pl.DataFrame(picks, infer_schema_length=None)}


def test_doubt_times_distance_by_hand() -> None:
    """Five stages, one low and far off: mean 0.82, deviation sqrt(0.002) = 0.04472; the last is 0.08 off: 1.789 of it."""
    found = query_on(
        "review_queue", tables([(0.8, "high"), (0.8, "high"), (0.8, "low"), (0.8, "medium"), (0.9, "low")])
    )
    first = found.row(0, named=True)
    assert (first["number"], first["confidence"], first["place"]) == (5, "low", 1)
    apart, beside = 0.08 / 0.002**0.5, 0.1 / 0.002**0.5  # its neighbours are the two stages before, 0.8 each
    assert first["stands_apart"] == pytest.approx(apart)
    assert first["doubt"] == pytest.approx(1.0 + beside / 6.0)
    assert first["moves"] == pytest.approx(apart / (1.96 * 5**0.5))
    assert first["score"] == pytest.approx(first["doubt"] * (0.2 + apart))
    assert found["number"].to_list()[1] == 3, "of the others the doubtful one comes next"


def test_what_is_amended_or_missing_is_not_in_the_queue() -> None:
    done = {"1": {"amended_value": 3700.0, "amended_reason": "A: looked"}, "2": {"value": None}}
    found = query_on("review_queue", tables([(0.8, "low"), (0.82, "low"), (0.84, "low"), (0.9, "low")], **done))
    assert sorted(found["number"].to_list()) == [3, 4]


def test_the_reported_value_adds_doubt() -> None:
    given = tables([(0.8, "high"), (0.82, "high"), (0.84, "high")])
    reported = pl.DataFrame({"well_id": ["a"], "stage": [2], "isip_psi": [1e4 * (0.82 - 0.43) + 150.0]})
    found = query_on("review_queue", given | {"reported": reported})
    without = query_on("review_queue", given)
    doubt = {row["number"]: row["doubt"] for row in found.to_dicts()}
    before = {row["number"]: row["doubt"] for row in without.to_dicts()}
    assert doubt[2] - before[2] == pytest.approx(1.5 / 6.0) and doubt[1] == before[1]


def test_the_campaigns_planted_trouble_comes_first(fitted: Fitted) -> None:
    """Of the first ten, most are screened out, coarse or covered twice: planted troubles of the picks."""
    rows = queries.run(steps.connect(fitted.workspace), queries.load("review_queue")).frame.head(10)
    assert (rows["confidence"] != "high").sum() >= 8
    assert rows["score"].is_sorted(descending=True) and rows["place"].to_list() == list(range(1, 11))


def test_a_confirmed_pick_leaves_the_queue_and_status_says_what_waits(measured_slice: Workspace) -> None:
    told = queue.queue(measured_slice, 1)
    (command,) = [line for line in told if "confirm:" in line]
    words = shlex.split(command.split("heelward ", 1)[1].replace("YOUR NAME", "A. Reader").replace("REASON", "looked"))
    assert words[0] == "amend"
    done = CliRunner().invoke(app, [*words, "-w", str(measured_slice.root)])
    assert done.exit_code == 0 and "confirmed" in done.output, done.output
    assert "amendments.csv has amendments that are not in the lake yet" in status.describe(measured_slice)
    steps.run_ingest(measured_slice)
    steps.run_measure(measured_slice)
    assert "not in the lake yet" not in status.describe(measured_slice)
    assert queue.queue(measured_slice, 1)[0].split(": ")[0] != told[0].split(": ")[0]
    amended = queries.run_sql(steps.connect(measured_slice), "FROM pick WHERE amended_reason IS NOT NULL").frame.row(
        0, named=True
    )
    assert amended["amended_value"] == amended["value"] and "looked" in amended["amended_reason"]


def test_what_cannot_be_confirmed_is_said(measured_slice: Workspace) -> None:
    who: dict[str, Any] = {"value": None, "time": None, "by": "A", "why": "b", "withdraw": False, "confirm": True}
    with pytest.raises(HeelwardError, match="only --confirm"):
        amend(measured_slice, "Saltgrass 1H", "stage", 1, "isip", **who | {"value": 4000.0})
    missing = queries.run_sql(
        steps.connect(measured_slice), "FROM pick WHERE value IS NULL AND time IS NULL AND level = 'stage'"
    ).frame
    row = missing.row(0, named=True)
    with pytest.raises(HeelwardError, match="to confirm"):
        amend(measured_slice, "Saltgrass 1H", "stage", row["number"], row["pick"], **who)


def test_a_sample_is_the_same_for_the_same_seed_and_measures_what_was_done(measured_slice: Workspace) -> None:
    one, again, other = (queue.audit(measured_slice, 4, seed) for seed in (3, 3, 4))
    assert one == again != other
    with pytest.raises(HeelwardError, match="from 1 to"):
        queue.audit(measured_slice, 10_000, 1)
    amend(measured_slice, "Saltgrass 1H", "stage", 1, "isip", value=4000.0, time=None, by="A", why="b", withdraw=False)
    assert one[-1].startswith("0 of 4 are done") and "is told when all are" in one[-1]
    made = queries.run_sql(steps.connect(measured_slice), "FROM pick WHERE value IS NOT NULL").frame
    others = made.filter(pl.col("pick").is_in(queue.AUDITED), (pl.col("pick") != "isip") | (pl.col("number") != 1))
    for row in others.iter_rows(named=True):
        amend(measured_slice, row["well"], row["level"], row["number"], row["pick"], value=None, time=None, by="A", why="b",
              withdraw=False, confirm=True)  # fmt: skip
    steps.run_ingest(measured_slice)
    steps.run_measure(measured_slice)
    whole = "\n".join(queue.audit(measured_slice, int(one[0].split()[2]), 1))
    value = queries.run_sql(
        steps.connect(measured_slice), "SELECT value FROM pick WHERE pick = 'isip' AND number = 1"
    ).frame.item()
    size = format_quantity(abs(4000.0 - value) / 3, "psi", "field", 3)
    assert f"isip: mean absolute difference of 3 picks {size}" in whole
    by_pick = (
        queries.run(steps.connect(measured_slice), queries.load("amendments_by_pick"))
        .frame.filter(pick="isip")
        .row(0, named=True)
    )
    assert (by_pick["amended"], by_pick["confirmed"]) == (1, 2)
    assert by_pick["mean_size"] == pytest.approx(abs(4000.0 - value)), "a confirmed pick is no difference"


def test_a_hostile_name_is_one_word_of_the_command() -> None:
    row = {"well": "a\"; $(rm -rf x) 'b", "level": "stage", "number": 1, "pick": "isip"}
    for line in queue._typed(row):
        assert row["well"] in shlex.split(line.split("heelward ", 1)[1])
    assert all("-- '-w /etc'" in line for line in queue._typed(row | {"well": "-w /etc"}))


def test_a_command_names_the_workspace_unless_it_is_typed_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "mein team ä"
    folder.mkdir()
    row = {"well": "a", "level": "stage", "number": 1, "pick": "isip"}
    for line in queue._typed(row, in_workspace(folder)):
        words = shlex.split(line.split("heelward ", 1)[1])
        assert words[words.index("-w") + 1] == str(folder)
    monkeypatch.chdir(folder)
    assert in_workspace(folder) == ""
