"""Maps proposed for files that nobody described: thirty layouts, what is asked, and that what is written runs."""

from __future__ import annotations

import gzip
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
from pipeline.ingest.behaviour import numbers, time_guess
from pipeline.ingest.content import content_of
from pipeline.ingest.draft import Draft, drafts, grouped
from pipeline.ingest.names import WellRegistry, folded
from pipeline.ingest.propose import ASKED, LIKELY, SURE
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


def found_in(text: str, folder: Path, name: str = "Anna 1H stage 4.csv") -> Draft:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    (draft,) = drafts(path, content_of(path), WellRegistry(), "UTC", folder / "spool")
    return draft


def record(heading: str, row: str, count: int = 60) -> str:
    """Rows in which {t} counts seconds and {i} rows."""
    lines = [
        row.format(t=f"{i // 3600:02d}:{i // 60 % 60:02d}:{i % 60:02d}", i=i, r=80.0 + i % 3) for i in range(count)
    ]
    return "\n".join([heading, *lines]) + "\n"


def guess_of(draft: Draft, lake: str) -> str:
    return next(guess.text for guess in draft.proposal.guesses if guess.lake == lake)


def test_rates_in_two_units_are_never_exchanged(tmp_path: Path) -> None:
    text = record(
        "Time,Treating Pressure (psi),Slurry Rate (bpm),Clean Rate (gpm),Prop Conc (ppa)",
        "2023-03-14 {t},8000,{r},3210,1.5",
    )
    draft = found_in(text, tmp_path)
    assert "Slurry Rate" in guess_of(draft, "slurry_rate_bpm") and "Clean Rate" in guess_of(draft, "clean_rate_bpm")


def test_a_clean_rate_above_the_slurry_rate_is_asked(tmp_path: Path) -> None:
    text = record(
        "Time,Treating Pressure (psi),Slurry Rate (bpm),Clean Rate (bpm),Prop Conc (ppa)",
        "2023-03-14 {t},8000,60,{r},1.5",
    )
    draft = found_in(text, tmp_path)
    assert any("is 'Slurry Rate (bpm)' the slurry rate" in question for question in draft.proposal.questions)


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


def test_rates_are_asked_too_where_the_unit_of_the_pressure_is_unusual(tmp_path: Path) -> None:
    """60 for psi is unusual, and 12 for bbl/min could be cubic metres."""
    text = record("Time,Treating Pressure (psi),Slurry Rate (bpm)", "2023-03-14 {t},60,12")
    asked = found_in(text, tmp_path).proposal.questions
    assert any("slurry_rate_bpm" in one and "or in m3/min?" in one for one in asked), asked


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


def test_wells_and_stages_in_columns_are_read(tmp_path: Path) -> None:
    lines = [
        f"Condor {1 + i // 60}H,{5 + i // 30 % 2},2023-03-{14 + i // 60} 13:{i % 60:02d}:20,8000,80" for i in range(120)
    ]
    text = "\n".join(["Well,Stage,Time (UTC),Surf Press (psi),Slry Rate (bpm)", *lines]) + "\n"
    draft = found_in(text, tmp_path, "zipper.csv")
    assert draft.shaped is not None
    assert {str(well) for well in draft.shaped.rows.wells} == {"condor-1h", "condor-2h"}
    assert set(draft.shaped.rows.numbers) == {5, 6}
    assert 'zone = "UTC"' in guess_of(draft, "time")
    assert not any("another zone" in question for question in draft.proposal.questions)


def test_quoted_thousands_are_numbers(tmp_path: Path) -> None:
    text = record("Time,Treating Pressure (psi),Slurry Rate (bpm)", '2023-03-14 {t},"8,543.2",{r}')
    draft = found_in(text, tmp_path)
    assert draft.shaped is not None
    assert next(iter(draft.shaped.rows.frames()))["treating_pressure_psi"].max() == 8543.2


def test_a_record_without_pressure_asks_for_it(tmp_path: Path) -> None:
    text = record("Time,Slurry Rate (bpm),Prop Conc (ppa)", "2023-03-14 {t},{r},1.5")
    draft = found_in(text, tmp_path)
    assert any(question.startswith("treating_pressure_psi: no column") for question in draft.proposal.questions)


def test_a_depth_that_only_grows_is_no_total(tmp_path: Path) -> None:
    text = record("Time,CT Depth (ft),CT Weight (lbf),Pump Rate (bpm)", "2023-03-14 {t},{i},12000,2.5")
    draft = found_in(text, tmp_path, "Anna 1H run 1.csv")
    assert draft.proposal.lands == "coil"


def test_a_few_cells_that_are_no_times_and_a_footer_do_not_hide_the_record(tmp_path: Path) -> None:
    text = record("Time,Treating Pressure (psi),Slurry Rate (bpm)", "2023-03-14 {t},8000,{r}", 900) + "Total,,\n"
    draft = found_in(text.replace("2023-03-14 00:00:30", "--"), tmp_path)
    assert draft.shaped is not None and draft.shaped.rows.height == 899


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


LOG = "Pad,Start,End,Activity,Kind,Comment\n" + "\n".join(
    f"Heron,{day:02d}/03/2024 06:05:07 a. m.,{day:02d}/03/2024 06:45:00 p. m.,{activity},{kind},x"
    for day, (activity, kind) in enumerate(
        [("Frac Stage", "LTI"), ("Waiting on weather", ""), ("NPT - pump repair", "first-aid case"), ("CT millout", ""),
         ("Safety meeting", "odd"), ("Wireline run", ""), ("pumping", "Near Miss")] * 3, start=1)
)  # fmt: skip


def test_words_of_a_time_log_are_translated_and_the_rest_is_asked(tmp_path: Path) -> None:
    draft = found_in(LOG, tmp_path, "time log.csv")
    assert draft.shaped is not None and draft.source is not None, draft.problem
    frame = pl.concat(draft.shaped.rows.frames()).sort("start_time")
    assert frame["activity"].to_list()[:6] == ["pumping", "standby", "NPT", "coil", "wireline", "pumping"]
    assert frame["start_time"][0] == datetime(2024, 3, 1, 6, 5, 7, tzinfo=UTC)
    assert frame["end_time"][0] == datetime(2024, 3, 1, 18, 45, tzinfo=UTC)
    assert frame.height == 18 and draft.source.not_rows == {"Activity": ["Safety meeting"]}
    (asked,) = [question for question in draft.proposal.questions if question.startswith("activity")]
    assert '"Safety meeting"' in asked and "left out until then" in asked
    assert any("3 of 21 row(s) are left out" in finding.message for finding in draft.shaped.findings)


def test_a_table_of_casing_lands_with_what_it_does_not_say_asked(tmp_path: Path) -> None:
    """Production casing of two wells: OD and ID in inches, shoe depths in feet."""
    text = (
        "Well Name,Casing OD (in),Casing ID (in),Shoe Depth MD (ft)\nTeal 1H,5.5,4.67,18250\nTeal 2H,5.5,4.778,17980\n"
    )
    draft = found_in(text, tmp_path, "casing.csv")
    assert draft.shaped is not None and draft.source is not None, draft.problem
    assert draft.source.lands == "strings"
    rows = pl.concat(draft.shaped.rows.frames()).sort("well_id").to_dicts()
    found = [
        (row["string"], row["section"], row["outside_diameter_in"], row["inside_diameter_in"], row["bottom_md_ft"])
        for row in rows
    ]
    assert found == [("casing", 1, 5.5, 4.67, 18250.0), ("casing", 1, 5.5, 4.778, 17980.0)]
    assert any(question.startswith("string") for question in draft.proposal.questions)


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


@pytest.mark.parametrize("heading", ["Date", "Time", "Month"])
def test_months_without_a_day_do_not_keep_a_table_from_a_proposal(heading: str, tmp_path: Path) -> None:
    text = f"Well,{heading},Oil (bbl),Days On\n" + "".join(
        f"Teal {1 + n // 12}H,2023-{1 + n % 12:02d},{900 + n},30\n" for n in range(24)
    )
    draft = found_in(text, tmp_path, "production.csv")
    assert draft.source is not None and draft.source.lands == "production", draft.problem


def test_numbers_that_are_no_months_are_none(tmp_path: Path) -> None:
    assert (
        time_guess([str(10001 + n) for n in range(20)], ".") is None
        or time_guess([str(10001 + n) for n in range(20)], ".").kind != "month"
    )  # type: ignore[union-attr]
    found = time_guess([f"20230{1 + n % 9}" for n in range(9)], ".")
    assert found is not None and (found.kind, found.format) == ("month", "%Y%m")


def test_a_stage_table_is_judged_by_its_own_ranges(tmp_path: Path) -> None:
    """600 lbm in screened-out stages are possible per stage, though not per well."""
    text = "Well,Stage,ISIP (psi),Proppant Placed (lbm)\n" + "".join(
        f"Teal 1H,{n},4500,{600 if n % 3 else 250000}\n" for n in range(1, 13)
    )
    draft = found_in(text, tmp_path, "summary.csv")
    assert draft.source is not None and draft.source.lands == "reported"
    assert not [question for question in draft.proposal.questions if "proppant" in question], draft.proposal.questions


def record_of_rates(heading: str, conc: list[float], clean: list[float]) -> str:
    """A record at 70 bpm of slurry, a row per second."""
    rows = [
        f"2024-03-05 10:{i // 60:02d}:{i % 60:02d},{6000 + i % 40},70,{water:.3f},{sand:.2f}"
        for i, (sand, water) in enumerate(zip(conc, clean, strict=True))
    ]
    return "\n".join([f"Time,Treating Pressure (psi),Slurry Rate (bpm),Clean Rate (bpm),{heading}", *rows, ""])


@pytest.mark.parametrize(
    ("heading", "volume", "confidence", "per"),
    [
        ("Proppant Conc (ppa)", "slurry", SURE, None),  # the unit says it: what the rates say is another question
        ("Proppant Conc (kg/m3)", "clean", LIKELY, None),
        ("Proppant Conc (kg/m3)", "slurry", ASKED, "slurry"),
        ("Proppant Conc (lb/gal)", "", ASKED, None),
    ],
)
def test_what_a_concentration_is_per_volume_of_is_judged_by_the_rates_or_asked(
    tmp_path: Path, heading: str, volume: str, confidence: str, per: str | None
) -> None:
    """Grains of 2,650 kg/m3: 240 kg added to a cubic metre make 1.0906 of slurry; 240 kg in one leave 0.9094."""
    added = [0.0] * 100 + [120.0] * 100 + [240.0] * 300
    share = [1.0 / (1.0 + c / 2650.0) if volume == "clean" else 1.0 - c / 2650.0 for c in added]
    factor = 1.0 if "kg" in heading else 119.826427
    text = record_of_rates(heading, [c / factor for c in added], [70.0 * part if volume else 70.0 for part in share])
    draft = found_in(text, tmp_path, "Teal 1H stage 3.csv")
    guess = next(guess for guess in draft.proposal.guesses if guess.lake == "proppant_conc_ppa")
    assert guess.confidence == confidence
    assert tomllib.loads(f"a = {guess.text}")["a"].get("per") == per
    told = "per volume of clean fluid or of slurry" if volume else "the slurry rate is 0 % above the clean rate"
    asked = [question for question in draft.proposal.questions if told in question]
    assert len(asked) == (confidence == ASKED)


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


def test_a_table_that_repeats_its_wells_is_none_of_one_row_per_well(tmp_path: Path) -> None:
    rows = [f"Teal {1 + i // 10}H,{i % 10 + 1},{9000},{250000 + i},{5000 + i}" for i in range(20)]
    text = "\n".join(["Well,Stg,Lateral Length (ft),Proppant (lb),Clean Volume (bbl)", *rows, ""])
    assert found_in(text, tmp_path, "summary.csv").proposal.lands in ("reported", "stages")


def test_packed_files_and_plain_ones_of_a_layout_share_a_map(tmp_path: Path) -> None:
    text = record_of_rates("Proppant Conc (ppa)", [1.0] * 400, [67.0] * 400)
    for name in ("Teal 1H stage 3.csv", "Teal 1H stage 4.csv"):
        (tmp_path / name).write_text(text)
    for name in ("Teal 1H stage 5.csv.gz", "Teal 1H stage 6.csv.gz"):
        (tmp_path / name).write_bytes(gzip.compress(text.encode()))
    (tmp_path / "other.txt.gz").write_bytes(gzip.compress(b"Well;Pad\nTeal 1H;Teal\nTeal 2H;Teal\n"))
    groups = grouped(tmp_path, sorted(tmp_path.iterdir()))
    assert {(len(group.files), group.patterns) for group in groups} == {
        (4, ("**/*.csv", "**/*.csv.gz")), (1, ("**/*.txt.gz",)),
    }  # fmt: skip


def test_a_well_in_a_remark_above_the_data_is_read(tmp_path: Path) -> None:
    text = record_of_rates("Proppant Conc (ppa)", [1.0] * 400, [67.0] * 400)
    draft = found_in(f"# datos del pozo TQ-1014(h), etapa 7\n{text}", tmp_path, "datos.csv")
    assert draft.shaped is not None
    assert [folded(well) for well in draft.shaped.rows.wells] == [folded("TQ-1014(h)")]
    assert draft.shaped.rows.numbers == {7}


def pumped(headings: str, *columns: float) -> str:
    """A record at rate for ten minutes and shut in for five, with one level per column and phase; the first shut in."""
    at_rate, shut_in = columns[: len(columns) // 2], columns[len(columns) // 2 :]
    rows = []
    for i in range(900):
        level = at_rate if i < 600 else shut_in
        cells = ",".join(f"{value * (1.0 + 0.001 * (i % 5)):.4f}" for value in level)
        rows.append(f"2024-03-05 10:{i // 60:02d}:{i % 60:02d},{cells}")
    return "\n".join([f"Time,{headings}", *rows, ""])


@pytest.mark.parametrize(
    ("headings", "levels", "lake", "heading", "unit", "question"),
    [
        (
            "Treating Pressure (psi),Slurry Rate (bpm),Annulus Pressure (psi)",
            (1010.0, 80.0, 7480.0, 1005.0, 0.0, 4800.0),
            "treating_pressure_psi", "Treating Pressure (psi)", "psi",
            "'Treating Pressure (psi)' does not change with the rate, 'Annulus Pressure (psi)' does",
        ),
        (
            "Tubing Pressure (psi),Casing Pressure (psi),Slurry Rate (bpm)", (900.0, 7480.0, 80.0, 905.0, 4800.0, 0.0),
            "treating_pressure_psi", "Casing Pressure (psi)", "psi", "'Tubing Pressure (psi)' does not change with the rate",
        ),
        (
            "Treating Pressure (psi),Slurry Rate (bpm)", (80.0, 7480.0, 0.0, 4800.0),
            "treating_pressure_psi", "Slurry Rate (bpm)", "psi", "the headings seem to be exchanged",
        ),
        (
            "Treating Pressure (kPa),Slurry Rate (bpm)", (7480.0, 80.0, 4800.0, 0.0),
            "treating_pressure_psi", "Treating Pressure (kPa)", "psi", "at most 1,089 psi at 80.3 bpm is unusual",
        ),
        (
            "Treating Pressure (psi),Slurry Rate (bpm),Prop Conc (kg/m3)", (7480.0, 80.0, 2.0, 4800.0, 0.0, 0.0),
            "proppant_conc_ppa", "Prop Conc (kg/m3)", "ppa", "the unit of 'Prop Conc (kg/m3)': ppa or kg/m3?",
        ),
    ],
)  # fmt: skip
def test_columns_that_do_not_behave_as_their_headings_say_are_asked(
    tmp_path: Path, headings: str, levels: tuple[float, ...], lake: str, heading: str, unit: str, question: str
) -> None:
    draft = found_in(pumped(headings, *levels), tmp_path, "Teal 1H stage 3.csv")
    guess = next(guess for guess in draft.proposal.guesses if guess.lake == lake)
    assert (guess.confidence, guess.heading) == (ASKED, heading)
    assert tomllib.loads(f"a = {guess.text}")["a"]["unit"] == unit
    assert any(question in asked for asked in draft.proposal.questions), draft.proposal.questions


def test_a_concentration_whose_heading_says_of_slurry_is_one(tmp_path: Path) -> None:
    text = pumped(
        "Treating Pressure (psi),Slurry Rate (bpm),Prop Conc per m3 slurry (kg/m3)",
        *(7480.0, 80.0, 240.0, 4800.0, 0.0, 0.0),
    )
    draft = found_in(text, tmp_path, "Teal 1H stage 3.csv")
    assert 'per = "slurry"' in guess_of(draft, "proppant_conc_ppa")


def written(folder: Path, files: dict[str, str]) -> tuple[str, dict[str, dict[str, object]]]:
    """Inspect a folder of files and save the maps: what is said, and the maps by lake table."""
    make_workspace(folder)
    for name, text in files.items():
        (folder / "landing" / name).write_text(text, encoding="utf-8")
    said, _ = inspect(open_workspace(folder), folder / "landing", write=True)
    maps = [tomllib.loads(path.read_text(encoding="utf-8")) for path in (folder / "maps").glob("*.toml")]
    return said, {str(one["lands"]): one for one in maps}


RECORD = record_of_rates("Proppant Conc (ppa)", [1.0] * 400, [67.0] * 400)


def test_files_get_their_stage_from_the_only_number_in_which_their_names_differ(tmp_path: Path) -> None:
    said, maps = written(tmp_path / "team", {"quill6h_x7.csv": RECORD, "quill6h_x8.csv": RECORD.replace("10:", "14:")})
    assert "stage: '7', the only number in which the files' names differ: right?" in said
    assert maps["treatment"]["name_pattern"] == r"^quill\d+h_x(?P<stage>\d+)\.csv$"
    assert "stage" not in maps["treatment"]["columns"]  # type: ignore[operator]


def test_files_that_tell_no_stage_never_get_the_same_one(tmp_path: Path) -> None:
    said, maps = written(tmp_path / "team", {"morning.csv": RECORD, "evening.csv": RECORD.replace("10:", "14:")})
    assert "neither these 2 files nor their names tell it" in said and "treatment" not in maps


def test_a_name_tells_the_well_where_a_line_above_the_data_tells_the_stage(tmp_path: Path) -> None:
    draft = found_in(f"Stage: 6\n{RECORD}", tmp_path, "Heron 1H Stage 6.csv")
    assert draft.shaped is not None
    assert (set(draft.shaped.rows.wells), set(draft.shaped.rows.numbers)) == ({"heron-1h"}, {6})


def test_stages_written_with_a_word_in_a_column_are_read(tmp_path: Path) -> None:
    lines = RECORD.splitlines()
    text = "\n".join(
        [f"{lines[0]},Interval", *(f"{line},Stg#{7 + (i >= 200)}" for i, line in enumerate(lines[1:])), ""]
    )
    draft = found_in(text, tmp_path, "quill 6H.csv")
    assert draft.shaped is not None and set(draft.shaped.rows.numbers) == {7, 8}


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


def test_thousands_marked_by_points_are_told_from_decimals_or_asked(tmp_path: Path) -> None:
    """1.800, 149 and 2.370 are thousands; where all are like 1.800 nothing tells, and it is asked."""
    mixed = "Pozo;Mes;Petróleo (m3);Agua (m3)\nLoma 12(h);01/2025;1.800;149\nLoma 12(h);02/2025;149;2.370\nLoma 12(h);03/2025;1.650;98\n"
    draft = found_in(mixed, tmp_path, "prod.csv")
    assert draft.shaped is not None
    oil = [row["oil_bbl"] for row in next(iter(draft.shaped.rows.frames())).to_dicts()]
    assert oil == pytest.approx([1800 * 6.28981, 149 * 6.28981, 1650 * 6.28981], rel=1e-5)
    same = mixed.replace(";149", ";1.490").replace(";98", ";1.980")
    draft = found_in(same, tmp_path, "prod.csv")
    guess = next(guess for guess in draft.proposal.guesses if guess.lake == "oil_bbl")
    assert (
        guess.confidence == ASKED and "numbers: is '1.800' 1800, or 1.8 with decimals?" in draft.proposal.questions[0]
    )


def test_production_by_day_is_added_by_month(tmp_path: Path) -> None:
    days = [f"2025-{1 + i // 31:02d}-{1 + i % 31:02d},Teal 1H,{100 + i},{900}" for i in range(40)]
    draft = found_in("\n".join(["Date,Well,Oil bbl,Tubing pressure psi", *days, ""]), tmp_path, "daily.csv")
    assert any("the amounts of a month are added" in question for question in draft.proposal.questions)
    assert draft.shaped is not None
    found = next(iter(draft.shaped.rows.frames())).sort("month")
    assert found["oil_bbl"].to_list() == [sum(100 + i for i in range(31)), sum(100 + i for i in range(31, 40))]
    assert found["flowing_pressure_psi"].to_list() in ([900.0, 900.0], [None, None])


def test_cost_lines_are_counted_and_their_currency_is_that_of_the_heading(tmp_path: Path) -> None:
    text = 'Well;Date;Category;Amount (ARS)\nTeal 1H;2025-01-03;Pumping;"$12,500.00"\nTeal 1H;2025-01-04;Water;($2,000.00)\n'
    draft = found_in(text.replace(";", "|"), tmp_path, "cost lines.csv")
    assert draft.shaped is not None, draft.problem
    found = next(iter(draft.shaped.rows.frames()))
    assert found.select("line", "amount", "currency").rows() == [(1, 12500.0, "ARS"), (2, -2000.0, "ARS")]


def test_dates_and_times_of_a_time_log_are_joined(tmp_path: Path) -> None:
    rows = ["06:00,07:30,Teal,Pumping", "07:30,24:00,Teal,Wireline", "23:30,00:42,Teal,Standby"]
    text = "\n".join(["Date,From,To,Pad,Operation", *(f"2025-03-04,{row}" for row in rows), ""])
    draft = found_in(text, tmp_path, "time log.csv")
    assert draft.proposal.lands == "activity" and draft.shaped is not None, draft.problem
    found = next(iter(draft.shaped.rows.frames()))
    assert [f"{moment:%d %H:%M}" for moment in found["end_time"]] == ["04 07:30", "05 00:00", "05 00:42"]


def test_a_record_of_a_wireline_run_is_no_coil_run(tmp_path: Path) -> None:
    rows = [f"2025-03-04 10:{i // 60:02d}:{i % 60:02d},{9000 + i},300,{900 + i % 5},12,3000" for i in range(600)]
    head = "Time,Line Depth (ft),Line Speed (ft/min),Line Tension (lbf),Pump Down Rate (bpm),Pressure (psi)"
    (tmp_path / "Teal 1H PD 3.csv").write_text("\n".join([head, *rows, ""]))
    path = tmp_path / "Teal 1H PD 3.csv"
    with pytest.raises(SetAside, match="the file is a record of a wireline run"):
        drafts(path, content_of(path), WellRegistry(), "UTC", tmp_path / "spool")


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


def test_layouts_with_the_same_names_have_patterns_of_their_own(tmp_path: Path) -> None:
    other = RECORD.replace("(psi)", "(kPa)")
    for name, text in (("Teal 1H stage 3.csv", RECORD), ("Teal 1H stage 4.csv", other), ("Teal 1H stage 5.csv", other)):
        (tmp_path / name).write_text(text)
    groups = grouped(tmp_path, sorted(tmp_path.iterdir()))
    assert sorted(group.patterns for group in groups) == [
        ("Teal 1H stage 3.csv",), ("Teal 1H stage 4.csv", "Teal 1H stage 5.csv"),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("head", "heading"),
    [
        ("Stages are counted from the heel\n", "Stage"),
        ("", "Etapa (contada desde el talón)"),
        ("", "Étape (numérotée depuis le talon)"),
    ],
)
def test_stages_counted_from_the_heel_are_asked_with_the_setting(tmp_path: Path, head: str, heading: str) -> None:
    rows = [f"Teal 1H,{n},{5000 + n},{80}" for n in range(1, 11)]
    path = tmp_path / "stages.csv"
    path.write_text("\n".join([f"{head}Well,{heading},ISIP (psi),Avg Rate (bpm)", *rows, ""]), encoding="utf-8")
    (draft,) = drafts(path, content_of(path), WellRegistry(), "UTC", tmp_path / "spool")
    assert any(line.startswith('stages_numbered_from = "heel"') for line in draft.proposal.settings)
    assert any("counted from the heel?" in question for question in draft.proposal.questions)
    assert "number of stages is unknown" in draft.problem, "it cannot be turned without the well's number of stages"


def test_units_that_cannot_be_read_leave_a_column_out(tmp_path: Path) -> None:
    rows = [f"2025-{month:02d}-01,Teal 1H,500,11.5,12.7" for month in range(1, 8)]
    text = "\n".join(["Month,Well,Oil (m3),Gas (10^3 m3/d),Choke (mm)", *rows, ""])
    draft = found_in(text, tmp_path, "production.csv")
    lakes = {guess.lake for guess in draft.proposal.guesses}
    assert "oil_bbl" in lakes and not {"gas_mcf", "choke_64ths"} & lakes
    assert any("gas_mcf: '10^3 m3/d' of 'Gas (10^3 m3/d)'" in question for question in draft.proposal.questions)
    plain = found_in(text.replace("(mm)", "(64ths)"), tmp_path, "production.csv")
    assert "choke_64ths" in {guess.lake for guess in plain.proposal.guesses}


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


def test_a_time_log_keeps_its_well(tmp_path: Path) -> None:
    text = "Well,Date,From,To,Activity,Pad\nTeal 1H,2025-03-04,06:00,07:30,Pumping,Teal\nTeal 1H,2025-03-04,07:30,09:00,Wireline,Teal\n"
    assert "well_id" in {guess.lake for guess in found_in(text, tmp_path, "log.csv").proposal.guesses}


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
