"""What the comparisons and models say on campaigns whose truth is known. Run with
`python -m tests.benchmarks.simulations`; some minutes. `tests/models/test_simulations.py` runs a short form.

Each line is a share of simulated campaigns, with its Monte-Carlo standard error, beside what it should be.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl
from scipy import stats
from threadpoolctl import threadpool_limits

from pipeline.models.clustered import fit_by_pad, holm
from pipeline.models.compare import compare
from pipeline.models.grouped_cv import fit_model
from pipeline.models.linear import fit_clustered
from pipeline.models.quarters import crews_with, quarter_means
from pipeline.models.specs import MODELS, CompareSpec, ModelSpec
from pipeline.models.trend import mann_kendall
from pipeline.plan.evaluate import Line
from pipeline.plan.rank import rank

Hits = list[bool | None]
SWAPS = CompareSpec("crews", "swap_min", "stage", "frac_crew", ("bottom_perf_ft", "quarters"))
NOTHING = ModelSpec("nothing", "pump time", "pump_time_min", "stage", ("frac_crew", "design", "bottom_perf_ft"))
FLEET_TIME = next(spec for spec in MODELS if spec.name == "fleet_time")


@dataclass(frozen=True)
class Setting:
    """A line of the table: what is counted, in which setting, what it should be, and the simulation of one campaign."""

    what: str
    setting: str
    least: float
    most: float
    campaign: Callable[[np.random.Generator], Hits]


@dataclass(frozen=True)
class Share:
    """A measured share with its Monte-Carlo standard error."""

    line: Setting
    share: float
    error: float
    counted: int

    def row(self) -> str:
        """A line of the printed table."""
        told = f"{self.share:.3f} ± {self.error:.3f}" if self.counted else "none said"
        least, most = self.line.least, self.line.most
        nominal = f">= {least:g}" if least > 0.0 else f"<= {most:g}"
        return f"{self.line.what:46} {self.line.setting:36} {told:16} {nominal:10} {self.counted:6}"

    def holds(self) -> bool:
        """Whether the share can be what it should be, but for a chance of one in a thousand."""
        hits = round(self.share * self.counted) if self.counted else 0
        fewest, most = (
            stats.binom.ppf(0.001, self.counted, self.line.least),
            stats.binom.ppf(0.999, self.counted, self.line.most),
        )
        return bool(fewest <= hits <= most)


def measured(line: Setting, campaigns: int, seed: int = 0) -> Share:
    """Simulate campaigns; a campaign that says nothing counts in neither part."""
    hits = [hit for i in range(campaigns) for hit in line.campaign(np.random.default_rng([seed, i])) if hit is not None]
    share = float(np.mean(hits)) if hits else float("nan")
    return Share(line, share, float(np.sqrt(share * (1.0 - share) / max(len(hits), 1))), len(hits))


def stages(
    rng: np.random.Generator, pads: int, effect: np.ndarray, *, heavy: bool = False, harder: float = 0.0,
    serial: float = 0.0, shifts: bool = False, by_pad: float = 0.0,
) -> pl.DataFrame:  # fmt: skip
    """Stages of pads with two wells, each well by one of two crews of the pad; pads, wells and rows differ.

    With `harder`, the first crew is sent to pads that take longer; with `serial`, stages of a well resemble the one
    before; `heavy` gives rows the tails of Student's t with three degrees of freedom. With `shifts` both crews work on
    both wells, stage by stage; `by_pad` is the standard deviation of a crew's effect from pad to pad.
    """
    wells: list[dict[str, Any]] = []
    for pad in range(pads):
        hard = float(rng.normal(0.0, 1.0))
        weight = np.where(np.arange(effect.size) == 0, np.exp(harder * hard), 1.0)
        pair = rng.choice(effect.size, size=2, replace=False, p=weight / weight.sum())
        own = rng.normal(0.0, by_pad, effect.size) if by_pad else np.zeros(effect.size)
        for well, crew in enumerate(pair):
            n = int(rng.integers(8, 16))
            row = rng.standard_t(3, n) * 12.0 / 3.0**0.5 if heavy else rng.normal(0.0, 12.0, n)
            for i in range(1, n):
                row[i] = serial * row[i - 1] + (1.0 - serial**2) ** 0.5 * row[i]
            level = 60.0 + 8.0 * hard + float(rng.normal(0.0, 4.0))
            at = pair[(np.arange(n) + well) % 2] if shifts else np.full(n, crew)
            wells.append(
                {
                    "well_id": f"{pad}-{well}", "pad": f"p{pad:02d}", "frac_crew": [f"c{one}" for one in at], "quarters": float(pad // 3),
                    "bottom_perf_ft": (18_000.0 - 200.0 * np.arange(n)).tolist(), "swap_min": (level + (effect + own)[at] + row).tolist(),
                }
            )  # fmt: skip
    rows = pl.DataFrame(wells).explode("frac_crew", "bottom_perf_ft", "swap_min")
    return rows.with_columns(stage=pl.int_range(1, pl.len() + 1).over("well_id"))


def crews(pads: int, effect: list[float], counts: str, **more: Any) -> Callable[[np.random.Generator], Hits]:
    """Compare crews: `joint` coverage of a connected set, a `claim`, or whether a `best` said with 95 % is right."""
    truth = np.asarray(effect)

    def campaign(rng: np.random.Generator) -> Hits:
        planted = truth if counts != "best" else rng.normal(0.0, truth)
        rows = [row for row in compare(stages(rng, pads, planted, **more), SWAPS) if row["separable"]]
        hits: Hits = []
        for group in sorted({row["group"] for row in rows}):
            mine = [row for row in rows if row["group"] == group]
            true = np.array([planted[int(row["level"][1:])] for row in mine])
            away = true - true.mean()
            limits = [(row["joint_low"], row["joint_high"]) for row in mine]
            if counts == "joint":
                hits.append(all(low <= value <= high for value, (low, high) in zip(away, limits, strict=True)))
            elif counts == "claim":
                hits.append(any(low > 0.0 or high < 0.0 for low, high in limits))
            elif counts == "found":
                hits += [low > 0.0 for row, (low, _) in zip(mine, limits, strict=True) if row["level"] == "c0"]
            else:
                sure = [row for row in mine if row["chance_best"] > 0.95]
                hits += [planted[int(row["level"][1:])] == true.min() for row in sure]
        return hits

    return campaign


def eight_terms(pads: int) -> Callable[[np.random.Generator], Hits]:
    """Whether any of eight terms without an effect, four of the pad and four of the stage, is beyond chance."""

    def campaign(rng: np.random.Generator) -> Hits:
        code = np.repeat(np.arange(pads), rng.integers(5, 26, pads))
        of_pad = [rng.normal(0.0, 1.0, pads)[code] for _ in range(4)]
        design = np.column_stack((np.ones(code.size), *of_pad, *rng.normal(0.0, 1.0, (4, code.size))))
        outcome = rng.normal(0.0, 1.0, pads)[code] + rng.normal(0.0, 1.0, code.size)
        fitted = fit_by_pad(design, outcome, [str(pad) for pad in code])
        p = np.array([fitted.contrast(row).p for row in np.eye(9)[1:]])
        return [bool(np.nanmin(holm(p)) < 0.05)]

    return campaign


def aliased(rng: np.random.Generator) -> Hits:
    """Whether limits of a term that is a combination of others exclude zero."""
    code = np.repeat(np.arange(8), 12)
    crew = (code >= 4).astype(float)
    design = np.column_stack((np.ones(96), crew, rng.normal(0.0, 1.0, 96), 2.0 * crew))
    outcome = rng.normal(0.0, 1.0, 8)[code] + rng.normal(0.0, 1.0, 96)
    fitted = fit_clustered(design, outcome, ["constant", "crew", "depth", "design"], [str(pad) for pad in code])
    return [bool(fitted.low[3] > 0.0 or fitted.high[3] < 0.0)]


def screen_outs(shares: list[float], correlation: float, named: str | None) -> Callable[[np.random.Generator], Hits]:
    """Whether a crew, or any crew, is named for its share of screen-outs; pads differ by a beta distribution."""
    size = (1.0 - correlation) / correlation if correlation else np.inf

    def campaign(rng: np.random.Generator) -> Hits:
        rows: list[dict[str, Any]] = []
        for crew, share in enumerate(shares):
            for pad in range(5):
                own = share if not correlation else float(rng.beta(share * size, (1.0 - share) * size))
                hit = (rng.random(int(rng.integers(8, 41))) < own).astype(float)
                rows.append(
                    {"frac_crew": f"c{crew}", "pad": f"{crew}-{pad}", "well_id": "w", "screenout": hit.tolist()}
                )
        found = crews_with(pl.DataFrame(rows).explode("screenout"), "screenout")
        if found is None:
            return [False]
        out = {name for name, p in zip(found.names, found.p, strict=True) if p < 0.05}
        return [bool(out) if named is None else named in out]

    return campaign


def better_than_mean(pads: int) -> Callable[[np.random.Generator], Hits]:
    """Whether a card says that a model is better than the mean, with nothing planted but pads and wells."""

    def campaign(rng: np.random.Generator) -> Hits:
        frame = stages(rng, pads, np.zeros(3)).rename({"swap_min": "pump_time_min"})
        design = rng.choice(["wide", "tight"], frame["well_id"].n_unique())
        by_well = dict(zip(frame["well_id"].unique(maintain_order=True), design, strict=True))
        frame = frame.with_columns(design=pl.col("well_id").replace_strict(by_well))
        found = fit_model(frame, NOTHING)
        return [None if found is None else found.card["better_than_mean"]]

    return campaign


def first_of_two(pads: int, pump: float, gap: float) -> Callable[[np.random.Generator], Hits]:
    """Whether a plan says that one of two designs comes first by pad hours, whose sums are equal."""

    def campaign(rng: np.random.Generator) -> Hits:
        frame = stages(rng, pads, np.zeros(2))
        wide = {name: bool((i // 2 + i) % 2) for i, name in enumerate(frame["well_id"].unique(maintain_order=True))}
        frame = frame.with_columns(
            pl.when(pl.col("well_id").replace_strict(wide))
            .then(pl.lit("wide"))
            .otherwise(pl.lit("tight"))
            .alias("design"),
            operation_mode=pl.lit("zipper"),
            pad_order=pl.int_range(pl.len()).over("pad").cast(pl.Float64),
        )
        planted = pl.when(pl.col("design") == "wide").then(pump + gap).otherwise(0.0)
        frame = frame.with_columns(fleet_min=pl.col("swap_min") + planted)
        job = {
            "frac_crew": "c0", "operation_mode": "zipper", "bottom_perf_ft": 17_000.0, "pad_order": 8.0,
            "quarters": float(frame["quarters"].max()), "stages_measured": 12.0,  # type: ignore[arg-type]
        }  # fmt: skip
        jobs = {name: job | {"design": name} for name in ("wide", "tight")}
        lines = [
            Line(name, "pad_hours", value, None, None, "h", "sum", "")
            for name, value in zip(jobs, (24.0, 25.0), strict=True)
        ]
        return [bool(rank("pad_hours", lines, jobs, {"stage": frame}).order)]

    return campaign


def quarter_covers(pads: int) -> Callable[[np.random.Generator], Hits]:
    """Whether the limits of the last quarter's mean hold the mean of all pads; pads have unequal stages."""

    def campaign(rng: np.random.Generator) -> Hits:
        rows = rng.integers(4, 60, pads)
        level = rng.normal(0.0, 8.0, pads)
        frame = pl.DataFrame(
            {
                "pad": np.repeat([f"p{i}" for i in range(pads)], rows), "quarter": np.repeat(
                    [f"{2030 + i // 12}Q{i // 3 % 4 + 1}" for i in range(pads)], rows
                ), "completed_pump_time_min": 100.0 + np.repeat(level, rows) + rng.normal(0.0, 12.0, int(rows.sum())),
            }
        ).with_columns(well_id=pl.col("pad"))  # fmt: skip
        last = quarter_means(frame, "completed_pump_time_min")[-1]
        return [bool(last["low"] <= 100.0 <= last["high"])]

    return campaign


def trend_said(quarters: int, serial: float, slope: float = 0.0) -> Callable[[np.random.Generator], Hits]:
    """Whether a title says a trend without reserve."""

    def campaign(rng: np.random.Generator) -> Hits:
        value = rng.normal(0.0, 1.0, quarters)
        for i in range(1, quarters):
            value[i] = serial * value[i - 1] + (1.0 - serial**2) ** 0.5 * value[i]
        return [mann_kendall(value + slope * np.arange(quarters)).p_serial < 0.05]

    return campaign


def table() -> list[Setting]:
    """All lines."""
    ten = [10.0, 0.0, 0.0, 0.0]
    lines = [Setting("any of 8 null terms beyond chance", f"{n} pads", 0.0, 0.05, eight_terms(n)) for n in (8, 20, 40)]
    lines += [Setting("aliased term: limits exclude zero", "8 pads, noise", 0.0, 0.0, aliased)]
    for n in (3, 8, 20, 60):
        lines.append(Setting("joint coverage of crews, one +10 min", f"{n} pads", 0.93, 1.0, crews(n, ten, "joint")))
    lines += [
        Setting("joint coverage", "8 pads, heavy tails", 0.93, 1.0, crews(8, ten, "joint", heavy=True)),
        Setting("joint coverage", "20 pads, stages alike in time", 0.93, 1.0, crews(20, ten, "joint", serial=0.4)),
        Setting("joint coverage", "20 pads, first crew on hard pads", 0.93, 1.0, crews(20, ten, "joint", harder=1.5)),
    ]
    lines += [
        Setting("joint coverage", "20 pads, shifts", 0.93, 1.0, crews(20, ten, "joint", shifts=True)),
        Setting("joint coverage", "20 pads, shifts, 6 min by pad", 0.93, 1.0, crews(20, ten, "joint", shifts=True, by_pad=6.0)),
        Setting("crew claims, nothing planted", "20 pads, shifts, 6 min by pad", 0.0, 0.05,
                crews(20, [0.0] * 4, "claim", shifts=True, by_pad=6.0)),
    ]  # fmt: skip
    for n in (3, 8, 20, 60):
        lines.append(Setting("crew claims, nothing planted", f"{n} pads", 0.0, 0.05, crews(n, [0.0] * 4, "claim")))
    for n, power in ((8, 0.2), (20, 0.8), (60, 0.97)):
        lines.append(Setting("crew at +10 min found", f"{n} pads", power, 1.0, crews(n, ten, "found")))
    for sd in (1.0, 4.0, 10.0):
        words = f"20 pads, crews' sd {sd:g} min"
        lines.append(Setting("'chance best' above 0.95, when right", words, 0.95, 1.0, crews(20, [sd] * 4, "best")))
    lines += [
        Setting("crew at 25 % against 3 % flagged", "3 crews", 0.9, 1.0, screen_outs([0.03, 0.03, 0.25], 0.0, "c2")),
        Setting("a crew named, nothing planted", "20 crews", 0.0, 0.05, screen_outs([0.05] * 20, 0.0, None)),
        Setting("a crew named, nothing planted", "20 crews, ICC 0.03", 0.0, 0.05, screen_outs([0.05] * 20, 0.03, None)),
        Setting("plan: 'comes first', alike designs", "8 pads", 0.0, 0.05, first_of_two(8, 0.0, 0.0)),
        Setting("plan: 'comes first', +6 and -6 min", "20 pads", 0.0, 0.05, first_of_two(20, 6.0, -6.0)),
        Setting("plan: 'comes first', -10 min", "20 pads", 0.6, 1.0, first_of_two(20, -10.0, 0.0)),
    ]
    for n in (3, 5, 8, 20):
        lines.append(
            Setting("card better than the mean, nothing planted", f"{n} pads", 0.0, 0.025, better_than_mean(n))
        )
    lines += [Setting("mean of the quarter: coverage", "60 unequal pads", 0.93, 1.0, quarter_covers(60))]
    for n in (8, 12, 20):
        lines.append(Setting("trend title, none planted", f"{n} quarters, r 0.5", 0.0, 0.05, trend_said(n, 0.5)))
    lines.append(Setting("trend title, 0.25 sd per quarter", "12 quarters, r 0", 0.3, 1.0, trend_said(12, 0.0, 0.25)))
    return lines


def run(campaigns: int, lines: Iterable[Setting]) -> Iterable[Share]:
    """Measure lines one after the other, each with its own number of campaigns."""
    with threadpool_limits(1):
        for line in lines:
            yield measured(line, campaigns)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--campaigns", type=int, default=300, help="simulated campaigns per line (default: 300)")
    parser.add_argument("--only", default="", help="only lines that have this text")
    given = parser.parse_args()
    print(f"{'counted':46} {'setting':36} {'share':16} {'nominal':10} {'of':>6}")
    chosen = [line for line in table() if given.only in line.what or given.only in line.setting]
    for found in run(given.campaigns, chosen):
        print(found.row(), flush=True)
