"""Other campaigns, from other seeds, through the whole road: coil, toe and time against what was planted."""

from __future__ import annotations

from pathlib import Path

import polars as pl
import pytest

from pipeline import steps
from pipeline.demo import lay_out
from pipeline.metrics.measure import COIL_RUN_METRICS, PLUG_METRICS
from pipeline.schemas import COIL, FINDINGS, PAD_DAYS, PAD_TIMELINE
from pipeline.synthetic.plan import Plan
from pipeline.workspace import open_workspace

STATES = ("running_in", "milling", "stalled", "wiper", "stationary", "pulling_out", "jetting")


@pytest.mark.parametrize("seed", [11, 12, 13])
def test_another_campaign(tmp_path: Path, seed: int) -> None:
    truth = lay_out(tmp_path, Plan(pads=3, stages=(6, 8), wells_per_pad=2, seed=seed))
    workspace = open_workspace(tmp_path)
    steps.run_ingest(workspace)
    steps.run_measure(workspace)
    lake = steps.open_lake(workspace)

    plugs = lake.scan(PLUG_METRICS).collect().join(truth.plugs, on=["well_id", "plug"], suffix="_planted")
    assert plugs.height == truth.plugs.height
    milled = plugs.filter(pl.col("mill_min_planted").is_not_null())
    assert ((milled["mill_min"] - milled["mill_min_planted"]).abs() <= 1.0).sum() >= 0.95 * milled.height
    assert ((milled["stalls"] - milled["stalls_planted"]).abs() <= 1).sum() >= 0.9 * milled.height

    runs = lake.scan(COIL_RUN_METRICS).collect().join(truth.runs, on=["well_id", "run"], suffix="_planted")
    assert runs.height == truth.runs.height
    assert runs["start_time"].null_count() == 0
    first = lake.scan(COIL).group_by("well_id", "run").agg(origin=pl.col("time").min()).collect()
    met = milled.join(first, on=["well_id", "run"])
    assert met.height == milled.height
    second = (met["tag_time"] - met["origin"]).dt.total_microseconds() / 1e6
    assert ((second - met["tag_second"]).abs() <= 10.0).sum() >= 0.95 * met.height
    assert (runs["wiper_trips"] == runs["wiper_trips_planted"]).all()
    cut = runs.filter(pl.col("kind") == "toe preparation")
    assert (cut["stations"] == cut["stations_planted"]).all()
    for state in STATES:
        planted = pl.col(f"{state}_hours_planted")
        off = (pl.col(f"{state}_hours") - planted).abs() - pl.max_horizontal(0.02 * planted, 1.0 / 60.0)
        assert runs.select((off <= 0.0).all()).item(), (state, runs.filter(off > 0.0))

    days = lake.scan(PAD_DAYS).filter(pl.col("stages_completed") > 0).collect()
    local = pl.col("end").dt.convert_time_zone("America/Denver").dt.date().alias("local_date")
    planted_days = truth.stage_days.group_by("pad", local).len()
    both = days.join(planted_days, on=["pad", "local_date"], how="full")
    assert (both["stages_completed"] == both["len"]).all()
    lost = lake.scan(PAD_TIMELINE).filter(pl.col("activity") == "NPT").select(pl.col("hours").sum()).collect().item()
    planted_lost = truth.npt.select((pl.col("end") - pl.col("start")).dt.total_microseconds().sum() / 3.6e9).item()
    assert lost == pytest.approx(planted_lost, abs=0.02)
    assert lake.scan(FINDINGS).filter(pl.col("kind") == "stop_without_plug").collect().is_empty()
