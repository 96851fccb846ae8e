"""Times of strange files: formats, days and zones, by evidence or asked."""

from __future__ import annotations

import tomllib
from pathlib import Path

import polars as pl
import pytest

from pipeline.commands.init import make_workspace
from pipeline.commands.inspect import inspect
from pipeline.ingest.behaviour import time_guess
from pipeline.ingest.content import content_of
from pipeline.ingest.draft import drafts
from pipeline.ingest.names import WellRegistry
from pipeline.workspace import open_workspace
from tests.ingest.strange import RECORD, found_in, guess_of, record, record_of_rates


def test_day_and_month_are_settled_by_evidence_or_asked() -> None:
    """03/04 alone could be both; a 17 cannot be a month; a heading can say it; steps of one day back cannot be right."""
    alone = time_guess(["03/04/2023 10:00:00", "03/04/2023 10:00:01"], ".")
    assert (
        alone is not None
        and alone.ambiguous
        and {alone.format, alone.other} == {"%d/%m/%Y %H:%M:%S", "%m/%d/%Y %H:%M:%S"}
    )
    seventeen = time_guess(["03/17/2023 10:00:00", "03/17/2023 10:00:01"], ".")
    assert seventeen is not None and (seventeen.format, seventeen.ambiguous) == ("%m/%d/%Y %H:%M:%S", False)
    told = time_guess(["03/04/2023 10:00:00", "03/04/2023 10:00:01"], ".", "TIME MM/DD/YYYY")
    assert told is not None and (told.format, told.ambiguous) == ("%m/%d/%Y %H:%M:%S", False)
    over = time_guess(["31/03/2023 23:59:59", "01/04/2023 00:00:00"], ".")
    assert over is not None and (over.format, over.ambiguous) == ("%d/%m/%Y %H:%M:%S", False)
    steps_on = time_guess(["03/04/2023 23:59:59", "04/04/2023 00:00:00"], ".")
    assert steps_on is not None and (steps_on.format, steps_on.ambiguous) == ("%d/%m/%Y %H:%M:%S", False)
    assert time_guess(["12.5", "13.1"], ".") is None


def test_elapsed_time_has_its_unit_from_its_step() -> None:
    for cells, unit in (
        (["0", "1", "2"], "s"),
        (["0.0000", "0.0167", "0.0333"], "min"),
        (["0", "0.000278", "0.000556"], "hour"),
    ):
        guess = time_guess(cells, ".")
        assert guess is not None
        assert (guess.kind, guess.unit) == ("elapsed", unit)


def test_a_date_whose_clock_was_never_set_is_joined_with_the_time(tmp_path: Path) -> None:
    text = record("Date,Time,Treating Pressure (psi),Slurry Rate (bpm)", "2023-03-14 00:00:00,{t},8000,{r}")
    draft = found_in(text, tmp_path)
    assert draft.shaped is not None and draft.shaped.rows.height == 60
    text = record("Date,Time,Treating Pressure (psi),Slurry Rate (bpm)", "2023-03-14 00:00:00,1899-12-31 {t},8000,{r}")
    native = found_in(text, tmp_path)
    assert native.shaped is not None and native.shaped.rows.height == 60


def test_the_time_that_says_so_is_joined_with_a_date_whose_clock_was_never_set(tmp_path: Path) -> None:
    """A counter that looks like a time of day and stands later in the row is not the time."""
    text = record(
        "Date,Time,Treating Pressure (psi),Slurry Rate (bpm),Counter", "2023-03-14 00:00:00,{t},8000,{r},00:00:07"
    )
    draft = found_in(text, tmp_path)
    assert draft.shaped is not None and draft.shaped.rows.height == 60
    assert "Time" in guess_of(draft, "time") and "Counter" not in guess_of(draft, "time")


def test_times_cut_to_the_minute_are_asked(tmp_path: Path) -> None:
    lines = [f"03/14/2023 01:{i // 60:02d} PM,8000,80" for i in range(180)]
    draft = found_in("\n".join(["Time,Treating Pressure (psi),Slurry Rate (bpm)", *lines]) + "\n", tmp_path)
    assert any("repeat the time of the row before" in question for question in draft.proposal.questions)


def test_elapsed_hours_minutes_and_seconds_count_from_the_start(tmp_path: Path) -> None:
    text = "Start Time: 03/14/2023 13:05:20\n\n" + record(
        "Elapsed,Treating Pressure (psi),Slurry Rate (bpm)", "{t},8000,{r}"
    )
    draft = found_in(text, tmp_path)
    assert draft.shaped is not None and draft.shaped.rows.first is not None
    assert f"{draft.shaped.rows.first:%Y-%m-%d %H:%M:%S}" == "2023-03-14 13:05:20"


@pytest.mark.parametrize(
    ("cell", "first"),
    [("{serial:.8f}", "2023-03-14 00:00:00"), ("{epoch}", "2023-03-14 00:00:00"), ("20230314 {hms}", "2023-03-14 00:00:00"),
     ("2023-03-14 {t},500", "2023-03-14 00:00:00")],
)  # fmt: skip
def test_clocks_of_spreadsheets_and_computers(tmp_path: Path, cell: str, first: str) -> None:
    mark = ";" if "," in cell else ","
    lines = []
    for i in range(60):
        clock = f"00:00:{i:02d}"
        written = cell.format(serial=44999.0 + i / 86400.0, epoch=1678752000 + i, hms=clock.replace(":", ""), t=clock)
        lines.append(mark.join((written, "8000", "80")))
    heading = mark.join(("Time", "Treating Pressure (psi)", "Slurry Rate (bpm)"))
    draft = found_in("\n".join([heading, *lines]) + "\n", tmp_path)
    assert draft.shaped is not None, draft.problem
    assert draft.shaped.rows.first is not None and draft.shaped.rows.height == 60
    assert f"{draft.shaped.rows.first:%Y-%m-%d %H:%M:%S}" == first


def test_a_clock_without_a_zone_is_that_of_the_wells_table(tmp_path: Path) -> None:
    folder = tmp_path / "team"
    make_workspace(folder)
    landing = folder / "landing"
    (landing / "wells.csv").write_text("Well,Pad,Time zone\nTeal 1H,Teal,America/Denver\n")
    (landing / "Teal 1H stage 3.csv").write_text(record_of_rates("Proppant Conc (ppa)", [1.0] * 400, [67.0] * 400))
    text, usable = inspect(open_workspace(folder), landing, write=True)
    assert usable, text
    assert 'the local time of the wells table is assumed ("pad")' in text
    (record,) = (path for path in (folder / "maps").glob("*.toml") if "treatment" in path.name)
    assert tomllib.loads(record.read_text())["columns"]["time"]["zone"] == "pad"


@pytest.mark.parametrize(
    ("head", "name", "start"),
    [
        ("", "Teal 1H stage 3 2025-03-04.csv", "2025-03-04 10:00:00"),
        ("", "20250304 Teal 1H stage 3.csv", "2025-03-04 10:00:00"),
        ("START: Jun 02, 2025 09:00\n", "Teal 1H stage 3.csv", "2025-06-02 10:00:00"),
    ],
)
def test_the_day_of_a_record_is_read_from_its_name_or_the_lines_above(
    tmp_path: Path, head: str, name: str, start: str
) -> None:
    draft = found_in(head + RECORD.replace("2024-03-05 ", ""), tmp_path, name)
    assert draft.shaped is not None and draft.shaped.rows.first is not None
    assert f"{draft.shaped.rows.first:%Y-%m-%d %H:%M:%S}" == start


@pytest.mark.parametrize(
    ("head", "heading", "zone"),
    [
        ("Time zone: UTC+5\n", "Time", "Etc/GMT-5"),
        ("Huso horario: GMT -03\n", "Time", "Etc/GMT+3"),
        ("", "timestamp_utc", "UTC"),
    ],
)
def test_the_zone_that_a_file_says_is_taken(tmp_path: Path, head: str, heading: str, zone: str) -> None:
    draft = found_in(head + RECORD.replace("Time,", f"{heading},", 1), tmp_path, "Teal 1H stage 3.csv")
    assert tomllib.loads(f"a = {guess_of(draft, 'time')}")["a"]["zone"] == zone
    assert not any("is assumed" in question for question in draft.proposal.questions)


def test_an_hour_that_comes_twice_is_read_in_the_zone_of_the_wells(tmp_path: Path) -> None:
    names = WellRegistry()
    names.learn(
        pl.DataFrame(
            [
                {
                    "well_id": "teal-1h",
                    "well_name": "Teal 1H",
                    "aliases": None,
                    "stub": False,
                    "time_zone": "America/Chicago",
                    "stage_count": None,
                    "rotary_table_ft": None,
                }
            ]
        )
    )
    rows = [f"2025-11-02 01:{i // 60:02d}:{i % 60:02d},{6000 + i % 40},80,1.5" for i in range(3600)]
    again = [row.replace(",80,", ",70,") for row in rows]
    path = tmp_path / "Teal 1H stage 3.csv"
    path.write_text("\n".join(["Time,Treating Pressure (psi),Slurry Rate (bpm),Prop Conc (ppa)", *rows, *again, ""]))
    (draft,) = drafts(path, content_of(path), names, "UTC", tmp_path / "spool")
    assert draft.shaped is not None and draft.shaped.rows.height == 7200
