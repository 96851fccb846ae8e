"""Stage records of any kind under full and empty tables: measuring never raises, and gives a reason for what is missing."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import polars as pl
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.metrics.stage.measure import measure_stages
from pipeline.metrics.well import WellInput, WellRows
from pipeline.schemas.records import COIL, TREATMENT
from pipeline.schemas.wells import STAGES

CHANNELS = [name for name in TREATMENT.dtypes if name not in ("well_id", "stage", "time", "source_id", "source_row")]
START = datetime(2025, 3, 1, tzinfo=UTC)
FULL = {
    "stage": 1, "design": "d", "designed_rate_bpm": 80.0, "designed_fluid_bbl": 9000.0, "tvd_ft": 9000.0,
    "designed_proppant_lbm": 250_000.0, "top_perf_ft": 14_800.0, "bottom_perf_ft": 15_000.0, "clusters": 8,
    "holes_designed": 40, "holes_shot": 38, "hole_diameter_in": 0.36, "fluid_density_ppg": 8.4,
    "drag_reduction": 0.65, "closure_gradient_psi_ft": 0.8, "pressure_limit_psi": 11_500.0, "stage_length_ft": 200.0,
    "proppant_specific_gravity": 2.65,
}  # fmt: skip
CASING = {"string": "casing", "section": 1, "top_md_ft": 0.0, "bottom_md_ft": 15_100.0, "inside_diameter_in": 4.778}
PLUG = {"plug": 1, "set_depth_ft": 15_010.0, "rating_psi": 10_000.0, "set_time": None}
REPORTED = {"stage": 1, "isip_psi": 4000.0, "avg_slurry_rate_bpm": 78.0, "max_treating_pressure_psi": 9000.0}
SHAPES = ("void", "zero", "steady", "steps", "noise", "late")


def channel(shape: str, rows: int, level: float, rng: np.random.Generator) -> pl.Series:
    """Return a channel of one shape around a level."""
    clock = np.arange(rows)
    values = {
        "void": np.full(rows, np.nan), "zero": np.zeros(rows), "steady": np.full(rows, level),
        "steps": level * np.minimum(clock // max(rows // 5, 1), 3) / 3.0, "noise": level * rng.uniform(0.0, 1.5, rows),
        "late": np.where(clock > 0.8 * rows, level, 0.0),
    }[shape]  # fmt: skip
    return pl.Series(values, dtype=pl.Float64).fill_nan(None)


@settings(max_examples=80)
@given(
    rows=st.sampled_from([1, 2, 30, 400, 1500]),
    shapes=st.lists(st.sampled_from(SHAPES), min_size=len(CHANNELS), max_size=len(CHANNELS)),
    rate=st.sampled_from([4.0, 14.0, 80.0]),
    known=st.sets(st.sampled_from(sorted(FULL))),
    whole=st.booleans(),
    step=st.sampled_from([1, 7]),
)
def test_any_record_is_measured_without_an_error(
    rows: int, shapes: list[str], rate: float, known: set[str], whole: bool, step: int
) -> None:
    rng = np.random.default_rng(rows)
    levels = dict.fromkeys(CHANNELS, 5000.0) | {"slurry_rate_bpm": rate, "clean_rate_bpm": 0.95 * rate}
    levels |= {"proppant_conc_ppa": 1.5, "friction_reducer_gpt": 1.0}
    columns = {name: channel(shape, rows, levels[name], rng) for name, shape in zip(CHANNELS, shapes, strict=True)}
    frame = pl.DataFrame(
        {"stage": [1] * rows, "time": [START + timedelta(seconds=step * i) for i in range(rows)], **columns}
    ).cast({"stage": pl.Int32, "time": pl.Datetime("us", "UTC")})
    names = ("wells", "strings", "amendments", "stages", "plugs", "reported", "wireline")
    tables: dict[str, list[dict[str, Any]]] = {name: [] for name in names}
    if known or whole:
        row = dict.fromkeys(STAGES.dtypes) | {
            name: value for name, value in FULL.items() if whole or name in known | {"stage"}
        }
        tables |= {"stages": [row], "strings": [CASING], "plugs": [PLUG], "reported": [REPORTED]}
    out = WellRows()
    measure_stages(WellInput("w", "print", tables, frame, COIL.empty()), out)
    (stage,) = out.stages
    reasons = "; " + (stage["missing_because"] or "")
    for name, value in stage.items():
        assert value is not None or name == "missing_because" or f"; {name}: " in reasons, name
        assert not isinstance(value, float) or np.isfinite(value), name
