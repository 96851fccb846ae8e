"""Coil records of any kind: measuring never raises, and never says what it cannot know."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import polars as pl
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from pipeline.metrics.coil.measure import measure_runs
from pipeline.metrics.well import WellInput, WellRows
from pipeline.schemas.records import COIL, TREATMENT

CHANNELS = [name for name in COIL.dtypes if name not in ("well_id", "run", "time", "source_id", "source_row")]
VALUES = st.one_of(
    st.floats(-100.0, 40_000.0), st.sampled_from([0.0, 50.0, 9000.0, 10_000.0]), st.just(float("nan"))
)  # fmt: skip


@settings(max_examples=60)
@given(
    st.integers(1, 90), st.data(), st.sampled_from([None, "mill-out", "toe preparation"]), st.sampled_from([1, 7, 400])
)
def test_any_record_is_measured_without_an_error(rows: int, data: st.DataObject, kind: str | None, step: int) -> None:
    start = datetime(2025, 3, 1, tzinfo=UTC)
    columns: dict[str, Any] = {}
    for name in CHANNELS:
        if data.draw(st.booleans()):
            values = data.draw(arrays(np.float64, rows, elements=VALUES))
            columns[name] = pl.Series(values).fill_nan(None)
        else:
            columns[name] = pl.Series([None] * rows, dtype=pl.Float64)
    frame = pl.DataFrame(
        {"run": [1] * rows, "time": [start + timedelta(seconds=step * i) for i in range(rows)], **columns}
    )
    frame = frame.cast({"run": pl.Int32, "time": pl.Datetime("us", "UTC")})
    tables: dict[str, list[dict[str, Any]]] = {
        name: [] for name in ("wells", "strings", "amendments", "toe_tests", "cost", "coil_runs")
    }
    tables["plugs"] = [{"plug": plug, "set_depth_ft": depth} for plug, depth in ((2, 10_000.0), (3, 9_000.0))]
    if kind is not None:
        tables["coil_runs"] = [{"run": 1, "kind": kind}]
    out = WellRows()
    measure_runs(WellInput("w", "print", tables, TREATMENT.empty(), frame), out)
    (run,) = out.runs
    reasons = "; " + (run["missing_because"] or "")
    for name, value in run.items():
        assert value is not None or name == "missing_because" or f"; {name}: " in reasons, name
    if rows < 60 and step == 1:  # no plug was milled in less than a minute
        assert all(row["mill_min"] is None for row in out.plugs)
