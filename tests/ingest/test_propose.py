"""Maps proposed for files that nobody described: thirty layouts, what is asked, and that what is written runs."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from pipeline import steps
from pipeline.commands.init import make_workspace
from pipeline.commands.inspect import inspect
from pipeline.ingest.behaviour import numbers, time_guess
from pipeline.ingest.content import content_of
from pipeline.ingest.draft import Draft, drafts
from pipeline.ingest.names import WellRegistry, folded
from pipeline.ingest.propose import ASKED, SURE
from pipeline.ingest.sniff import sniff_text
from pipeline.schemas import LANDED
from pipeline.schemas.records import TREATMENT
from pipeline.unit_names import read_unit
from pipeline.workspace import open_workspace
from tests.ingest.layouts import Layout, layouts

LAYOUTS = layouts()


def proposed(layout: Layout, folder: Path) -> Draft:
    """Propose a map for a layout's file; no table but its own may come out of it."""
    path = folder / layout.name
    path.write_bytes(layout.data)
    found = drafts(path, content_of(path), WellRegistry(), "UTC", folder / "spool")
    assert [draft.proposal.lands for draft in found] == [layout.lands]
    return found[0]


def judged(layout: Layout, draft: Draft) -> dict[str, str]:
    """Judge each column: right, asked, wrong though asked, missing, or wrong and sure."""
    table = LANDED[layout.lands]
    guesses = {guess.lake: guess for guess in draft.proposal.guesses}
    verdict = {}
    for lake, (heading, factor) in layout.columns.items():
        guess = guesses.get(lake)
        if guess is None:
            verdict[lake] = "missing"
            continue
        channel = tomllib.loads(f"a = {guess.text}")["a"]
        right = guess.heading == heading
        if "unit" in channel and right:
            right = read_unit(channel["unit"], table.unit(lake)).factor == pytest.approx(factor, rel=1e-4)
        asked = guess.confidence == ASKED
        verdict[lake] = ("asked" if asked else "right") if right else "wrong, asked" if asked else "wrong"
    return verdict


@pytest.mark.parametrize("layout", LAYOUTS, ids=lambda layout: layout.name)
def test_every_column_of_a_strange_file_is_right_or_asked(layout: Layout, tmp_path: Path) -> None:
    draft = proposed(layout, tmp_path)
    verdict = judged(layout, draft)
    assert set(verdict.values()) <= {"right", "asked"}, verdict
    asked = {guess.lake for guess in draft.proposal.guesses if guess.confidence == ASKED}
    assert layout.asks <= asked, "what the file does not say must be asked"
    assert draft.shaped is not None, draft.problem
    assert len(draft.proposal.questions) >= len(asked - {"well_id", "stage", "run"})
    if layout.first is not None:
        assert draft.shaped.rows.first is not None
        assert draft.shaped.rows.first.replace(tzinfo=None) == layout.first
        assert draft.shaped.rows.height >= 418
    if layout.well is not None:
        assert [folded(well) for well in draft.shaped.rows.wells] == [folded(layout.well)]
    if layout.number is not None:
        assert list(draft.shaped.rows.numbers) == [layout.number]


def test_values_land_in_the_units_of_the_lake(tmp_path: Path) -> None:
    """Metric, semicolons, decimal commas: what was 6,000 psi in bar is 6,000 psi again."""
    layout = next(layout for layout in LAYOUTS if layout.name == "Wigeon-1_s07.csv")
    draft = proposed(layout, tmp_path)
    assert draft.shaped is not None
    frame = next(iter(draft.shaped.rows.frames()))
    assert frame["slurry_rate_bpm"].max() == pytest.approx(82.0, abs=0.01)
    assert frame["proppant_conc_ppa"].max() == pytest.approx(2.5, abs=0.02)
    assert 6200.0 < float(frame["treating_pressure_psi"].max()) < 6400.0  # type: ignore[arg-type]


def test_a_folder_of_strangers_lands_after_one_command(tmp_path: Path) -> None:
    folder = tmp_path / "team"
    make_workspace(folder)
    names = (
        "BITTERN 3H STG 12.csv",
        "Wigeon-1_s07.csv",
        "Bittern 2H run 1.csv",
        "wells.csv",
        "plugs.xlsx",
        "Teal 1H-Stg05.csv",
    )
    for layout in LAYOUTS:
        if layout.name in names:
            (folder / "landing" / layout.name).write_bytes(layout.data)
    (folder / "landing" / "photo.jpg").write_bytes(bytes(range(256)) * 40)
    workspace = open_workspace(folder)
    text, usable = inspect(workspace, folder / "landing", write=True)
    assert usable
    assert "No table found in 1 file(s): photo.jpg" in text
    assert text.count("written: ") == 6
    assert "A person must decide:" in text
    landed = steps.run_ingest(workspace)
    assert landed.landed == 6
    treatment = steps.open_lake(workspace).scan(TREATMENT).select("well_id", "stage").unique().collect()
    assert sorted(treatment.rows()) == [("bittern-3h", 12), ("teal-1h", 5), ("wigeon-1", 7)]
    again, fine = inspect(workspace, folder / "landing", write=True)
    assert fine is True
    assert "0 kind(s) that none does" in again


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


def test_marks_of_decimals_and_thousands() -> None:
    table = sniff_text(
        b"Time;Pressure\n2023-01-01 00:00:00;1.234,5\n2023-01-01 00:00:01;12.345,6\n2023-01-01 00:00:02;999,1\n"
    )
    assert table is not None
    assert (table.decimal, table.thousands) == (",", ".")
    assert list(numbers(["1.234,5"], ",", ".")) == [1234.5]
    plain = sniff_text(b"Time,Pressure\n2023-01-01 00:00:00,1234.5\n2023-01-01 00:00:01,999.25\n")
    assert plain is not None
    assert (plain.decimal, plain.thousands) == (".", "")


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"\x00" * 4000,
        b"\xff\xd8\xff\xe0" + bytes(range(256)) * 20,
        b"just one line",
        b"a\nb\nc\n",
        b"{}",
        b",,,\n,,,\n",
    ],
)
def test_what_is_no_table_has_none(data: bytes) -> None:
    assert sniff_text(data) is None


def test_a_guess_that_is_sure_says_no_check(tmp_path: Path) -> None:
    layout = next(layout for layout in LAYOUTS if layout.name == "Bittern 2H stage 4.csv")
    draft = proposed(layout, tmp_path)
    for guess in draft.proposal.guesses:
        line = next(line for line in draft.proposal.toml().splitlines() if line.startswith(f"{guess.lake} ="))
        assert ("# check:" in line) == (guess.confidence != SURE)
