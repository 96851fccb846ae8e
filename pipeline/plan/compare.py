"""Read a plan, collect data from the lake, evaluate and rank."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import polars as pl

from pipeline.errors import HeelwardError
from pipeline.lake import Lake
from pipeline.models.columns import COLUMNS
from pipeline.models.predict import load_models
from pipeline.models.specs import COMPARISONS, CompareSpec, columns_of
from pipeline.parallel import ahead, finished
from pipeline.plan.evaluate import Habits, Line, evaluate, job_of, stage_count
from pipeline.plan.file import PlanFile
from pipeline.plan.rank import Ranking, rank
from pipeline.plan.trial import Trial, trials
from pipeline.units import format_quantities, shown
from pipeline.workspace import parse_toml


@dataclass(frozen=True)
class Planned:
    """A plan with its results.

    Attributes
    ----------
    plan : PlanFile
    lines : list of Line
    ranking : Ranking
    taught : dict of str to (list of Trial or str)
        By comparison: the most informative trials, if requested.
    """

    plan: PlanFile
    lines: list[Line]
    ranking: Ranking
    taught: dict[str, list[Trial] | str] = field(default_factory=dict)

    def table(self) -> pl.DataFrame:
        """Return the figures, one row per design and quantity."""
        return pl.DataFrame([vars(line) for line in self.lines], infer_schema_length=None).drop("as_mean")

    def shown_in(self, system: str) -> Planned:
        """Return the plan in the display units of a workspace."""

        def line_in(line: Line) -> Line:
            to, label = shown(line.unit, system)
            value, low, high = (
                None if one is None else one * to.factor + to.offset for one in (line.value, line.low, line.high)
            )
            note = format_quantities(line.note, system)
            return replace(line, value=value, low=low, high=high, unit="" if label == "ratio" else label, note=note)

        def taught_in(name: str, found: list[Trial] | str) -> list[Trial] | str:
            outcome = next(spec.outcome for spec in COMPARISONS if spec.name == name)
            factor = shown(COLUMNS[outcome].unit, system)[0].factor
            if isinstance(found, str):
                return found
            return [replace(trial, half_width=trial.half_width * factor) for trial in found]

        return Planned(
            self.plan, [line_in(line) for line in self.lines],
            replace(self.ranking, verdict=format_quantities(self.ranking.verdict, system)),
            {name: taught_in(name, found) for name, found in self.taught.items()},
        )  # fmt: skip


@dataclass(frozen=True)
class Taught:
    """Trials that are being ranked for a plan; `end` waits for them."""

    plan: PlanFile
    end: Callable[[], dict[str, list[Trial] | str]]


def begin_trials(plan: PlanFile, frames: Mapping[str, pl.DataFrame], teach: Sequence[str]) -> Taught:
    """Let a helper rank trials on the next pad, by comparison; see `run_plan`."""
    asked = {name: _asked(frames, plan, name) for name in teach}
    begun = {name: ahead(_teach, *given) for name, given in asked.items()}
    return Taught(plan, lambda: {name: finished(begun[name], _teach, *given) for name, given in asked.items()})


def run_plan(
    lake: Lake,
    path: Path,
    frames: Mapping[str, pl.DataFrame],
    teach: Sequence[str] = (),
    taught: Taught | None = None,
) -> Planned:
    """Compare the designs of a plan file.

    Parameters
    ----------
    lake : Lake
    path : Path
    frames : mapping of str to polars.DataFrame
        The modelling tables.
    teach : sequence of str, optional
        Names of comparisons: also rank trials on the next pad by the information they give about each.
    taught : Taught, optional
        These trials, if they are begun (`begin_trials`).

    Raises
    ------
    HeelwardError
        If the file is invalid (names every wrong key), or the lake has no fitted model.
    """
    plan = parse_toml(path, PlanFile)
    models = load_models(lake)
    if not models:
        raise HeelwardError("no model is fitted yet: run `heelward refresh` with records of three or more pads first")
    if taught is None or taught.plan != plan:  # its file was changed meanwhile
        taught = begin_trials(plan, frames, teach)
    habits = _habits(frames)
    lines = evaluate(plan, models, habits)
    jobs = {}
    for design in plan.designs:
        stages = stage_count(plan.pad, design)
        jobs[design.name] = job_of(plan.pad, design, habits, (stages + 1) // 2, stages)
    return Planned(plan, lines, rank(plan.rank_by, lines, jobs, frames), taught.end())


def _habits(frames: Mapping[str, pl.DataFrame]) -> Habits:
    rest = pl.col("running_in_hours") + pl.col("pulling_out_hours") + pl.col("stationary_hours")
    middle = frames["coil_run"].filter("mill_out").select(
        pl.col("wiper_min").median(), pl.col("plugs_per_wiper").median(), rest.median().alias("trip_hours")
    ).row(0, named=True)  # fmt: skip
    peak = (
        frames["stage"].select((pl.col("max_treating_pressure_psi") - pl.col("at_rate_pressure_psi")).median()).item()
    )
    last = frames["stage"]["quarters"].max()
    return Habits(quarter=float(last) if isinstance(last, float) else 0.0, above_mean_psi=peak, **middle)


def _asked(frames: Mapping[str, pl.DataFrame], plan: PlanFile, name: str) -> tuple[pl.DataFrame, CompareSpec, PlanFile]:
    """Return what `_teach` takes for one comparison."""
    spec = next((spec for spec in COMPARISONS if spec.name == name), None)
    if spec is None:
        known = ", ".join(spec.name for spec in COMPARISONS)
        raise HeelwardError(f"unknown comparison '{name}'; known: {known}")
    return columns_of(frames[spec.level], spec), spec, plan


def _teach(frame: pl.DataFrame, spec: CompareSpec, plan: PlanFile) -> list[Trial] | str:
    wanted = [getattr(design, spec.factor) for design in plan.designs]
    levels = list(dict.fromkeys(level for level in wanted if level is not None))
    if len(levels) < 2:
        return f"the plan names fewer than two values of {spec.factor}: nothing to compare"
    return trials(frame, spec, levels[0], levels[1], plan.pad.wells)
