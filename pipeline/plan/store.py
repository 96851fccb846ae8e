"""Keep the workspace's plan in the lake, so that a report shows it and can be reproduced."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import polars as pl

from pipeline.errors import HeelwardError
from pipeline.lake import Lake
from pipeline.metrics.declare import fingerprint
from pipeline.models.columns import COLUMNS
from pipeline.models.specs import COMPARISONS
from pipeline.plan.compare import Taught, begin_trials, run_plan
from pipeline.plan.file import PlanFile
from pipeline.schemas.fitted import COMPARISONS as COMPARED
from pipeline.schemas.fitted import MODEL_CARDS, PLANNED, TRIALS
from pipeline.workspace import parse_toml

METHOD_VERSION = 3
TAUGHT = ("designs_pressure", "designs_hours")
"""Comparisons in which the plan's designs can differ; the most informative trials for them are also stored."""


def begin_taught(path: Path | None, frames: Mapping[str, pl.DataFrame]) -> Taught | None:
    """Let a helper rank the trials that `record_plan` stores; None without a plan.

    Raises
    ------
    HeelwardError
        If the plan is invalid.
    """
    return None if path is None or not path.is_file() else begin_trials(parse_toml(path, PlanFile), frames, TAUGHT)


def record_plan(
    lake: Lake, path: Path | None, frames: Mapping[str, pl.DataFrame], taught: Taught | None = None
) -> bool:
    """Evaluate a plan file and write its figures, if the file or the models changed; return whether it wrote.

    The modelling tables, `frames`, are those that the models were fitted on; the trials may be begun (`begin_taught`).

    Without a file, or with an invalid one, all figures are removed.

    Raises
    ------
    HeelwardError
        If the file is missing or invalid; names every wrong key.
    """
    if path is None:
        return _clear(lake)
    try:
        return _record(lake, path, frames, taught)
    except HeelwardError:
        _clear(lake)
        raise


def _clear(lake: Lake) -> bool:
    """Remove the figures of an earlier plan; return whether there were any."""
    if lake.scan(PLANNED).head(1).collect().is_empty():
        return False
    lake.replace(PLANNED, PLANNED.empty(), {})
    lake.replace(TRIALS, TRIALS.empty(), {})
    return True


def _record(lake: Lake, path: Path, frames: Mapping[str, pl.DataFrame], taught: Taught | None) -> bool:
    if not path.is_file():
        raise HeelwardError(f"{path}: no such file; the settings refer to it as 'plan'")
    cards = lake.scan(MODEL_CARDS).select("model", "inputs").sort("model").collect().rows()
    compared = lake.scan(COMPARED).select("comparison", "inputs").unique().sort("comparison").collect().rows()
    mark = fingerprint([METHOD_VERSION, path.read_text(encoding="utf-8"), cards, compared])
    before = lake.scan(PLANNED).select("inputs").unique().collect()["inputs"].to_list()
    if before == [mark] or not cards:
        return False
    planned = run_plan(lake, path, frames, TAUGHT, taught)
    place = {design.name: number for number, design in enumerate(planned.plan.designs, start=1)}
    unit = {spec.name: COLUMNS[spec.outcome].unit for spec in COMPARISONS}
    lines = [
        {
            "design": line.design, "figure": line.quantity, "place": place[line.design], "unit": line.unit,
            "basis": line.basis, "value": line.value, "low": line.low, "high": line.high, "note": line.note,
            "pad": planned.plan.pad.name, "verdict": planned.ranking.verdict, "inputs": mark,
        }
        for line in planned.lines
    ]  # fmt: skip
    trials: list[dict[str, object]] = []
    for name in TAUGHT:
        told = planned.taught[name]
        common = {"comparison": name, "unit": unit[name], "inputs": mark}
        if isinstance(told, str):
            trials.append(common | {"wells": "", "half_width": None, "shrinks_to": None, "note": told})
            continue
        trials += [
            common | {"wells": ", ".join(trial.wells), "half_width": trial.half_width, "shrinks_to": trial.shrinks_to,
                      "note": None}
            for trial in told
        ]  # fmt: skip
    lake.replace(TRIALS, pl.DataFrame(trials, schema=TRIALS.dtypes), {})
    lake.replace(PLANNED, pl.DataFrame(lines, schema=PLANNED.dtypes), {})
    return True
