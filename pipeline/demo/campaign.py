"""Write the files of a synthetic campaign, and return the planted truth to the caller."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict, dataclass, field, replace
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import polars as pl

from pipeline.demo import ledger, providers, usage
from pipeline.demo.basin import (
    BASIN,
    CASING_ID_IN,
    COIL_ID_IN,
    COIL_OD_IN,
    FLEETS,
    FLUID_PPG,
    INJECTION_TEST,
    MOTOR_LIMIT_BPM,
    PRESSURE_LIMIT_PSI,
    WIRELINE_CREWS,
    ZONE,
    CampaignSize,
    Design,
    Well,
    hours,
    make_wells,
    pad_start,
    perforations_ft,
    pump_down_from_ft,
    pump_down_min,
)
from pipeline.demo.coil import (
    NOZZLES,
    CoilScript,
    PlugTruth,
    RunTruth,
    draw_coil_script,
    simulate_mill_out,
    simulate_toe_preparation,
)
from pipeline.demo.mess import in_metric, record_stage
from pipeline.demo.treatment import StageTruth, draw_script, simulate_stage

Row = dict[str, object]
PLUG_MODELS = ("Tern", "Plover")
LEAKING = (2, 0, 5)
"""Planted: pad, well and stage (numbers from 0, 0, 1) whose plug leaks."""
HARD_PLUG = (3, 1, 6)
"""Planted: pad, well and plug that is much harder to mill."""
TROUBLES: dict[tuple[int, int], str] = {
    (0, 1): "overpull", (1, 0): "lost_returns", (1, 1): "motor trip", (5, 0): "no_bypass", (6, 0): "motor trip",
    (2, 1): "weight reversed", (7, 0): "lock_up",
}  # fmt: skip
"""Planted: pad and well whose mill-out has the trouble."""
SAMPLING: dict[tuple[int, int], int] = {(6, 1): 2, (7, 0): 5}
"""Planted: pad and well whose records hold one sample every so many seconds."""
INJECTED = (7, 1, 1)
"""Planted: pad, well and stage that is an injection test: a small job without proppant."""
METRIC_RECORD = (4, 1, 6)
"""Planted: pad, well and stage whose record holds metric values under the headings of field units."""
SUSPENDED = (3, 10)
"""Planted: pad and number of its stages after which work is suspended."""
SUSPENDED_H = 14.0
SLOW = ((1, 0, 7), (4, 2, 3))
"""Planted: pad, well and stage that never reach 90 % of the design rate."""
PRESET = (2, 1, 4)
"""Planted: pad, well and stage whose plug sets on the way; it is milled out and the run repeated."""
LATE_LOG = (4, 3)
"""Planted: pad and pumping entry in its time log that starts 25 min late."""


@dataclass
class Truth:
    """Planted truth: one row per stage, plug, coil run, day of a pad with stages, interval of lost time."""

    stages: pl.DataFrame
    plugs: pl.DataFrame
    runs: pl.DataFrame
    stage_days: pl.DataFrame
    npt: pl.DataFrame
    wells: list[Well]


@dataclass
class _Tables:
    wells: list[Row] = field(default_factory=list)
    well_designs: list[Row] = field(default_factory=list)
    strings: list[Row] = field(default_factory=list)
    stages: list[Row] = field(default_factory=list)
    plugs: list[Row] = field(default_factory=list)
    coil_runs: list[Row] = field(default_factory=list)
    wireline: list[Row] = field(default_factory=list)
    activity: list[Row] = field(default_factory=list)
    cost: list[Row] = field(default_factory=list)
    production: list[Row] = field(default_factory=list)
    reported: list[Row] = field(default_factory=list)
    toe_tests: list[Row] = field(default_factory=list)
    offsets: list[Row] = field(default_factory=list)
    incidents: list[Row] = field(default_factory=list)
    npt: list[Row] = field(default_factory=list)
    stage_days: list[Row] = field(default_factory=list)
    additives: list[Row] = field(default_factory=list)
    exposure_hours: list[Row] = field(default_factory=list)
    flowback: list[Row] = field(default_factory=list)
    misfired: set[tuple[str, int]] = field(default_factory=set)
    guns_out: dict[str, datetime] = field(default_factory=dict)
    stage_truth: list[StageTruth] = field(default_factory=list)
    plug_truth: list[PlugTruth] = field(default_factory=list)
    run_truth: list[RunTruth] = field(default_factory=list)


def generate(folder: Path, plan: CampaignSize, progress: Callable[[str], None] | None = None) -> Truth:
    """Write the campaign's files into a landing folder.

    Parameters
    ----------
    folder : Path
        Landing folder; created if it does not exist.
    plan : CampaignSize
    progress : callable, optional
        Called with the name of each well when its files are written.

    Returns
    -------
    Truth
        Never written to disk.
    """
    rng = np.random.default_rng(plan.seed)
    wells = make_wells(plan, rng)
    tables = _Tables()
    last_pad = max(well.pad_number for well in wells)
    for pad_number in range(plan.pads):
        on_pad = [well for well in wells if well.pad_number == pad_number]
        finished = _pump_pad(folder, plan, on_pad, tables, rng)
        tables.offsets += ledger.neighbours(on_pad, rng)
        for index, well in enumerate(on_pad):
            _describe(tables, well)
            _coil(folder, plan, well, index, finished, tables, np.random.default_rng([plan.seed, pad_number, index]))
            online = ledger.later(finished, 14.0 + 3.0 * index)
            mine = [stage for stage in tables.stage_truth if stage.well_id == well.well_id]
            tables.cost += ledger.cost_lines(
                well, finished.date(), pad_number == last_pad, _toe(plan, well, index), mine, rng
            )
            used = np.random.default_rng([plan.seed, pad_number, index, 1])
            designed, treated = _fluid_bbl(well.design), [one for one in mine if one.proppant_lbm > 0.0]
            tables.additives += [row for one in treated for row in usage.additives(well, one, designed, used)]
            tables.flowback += usage.flowback(well, online.date(), sum(one.clean_bbl for one in mine), used)
            until = ledger.later(pad_start(plan, last_pad), 150.0).date()
            tables.production += ledger.production(well, index, online.date(), until, rng)
            if progress is not None:
                progress(well.name)
    _write_tables(folder, tables)
    plugs = [asdict(plug) for plug in tables.plug_truth]
    runs = [{key: value for key, value in asdict(run).items() if key != "plugs"} for run in tables.run_truth]
    return Truth(
        pl.DataFrame([asdict(stage) for stage in tables.stage_truth], infer_schema_length=None),
        pl.DataFrame(plugs, infer_schema_length=None),
        pl.DataFrame(runs, infer_schema_length=None),
        pl.DataFrame(tables.stage_days, infer_schema_length=None),
        pl.DataFrame(tables.npt, infer_schema_length=None),
        wells,
    )


def _order(on_pad: list[Well]) -> list[tuple[Well, int]]:
    """Return the stages of a pad in pumping order: well by well, or as a zipper between wells on the later pads."""
    if on_pad[0].pad_number < 5:
        return [(well, stage) for well in on_pad for stage in range(1, well.stages + 1)]
    deepest = max(well.stages for well in on_pad)
    return [(well, stage) for stage in range(1, deepest + 1) for well in on_pad if stage <= well.stages]


def _pump_pad(
    folder: Path, plan: CampaignSize, on_pad: list[Well], tables: _Tables, rng: np.random.Generator
) -> datetime:
    clock = pad_start(plan, on_pad[0].pad_number)
    zipper = on_pad[0].pad_number >= 5
    pumped: list[tuple[datetime, datetime, str]] = []
    measurable: list[datetime] = []
    gaps: list[ledger.Gap] = []
    order = _order(on_pad)
    crew = on_pad[0].crew(clock)
    for (well, stage), (coming, _) in zip(order, [*order[1:], order[-1]], strict=True):
        place = (well.pad_number, on_pad.index(well), stage)
        design = INJECTION_TEST if place == INJECTED else well.design
        script = draw_script(rng, first=stage == 1, leaking=place == LEAKING)
        if not design.proppant_lbm:
            script = replace(script, screenout=False, cut_short=False, early_shut_in=False)
        reached = replace(design, rate_bpm=0.8 * design.rate_bpm) if place in SLOW else design
        signal, truth = simulate_stage(replace(well, design=reached), stage, crew, script, rng)
        frame = record_stage(signal, truth, rng)
        if place == METRIC_RECORD:
            frame = frame.with_columns(in_metric())
            truth.mess.append("metric")
        start = clock
        begins = start + timedelta(seconds=signal.first_injection)
        ends = start + timedelta(seconds=signal.shut_in)
        pumped.append((begins, ends, well.name))
        if "metric" not in truth.mess:  # a stage without a usable rate counts on no day
            measurable.append(ends)
        every = SAMPLING.get((well.pad_number, on_pad.index(well)), 1)
        truth.sample_s = every
        _write_stage(folder, well, stage, start, frame[::every], rng)
        tables.stage_truth.append(truth)
        tables.stages.append(_stage_row(tables, replace(well, design=design), stage, crew, zipper))
        tables.reported.append(ledger.summary(well.name, truth, rng))
        run_h = _run_h(well, min(stage + 1, well.stages), zipper, rng)
        suspended_h = SUSPENDED_H if (well.pad_number, len(pumped)) == SUSPENDED else 0.0
        preset = (well.pad_number, on_pad.index(well), stage + 1) == PRESET
        trouble = "preset plug" if preset else "screen-out" if truth.screenout else None
        gap, crew = ledger.draw_gap(coming, ends, 0.0 if zipper else run_h + 0.25, suspended_h, trouble, rng)
        gaps.append(gap)
        if stage < well.stages:
            _wireline(tables, well, stage + 1, ends + timedelta(minutes=15), run_h, truth.pump_down_min, preset, rng)
        after = timedelta(seconds=frame.height - signal.shut_in)
        clock = max(ends + hours(gap.total_h), ends + after + timedelta(seconds=30))
        if (out := tables.guns_out.get(coming.well_id)) is not None:  # no stage begins with guns in the hole
            clock = max(clock, out + timedelta(minutes=5))
        clock -= timedelta(microseconds=clock.microsecond)
    log = ledger.time_log(on_pad[0].pad, pumped, gaps)
    tables.npt += [row for row in log if row["activity"] == "NPT"]
    if on_pad[0].pad_number == LATE_LOG[0]:
        late = [row for row in log if row["activity"] == "pumping"][LATE_LOG[1]]
        late["start"] += timedelta(minutes=25)  # type: ignore[operator]
    tables.activity += log
    tables.exposure_hours += usage.exposure(on_pad[0].pad, pumped[0][0].date(), pumped[-1][1].date())
    tables.incidents += ledger.incidents(on_pad[0].pad, pumped, rng)
    tables.stage_days += [{"pad": on_pad[0].pad, "end": end} for end in measurable]
    return clock


def _write_stage(
    folder: Path, well: Well, stage: int, start: datetime, frame: pl.DataFrame, rng: np.random.Generator
) -> None:
    kind = rng.random()
    if kind < 0.02:  # the record was interrupted and continued in a second file
        cut = frame.height // 2
        providers.write_stage(folder, well, stage, start, frame[:cut])
        rest = frame[cut:]
        first = int(rest["second"].min())  # type: ignore[arg-type]
        rest = rest.with_columns(pl.col("second") - first)
        providers.write_stage(folder, well, stage, start + timedelta(seconds=first), rest, " part 2")
        return
    providers.write_stage(folder, well, stage, start, frame)
    if kind > 0.98:  # a corrected record: the first one lost its end
        wrong = frame[: frame.height - 200]
        providers.write_stage(folder, well, stage, start, wrong)
        providers.write_stage(folder, well, stage, start, frame, " rev2")


def _describe(tables: _Tables, well: Well) -> None:
    tables.wells.append(
        {
            "well": well.name, "aliases": "|".join(well.aliases), "pad": well.pad, "basin": BASIN,
            "formation": "Lower Corbel" if well.pad_number % 2 else "Upper Corbel", "time_zone": ZONE,
            "stages": well.stages, "heel_ft": well.heel_ft, "toe_ft": well.toe_ft, "tvd_ft": well.tvd_ft,
            "rotary_table_ft": 26.0,
        }
    )  # fmt: skip
    tables.well_designs.append(
        {
            "well": well.name, "design": well.design.name, "lateral_ft": well.lateral_ft,
            "stages": well.stages, "proppant_lb": well.stages * well.design.proppant_lbm,
            "fluid_bbl": round(well.stages * _fluid_bbl(well.design), 0),
        }
    )  # fmt: skip
    tables.strings.append(
        {
            "well": well.name, "string": "casing", "section": 1, "top_ft": 0.0, "bottom_ft": well.toe_ft,
            "od_in": 5.5, "id_in": CASING_ID_IN,
        }
    )  # fmt: skip
    tables.strings.append(
        {
            "well": well.name, "string": "coil", "section": 1, "top_ft": 0.0, "bottom_ft": None,
            "od_in": COIL_OD_IN, "id_in": COIL_ID_IN,
        }
    )  # fmt: skip


def _stage_row(tables: _Tables, well: Well, stage: int, crew: str, zipper: bool) -> Row:
    design = well.design
    top, bottom = perforations_ft(well, stage)
    misfired = int(design.holes / design.clusters) if (well.well_id, stage) in tables.misfired else 0
    return {
        "well": well.name, "stage": stage, "design": design.name, "fleet": FLEETS[well.pad_number % len(FLEETS)],
        "crew": f"Crew {crew}",
        "mode": "zipper" if zipper else "single well", "top_ft": top, "bottom_ft": bottom,
        "tvd_ft": well.tvd_ft, "length_ft": design.stage_length_ft, "clusters": design.clusters,
        "holes": design.holes, "holes_shot": design.holes - misfired, "hole_in": design.hole_in,
        "rate_bpm": design.rate_bpm, "proppant_lb": design.proppant_lbm,
        "fluid_bbl": round(_fluid_bbl(design), 0),
        "mesh_100_lb": 0.6 * design.proppant_lbm, "mesh_40_70_lb": 0.4 * design.proppant_lbm,
        "fluid": "slickwater", "drag_reduction": well.drag_reduction(crew),
        "closure_psi_ft": round(well.stress_psi_ft, 3), "closure_source": "injection test",
        "fluid_ppg": FLUID_PPG, "grain_sg": 2.65,
        "limit_psi": PRESSURE_LIMIT_PSI,
    }  # fmt: skip


def _fluid_bbl(design: Design) -> float:
    return design.rate_bpm * (design.pad_min + design.proppant_min + 9.0)


def _run_h(well: Well, stage: int, zipper: bool, rng: np.random.Generator) -> float:
    """Draw the hours of a wireline run: rigging, running in, pumping down, pulling out; longer on the well itself."""
    heel, depth = pump_down_from_ft(well), perforations_ft(well, stage)[1]
    moving_min = heel / 400.0 + (depth - heel) / 300.0 + depth / 450.0
    return float(rng.normal(0.75 if zipper else 1.55, 0.1)) + moving_min / 60.0


def _wireline(
    tables: _Tables, well: Well, stage: int, start: datetime, run_h: float,
    on_record_min: float | None, preset: bool, rng: np.random.Generator,
) -> None:  # fmt: skip
    crew = f"Wireline {WIRELINE_CREWS[well.pad_number % 2]}"
    depth = perforations_ft(well, stage)[1] + 12.0
    minutes = pump_down_min(well, stage, rng) if on_record_min is None else on_record_min
    if on_record_min is not None and rng.random() < 0.1:
        minutes *= 1.4  # the run record is wrong; the pump record shows it
    misfires = int(rng.random() < 0.03)
    if misfires:
        tables.misfired.add((well.well_id, stage))
    tables.guns_out[well.well_id] = start + hours(run_h)
    tables.wireline.append(
        {
            "well": well.name, "run": stage, "crew": crew, "start": start, "end": start + hours(run_h),
            "pump_down_min": round(minutes, 1), "peak_bpm": round(float(rng.normal(15.0, 0.8)), 1),
            "peak_psi": round(float(rng.normal(4200.0, 250.0)), 0), "volume_bbl": round(11.0 * minutes, 0),
            "guns": well.design.clusters, "misfires": misfires,
            "plug_set": True, "preset": preset, "from_ft": pump_down_from_ft(well),
            "tension_lbf": round(float(rng.normal(1900.0, 120.0) + 0.05 * depth), 0),
        }
    )  # fmt: skip
    tables.plugs.append(
        {
            "well": well.name, "plug": stage, "set_ft": round(depth, 0), "material": "composite",
            "model": PLUG_MODELS[stage % 2], "mass_lbm": 34.0,
            "rating_psi": 10_000.0, "set_time": start + hours(0.55 * run_h), "crew": crew,
        }
    )  # fmt: skip


def _toe(plan: CampaignSize, well: Well, index: int) -> str | None:
    """Type of a well's toe preparation; recorded only for the first well of a pad."""
    if index or not plan.toe_preparation:
        return None
    return "two runs" if well.pad_number % 2 else "one run"


def _script(well: Well, index: int, plugs: list[int], rng: np.random.Generator) -> CoilScript:
    trouble = TROUBLES.get((well.pad_number, index))
    script = draw_coil_script(plugs, rng)
    if HARD_PLUG[:2] == (well.pad_number, index):
        script = replace(script, hard_plug=HARD_PLUG[2], fates={})
    if trouble == "motor trip":
        script = replace(script, motor_trip_after=len(plugs) // 2, motor_fails_at=1.0 if index == 0 else 0.4, fates={})
    elif trouble is not None and trouble != "weight reversed":
        script = replace(script, ends_on_plug=False, **{trouble: True})  # type: ignore[arg-type]
    return script


def _coil(
    folder: Path,
    plan: CampaignSize,
    well: Well,
    index: int,
    finished: datetime,
    tables: _Tables,
    rng: np.random.Generator,
) -> None:
    plugs = [(stage, perforations_ft(well, stage)[1] + 12.0) for stage in range(2, well.stages + 1)]
    script = _script(well, index, [plug for plug, _ in plugs], rng)
    toe = _toe(plan, well, index)
    jobs: list[tuple[datetime, pl.DataFrame, RunTruth]] = []
    clock = ledger.later(pad_start(plan, well.pad_number), -9.0)
    if toe is None and plan.toe_preparation:
        tables.toe_tests.append(ledger.toe_test(well, "sleeve", rng))
    elif toe is not None:
        tables.toe_tests.append(ledger.toe_test(well, "coil jetting" if toe == "one run" else "coil guns", rng))
        for frame, truth in simulate_toe_preparation(well, script, rng, one_run=toe == "one run"):
            jobs.append((clock, frame, truth))
            clock += timedelta(seconds=frame.height) + hours(7.0)
    clock = ledger.later(finished, 5.0 + 2.0 * index)
    for frame, truth in simulate_mill_out(well, plugs, script, well.pad_number, rng):
        jobs.append((clock, frame, truth))
        clock += timedelta(seconds=frame.height) + hours(3.0)
    if TROUBLES.get((well.pad_number, index)) == "weight reversed":
        start, frame, truth = jobs[-1]
        truth.planted.append("weight reversed")
        jobs[-1] = (start, frame.with_columns(-pl.col("weight")), truth)
    for run, (start, record, planted) in enumerate(jobs, start=1):
        planted.run = run
        for plug in planted.plugs:
            plug.run = run
        providers.write_coil(folder, well, run, start.replace(microsecond=0), record[:: plan.coil_step_s])
        tables.run_truth.append(planted)
        tables.plug_truth += planted.plugs
        milling = planted.kind == "mill-out"
        again = milling and run > 1 and jobs[run - 2][2].kind == "mill-out"
        tables.coil_runs.append(
            {
                "well": well.name, "run": run, "kind": planted.kind, "crew": f"Coil {well.coil_crew}",
                "coil_in": COIL_OD_IN, "target_ft": well.toe_ft - 60.0 if planted is jobs[-1][2] else None,
                "motor_limit_bpm": MOTOR_LIMIT_BPM if milling else None, "trip_reason": "motor" if again else None,
                "sweeps": int(rng.poisson(3.0)) if milling else None,
                "debris_lb": round(18.0 * len(planted.plugs) * float(rng.normal(1.0, 0.1)), 0) if milling else None,
                "rig_up": start - hours(6.0), "rig_down": start + timedelta(seconds=record.height) + hours(3.0),
                "nozzles": NOZZLES[0] if planted.kind == "toe preparation" else None,
                "nozzle_in": NOZZLES[1] if planted.kind == "toe preparation" else None,
            }
        )  # fmt: skip


def _write_tables(folder: Path, tables: _Tables) -> None:
    into = folder / "tables"
    names = ("wells", "well_designs", "strings", "coil_runs", "wireline", "activity", "cost", "production", "reported")
    optional = ("toe_tests", "offsets", "incidents", "additives", "exposure_hours", "flowback")
    for name in (*names, *optional):
        if rows := getattr(tables, name):
            providers.write_table(into / f"{name}.csv", rows)
    providers.write_workbook(into / "designs.xlsx", {"stages": tables.stages, "plugs": tables.plugs})
