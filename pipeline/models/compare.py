"""Crews compared fairly: adjusted for what was known before the job, and only if separable from the pad effect."""

from __future__ import annotations

from collections import defaultdict
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy import stats
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from pipeline.models.columns import COLUMNS, predictors
from pipeline.models.design_matrix import design_matrix
from pipeline.models.linear import aliased_terms
from pipeline.models.mixed import fit_mixed
from pipeline.models.ranks import chance_of_least, rank_intervals
from pipeline.models.shrink import empirical_bayes
from pipeline.models.specs import CompareSpec, rows_hash

Array = NDArray[np.float64]
METHOD_VERSION = 5
FEWEST_ROWS = 10
"""A crew with fewer stages or plugs is not compared."""
NO_SET = 0
"""Connected set of a crew that is not compared."""


def connected_sets(units: list[str], pads: list[str]) -> dict[str, int]:
    """Return the connected set of each crew in the bipartite graph of crews and pads.

    Parameters
    ----------
    units, pads : list of str, length n
        Crew and pad of each row.

    Returns
    -------
    dict of str to int
        Sets are numbered from 1; the set with most rows is first.

    References
    ----------
    Abowd, Creecy and Kramarz, *Computing person and firm effects* (2002).
    """
    names, unit_code = np.unique(np.asarray(units), return_inverse=True)
    places, pad_code = np.unique(np.asarray(pads), return_inverse=True)
    size = names.size + places.size
    graph = coo_matrix((np.ones(len(units)), (unit_code, names.size + pad_code)), shape=(size, size))
    _, label = connected_components(graph, directed=False)
    rows = np.bincount(label[unit_code], minlength=label.max() + 1)
    order = {int(old): new for new, old in enumerate(np.argsort(-rows, kind="stable"), start=1)}
    return {str(name): order[int(label[i])] for i, name in enumerate(names)}


def inputs_hash(frame: pl.DataFrame, spec: CompareSpec) -> str:
    """Return a hash of the rows and the method that determine a comparison."""
    return rows_hash(frame, spec, METHOD_VERSION, [spec.outcome, spec.factor, *spec.adjusted_for])


def compare(frame: pl.DataFrame, spec: CompareSpec) -> list[dict[str, Any]]:
    """Compare the levels of a factor.

    Parameters
    ----------
    frame : polars.DataFrame
        A modelling table.
    spec : CompareSpec

    Returns
    -------
    list of dict
        Rows of `comparisons`, one per crew. Effects are differences from the mean of the crew's connected set, adjusted
        by a mixed model (crew fixed, pad random; wells within pads random); limits use Student's t with as many degrees
        of freedom as there are wells beyond crews. Crews that worked alone on their pads have no effect.

    Notes
    -----
    A crew alone on its pads is not separable from the pad effect. It is shown as not separable and is not ranked.
    """
    predictors([spec.factor, *spec.adjusted_for])
    known = frame.drop_nulls([spec.factor, "pad"])
    used = known.drop_nulls([spec.outcome, *spec.adjusted_for])
    if used.is_empty():
        return []
    counts = used.group_by(spec.factor).len()
    enough = set(counts.filter(pl.col("len") >= FEWEST_ROWS)[spec.factor].to_list())
    left = used.filter(pl.col(spec.factor).is_in(enough))  # a crew that is left out connects no others
    groups = connected_sets(left[spec.factor].to_list(), left["pad"].to_list()) if left.height else {}
    members: dict[int, list[str]] = defaultdict(list)
    for level, group in groups.items():
        members[group].append(level)
    rows = {
        level: _row(spec, known, used, level, groups.get(level, NO_SET), level in enough)
        for level in sorted(counts[spec.factor])
    }
    for levels in members.values():
        if len(levels) > 1:
            mine = pl.col(spec.factor).is_in(levels)
            _fill_effects(spec, used.filter(mine), sorted(levels), rows)
            _fill_uncut(spec, used.filter(mine), sorted(levels), rows)
            _fill_bounds(spec, known.filter(mine).drop_nulls(list(spec.adjusted_for)), sorted(levels), rows)
    mark = inputs_hash(frame, spec)
    return [row | {"inputs": mark} for row in rows.values()]


def _row(
    spec: CompareSpec, known: pl.DataFrame, used: pl.DataFrame, level: str, group: int, enough: bool
) -> dict[str, Any]:
    mine = used.filter(pl.col(spec.factor) == level)
    pads = mine["pad"].n_unique()
    worked = "its only pad" if pads == 1 else "its pads"
    note = f"worked alone on {worked}: not separable from the pad effect"
    others = used.filter(pl.col(spec.factor) != level)
    if others.height:
        beside = others.group_by(spec.factor).len().sort("len", spec.factor, descending=[True, False])[spec.factor][0]
        note += f"; a pad shared with {beside}, each on separate wells, would separate the two"
    if not enough:
        note = f"fewer than {FEWEST_ROWS} rows: not compared"
    return {
        "comparison": spec.name, "outcome": spec.outcome, "unit": COLUMNS[spec.outcome].unit, "factor": spec.factor,
        "level": level, "rows": mine.height,
        "rows_excluded": known.filter(pl.col(spec.factor) == level).height - mine.height, "pads": pads,
        "wells": mine["well_id"].n_unique(), "group": group, "separable": False, "effect": None, "low": None,
        "high": None, "shrunken": None, "shrunken_low": None, "shrunken_high": None,
        "chance_best": None, "rank_low": None, "rank_high": None, "bound_low": None, "bound_high": None,
        "effect_uncut": None, "raw_mean": mine[spec.outcome].mean(),
        "adjusted_for": ", ".join(spec.adjusted_for), "note": note,
    }  # fmt: skip


def _fill_uncut(spec: CompareSpec, used: pl.DataFrame, levels: list[str], rows: dict[str, dict[str, Any]]) -> None:
    """Refit without stages cut short or screened out. The main fit keeps them; this fit shows their influence."""
    if "cut_short" not in used.columns or rows[levels[0]]["effect"] is None:
        return
    whole = used.filter(~(pl.col("cut_short").fill_null(False) | (pl.col("screenout").fill_null(0.0) > 0.5)))
    if whole.height == used.height or set(whole[spec.factor].unique()) != set(levels):
        return
    found = _effects(spec, whole, levels)
    if found is not None:
        for i, level in enumerate(levels):
            rows[level]["effect_uncut"] = float(found[0][i])


def _fill_bounds(spec: CompareSpec, known: pl.DataFrame, levels: list[str], rows: dict[str, dict[str, Any]]) -> None:
    """Refit with missing outcomes set to extremes: those of this level to one end, those of others to the other.

    This bounds the comparison if the missing stages (hard stages lose their outcome first) were as good or as
    bad as the worst twentieth of the observed stages.
    """
    lost = known.filter(pl.col(spec.outcome).is_null()).height
    if not lost or rows[levels[0]]["effect"] is None:
        return
    ends = known.select(pl.col(spec.outcome).quantile(q).alias(str(q)) for q in (0.05, 0.95)).row(0)
    for level in levels:
        found = []
        for mine, others in (ends, ends[::-1]):
            filler = pl.when(pl.col(spec.factor) == level).then(mine).otherwise(others)
            effect = _effects(spec, known.with_columns(pl.col(spec.outcome).fill_null(filler)), levels)
            found.append(float("nan") if effect is None else float(effect[0][levels.index(level)]))
        if not np.isnan(found).any():
            rows[level] |= {"bound_low": min(found), "bound_high": max(found)}


def _fill_effects(spec: CompareSpec, used: pl.DataFrame, levels: list[str], rows: dict[str, dict[str, Any]]) -> None:
    found = _effects(spec, used, levels)
    if found is None:
        for level in levels:
            rows[level]["note"] = "aliased with a covariate: not separable"
        return
    effect, covariance = found
    k = len(levels)
    error = np.sqrt(np.diag(covariance))
    freedom = max(used["well_id"].n_unique() - k, 1)
    reach = stats.t.ppf(0.975, freedom)
    shrunk = empirical_bayes(effect, error)
    joint = stats.t.ppf(1.0 - 0.025 / k, freedom)
    low, high = shrunk.value - joint * shrunk.error, shrunk.value + joint * shrunk.error
    best = chance_of_least(effect, covariance)
    ranks = rank_intervals(low, high)
    for i, level in enumerate(levels):
        rows[level] |= {
            "separable": True, "effect": float(effect[i]), "low": float(effect[i] - reach * error[i]),
            "high": float(effect[i] + reach * error[i]), "shrunken": float(shrunk.value[i]),
            "shrunken_low": float(low[i]), "shrunken_high": float(high[i]), "chance_best": float(best[i]),
            "rank_low": ranks[i][0], "rank_high": ranks[i][1],
            "note": f"compared within a connected set of {k}",
        }  # fmt: skip


def _effects(spec: CompareSpec, used: pl.DataFrame, levels: list[str]) -> tuple[Array, Array] | None:
    """Return each level's difference from the mean of the levels, and their covariance; None if aliased."""
    covariates = predictors(list(spec.adjusted_for))
    others, names, _ = design_matrix(used, covariates)
    crews = np.column_stack([(used[spec.factor] == level).to_numpy().astype(float) for level in levels])
    design = np.column_stack((crews, others[:, 1:]))  # one column per crew replaces the constant
    terms = [*levels, *names[1:]]
    lost = aliased_terms(np.column_stack((others, crews[:, 1:])), [*names, *levels[1:]])
    if any(level in lost for level in levels):
        return None
    keep = [i for i, term in enumerate(terms) if term not in lost or term in levels]
    outcome = used[spec.outcome].to_numpy().astype(float)
    pads, wells = used["pad"].to_numpy().astype(str), used["well_id"].to_numpy().astype(str)
    fitted = fit_mixed(outcome, design[:, keep], pads, None if spec.level == "well" else wells)
    k = len(levels)
    contrast = np.eye(k) - 1.0 / k
    return contrast @ fitted.estimate[:k], contrast @ fitted.covariance[:k, :k] @ contrast.T
