"""What may not pass the door: rows of another width, words outside a closed list, days and amounts that cannot be."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import polars as pl
import pytest

from pipeline import steps
from pipeline.errors import SetAside
from pipeline.ingest.land import land
from pipeline.lake import Lake
from pipeline.schemas import LANDED
from pipeline.schemas.base import meta
from pipeline.schemas.ledger import ACTIVITY, COST
from pipeline.schemas.lineage import FINDINGS, SOURCES
from pipeline.schemas.records import TREATMENT
from pipeline.schemas.wells import WELLS as WELLS_TABLE
from pipeline.workspace import Workspace
from tests.builders import TREATMENT_MAP, WELLS, WELLS_MAP, record_csv, workspace

COST_MAP = """
name = "cost"
lands = "cost"
files = "tables/cost.csv"
[columns]
well_id = { column = "well" }
line = { column = "line" }
service_date = { column = "date", format = "%Y-%m-%d" }
category = { column = "category" }
state = { column = "state" }
amount = { column = "amount", unit = "ratio" }
"""
ACTIVITY_MAP = """
name = "activity"
lands = "activity"
files = "tables/activity.csv"
[columns]
pad = { column = "pad" }
start_time = { column = "start", format = "%Y-%m-%d %H:%M:%S", zone = "UTC" }
end_time = { column = "end", format = "%Y-%m-%d %H:%M:%S", zone = "UTC" }
activity = { column = "activity" }
"""
COST_HEAD = "well,line,date,category,state,amount\n"
GOOD_COST = "".join(f"Saltgrass 3H,{n},2025-03-01,plugs,accrued,100\n" for n in range(1, 9))


def put_in(folder: Path, **tables: str) -> tuple[Workspace, Lake, list[SetAside]]:
    """Land some tables beside the wells; return what was set aside."""
    maps = {"wells": WELLS_MAP, "records": TREATMENT_MAP, "cost": COST_MAP, "activity": ACTIVITY_MAP}
    files: dict[str, str | bytes] = {"tables/wells.csv": WELLS, "Saltgrass 3H stage 1.csv": record_csv(60)}
    files |= {f"tables/{name}.csv": text for name, text in tables.items()}
    space = workspace(folder, maps, files)
    report = steps.run_ingest(space)
    return space, Lake(space.lake), [aside for _, aside in report.set_aside]


def findings(lake: Lake, kind: str) -> list[str]:
    return lake.scan(FINDINGS).filter(pl.col("kind") == kind).collect()["message"].to_list()


def test_a_wells_row_one_cell_short_is_void_and_shifts_nothing(tmp_path: Path) -> None:
    short = "Heron 1H,H1,Harrow Basin,4\n"  # without counting, basin and stages move to pad and zone
    space, lake, asides = put_in(tmp_path, wells=WELLS + short)
    assert not asides
    assert lake.scan(WELLS_TABLE).collect()["well_id"].to_list() == ["saltgrass-3h"]
    (said,) = findings(lake, "unreadable_rows")
    assert "1 row(s) have 4 fields, the heading has 6: void (lines 3)" in said
    assert steps.run_measure(space).wells == 1


def test_a_map_may_set_a_file_with_ragged_rows_aside(tmp_path: Path) -> None:
    strict = WELLS_MAP.replace('lands = "wells"', 'lands = "wells"\nragged_rows = "set aside"')
    space = workspace(tmp_path, {"wells": strict}, {"tables/wells.csv": WELLS + "Heron 1H,x\n"})
    (aside,) = [aside for _, aside in land(space, Lake(space.lake)).set_aside]
    assert aside.line == 3
    assert "6 fields" in aside.expected


def test_a_file_whose_rows_are_narrower_than_its_heading_is_set_aside(tmp_path: Path) -> None:
    """Read by position it would land without pressure."""
    text = record_csv(200).replace("Time,Pressure,Rate,Conc", "Time,Extra,More,Pressure,Rate,Conc")
    space = workspace(
        tmp_path, {"records": TREATMENT_MAP, "wells": WELLS_MAP},
        {"tables/wells.csv": WELLS, "Saltgrass 3H stage 1.csv": text.replace(",psi,bpm,ppa", ",,,psi,bpm,ppa")},
    )  # fmt: skip
    (aside,) = [aside for _, aside in land(space, Lake(space.lake)).set_aside]
    assert "200 of 200 rows do not match the heading" in aside.reason


def test_fields_beyond_the_heading_may_be_there_if_they_are_empty(tmp_path: Path) -> None:
    text = "\n".join(f"{line}," if index > 1 else line for index, line in enumerate(record_csv(50).splitlines()))
    space = workspace(
        tmp_path, {"records": TREATMENT_MAP, "wells": WELLS_MAP},
        {"tables/wells.csv": WELLS, "Saltgrass 3H stage 1.csv": text + "\n"},
    )  # fmt: skip
    assert not land(space, Lake(space.lake)).set_aside
    assert not findings(Lake(space.lake), "unreadable_rows")


def test_a_doubled_decimal_comma_makes_a_void_row_or_cell_and_no_other_number(tmp_path: Path) -> None:
    comma = TREATMENT_MAP.replace("[columns]", 'delimiter = ";"\ndecimal = ","\n[columns]')
    text = record_csv(400).replace(",", ";").replace(".", ",").replace("5100,0", "5100,,0")
    space = workspace(
        tmp_path, {"records": comma, "wells": WELLS_MAP},
        {"tables/wells.csv": WELLS, "Saltgrass 3H stage 1.csv": text},
    )  # fmt: skip
    assert not land(space, Lake(space.lake)).set_aside
    rows = Lake(space.lake).scan(TREATMENT).collect().sort("time")
    assert rows["treating_pressure_psi"][100] is None
    assert rows["treating_pressure_psi"].drop_nulls().to_list() == [5000.0 + i for i in range(400) if i != 100]
    unquoted = record_csv(400).replace("5100.0", "5100,0")  # a decimal comma between commas: five fields
    space = workspace(
        tmp_path / "b", {"records": TREATMENT_MAP, "wells": WELLS_MAP},
        {"tables/wells.csv": WELLS, "Saltgrass 3H stage 1.csv": unquoted},
    )  # fmt: skip
    assert not land(space, Lake(space.lake)).set_aside
    rows = Lake(space.lake).scan(TREATMENT).collect()
    assert rows.height == 399
    assert rows["slurry_rate_bpm"].unique().to_list() == [40.0]


@pytest.mark.parametrize(
    ("table", "old", "new", "words"),
    [
        ("wells", "America/Denver", "4", "a time zone such as America/Denver"),
        ("wells", "America/Denver", "../etc/passwd", "a time zone"),
        ("cost", "5,2025-03-01,plugs,accrued", "5,2025-03-01,plugs,payed", "one of budget, accrued, invoiced"),
        ("cost", "5,2025-03-01", "5,-2029-03-01", "a date like"),
        ("cost", "5,2025-03-01", "5,0001-03-01", "from 1950-01-01"),
        ("cost", "5,2025-03-01", "5,9999-03-01", "from 1950-01-01"),
        (
            "cost",
            "5,2025-03-01,plugs,accrued,100",
            "5,2025-03-01,plugs,accrued,1e308",
            "outside -10,000,000,000 to 10,000,000,000",
        ),
        ("cost", "5,2025-03-01,plugs,accrued,100", "5,2025-03-01,plugs,accrued,inf", "not a number"),
    ],
)
def test_what_cannot_be_is_void_and_a_finding(tmp_path: Path, table: str, old: str, new: str, words: str) -> None:
    tables = {"wells": WELLS, "cost": COST_HEAD + GOOD_COST}
    if table == "wells":
        tables["wells"] = WELLS + "".join(f"Heron {n}H,,Heron,America/Denver,9,20\n" for n in range(1, 4))
        tables["wells"] = tables["wells"].replace(f"Heron 2H,,Heron,{old}", f"Heron 2H,,Heron,{new}")
    else:
        tables["cost"] = tables["cost"].replace(old, new)
    space, lake, asides = put_in(tmp_path, **tables)
    assert not asides
    said = lake.scan(FINDINGS).filter(pl.col("step") == "ingest").collect()["message"].to_list()
    assert any(words in message for message in said), said
    steps.run_measure(space)
    steps.run_fit(space)
    steps.run_report(space, beside=[])
    if table == "cost":
        assert lake.scan(COST).collect().height == 8


@pytest.mark.parametrize("year", ["0001", "-2029", "9999", "10000", "2190"])
def test_a_time_log_with_an_impossible_year_loses_that_row_only(tmp_path: Path, year: str) -> None:
    rows = [f"Saltgrass,2025-03-0{n} 01:00:00,2025-03-0{n} 02:00:00,standby\n" for n in range(1, 8)]
    rows.append(f"Saltgrass,{year}-03-08 01:00:00,2025-03-08 02:00:00,standby\n")
    space, lake, asides = put_in(tmp_path, activity="pad,start,end,activity\n" + "".join(rows))
    assert not asides
    assert lake.scan(ACTIVITY).collect().height == 7
    assert findings(lake, "not_a_value")
    steps.run_measure(space)
    steps.run_report(space, beside=[])


def test_a_record_from_tomorrow_on_is_refused_and_a_planned_cost_is_not(tmp_path: Path) -> None:
    later = datetime.now(UTC) + timedelta(days=40)
    planned = COST_HEAD + f"Saltgrass 3H,1,{later:%Y-%m-%d},plugs,budget,100\n"
    files: dict[str, str | bytes] = {
        "tables/wells.csv": WELLS, "tables/cost.csv": planned,
        "Saltgrass 3H stage 1.csv": record_csv(60, f"{later:%Y-%m-%d} 12:00:00"),
    }  # fmt: skip
    space = workspace(tmp_path, {"wells": WELLS_MAP, "records": TREATMENT_MAP, "cost": COST_MAP}, files)
    (aside,) = [aside for _, aside in land(space, Lake(space.lake)).set_aside]
    assert "is not a time in the format %Y-%m-%d %H:%M:%S, from 1950-01-01 to" in aside.reason
    assert Lake(space.lake).scan(COST).collect()["service_date"].to_list() == [later.date()]


def test_words_of_a_provider_are_translated_by_the_map(tmp_path: Path) -> None:
    spoken = ACTIVITY_MAP.replace('column = "activity" }', 'column = "activity", words = { "Frac" = "pumping" } }')
    rows = "pad,start,end,activity\nSaltgrass,2025-03-01 01:00:00,2025-03-01 02:00:00,Frac\n"
    rows += "Saltgrass,2025-03-01 02:00:00,2025-03-01 03:00:00,npt\n"
    space = workspace(tmp_path, {"activity": spoken}, {"tables/activity.csv": rows})
    assert not land(space, Lake(space.lake)).set_aside
    assert Lake(space.lake).scan(ACTIVITY).collect()["activity"].sort().to_list() == ["NPT", "pumping"]


def test_a_mapped_column_without_a_value_is_a_finding(tmp_path: Path) -> None:
    text = "\n".join(
        line.rsplit(",", 1)[0] + "," if i > 1 else line for i, line in enumerate(record_csv(50).splitlines())
    )
    space = workspace(
        tmp_path, {"records": TREATMENT_MAP, "wells": WELLS_MAP},
        {"tables/wells.csv": WELLS, "Saltgrass 3H stage 1.csv": text + "\n"},
    )  # fmt: skip
    assert not land(space, Lake(space.lake)).set_aside
    (said,) = findings(Lake(space.lake), "void_column")
    assert said == "'Conc' (proppant_conc_ppa) has no value in any of 50 row(s)"


def test_an_empty_row_of_a_repeated_second_replaces_no_reading(tmp_path: Path) -> None:
    text = record_csv(50)
    line = text.splitlines()[20]
    text = text.replace(line, f"{line}\n{line.split(',')[0]},,,\n{line.split(',')[0]},,41.5,")
    space = workspace(
        tmp_path, {"records": TREATMENT_MAP, "wells": WELLS_MAP},
        {"tables/wells.csv": WELLS, "Saltgrass 3H stage 1.csv": text},
    )  # fmt: skip
    assert not land(space, Lake(space.lake)).set_aside
    row = Lake(space.lake).scan(TREATMENT).collect().sort("time").row(18, named=True)
    assert (row["treating_pressure_psi"], row["slurry_rate_bpm"], row["proppant_conc_ppa"]) == (5018.0, 41.5, 1.0)
    assert findings(Lake(space.lake), "repeated_times") == [
        "2 row(s) repeat a time; the last value of each column is kept"
    ]


def test_two_wells_in_one_file_keep_their_samples_of_the_same_second(tmp_path: Path) -> None:
    both = TREATMENT_MAP.replace("name_pattern = '^(?P<well>.+?) stage (?P<stage>\\d+)'\n", "").replace(
        "[columns]", '[columns]\nwell_id = { column = "Well" }\nstage = { column = "Stage" }'
    )
    head, units, *rows = record_csv(30).splitlines()
    lines = [f"{head},Well,Stage", f"{units},,"] + [
        f"{row},{well},{n}" for row in rows for well, n in (("a", 1), ("b", 2))
    ]
    maps = {"records": both.replace('"set aside"', '"create"').replace("revision_pattern = ' rev(?P<rev>\\d+)'\n", "")}
    space = workspace(tmp_path, maps, {"both.csv": "\n".join(lines) + "\n", "Again.csv": "\n".join(lines[:12]) + "\n"})
    report = land(space, Lake(space.lake))
    kept = Lake(space.lake).scan(TREATMENT).collect()
    assert (
        kept.group_by("well_id", "stage").len().sort("well_id").rows() == [("a", 1, 30), ("b", 2, 30)]
        or report.set_aside
    )
    assert [path for path, _ in report.set_aside] in (["landing/Again.csv"], ["landing/both.csv"])  # the same seconds


@pytest.mark.parametrize("number", ["0", "1001", "99999999999999999999"])
def test_a_file_of_no_possible_stage_is_set_aside(tmp_path: Path, number: str) -> None:
    space = workspace(
        tmp_path, {"records": TREATMENT_MAP, "wells": WELLS_MAP},
        {"tables/wells.csv": WELLS, f"Saltgrass 3H stage {number}.csv": record_csv(20)},
    )  # fmt: skip
    (aside,) = [aside for _, aside in land(space, Lake(space.lake)).set_aside]
    assert aside.reason == "the file has an impossible stage number"
    assert Lake(space.lake).scan(SOURCES).collect()["state"].to_list().count("landed") == 1


def test_every_landed_quantity_and_number_has_a_hard_range() -> None:
    for table in LANDED.values():
        for name, column in table.columns.items():
            if meta(column).get("unit") is not None:
                assert meta(column)["hard"] is not None, f"{table.name}.{name}"
            if isinstance(column.dtype, pl.Int32) and name != "source_row":
                assert (column.min, column.max) != (None, None), f"{table.name}.{name}"  # type: ignore[attr-defined]
