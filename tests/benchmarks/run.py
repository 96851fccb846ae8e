"""Benchmarks: the ratios that the project keeps. Run with `python -m tests.benchmarks.run`; see DEVELOPERS.md.

Each prints a work, its time, what it is compared with in the same run, the ratio and its bar. Nothing here is a test:
machines differ, so only the ratios mean something.
"""

from __future__ import annotations

import argparse
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import polars as pl

from pipeline import resources, steps
from pipeline.demo.basin import CampaignSize, make_wells, perforations_ft
from pipeline.demo.build import FULL, SLICE, lay_out
from pipeline.demo.coil import CoilScript, simulate_mill_out
from pipeline.ingest.land import land
from pipeline.lake import Lake
from pipeline.metrics.measure import measure
from pipeline.metrics.tables import TABLES
from pipeline.models.columns import COLUMNS as COLUMN_OF
from pipeline.models.compare import compare
from pipeline.models.grouped_cv import fit_model
from pipeline.models.specs import COMPARISONS, MODELS
from pipeline.parallel import call_helpers, kept_helpers
from pipeline.report.pictures import _drawn
from pipeline.schemas.base import Table
from pipeline.schemas.lineage import SOURCES
from pipeline.schemas.records import COIL, TREATMENT
from pipeline.schemas.wells import COIL_RUNS, PLUGS, STAGES, STRINGS, WELLS
from pipeline.workspace import Workspace, open_workspace
from tests.benchmarks.simulations import SWAPS, stages

COIL_SIGNALS = [
    "time", "depth_ft", "weight_lbf", "circulating_pressure_psi", "wellhead_pressure_psi", "pump_rate_bpm",
    "return_rate_bpm", "sand_conc_ppa", "bypass_open",
]  # fmt: skip
SIGNALS = ["time", "treating_pressure_psi", "slurry_rate_bpm", "clean_rate_bpm", "proppant_conc_ppa"]


@dataclass(frozen=True)
class Result:
    """One line of the print."""

    work: str
    seconds: float
    against: str
    baseline: float | None
    bar: str

    def line(self) -> str:
        ratio = (
            ""
            if self.baseline is None
            else f"{self.seconds / self.baseline:6.1f} x {self.against} ({self.baseline:.3f} s)"
        )
        return f"{self.work:52} {self.seconds:8.3f} s  {ratio:58} bar {self.bar}"


def timed(function: Callable[[], object], repeats: int = 3) -> float:
    """Return the median time of some runs. [s]"""
    times = []
    for _ in range(repeats):
        begin = time.perf_counter()
        function()
        times.append(time.perf_counter() - begin)
    return statistics.median(times)


def timed_beside(work: Callable[[], object], plain: Callable[[], object], repeats: int = 3) -> tuple[float, float]:
    """Return the median times of some runs and of what they are compared with, which is timed before and after each:
    a machine's pace may change from one minute to the next. Each time it is run once more before, untimed: what went
    before it has left memory and caches in disorder. [s]
    """
    works, plains = [], []
    for _ in range(repeats):
        plain()
        plains.append(timed(plain))
        works.append(timed(work, 1))
        plain()
        plains.append(timed(plain))
    return statistics.median(works), statistics.median(plains)


def landing(folder: Path, pads: int) -> Result:
    """Land CSV records, against polars reading the same files and writing zstd Parquet."""
    lay_out(folder, CampaignSize(pads=pads, coil_step_s=3600, toe_preparation=False))
    workspace = open_workspace(folder)
    files = sorted((folder / "landing" / "treatment" / "larkspoke").glob("*.csv"))
    keep = folder / "kept"
    (folder / "landing").rename(keep)
    (folder / "landing" / "tables").mkdir(parents=True)
    for path in (keep / "tables").iterdir():
        shutil.copy(path, folder / "landing" / "tables")
    steps.run_ingest(workspace)
    target = folder / "landing" / "treatment" / "larkspoke"
    shutil.copytree(keep / "treatment" / "larkspoke", target)

    def plain() -> None:
        out = folder / "plain"
        out.mkdir(exist_ok=True)
        for path in files:
            frame = pl.read_csv(
                keep / path.relative_to(folder / "landing"), skip_rows_after_header=1, null_values=["-999.25"]
            )
            frame.write_parquet(out / f"{path.stem}.parquet", compression="zstd")

    base = folder / "base"
    shutil.copytree(workspace.lake, base)

    def fresh() -> None:
        shutil.rmtree(workspace.lake)
        shutil.copytree(base, workspace.lake)

    fresh()

    def work() -> None:
        fresh()
        assert land(workspace, Lake(workspace.lake)).landed >= len(files) - 5

    (took, bare), copied = timed_beside(work, plain), timed(fresh)
    title = f"landing {len(files)} stage records"
    return Result(title, took - copied, "read_csv + write_parquet", bare, "<= 2.5 x, goal 1.5 x")


def landed(well: str, source: str, table: Table, at: datetime, rows: int) -> dict[str, object]:
    """Return the row of `sources` that makes a well's made-up rows count."""
    return {
        "path": f"landing/{source}", "map": "m", "source_id": source, "state": "landed", "lands": table.name,
        "well_id": well, "content_hash": source, "map_hash": "", "reader_version": 1, "landed_at": at,
        "rows_landed": rows, "findings": 0,
    }  # fmt: skip


def large_file(folder: Path, megabytes: int) -> Result:
    """Land one record of many samples in a process of its own; say how much memory that takes at the most."""
    from tests.builders import TREATMENT_MAP, workspace

    source = TREATMENT_MAP.replace('"set aside"', '"create"').replace('%S"', '%S%.f"')
    space = workspace(folder, {"records": source}, {"Long 1H stage 1.csv": "Time,Pressure,Rate,Conc\n,psi,bpm,ppa\n"})
    path, rows = space.root / "landing" / "Long 1H stage 1.csv", 0
    with path.open("ab") as file:
        while file.tell() < megabytes * 1_000_000:
            second = pl.int_range(rows, rows + 200_000, eager=True).alias("i").to_frame()
            moment = pl.lit(datetime(2020, 1, 1)) + pl.duration(milliseconds=100 * pl.col("i"))
            values = ((pl.col("i") % 3000) * 0.37 + 5000, (pl.col("i") % 100) * 0.013 + 40, (pl.col("i") % 50) * 0.011)
            frame = second.select(
                moment.dt.strftime("%Y-%m-%d %H:%M:%S%.3f"), *(v.round(3).alias(str(n)) for n, v in enumerate(values))
            )
            file.write(frame.write_csv(include_header=False).encode())
            rows += frame.height
    script = (
        "import resource, sys; from pathlib import Path; from pipeline import steps\n"
        "from pipeline.workspace import open_workspace\n"
        "steps.run_ingest(open_workspace(Path(sys.argv[1])))\n"
        "print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024)"
    )
    begin = time.perf_counter()
    done = subprocess.run([sys.executable, "-c", script, str(folder)], check=True, capture_output=True, text=True)
    took = time.perf_counter() - begin
    assert Lake(space.lake).condition(TREATMENT).rows == rows
    size = path.stat().st_size / 1e6
    return Result(
        f"landing a record of {size:,.0f} MB, {rows:,} samples: peak {int(done.stdout):,} MB", took, "", None,
        "<= 1,000 MB of memory for 2,000 MB",
    )  # fmt: skip


def long_lake(folder: Path, stages: int, seconds: int = 7200) -> Workspace:
    """Make a lake of many stages, each of the given length, from one simulated stage."""
    lay_out(folder, SLICE)
    workspace = open_workspace(folder)
    small = Lake(workspace.lake)
    land(workspace, small)
    one = small.scan(TREATMENT).filter(pl.col("stage") == 1).sort("time").collect()
    reach = (one["time"] - one["time"][0]).dt.total_seconds()
    idle = seconds - one.height  # the falloff goes on
    tail = one[-1:].select(pl.all().repeat_by(max(idle, 0)).explode()) if idle > 0 else one[:0]
    frame = pl.concat([one, tail])[:seconds].with_columns(second=pl.int_range(pl.len()))
    assert reach.max() is not None
    design = small.scan(STAGES).filter(pl.col("stage") == 1).collect()
    well = small.scan(WELLS).collect()
    string = small.scan(STRINGS).collect()
    shutil.rmtree(workspace.lake)
    lake = Lake(workspace.lake)
    per_well = 12
    origin = datetime(2024, 1, 1, tzinfo=UTC)
    wells, designs, strings, sources = [], [], [], []
    for index in range(-(-stages // per_well)):
        name = f"well-{index:04d}"
        count = min(per_well, stages - index * per_well)
        source = f"source-{index:04d}"
        parts = [
            frame.with_columns(
                well_id=pl.lit(name), stage=pl.lit(stage, pl.Int32), source_id=pl.lit(source),
                time=pl.lit(origin + timedelta(hours=4 * stage)) + pl.duration(seconds=pl.col("second")),
            ).drop("second")
            for stage in range(1, count + 1)
        ]  # fmt: skip
        lake.replace(TREATMENT, pl.concat(parts), {"well_id": name})
        pad = pl.lit(f"pad {index // 3}")
        wells.append(well.with_columns(well_id=pl.lit(name), well_name=pl.lit(name), pad=pad))
        strings.append(string.with_columns(well_id=pl.lit(name)))
        designs += [design.with_columns(well_id=pl.lit(name), stage=pl.lit(s, pl.Int32)) for s in range(1, count + 1)]
        sources.append(landed(name, source, TREATMENT, origin, count * frame.height))
    for table, parts in ((WELLS, wells), (STRINGS, strings), (STAGES, designs)):
        rows = pl.concat(parts).with_columns(source_id=pl.lit(table.name))
        lake.replace(table, rows, {})
        sources.append(landed("", table.name, table, origin, rows.height) | {"well_id": None})
    lake.replace(SOURCES, pl.DataFrame(sources, schema=SOURCES.dtypes), {})
    return workspace


def measuring(folder: Path, stages: int) -> Iterator[Result]:
    """Measure stages, picks and metrics included, lake to rows, against a bare scan of the same columns.

    In one process, and beside the helpers that a refresh of a large workspace keeps.
    """
    workspace = long_lake(folder, stages)
    lake = Lake(workspace.lake)

    def scan() -> None:
        lake.scan_raw(TREATMENT).select(SIGNALS).collect()

    def work() -> None:
        for table in ("picks", "stage_metrics", "findings"):
            shutil.rmtree(Path(workspace.lake) / table, ignore_errors=True)
        report = measure(lake, "UTC")
        assert report.stages == stages

    title, bar = f"measuring {stages} stages of 7,200 s", "<= 20 x, goal 10 x"
    yield Result(title, *_beside_scan(work, scan), bar)
    with kept_helpers(steps.ready_to_help):
        call_helpers()
        for _ in range(2):
            work()  # meanwhile they load and compile what they need
        yield Result(f"{title}, with helpers", *_beside_scan(work, scan), bar)


def _beside_scan(work: Callable[[], object], scan: Callable[[], object]) -> tuple[float, str, float]:
    took, bare = timed_beside(work, scan)
    return took, "bare scan", bare


def coil_measuring(folder: Path, runs: int) -> Result:
    """Measure mill-outs of 20 h, lake to rows, against a bare scan of the same columns."""
    lay_out(folder, SLICE)
    workspace = open_workspace(folder)
    shutil.rmtree(folder / "landing" / "treatment")
    lake = Lake(workspace.lake)
    land(workspace, lake)
    rng = np.random.default_rng(1)
    plan = CampaignSize(seed=1, stages=(34, 34))
    made = make_wells(plan, rng)[0]
    plugs = [(stage, perforations_ft(made, stage)[1] + 12.0) for stage in range(2, made.stages + 1)]
    record, _ = simulate_mill_out(made, plugs, CoilScript(5.0, 0.0002), 0, rng)[0]
    frame = record[:72_000].select(
        pl.col("second"),
        *(
            pl.col(ours).cast(pl.Float64).alias(theirs)
            for ours, theirs in zip(
                ("depth", "weight", "pressure", "wellhead", "pump", "returns", "sand", "bypass"),
                COIL_SIGNALS[1:],
                strict=True,
            )
        ),
    )
    assert frame.height == 72_000, frame.height
    origin = datetime(2024, 1, 1, tzinfo=UTC)
    well, string = lake.scan(WELLS).collect(), lake.scan(STRINGS).collect()
    wells, strings, listed, described, sources = [], [], [], [], []
    shutil.rmtree(workspace.lake)
    lake = Lake(workspace.lake)
    for index in range(runs):
        name, source = f"well-{index:04d}", f"source-{index:04d}"
        samples = frame.with_columns(
            well_id=pl.lit(name), run=pl.lit(1, pl.Int32), source_id=pl.lit(source), source_row=pl.lit(None),
            time=pl.lit(origin) + pl.duration(seconds=pl.col("second")),
        ).drop("second")  # fmt: skip
        lake.replace(COIL, samples, {"well_id": name})
        about = {"well_id": pl.lit(name), "source_id": pl.lit(source)}
        wells.append(well.with_columns(well_name=pl.lit(name), heel_md_ft=pl.lit(made.heel_ft), **about))
        strings.append(string.with_columns(**about))
        listed += [{"well_id": name, "plug": plug, "set_depth_ft": depth, "source_id": source} for plug, depth in plugs]
        described.append(
            {"well_id": name, "run": 1, "kind": "mill-out", "coil_diameter_in": 2.375, "source_id": source}
        )
        sources.append(landed(name, source, COIL, origin, 0))
    lake.replace(WELLS, pl.concat(wells), {})
    lake.replace(STRINGS, pl.concat(strings), {})
    lake.replace(PLUGS, pl.DataFrame(listed, schema=PLUGS.dtypes), {})
    lake.replace(COIL_RUNS, pl.DataFrame(described, schema=COIL_RUNS.dtypes), {})
    lake.replace(SOURCES, pl.DataFrame(sources, schema=SOURCES.dtypes), {})

    def scan() -> None:
        lake.scan_raw(COIL).select(COIL_SIGNALS).collect()

    def work() -> None:
        for table in ("picks", "coil_run_metrics", "plug_metrics", "findings"):
            shutil.rmtree(Path(workspace.lake) / table, ignore_errors=True)
        report = measure(lake, "UTC")
        assert report.runs == runs

    took, bare = timed_beside(work, scan)
    return Result(f"measuring {runs} coil runs of 20 h", took, "bare scan", bare, "<= 30 x, goal 10 x")


def refreshing(folder: Path) -> list[Result]:
    """Refresh after one new stage on the lake that `measuring` made, and build its report."""
    workspace = open_workspace(folder)
    steps.refresh(workspace)
    source = next((resources.folder("sample_lake") / "landing" / "treatment" / "larkspoke").glob("*01.csv"))
    target = folder / "landing" / "treatment" / "larkspoke" / "well-0000 stage 40.csv"
    lines = source.read_text(encoding="utf-8").splitlines(keepends=True)
    target.write_text("".join(lines[:-1]), encoding="utf-8")  # not the same content as the file landed already
    begin = time.perf_counter()
    done = steps.refresh(workspace)
    took = time.perf_counter() - begin
    assert done.landed.landed == 1, done.landed
    report = timed(lambda: steps.run_report(workspace))
    size = done.report.size_bytes / 1e6
    return [
        Result("refresh after one new stage on that lake", took, "", None, "<= 20 s, goal 5 s (10,000 stages)"),
        Result(f"report of that lake ({size:.1f} MB)", report, "", None, "<= 30 s, 10 MB (10,000 stages)"),
    ]


def broad_lake(folder: Path, stages: int) -> Workspace:
    """Copy a sample campaign's measured rows under new names until there are that many stages; no samples."""
    from pipeline.demo.build import SMALL

    lay_out(folder / "one", FULL if stages >= 1000 else SMALL)
    one = open_workspace(folder / "one")
    steps.run_ingest(one)
    steps.run_measure(one)
    found = {name: steps.open_lake(one).scan_raw(table).collect() for name, table in TABLES.items()}
    lay_out(folder / "broad", SLICE)
    shutil.rmtree(folder / "broad" / "landing")
    (folder / "broad" / "landing").mkdir()
    workspace = open_workspace(folder / "broad")
    lake = Lake(workspace.lake)
    copies = -(-stages // found["stage_metrics"].height)
    renamed = ("well_id", "well_name", "pad", "source_id", "path", "offset_id", "aliases")
    for name, table in TABLES.items():
        if name in ("treatment", "coil") or found[name].is_empty():
            continue
        texts = [column for column in renamed if column in table.dtypes]
        parts = [
            found[name].with_columns(
                pl.concat_str(pl.col(column), pl.lit(f"-{copy}")).alias(column) for column in texts
            )
            for copy in range(copies if texts else 1)  # a table that names no well or pad is not copied
        ]
        lake.replace(table, pl.concat(parts), {})
    steps.run_fit(workspace)
    return workspace


def reporting(folder: Path, stages: int) -> list[Result]:
    """Build the report of a lake of many pads, with PDF and spreadsheet, and open it in Chromium."""
    workspace = broad_lake(folder, stages)
    steps.run_report(workspace, beside=[])
    shutil.rmtree(workspace.out / "pictures")
    _drawn.cache_clear()
    drawn = timed(lambda: steps.run_report(workspace, beside=[]), 1)
    page = timed(lambda: steps.run_report(workspace, beside=[]), 1)
    built = steps.run_report(workspace, beside=[])
    beside = timed(lambda: steps.run_report(workspace, beside=["pdf", "xlsx"]), 1)
    megabytes = built.size_bytes / 1e6
    opens = sum(path.stat().st_size for path in built.path.parent.glob("*.*")) / 1e6
    lines = [
        Result(f"report of {stages:,} stages", page, "", None, "<= 10 s"),
        Result("the same with every picture drawn again", drawn, "", None, "none"),
        Result(f"its page has {opens:.1f} MB; all files {megabytes:.1f} MB", 0.0, "", None, "<= 5 MB to open"),
        Result("the same with PDF and spreadsheet", beside, "", None, "none"),
    ]
    opened = opening(built.path)
    if opened is not None:
        lines.append(Result("opening it in Chromium until every chart is drawn", opened, "", None, "<= 2 s"))
    return lines


def opening(path: Path) -> float | None:
    """Return how long a report takes from its address to its last chart; None without a Chromium. [s]"""
    from playwright.sync_api import sync_playwright

    from tests.report.conftest import CHROMIUM, DRAWN, FLAGS

    if CHROMIUM is None:
        return None
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        page = browser.new_page()

        def visit() -> None:
            page.goto(path.as_uri())
            page.wait_for_function(DRAWN)

        took = timed(visit)
        browser.close()
    return took


def modelling(rows: int, pads: int = 200) -> Result:
    """Fit every stage model and make every stage comparison on a modelling table of many rows."""
    rng = np.random.default_rng(1)
    models = [spec for spec in MODELS if spec.level == "stage"]
    comparisons = [spec for spec in COMPARISONS if spec.level == "stage"]
    pad = np.sort(rng.integers(0, pads, rows))
    columns: dict[str, object] = {
        "pad": [f"pad {i:03d}" for i in pad], "well_id": [f"{i}-{j}" for i, j in zip(pad, rng.integers(0, 4, rows), strict=True)],
        "quarter": [f"{2020 + i % 8}Q{i % 4 + 1}" for i in pad],
    }  # fmt: skip
    shift = rng.normal(0.0, 1.0, pads)[pad]
    names = {
        name for spec in models for name in (spec.outcome, *spec.predictors, *([spec.physics] if spec.physics else []))
    }
    names |= {name for spec in comparisons for name in (spec.outcome, spec.factor, *spec.adjusted_for)}
    for name in sorted(names):
        column = COLUMN_OF.get(name)
        if column is not None and column.role == "class":
            columns[name] = rng.choice(["a", "b", "c"], rows)
        elif name == "screenout":
            columns[name] = (rng.random(rows) < 0.05).astype(float)
        else:
            columns[name] = 100.0 + shift + rng.normal(0.0, 1.0, rows)
    columns["stage"] = rng.integers(1, 40, rows)
    frame = pl.DataFrame(columns)

    def work() -> None:
        for spec in models:
            assert fit_model(frame, spec) is not None
        for comparison in comparisons:
            assert compare(frame, comparison)

    title = f"fitting and comparing {rows:,} stage rows"
    return Result(title, timed(work, 1), "", None, "<= 60 s (50,000 rows)")


def bounding(pads: int = 2200) -> Result:
    """Compare eight crews with a fortieth of the outcomes missing: limits, and bounds for what is missing."""
    rng = np.random.default_rng(1)
    each = [
        stages(rng, 200, np.zeros(8)).with_columns(pl.col("pad", "well_id") + f" {i}")
        for i in range(max(pads // 200, 1))
    ]
    frame = pl.concat(each).with_columns(
        swap_min=pl.when(pl.int_range(pl.len()) % 40 == 0).then(None).otherwise("swap_min")
    )
    title = f"comparing crews with bounds, {frame.height:,} rows"
    return Result(title, timed(lambda: compare(frame, SWAPS), 1), "", None, "<= 5 s (50,000 rows)")


def helping() -> Result:
    """Show the help, against a bare interpreter."""

    def call(*words: str) -> Callable[[], object]:
        return lambda: subprocess.run([sys.executable, *words], check=True, capture_output=True)

    return Result(
        "heelward --help",
        timed(call("-m", "pipeline.cli", "--help"), 7),
        "python -c pass",
        timed(call("-c", "pass"), 7),
        "<= 0.5 s, goal 0.2 s",
    )


def main() -> None:
    """Run all benchmarks and print their lines."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--stages", type=int, default=1000, help="stages to measure")
    parser.add_argument("--pads", type=int, default=8, help="pads whose records are landed")
    parser.add_argument("--runs", type=int, default=50, help="coil runs to measure")
    parser.add_argument("--rows", type=int, default=50_000, help="rows of a modelling table to fit and compare")
    parser.add_argument("--megabytes", type=int, default=2000, help="size of a large file that is landed")
    parser.add_argument("--shown", type=int, default=10_000, help="stages of a lake whose report is built")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        print(helping().line(), flush=True)
        print(landing(Path(folder) / "landing", given.pads).line(), flush=True)
        print(large_file(Path(folder) / "large", given.megabytes).line(), flush=True)
        print(modelling(given.rows).line(), flush=True)
        print(bounding().line(), flush=True)
        for result in reporting(Path(folder) / "reporting", given.shown):
            print(result.line(), flush=True)
        print(coil_measuring(Path(folder) / "coil", given.runs).line(), flush=True)
        for result in measuring(Path(folder) / "measuring", given.stages):
            print(result.line(), flush=True)
        for result in refreshing(Path(folder) / "measuring"):
            print(result.line(), flush=True)


if __name__ == "__main__":
    main()
