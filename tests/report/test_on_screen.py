"""What a query prints on a terminal of 80 columns: whole columns, numbers to the right, and how to get the rest."""

from __future__ import annotations

import json

import polars as pl
import pytest
from typer.testing import CliRunner

from pipeline.cli import app
from pipeline.errors import HeelwardError
from pipeline.queries import Answer, load, names
from pipeline.report.export import MOST_CHARACTERS, show
from pipeline.workspace import Workspace


@pytest.fixture
def answer() -> Answer:
    frame = pl.DataFrame(
        {
            "pad": ["Heron", None],
            "stage": [1, 12],
            "isip_psi": [4510.25, 312.0],
            "reason": ["x" * 50, "\x1b[31mred"],
            "note": ["n" * 30] * 2,
        }
    )
    query = load("stages")
    return Answer(query, frame, {})


def printed(capsys: pytest.CaptureFixture[str]) -> list[str]:
    return capsys.readouterr().out.splitlines()


def test_columns_that_fit_are_whole_and_the_rest_is_named(
    answer: Answer, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    show(answer)
    lines = printed(capsys)
    assert max(map(len, lines)) <= 80
    row = next(line for line in lines if "Heron" in line)
    assert "4,510" in row and "│     1 │" in row, "numbers stand to the right"
    assert f"{'x' * (MOST_CHARACTERS - 1)}…" in row, "a long text is cut, and says so"
    assert "note" not in "".join(lines[:4]) and any("4 of 5 columns fit here" in line for line in lines)
    assert any("–" in line for line in lines) and not any("\x1b" in line for line in lines)


def test_wide_prints_a_block_per_row_with_every_column(answer: Answer, capsys: pytest.CaptureFixture[str]) -> None:
    show(answer, wide=True)
    lines = printed(capsys)
    assert sum(line.startswith("pad ") for line in lines) == 2 and f"reason    {'x' * 50}" in lines
    assert "note      " + "n" * 30 in lines


def test_columns_are_chosen_by_name(answer: Answer, capsys: pytest.CaptureFixture[str]) -> None:
    show(answer, columns=["note", "stage"])
    lines = printed(capsys)
    head = next(line for line in lines if "note" in line)
    assert head.index("note") < head.index("stage") and "pad" not in "".join(lines[1:])
    with pytest.raises(HeelwardError, match="no column isp; there are: pad, stage"):
        show(answer, columns=["isp"])


def test_every_saved_query_keeps_to_the_width_of_the_terminal(
    measured_slice: Workspace, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    for name in ("stages", "crews_compared", "review_queue"):
        assert name in names()
        given = ["--set", "comparison=frac_crews_pump_time"] if name == "crews_compared" else []
        done = CliRunner().invoke(app, ["query", name, *given, "-w", str(measured_slice.root)])
        assert done.exit_code == 0, done.output
        assert max(len(line) for line in done.output.splitlines()) <= 80, name


def test_json_is_one_object_per_row(measured_slice: Workspace) -> None:
    done = CliRunner().invoke(app, ["query", "stages", "--json", "-w", str(measured_slice.root)])
    rows = [json.loads(line) for line in done.output.splitlines()]
    assert [row["stage"] for row in rows] == [1, 2, 3] and rows[0]["isip_psi"] > 1000
