"""Strange tables of jobs, months and lines: which table they are, their units, words and marks."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import polars as pl
import pytest

from pipeline.ingest.behaviour import time_guess
from pipeline.ingest.propose import ASKED
from tests.ingest.strange import found_in

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


def test_a_table_that_repeats_its_wells_is_none_of_one_row_per_well(tmp_path: Path) -> None:
    rows = [f"Teal {1 + i // 10}H,{i % 10 + 1},{9000},{250000 + i},{5000 + i}" for i in range(20)]
    text = "\n".join(["Well,Stg,Lateral Length (ft),Proppant (lb),Clean Volume (bbl)", *rows, ""])
    assert found_in(text, tmp_path, "summary.csv").proposal.lands in ("reported", "stages")


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
    assert any(question.endswith("charts and models read USD only") for question in draft.proposal.questions)
    draft = found_in(text.replace(";", "|").replace("ARS", "USD"), tmp_path, "cost lines.csv")
    assert not any("currency" in question for question in draft.proposal.questions)


def test_a_cost_ledger_without_an_amount_is_asked_for_it(tmp_path: Path) -> None:
    rows = [f"Teal 1H|2025-01-{day:02d}|Pumping|{day}|AFE {day}|accrued" for day in range(1, 9)]
    draft = found_in("\n".join(["Well|Date|Category|Line|AFE|State", *rows, ""]), tmp_path, "cost.csv")
    assert draft.proposal.lands == "cost"
    assert any(question.startswith("amount: no column is read as the amount") for question in draft.proposal.questions)


def test_dates_and_times_of_a_time_log_are_joined(tmp_path: Path) -> None:
    rows = ["06:00,07:30,Teal,Pumping", "07:30,24:00,Teal,Wireline", "23:30,00:42,Teal,Standby"]
    text = "\n".join(["Date,From,To,Pad,Operation", *(f"2025-03-04,{row}" for row in rows), ""])
    draft = found_in(text, tmp_path, "time log.csv")
    assert draft.proposal.lands == "activity" and draft.shaped is not None, draft.problem
    found = next(iter(draft.shaped.rows.frames()))
    assert [f"{moment:%d %H:%M}" for moment in found["end_time"]] == ["04 07:30", "05 00:00", "05 00:42"]


def test_units_that_cannot_be_read_leave_a_column_out(tmp_path: Path) -> None:
    rows = [f"2025-{month:02d}-01,Teal 1H,500,11.5,12.7" for month in range(1, 8)]
    text = "\n".join(["Month,Well,Oil (m3),Gas (10^3 m3/d),Choke (mm)", *rows, ""])
    draft = found_in(text, tmp_path, "production.csv")
    lakes = {guess.lake for guess in draft.proposal.guesses}
    assert "oil_bbl" in lakes and not {"gas_mcf", "choke_64ths"} & lakes
    assert any("gas_mcf: '10^3 m3/d' of 'Gas (10^3 m3/d)'" in question for question in draft.proposal.questions)
    plain = found_in(text.replace("(mm)", "(64ths)"), tmp_path, "production.csv")
    assert "choke_64ths" in {guess.lake for guess in plain.proposal.guesses}


def test_a_time_log_keeps_its_well(tmp_path: Path) -> None:
    text = "Well,Date,From,To,Activity,Pad\nTeal 1H,2025-03-04,06:00,07:30,Pumping,Teal\nTeal 1H,2025-03-04,07:30,09:00,Wireline,Teal\n"
    assert "well_id" in {guess.lake for guess in found_in(text, tmp_path, "log.csv").proposal.guesses}
