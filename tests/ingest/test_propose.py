"""Maps proposed for files that nobody described: thirty layouts, what is asked, and that what is written runs."""

from __future__ import annotations

import time
import tomllib
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import openpyxl
import polars as pl
import pytest

from pipeline import steps
from pipeline.commands.init import make_workspace
from pipeline.commands.inspect import inspect
from pipeline.errors import SetAside
from pipeline.ingest.behaviour import numbers
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
from tests.ingest.strange import found_in, record

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


def test_quoted_thousands_are_numbers(tmp_path: Path) -> None:
    text = record("Time,Treating Pressure (psi),Slurry Rate (bpm)", '2023-03-14 {t},"8,543.2",{r}')
    draft = found_in(text, tmp_path)
    assert draft.shaped is not None
    assert next(iter(draft.shaped.rows.frames()))["treating_pressure_psi"].max() == 8543.2


def test_a_few_cells_that_are_no_times_and_a_footer_do_not_hide_the_record(tmp_path: Path) -> None:
    text = record("Time,Treating Pressure (psi),Slurry Rate (bpm)", "2023-03-14 {t},8000,{r}", 900) + "Total,,\n"
    draft = found_in(text.replace("2023-03-14 00:00:30", "--"), tmp_path)
    assert draft.shaped is not None and draft.shaped.rows.height == 899


def spoilt(rng: np.random.Generator, data: bytes) -> bytes:
    """Return a file cut off, with changed bytes, shuffled lines, another encoding, a block of zeros or huge numbers."""
    how = int(rng.integers(0, 7))
    if how == 0:
        return data[: int(rng.integers(1, len(data)))]
    if how == 1:
        held = bytearray(data)
        for at in rng.integers(0, len(held), 200):
            held[at] = int(rng.integers(0, 256))
        return bytes(held)
    if how == 2:
        lines = data.split(b"\n")
        rng.shuffle(lines)  # type: ignore[arg-type]
        return b"\n".join(lines)
    if how == 3:
        return data.decode("latin-1").encode(str(rng.choice(["utf-16", "utf-32", "utf-8", "cp037"])))
    if how == 4:
        at = int(rng.integers(0, len(data)))
        return data[:at] + b"\x00" * int(rng.integers(1, 5000)) + data[at:]
    if how == 5:
        return data.replace(b".", b"9" * 300, 40)
    return data.replace(b",", bytes(rng.choice([b";", b",,", b'"', b"\t"])))


def spoilt_are_survived(folder: Path, count: int, seed: int) -> None:
    rng = np.random.default_rng(seed)
    for number in range(count):
        layout = LAYOUTS[int(rng.integers(0, len(LAYOUTS)))]
        path = folder / f"{number} {layout.name}"
        path.write_bytes(spoilt(rng, layout.data))
        begin = time.monotonic()
        with suppress(SetAside):
            for draft in drafts(path, content_of(path), WellRegistry(), "UTC", folder / f"spool {number}"):
                tomllib.loads(draft.proposal.toml())
        assert time.monotonic() - begin < 30.0, layout.name
        path.unlink()


def test_spoilt_files_end_in_a_proposal_or_a_reason(tmp_path: Path) -> None:
    spoilt_are_survived(tmp_path, 25, 1)


@pytest.mark.long
def test_many_spoilt_files_end_in_a_proposal_or_a_reason(tmp_path: Path) -> None:
    spoilt_are_survived(tmp_path, 1000, 2)


def test_columns_aligned_with_spaces_are_read(tmp_path: Path) -> None:
    """A print file: a title, headings of two words, units, and numbers aligned to the right; one column has a gap."""
    head = ["Anna 1H  treatment report", ""]
    head += [f"{'Date Time':<21}{'Treating Pressure':>19}{'Slurry Rate':>13}{'Prop Conc':>11}",
             f"{'':<21}{'psi':>19}{'bpm':>13}{'ppa':>11}"]  # fmt: skip
    rows = [
        f"{datetime(2024, 3, 1, 12, at // 60, at % 60):%Y-%m-%d %H:%M:%S}  {5000 + at:>19.1f}{60 + at % 7:>13.2f}{1.5:>11.2f}"
        for at in range(300)
    ]
    draft = found_in("\r\n".join(head + rows) + "\r\n", tmp_path, "Anna 1H stage 4.prn")
    assert draft.shaped is not None and draft.source is not None, draft.problem
    frame = pl.concat(draft.shaped.rows.frames())
    assert draft.source.delimiter == "spaces" and frame.height == 300
    assert frame["treating_pressure_psi"].to_list() == [5000.0 + at for at in range(300)]
    assert frame["slurry_rate_bpm"][5] == 65.0 and frame["proppant_conc_ppa"].max() == 1.5
    assert frame["source_row"][0] == 5 and frame["time"][299] == datetime(2024, 3, 1, 12, 4, 59, tzinfo=UTC)


def test_descriptions_of_las_curves_are_read(tmp_path: Path) -> None:
    rows = "\n".join(f"{i:10.1f} {50.0 + 0.01 * (i % 9):9.3f} {12.5:9.3f} {12.1:9.3f}" for i in range(400))
    text = (
        "~Version\nVERS. 2.0 :\nWRAP. NO :\n~Well\nSTRT.S 0 :\nSTOP.S 399 :\nSTEP.S 1 :\nNULL. -999.25 :\n"
        "WELL. Teal 1H : well\n~Curve\nETIM.S : elapsed time\nTPRS.MPA : Treating pressure\nSRAT.M3/MIN : Slurry rate\n"
        f"CRAT.M3/MIN : Clean rate\n~ASCII\n{rows}\n"
    )
    draft = found_in(text, tmp_path, "Teal 1H stage 3.las")
    found = {guess.lake: guess.heading for guess in draft.proposal.guesses}
    assert found["treating_pressure_psi"] == "TPRS" and found["slurry_rate_bpm"] == "SRAT"
    assert found["clean_rate_bpm"] == "CRAT"


def test_a_row_of_totals_is_not_taken_for_the_first_row(tmp_path: Path) -> None:
    rows = [f'Teal 1H,2025-03-{n:02d},Frac,Oak,"{n},000.00",USD' for n in range(1, 13)]
    text = "\n".join(["Well,Date,Category,Vendor,Amount,Currency", *rows, 'Total,,,,"78,000.00",', ""])
    table = sniff_text(text.encode())
    assert table is not None and (table.header_row, table.first_row) == (1, 2)
    assert found_in(text, tmp_path, "cost.csv").proposal.lands == "cost"


def test_names_and_values_above_a_table_of_a_sheet_are_read_as_lines(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    for cells in (["Treatment report"], ["Well:", "Teal 1H"], ["Stage:", 5], ["Remarks:", "none"], []):
        sheet.append(cells)
    sheet.append(["Time", "Treating Pressure", "Slurry Rate", "Prop Conc"])
    sheet.append(["", "psi", "bpm", "ppa"])
    for i in range(400):
        sheet.append([f"2025-03-04 10:{i // 60:02d}:{i % 60:02d}", 6000 + i % 40, 80, 1.5])
    book.save(tmp_path / "report.xlsx")
    path = tmp_path / "report.xlsx"
    (draft,) = drafts(path, content_of(path), WellRegistry(), "UTC", tmp_path / "spool")
    assert draft.shaped is not None, draft.problem
    assert (set(draft.shaped.rows.wells), set(draft.shaped.rows.numbers)) == ({"teal-1h"}, {5})
