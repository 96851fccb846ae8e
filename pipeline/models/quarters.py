"""Proportions of crews, and the causes of each quarter's change."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl
import scipy
from numpy.typing import NDArray

from pipeline.metrics.declare import fingerprint
from pipeline.models.clustered import holm
from pipeline.models.columns import COLUMNS
from pipeline.models.funnel import funnel_limits, inflations, pad_correlation, tail_chance
from pipeline.models.trend import FEWEST_FOR_P, mann_kendall, mix_and_performance

METHOD_VERSION = 5
FUNNEL_Z = (1.959964, 3.090232)
"""Normal quantiles of the 95 % and the 99.8 % limits. [1]"""
CLASSES = ("design", "formation")
"""A change of these classes is mix; a change within them is performance."""
CREWS_OF = {"completed_pump_time_min": ("frac_crew",), "swap_min": ("frac_crew",), "mill_min": ("coil_crew",)}
"""Crew of each metric that is split."""
RESAMPLES = 400
CHANGED = {"stage": ("completed_pump_time_min", "swap_min"), "plug": ("mill_min",)}
MEANS = {"stage": ("completed_pump_time_min",), "plug": ("mill_min",), "well": ("hours_per_stage", "cost_per_stage")}
FEWEST_PADS = 3
"""With fewer pads a mean has no limits, because the variation between pads is unknown."""
EVENTS = ("screenout",)
ALIKE = 0.5
"""A change is split only if at least this share of the quarter's rows is from known classes of job. [1]"""


@dataclass(frozen=True)
class Crews:
    """Crews with an event among their stages: counts, target, variance over chance, p values after Holm, inputs.

    The p values are NaN if no crew worked two pads.
    """

    names: list[str]
    stages: NDArray[np.int64]
    events: NDArray[np.int64]
    target: float
    inflation: NDArray[np.float64]
    p: NDArray[np.float64]
    inputs: str


def crews_with(frame: pl.DataFrame, event: str) -> Crews | None:
    """Count an event of each crew, and test it against the proportion of all stages.

    Parameters
    ----------
    frame : polars.DataFrame
        Modelling table of stages.
    event : str
        A column with values 1 and 0.

    Returns
    -------
    Crews or None
        None with fewer than two crews, or if all stages or none have the event.
    """
    used = frame.select(event, "frac_crew", site=pl.coalesce("pad", "well_id")).drop_nulls([event, "frac_crew"])
    cells = used.group_by("frac_crew", "site").agg(n=pl.len(), k=pl.col(event).sum()).sort("frac_crew", "site")
    counted = cells.group_by("frac_crew").agg(pl.col("n").sum(), pl.col("k").sum()).sort("frac_crew")
    target = float(used[event].mean() or 0.0)  # type: ignore[arg-type]
    if counted.height < 2 or not 0.0 < target < 1.0:
        return None
    sizes, of = cells["n"].to_numpy().astype(float), cells["frac_crew"].to_numpy().astype(str)
    correlation = pad_correlation(cells["k"].to_numpy().astype(float), sizes, of)
    wider = inflations(sizes, of, correlation or 0.0)
    names = counted["frac_crew"].to_list()
    n, k = counted["n"].cast(pl.Int64).to_numpy(), counted["k"].cast(pl.Int64).to_numpy()
    phi = np.array([wider[name] for name in names])
    chance = [tail_chance(int(k[i]), int(n[i]), target, float(phi[i])) for i in range(n.size)]
    if correlation is None:  # how much pads of a crew differ is not known: nothing can be said of a crew
        chance = [np.nan] * n.size
    mark = fingerprint([METHOD_VERSION, event, cells.rows()])
    return Crews(names, n, k, target, phi, holm(np.asarray(chance)), mark)


def proportions(frame: pl.DataFrame, event: str) -> list[dict[str, Any]]:
    """Return each crew's proportion of an event with exact limits, and points of the limit lines for the chart."""
    crews = crews_with(frame, event)
    if crews is None:
        return []
    n = crews.stages.astype(float)
    grid = np.unique(np.linspace(max(5.0, n.min() * 0.5), n.max() * 1.15, 24).round())
    usual = np.full(grid.size, float(crews.inflation @ n / n.sum()))
    rows = []
    for counts, inflation in ((n, crews.inflation), (grid, usual)):
        inner, outer = (funnel_limits(counts, crews.target, inflation, z) for z in FUNNEL_Z)
        for i in range(counts.size):
            told: dict[str, Any] = {"level": "limits", "events": None, "share": None, "p_value": None}
            if counts is n:
                events = int(crews.events[i])
                p = None if np.isnan(crews.p[i]) else float(crews.p[i])
                told = {"level": crews.names[i], "events": events, "share": events / n[i], "p_value": p}
            rows.append(
                {
                    "event": event, **told, "rows": int(counts[i]), "target": crews.target, "low_95": inner[0][i],
                    "high_95": inner[1][i], "low_998": outer[0][i], "high_998": outer[1][i],
                    "dispersion": float(inflation[i]), "inputs": crews.inputs,
                }
            )  # fmt: skip
    return rows


def changes(frame: pl.DataFrame, metric: str) -> list[dict[str, Any]]:
    """Split each quarter's change from all earlier quarters into job mix, crew mix and performance.

    Parameters
    ----------
    frame : polars.DataFrame
        A modelling table.
    metric : str

    Notes
    -----
    Job mix is other designs and rock; crew mix is the same jobs by other crews; performance is the rest: the same crews
    on the same jobs. Limits of the parts come from resampling whole pads, in the quarter and before it, with Student's
    t for so few pads; with fewer than three pads on one side there are none.
    """
    jobs = [name for name in CLASSES if name in frame.columns]
    crew = next((name for name in CREWS_OF.get(metric, ()) if name in frame.columns), None)
    used = frame.select(
        metric, "quarter",
        site=pl.coalesce(name for name in ("pad", "well_id") if name in frame.columns),
        job=pl.concat_str([pl.col(name).fill_null("not recorded") for name in jobs], separator=", "),
        crew=pl.lit("all") if crew is None else pl.col(crew).fill_null("not recorded"),
    ).drop_nulls([metric, "quarter"])  # fmt: skip
    keys = ("quarter", "site", "job", "crew")
    cells = used.group_by(keys, maintain_order=True).agg(n=pl.len(), total=pl.col(metric).sum())
    cells = cells.sort("quarter", "site", "job", "crew")
    mark = fingerprint([METHOD_VERSION, metric, cells.rows()])
    quarters = cells["quarter"].unique().sort().to_list()
    by_quarter = cells.group_by("quarter").agg(value=pl.col("total").sum() / pl.col("n").sum()).sort("quarter")
    values = by_quarter["value"].to_numpy()
    rows = []
    for index, quarter in enumerate(quarters[1:], start=2):
        before, after = cells.filter(pl.col("quarter") < quarter), cells.filter(quarter=quarter)
        trend = mann_kendall(values[:index]) if index >= 3 else None
        tested = index >= FEWEST_FOR_P and trend is not None
        rows.append(
            {
                "metric": metric, "quarter": quarter, "unit": COLUMNS[metric].unit, "value": float(values[index - 1]),
                **_parts(before, after), "slope": None if trend is None else trend.slope,
                "p_trend": trend.p if trend and tested else None,
                "p_serial": trend.p_serial if trend and tested else None, "inputs": mark,
            }
        )  # fmt: skip
    return rows


def _parts(before: pl.DataFrame, after: pl.DataFrame) -> dict[str, float | None]:
    """The change from the cells of one period to those of another, and its parts with their limits."""
    both = pl.concat((before, after))
    periods = [_Period.of(cells, both) for cells in (before, after)]
    point = _split(*(period.sums(np.ones((1, period.pads))) for period in periods))
    known = [_known_share(periods, level) for level in range(2)]
    told = {"mix": known[0], "crew_mix": known[1], "performance": known[0]}
    if known[0] and not known[1]:  # no crew did such jobs before: what crews do is part of performance
        point["performance"], point["crew_mix"] = point["performance"] + point["crew_mix"], np.zeros(1)
    found: dict[str, float | None] = {"change": float(point["change"][0])}
    fewest = min(period.pads for period in periods)
    rng = np.random.default_rng(0)
    drawn = None
    if fewest >= FEWEST_PADS:
        drawn = _split(*(period.sums(period.resampled(rng)) for period in periods))
        if known[0] and not known[1]:
            drawn["performance"] = drawn["performance"] + drawn["crew_mix"]
    reach = float(scipy.stats.t.ppf(0.975, max(fewest - 1, 1)) * np.sqrt(fewest / max(fewest - 1, 1)))
    for part, shown in told.items():
        value = float(point[part][0]) if shown else None
        away = None if drawn is None else reach * float(np.std(drawn[part]))
        found |= {part: value, **_around(f"{part}_", value, away)}
    return found


@dataclass(frozen=True)
class _Period:
    """Rows and sums of a period by pad: over jobs, and over jobs and crews."""

    rows: tuple[NDArray[np.float64], NDArray[np.float64]]
    totals: tuple[NDArray[np.float64], NDArray[np.float64]]

    @property
    def pads(self) -> int:
        return int(self.rows[0].shape[0])

    @classmethod
    def of(cls, cells: pl.DataFrame, both: pl.DataFrame) -> _Period:
        """Collect the cells of one period; classes are those of both periods."""
        sites = cells["site"].unique().sort()
        site = sites.search_sorted(cells["site"]).to_numpy()
        rows: list[NDArray[np.float64]] = []
        totals: list[NDArray[np.float64]] = []
        for keys in (["job"], ["job", "crew"]):
            classes = both.select(keys).unique().sort(keys).with_row_index("at")
            at = cells.join(classes, on=keys, how="left", maintain_order="left")["at"].to_numpy()
            for held, column in ((rows, "n"), (totals, "total")):
                table = np.zeros((sites.len(), classes.height))
                np.add.at(table, (site, at), cells[column].to_numpy().astype(float))
                held.append(table)
        return cls((rows[0], rows[1]), (totals[0], totals[1]))

    def resampled(self, rng: np.random.Generator) -> NDArray[np.float64]:
        """How often each pad is drawn, in many samples of as many pads."""
        return rng.multinomial(self.pads, np.full(self.pads, 1.0 / self.pads), size=RESAMPLES).astype(float)

    def sums(self, weights: NDArray[np.float64]) -> list[tuple[NDArray[np.float64], NDArray[np.float64]]]:
        """Rows and sums of each class, for weights of the pads."""
        return [(weights @ n, weights @ total) for n, total in zip(self.rows, self.totals, strict=True)]


def _split(
    before: list[tuple[NDArray[np.float64], NDArray[np.float64]]],
    after: list[tuple[NDArray[np.float64], NDArray[np.float64]]],
) -> dict[str, NDArray[np.float64]]:
    """Split changes into job mix, crew mix within jobs, and performance of crews on jobs."""
    change, mix, within = mix_and_performance(*before[0], *after[0])
    _, _, performance = mix_and_performance(*before[1], *after[1])
    return {"change": change, "mix": mix, "crew_mix": within - performance, "performance": performance}


def _known_share(periods: list[_Period], level: int) -> bool:
    """Whether enough of the later period's rows are in classes that the earlier one has."""
    before, after = (period.rows[level].sum(axis=0) for period in periods)
    return bool(after[before > 0.0].sum() >= ALIKE * after.sum())


def quarter_means(frame: pl.DataFrame, metric: str) -> list[dict[str, Any]]:
    """Return each quarter's mean, and its difference from all earlier quarters, with 95 % limits.

    Parameters
    ----------
    frame : polars.DataFrame
        A modelling table.
    metric : str

    Notes
    -----
    A quarter often has one or two pads, and wells of a pad are similar, so the limits are based on how much the means
    of all pads so far differ: m ± t s √Σw² with w the share of the quarter's rows that a pad holds; degrees of freedom
    are pads so far minus one. Pads are taken as independent: where each resembles the one before, limits are too
    narrow.
    """
    used = frame.select(metric, "quarter", "pad", "well_id").drop_nulls([metric, "quarter", "pad"])
    used = used.sort("quarter", "pad", "well_id", maintain_order=True)
    mark = fingerprint(
        [METHOD_VERSION, metric, used.select("quarter", "pad", metric).hash_rows(seed=1).sort().to_list()]
    )
    rows = []
    for quarter in used["quarter"].unique().sort():
        so_far = used.filter(pl.col("quarter") <= quarter)
        now, before = so_far.filter(quarter=quarter), so_far.filter(pl.col("quarter") < quarter)
        pads = so_far.group_by("pad", maintain_order=True).agg(pl.col(metric).mean())[metric].to_numpy()
        reach = None
        if pads.size >= FEWEST_PADS:
            reach = float(scipy.stats.t.ppf(0.975, pads.size - 1) * np.std(pads, ddof=1))
        here, earlier = _sum_of_squares(now), _sum_of_squares(before)
        value = float(now[metric].mean())  # type: ignore[arg-type]
        change = value - float(before[metric].mean()) if before.height else None  # type: ignore[arg-type]
        rows.append(
            {
                "metric": metric, "quarter": quarter, "unit": COLUMNS[metric].unit, "rows": now.height,
                "pads": now["pad"].n_unique(),
                "value": value, **_limits("", value, reach, here),
                "change": change, **_limits("change_", change, reach, here + earlier),
                "inputs": mark,
            }
        )  # fmt: skip
    return rows


def _sum_of_squares(rows: pl.DataFrame) -> float:
    """Sum of the squared shares of the rows that each pad holds: the variance of their mean over that of a pad."""
    shares = rows.group_by("pad", maintain_order=True).len()["len"].to_numpy() / max(rows.height, 1)
    return float(shares @ shares)


def _limits(prefix: str, value: float | None, reach: float | None, share: float) -> dict[str, float | None]:
    """Limits at a distance from the mean: the distance for one pad, reduced for the number of pads."""
    return _around(prefix, value, None if reach is None else reach * float(np.sqrt(share)))


def _around(prefix: str, value: float | None, away: float | None) -> dict[str, float | None]:
    if value is None or away is None:
        return {f"{prefix}low": None, f"{prefix}high": None}
    return {f"{prefix}low": value - away, f"{prefix}high": value + away}
