"""Proportions of crews, and the causes of each quarter's change."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy import stats

from pipeline.metrics.declare import fingerprint
from pipeline.models.clustered import holm
from pipeline.models.columns import COLUMNS
from pipeline.models.funnel import funnel_limits, inflations, pad_correlation, tail_chance
from pipeline.models.trend import FEWEST_FOR_P, mann_kendall, mix_and_performance

METHOD_VERSION = 4
FUNNEL_Z = (1.959964, 3.090232)
"""Normal quantiles of the 95 % and the 99.8 % limits. [1]"""
CLASSES = ("design", "formation")
"""A change of these classes is mix; a change within them is performance."""
CHANGED = {"stage": ("completed_pump_time_min", "swap_min"), "plug": ("mill_min",)}
MEANS = {"stage": ("completed_pump_time_min",), "plug": ("mill_min",), "well": ("hours_per_stage", "cost_per_stage")}
FEWEST_PADS = 3
"""With fewer pads a mean has no limits, because the variation between pads is unknown."""
EVENTS = ("screenout",)
ALIKE = 0.5
"""A change is split only if at least this share of the quarter's rows is from known classes of job. [1]"""


@dataclass(frozen=True)
class Crews:
    """Crews with an event among their stages: counts, target, variance over chance, p values after Holm, inputs."""

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
    used = frame.drop_nulls([event, "frac_crew"]).with_columns(site=pl.coalesce("pad", "well_id"))
    cells = used.group_by("frac_crew", "site").agg(n=pl.len(), k=pl.col(event).sum()).sort("frac_crew", "site")
    counted = cells.group_by("frac_crew").agg(pl.col("n").sum(), pl.col("k").sum()).sort("frac_crew")
    target = float(used[event].mean() or 0.0)  # type: ignore[arg-type]
    if counted.height < 2 or not 0.0 < target < 1.0:
        return None
    sizes, of = cells["n"].to_numpy().astype(float), cells["frac_crew"].to_numpy().astype(str)
    wider = inflations(sizes, of, pad_correlation(cells["k"].to_numpy().astype(float), sizes, of))
    names = counted["frac_crew"].to_list()
    n, k = counted["n"].cast(pl.Int64).to_numpy(), counted["k"].cast(pl.Int64).to_numpy()
    phi = np.array([wider[name] for name in names])
    chance = [tail_chance(int(k[i]), int(n[i]), target, float(phi[i])) for i in range(n.size)]
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
                told = {
                    "level": crews.names[i], "events": events, "share": events / n[i], "p_value": float(crews.p[i])
                }  # fmt: skip
            rows.append(
                {
                    "event": event, **told, "rows": int(counts[i]), "target": crews.target, "low_95": inner[0][i],
                    "high_95": inner[1][i], "low_998": outer[0][i], "high_998": outer[1][i],
                    "dispersion": float(inflation[i]), "inputs": crews.inputs,
                }
            )  # fmt: skip
    return rows


def changes(frame: pl.DataFrame, metric: str) -> list[dict[str, Any]]:
    """Split each quarter's change from all earlier quarters into mix (other designs, other rock) and performance.

    Parameters
    ----------
    frame : polars.DataFrame
        A modelling table.
    metric : str
    """
    classes = [name for name in CLASSES if name in frame.columns]
    used = frame.drop_nulls([metric, "quarter"]).with_columns(
        job=pl.concat_str([pl.col(name).fill_null("not recorded") for name in classes], separator=", ")
    )
    counted = used.group_by("quarter", "job").agg(pl.col(metric).mean().alias("mean"), pl.len().alias("n"))
    by_quarter: dict[str, dict[str, tuple[float, int]]] = {}
    for quarter, job, mean, n in counted.sort("quarter", "job").iter_rows():
        by_quarter.setdefault(quarter, {})[job] = (mean, n)
    means = {
        quarter: sum(mean * n for mean, n in jobs.values()) / sum(n for _, n in jobs.values())
        for quarter, jobs in by_quarter.items()
    }
    mark = fingerprint([METHOD_VERSION, metric, counted.sort("quarter", "job").rows()])
    rows = []
    quarters = list(by_quarter)
    for index, quarter in enumerate(quarters[1:], start=2):
        earlier = _pooled([by_quarter[name] for name in quarters[: index - 1]])
        change, mix, performance = mix_and_performance(earlier, by_quarter[quarter])
        alike = sum(n for job, (_, n) in by_quarter[quarter].items() if job in earlier)
        told = alike >= ALIKE * sum(n for _, n in by_quarter[quarter].values())
        trend = mann_kendall(np.asarray(list(means.values())[:index])) if index >= 3 else None
        rows.append(
            {
                "metric": metric, "quarter": quarter, "unit": COLUMNS[metric].unit, "value": means[quarter],
                "change": change, "mix": mix if told else None, "performance": performance if told else None,
                "slope": None if trend is None else trend.slope,
                "p_trend": None if trend is None or index < FEWEST_FOR_P else trend.p, "inputs": mark,
            }
        )  # fmt: skip
    return rows


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
    are pads so far minus one.
    A trend between pads is included in s, so the limits tend to be too wide.
    """
    used = frame.drop_nulls([metric, "quarter", "pad"]).sort("quarter", "pad", "well_id")
    mark = fingerprint(
        [METHOD_VERSION, metric, used.select("quarter", "pad", metric).hash_rows(seed=1).sort().to_list()]
    )
    rows = []
    for quarter in used["quarter"].unique().sort():
        so_far = used.filter(pl.col("quarter") <= quarter)
        now, before = so_far.filter(quarter=quarter), so_far.filter(pl.col("quarter") < quarter)
        pads = so_far.group_by("pad").agg(pl.col(metric).mean())[metric].to_numpy()
        reach = None
        if pads.size >= FEWEST_PADS:
            reach = float(stats.t.ppf(0.975, pads.size - 1) * np.std(pads, ddof=1))
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
    shares = rows.group_by("pad").len()["len"].to_numpy() / max(rows.height, 1)
    return float(shares @ shares)


def _limits(prefix: str, value: float | None, reach: float | None, share: float) -> dict[str, float | None]:
    """Limits at a distance from the mean: the distance for one pad, reduced for the number of pads."""
    if value is None or reach is None:
        return {f"{prefix}low": None, f"{prefix}high": None}
    away = reach * float(np.sqrt(share))
    return {f"{prefix}low": value - away, f"{prefix}high": value + away}


def _pooled(quarters: list[dict[str, tuple[float, int]]]) -> dict[str, tuple[float, int]]:
    """Means and rows of each class of job over the given quarters."""
    rows: dict[str, list[tuple[float, int]]] = {}
    for jobs in quarters:
        for job, found in jobs.items():
            rows.setdefault(job, []).append(found)
    return {
        job: (sum(mean * n for mean, n in found) / sum(n for _, n in found), sum(n for _, n in found))
        for job, found in rows.items()
    }
