"""Order of samples over pieces of a file, midnight, and one column of a file that serves two of the lake."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import polars as pl
import pytest

from pipeline.ingest.spool import Spool
from pipeline.ingest.tally import Finding
from pipeline.schemas.records import TREATMENT
from tests.ingest.test_map_language import SAMPLE_MAP, landed, rows

ZERO = datetime(2024, 1, 1, tzinfo=UTC)


def piece(*seconds: int) -> pl.DataFrame:
    names = [name for name in TREATMENT.dtypes if name != "source_id"]
    rest = [
        pl.lit(None, dtype=TREATMENT.dtypes[name]).alias(name)
        for name in names
        if name not in ("well_id", "stage", "time")
    ]
    frame = pl.DataFrame({"time": [ZERO + timedelta(seconds=at) for at in seconds]}).with_columns(
        pl.lit("a").alias("well_id"), pl.lit(1, dtype=pl.Int32).alias("stage"), *rest
    )
    return frame.select(names).cast({name: TREATMENT.dtypes[name] for name in names})


@pytest.mark.parametrize(
    ("pieces", "backward"),
    [
        (((1, 2, 3), (4, 5, 6)), 0), (((1, 2, 5), (4, 6, 7)), 1), (((1, 2, 5), (6, 3, 7)), 1), (((1, 9, 5), (3, 6, 4)), 3),
        (((1, 2, 5), (5, 6, 7)), 0), (((5, 6, 7), (1, 8, 9)), 1), (((1, 2, 5), (6, 4, 7), (6, 8, 9)), 2),
    ],
)  # fmt: skip
def test_steps_back_are_counted_within_pieces_and_between_them(
    tmp_path: Path, pieces: tuple[tuple[int, ...], ...], backward: int
) -> None:
    spool, findings = Spool(TREATMENT, tmp_path), list[Finding]()
    for seconds in pieces:
        spool.add(piece(*seconds))
    kept = spool.rows(findings)
    times = pl.concat(kept.frames())["time"].to_list()
    assert (kept.first, kept.last) == (times[0], times[-1])
    assert times == sorted({ZERO + timedelta(seconds=at) for held in pieces for at in held})
    assert next((f.rows for f in findings if f.kind == "out_of_order"), 0) == backward


@pytest.mark.parametrize(
    ("clock", "days"),
    [
        ("23:59:50 00:00:10 00:00:20", (0, 1, 1)),  # midnight
        ("20:00:00 11:00:00 11:00:10", (0, 0, 0)),  # a step back by nine hours is none
        ("20:00:00 07:30:00 07:30:10", (0, 1, 1)),  # one by more than half a day is
        ("23:00:00 01:00:00 23:00:00 02:00:00", (0, 1, 1, 2)),
    ],
)
def test_times_of_day_pass_midnight_where_they_fall_by_more_than_half_a_day(
    tmp_path: Path, clock: str, days: tuple[int, ...]
) -> None:
    columns = {
        **SAMPLE_MAP["columns"],  # type: ignore[dict-item]
        "time": {
            "column": "time",
            "format": "%H:%M:%S",
            "start": {"value": "2024-01-01", "format": "%Y-%m-%d", "zone": "UTC"},
        },
    }
    text = "time,p,q\n" + "".join(f"{at},{5000 + row},80\n" for row, at in enumerate(clock.split()))
    found = {
        row["treating_pressure_psi"]: row["time"] for row in rows(landed(tmp_path, text, SAMPLE_MAP, columns=columns))
    }
    assert [(found[5000.0 + row].date() - ZERO.date()).days for row in range(len(days))] == list(days)  # type: ignore[attr-defined]


def test_one_column_of_a_file_can_serve_two_of_the_lake(tmp_path: Path) -> None:
    """The stage's length is its design's name, too: as a number and as a text."""
    content = {
        "name": "s", "lands": "stages", "files": "*.csv", "unknown_wells": "create",
        "columns": {"well_id": {"column": "w"}, "stage": {"column": "n"}, "design": {"column": "length"},
                    "stage_length_ft": {"column": "length", "unit": "ft"}, "tvd_ft": {"column": "tvd", "unit": "ft"},
                    "top_perf_ft": {"column": "tvd", "unit": "ft"}},
    }  # fmt: skip
    found = rows(landed(tmp_path, "w,n,length,tvd\na,1,190,9000.5\na,2,240,9100\n", content))
    assert [(row["design"], row["stage_length_ft"], row["tvd_ft"], row["top_perf_ft"]) for row in found] == [
        ("190", 190.0, 9000.5, 9000.5), ("240", 240.0, 9100.0, 9100.0)
    ]  # fmt: skip
