"""What a map can say about rows and cells, each on a small file with every value by hand."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import polars as pl
import pytest

from pipeline.errors import SetAside
from pipeline.ingest.content import content_of
from pipeline.ingest.maps import checked
from pipeline.ingest.names import WellRegistry
from pipeline.ingest.read import read_raw
from pipeline.ingest.shape import Shaped, shape

STAGES = """well,stage,note,clusters,rate,mass,gal
Teal 1H (rig 7),Stage 1,frac,9,80,120000,60000
Teal 1H (rig 7),Stage 2,dfit,1,10,,5000
Teal 1H (rig 7),Stage 3,frac,10,,90000,0
Teal 1H (rig 7),Stage 3,frac,,82,95000,50000
total,,,20,,305000,
"""
STAGE_MAP = {
    "name": "s", "lands": "stages", "files": "*.csv", "unknown_wells": "create",
    "columns": {
        "well_id": {"column": "well", "pattern": r"^(?P<value>.*?) +\(rig"},
        "stage": {"column": "stage", "pattern": r"(?P<value>\d+)"},
        "clusters": {"column": "clusters"}, "designed_rate_bpm": {"column": "rate", "unit": "bpm"},
        "designed_proppant_lbm": {"column": "mass", "unit": "lbm"},
    },
}  # fmt: skip
SAMPLES = """time,p,q,sand,water
2024-01-01 00:00:01,5000,80,100,50
2024-01-01 00:00:02,5001,,0,50
2024-01-01 00:00:02,,82,50,0
2024-01-01 00:00:03,5003,83,75,25
"""
SAMPLE_MAP = {
    "name": "t", "lands": "treatment", "files": "*.csv", "unknown_wells": "create",
    "columns": {
        "well_id": {"value": "Teal 1H"}, "stage": {"value": "4"},
        "time": {"column": "time", "format": "%Y-%m-%d %H:%M:%S", "zone": "UTC"},
        "treating_pressure_psi": {"column": "p", "unit": "psi"}, "slurry_rate_bpm": {"column": "q", "unit": "bpm"},
    },
}  # fmt: skip


def landed(folder: Path, text: str, content: dict[str, object], **more: object) -> Shaped:
    source, problems = checked({**content, **more})
    assert source is not None and not problems, problems
    (folder / "x.csv").write_text(text, encoding="utf-8")
    return shape(read_raw(content_of(folder / "x.csv"), source), source, WellRegistry(), "x.csv", folder / "spool")


def rows(shaped: Shaped) -> list[dict[str, object]]:
    return pl.concat(shaped.rows.frames()).to_dicts()


def told(shaped: Shaped) -> dict[str, str]:
    return {finding.kind: finding.message for finding in shaped.findings}


def test_rows_by_word_line_and_key(tmp_path: Path) -> None:
    shaped = landed(tmp_path, STAGES, STAGE_MAP, last_row=5, only_rows={"note": ["frac"]}, duplicates="last")
    found = [(row["well_id"], row["stage"], row["clusters"], row["designed_rate_bpm"]) for row in rows(shaped)]
    assert found == [("teal-1h", 1, 9, 80.0), ("teal-1h", 3, 10, 82.0)], "an empty cell replaces no value"
    assert [row["designed_proppant_lbm"] for row in rows(shaped)] == [120000.0, 95000.0]
    said = told(shaped)
    assert "1 of 4 row(s) are left out" in said["rows_left_out"]
    assert "1 row(s) repeat well_id and stage; the last value of each column is kept" in said["repeated_rows"]


def test_the_first_of_two_rows_counts_where_the_map_says_so(tmp_path: Path) -> None:
    shaped = landed(tmp_path, STAGES, STAGE_MAP, last_row=5, not_rows={"note": ["dfit"]}, duplicates="first")
    assert [row["source_row"] for row in rows(shaped)] == [2, 4]
    assert [row["designed_rate_bpm"] for row in rows(shaped)] == [80.0, 82.0], "the first of both is empty"
    assert [row["designed_proppant_lbm"] for row in rows(shaped)] == [120000.0, 90000.0]


def test_two_rows_with_one_key_are_set_aside_unless_the_map_says_which_counts(tmp_path: Path) -> None:
    with pytest.raises(SetAside, match="two rows have the same well_id and stage") as caught:
        landed(tmp_path, STAGES, STAGE_MAP, last_row=5)
    assert 'duplicates = "last"' in caught.value.fix and caught.value.line == 4
    with pytest.raises(SetAside, match="two rows have the same"):
        landed(tmp_path, SAMPLES, SAMPLE_MAP, duplicates="set aside")


@pytest.mark.parametrize(
    ("rule", "pressure", "rate"),
    [("last", [5000, 5001, 5003], [80, 82, 83]), ("first", [5000, 5001, 5003], [80, 82, 83])],
)
def test_of_two_samples_at_one_time_no_reading_is_lost(
    tmp_path: Path, rule: str, pressure: list[int], rate: list[int]
) -> None:
    found = rows(landed(tmp_path, SAMPLES, SAMPLE_MAP, duplicates=rule))
    assert [row["treating_pressure_psi"] for row in found] == pressure
    assert [row["slurry_rate_bpm"] for row in found] == rate


def test_a_ratio_of_two_columns_has_no_value_where_it_would_divide_by_zero(tmp_path: Path) -> None:
    """100 lb in 50 gal is 2 lb/gal; nothing per 50 gal is 0; 50 lb in nothing is unknown; 75/25 = 3."""
    columns = {**SAMPLE_MAP["columns"], "proppant_conc_ppa": {"column": "sand", "over": "water", "unit": "ppa"}}  # type: ignore[dict-item]
    text = SAMPLES.replace("00:00:03", "00:00:04").replace("00:00:02,,82", "00:00:03,,82")
    found = rows(landed(tmp_path, text, SAMPLE_MAP, columns=columns))
    assert [row["proppant_conc_ppa"] for row in found] == [2.0, 0.0, None, 3.0]


def test_what_stands_below_the_last_row_is_not_read(tmp_path: Path) -> None:
    text = SAMPLES.replace("00:00:02,,82", "00:00:04,,82") + "summary;of;all\nnothing,to,see\x00here\n" * 40
    shaped = landed(tmp_path, text, SAMPLE_MAP, last_row=4)
    assert [row["time"] for row in rows(shaped)][-1] == datetime(2024, 1, 1, 0, 0, 4, tzinfo=UTC)
    assert shaped.rows.height == 3


def test_no_proppant_is_said_as_a_value(tmp_path: Path) -> None:
    columns = {**SAMPLE_MAP["columns"], "proppant_conc_ppa": {"value": 0}}  # type: ignore[dict-item]
    assert {row["proppant_conc_ppa"] for row in rows(landed(tmp_path, SAMPLES, SAMPLE_MAP, columns=columns))} == {0.0}


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"last_row": 3, "first_row": 9}, "'last_row' must not be above"),
        ({"duplicates": "none"}, "duplicates"),
        ({"columns": {**STAGE_MAP["columns"], "stage": {"column": "stage", "pattern": r"\d+"}}}, "group (?P<value>"),  # type: ignore[dict-item]
        ({"columns": {**STAGE_MAP["columns"], "stage": {"column": "stage", "pattern": r"(?<=x)(?P<value>\d+)"}}}, "look-around"),  # type: ignore[dict-item]
        ({"columns": {**STAGE_MAP["columns"], "design": {"column": "note", "over": "gal"}}}, "'plus', 'minus' or 'over'"),  # type: ignore[dict-item]
    ],
)  # fmt: skip
def test_what_a_map_cannot_say_is_told(more: dict[str, object], words: str) -> None:
    _, problems = checked({**STAGE_MAP, **more})
    assert any(words in problem for problem in problems), problems


def test_a_heading_that_chooses_rows_must_be_there(tmp_path: Path) -> None:
    with pytest.raises(SetAside, match="no column has the heading 'kind'"):
        landed(tmp_path, STAGES, STAGE_MAP, only_rows={"kind": ["frac"]})


def test_a_ratio_has_no_unit_to_compare_and_the_parts_of_a_sum_have(tmp_path: Path) -> None:
    text = "time,p,q,sand,water,more\n,psi,bpm,lbm,gal,m3/min\n" + "".join(
        line + ",1\n" for line in SAMPLES.splitlines()[1:]
    )
    ratio = {**SAMPLE_MAP["columns"], "proppant_conc_ppa": {"column": "sand", "over": "water", "unit": "ppa"}}  # type: ignore[dict-item]
    text = text.replace("00:00:03", "00:00:04").replace("00:00:02,,82", "00:00:03,,82")
    found = rows(landed(tmp_path, text, SAMPLE_MAP, columns=ratio, units_row=2))
    assert [row["proppant_conc_ppa"] for row in found] == [2.0, 0.0, None, 3.0]
    total = {**SAMPLE_MAP["columns"], "slurry_rate_bpm": {"column": "q", "plus": ["more"], "unit": "bpm"}}  # type: ignore[dict-item]
    with pytest.raises(SetAside, match="the unit of 'more' differs from the map"):
        landed(tmp_path, text, SAMPLE_MAP, columns=total, units_row=2)


def test_a_choice_that_leaves_no_row_says_so(tmp_path: Path) -> None:
    with pytest.raises(SetAside, match="no row can be used") as caught:
        landed(tmp_path, STAGES, STAGE_MAP, only_rows={"note": ["nothing"]})
    assert "5 of 5 row(s) are left out, as the map asks" in caught.value.found


@pytest.mark.parametrize(
    "more", [{}, {"delimiter": "spaces"}], ids=["a record, whose remarks are skipped", "aligned columns"]
)
def test_a_line_without_an_end_is_refused_before_it_fills_the_memory(tmp_path: Path, more: dict[str, object]) -> None:
    """Twenty-four megabytes without a line feed below the heading: refused at eight."""
    head = SAMPLES.splitlines()[0].replace(",", "  " if more else ",")
    with pytest.raises(SetAside, match="a line is too long to be a row"):
        landed(tmp_path, f"{head}\n2024" + "x" * 24 * 1024**2, SAMPLE_MAP, **more)


def test_a_concentration_per_volume_of_slurry_becomes_one_per_volume_of_clean_fluid(tmp_path: Path) -> None:
    """2 lb in a gallon of slurry leave 1 - 2/(2.65*8.345404) = 0.909567 gal of fluid: 2.19885 lb/gal."""
    columns = SAMPLE_MAP["columns"]
    text = SAMPLES.replace(",100,", ",2,").replace(",50,0", ",1,0").replace(",75,", ",1.5,")
    columns = {**columns, "proppant_conc_ppa": {"column": "sand", "unit": "lb/gal", "per": "slurry"}}  # type: ignore[dict-item]
    found = rows(landed(tmp_path, text, SAMPLE_MAP, columns=columns))
    assert found[0]["proppant_conc_ppa"] == pytest.approx(2.19885, abs=1e-5)
    columns["proppant_conc_ppa"]["specific_gravity"] = 3.5  # type: ignore[index]
    found = rows(landed(tmp_path, text, SAMPLE_MAP, columns=columns))
    assert found[0]["proppant_conc_ppa"] == pytest.approx(2.0 / (1.0 - 2.0 / (3.5 * 8.345404)), abs=1e-5)


def test_only_a_concentration_is_per_volume_of_something() -> None:
    columns = {**SAMPLE_MAP["columns"], "slurry_rate_bpm": {"column": "q", "unit": "bpm", "per": "slurry"}}  # type: ignore[dict-item]
    _, problems = checked({**SAMPLE_MAP, "columns": columns})
    assert problems == ["columns.slurry_rate_bpm: only a concentration of proppant can have 'per'"]


def test_a_map_can_have_several_patterns_of_files() -> None:
    source, problems = checked({**SAMPLE_MAP, "files": ["frac/*.csv", "frac/*.csv.gz"]})
    assert source is not None and not problems
    assert [path for path in ("frac/a.csv", "frac/a.csv.gz", "frac/a.txt", "a.csv") if source.claims(path)] == [
        "frac/a.csv", "frac/a.csv.gz",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("hours", "why"),
    [
        ((11, 12, 1, 2), r"goes back by 12\.0 h, to before the first row; .* line 122, as of a clock of twelve hours without AM and PM"),
        ((22, 23, 0, 1), r"goes back by 24\.0 h, to before the first row; .* line 122, as of a date that does not change at midnight"),
    ],
)  # fmt: skip
def test_a_clock_that_goes_back_by_half_days_would_exchange_the_parts_of_a_record(
    tmp_path: Path, hours: tuple[int, ...], why: str
) -> None:
    lines = [f"2024-01-01 {hour:02d}:{minute:02d}:00,{5000 + hour},80,0,50" for hour in hours for minute in range(60)]
    text = "\n".join(["time,p,q,sand,water", *lines, ""])
    with pytest.raises(SetAside, match=why):
        landed(tmp_path, text, SAMPLE_MAP)
    straight = "\n".join(["time,p,q,sand,water", *lines[120:], *lines[:120], ""])  # the same minutes in order
    assert "out_of_order" not in told(landed(tmp_path, straight, SAMPLE_MAP))


def record_that_loses_a_field(first: int, end: int) -> str:
    """Pressure, rate and two more columns; in some rows the pressure is missing and a zero stands at the end."""
    lines = []
    for i in range(200):
        row = [f"{6000 + i % 7}", f"{80 + i % 3}", f"{1.5 + 0.01 * (i % 2)}", f"{74 + i % 2}"]
        row = [*row[1:], "0.0"] if first <= i < end else row
        lines.append(",".join([f"2024-01-01 00:{i // 60:02d}:{i % 60:02d}", *row]))
    return "\n".join(["time,p,q,sand,water", *lines, ""])


LOST_FIELD_MAP = {
    **SAMPLE_MAP,
    "columns": {
        **SAMPLE_MAP["columns"],  # type: ignore[dict-item]
        "proppant_conc_ppa": {"column": "sand", "unit": "ppa"}, "clean_rate_bpm": {"column": "water", "unit": "bpm"},
    },
}  # fmt: skip


def test_rows_that_lost_a_field_are_cut_out_or_refuse_the_file(tmp_path: Path) -> None:
    with pytest.raises(SetAside, match="the rows from line 102 on lost a field") as caught:
        landed(tmp_path, record_that_loses_a_field(100, 200), LOST_FIELD_MAP)
    assert "last_row = 101" in caught.value.fix
    shaped = landed(tmp_path, record_that_loses_a_field(100, 108), LOST_FIELD_MAP)
    assert shaped.rows.height == 192
    assert told(shaped)["unreadable_rows"] == "8 row(s) lost a field and are not used (lines 102 to 109)"
    assert {row["treating_pressure_psi"] for row in rows(shaped)} == {6000.0 + i for i in range(7)}
    assert landed(tmp_path, record_that_loses_a_field(0, 0), LOST_FIELD_MAP).rows.height == 200


def test_a_height_that_only_a_code_reaches_is_no_value(tmp_path: Path) -> None:
    """16,383 is what a converter of fourteen bits writes; two of them could be two samples of one event."""

    def text(codes: int) -> str:
        lines = [f"2024-01-01 00:00:{i:02d},{16383 if i < codes else 5000 + i},80,0,50" for i in range(50)]
        return "\n".join(["time,p,q,sand,water", *lines, ""])

    shaped = landed(tmp_path, text(4), SAMPLE_MAP)
    assert max(row["treating_pressure_psi"] or 0.0 for row in rows(shaped)) == 5049.0  # type: ignore[type-var]
    assert "is exactly {16383 psi} in 4 rows, the first in line 2" in told(shaped)["sensor_code"]
    assert "sensor_code" not in told(landed(tmp_path, text(2), SAMPLE_MAP))
