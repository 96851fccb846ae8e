"""Crews compared fairly: adjusted for what was known before the job, and only if separable from the pad effect."""

from __future__ import annotations

from collections import defaultdict
from itertools import product
from typing import Any

import numpy as np
import polars as pl
import scipy
from numpy.typing import NDArray

from pipeline.models.clustered import Contrast
from pipeline.models.columns import COLUMNS, predictors
from pipeline.models.levels import TOO_FEW, LevelFit, LevelRows, fit_levels
from pipeline.models.mixed import row_weights
from pipeline.models.picker import picker_errors
from pipeline.models.ranks import chance_of_least, rank_intervals
from pipeline.models.shrink import empirical_bayes
from pipeline.models.specs import CompareSpec, rows_hash
from pipeline.units import format_number, qty

Array = NDArray[np.float64]
METHOD_VERSION = 6
FEWEST_ROWS = 10
"""A crew with fewer stages or plugs is not compared."""
NO_SET = 0
"""Connected set of a crew that is not compared."""
LEAST_SIGNS = 5
"""With so few pads, or fewer, an exact test of signs cannot give a p value below 0.05."""
SMALL = 7
"""With so few pads, or fewer, a comparison also says what holds without a model and what one more pad would add."""
FEWEST_FREEDOM = 1.0
"""With fewer degrees of freedom a difference has no limits."""


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
    graph = scipy.sparse.coo_matrix((np.ones(len(units)), (unit_code, names.size + pad_code)), shape=(size, size))
    _, label = scipy.sparse.csgraph.connected_components(graph, directed=False)
    rows = np.bincount(label[unit_code], minlength=label.max() + 1)
    order = {int(old): new for new, old in enumerate(np.argsort(-rows, kind="stable"), start=1)}
    return {str(name): order[int(label[i])] for i, name in enumerate(names)}


def inputs_hash(frame: pl.DataFrame, spec: CompareSpec) -> str:
    """Return a hash of the rows and the method that determine a comparison."""
    return rows_hash(frame, spec, METHOD_VERSION)


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
        by a mixed model (crews and pads fixed, wells random); limits are Kenward and Roger's, for each crew alone and
        for all that is compared, of all sets (Bonferroni). Crews that worked alone on their pads have no effect.

    Notes
    -----
    Only differences within pads count: a crew alone on its pads is not separable from the pad effect, and a crew that
    was sent to harder pads is not charged for them. The first is shown as not separable and is not ranked.
    """
    predictors([spec.factor, *spec.adjusted_for])
    plain = frame.with_columns(pl.col(spec.factor, "pad").cast(pl.String), pl.col(spec.outcome).fill_nan(None))
    known = plain.drop_nulls([spec.factor, "pad"])
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
    many = sum(len(levels) for levels in members.values() if len(levels) > 1)
    for levels in members.values():
        if len(levels) > 1:
            mine = pl.col(spec.factor).is_in(levels)
            fitted = _fill_effects(spec, used.filter(mine), sorted(levels), rows, many)
            if fitted is not None:
                _fill_uncut(spec, used.filter(mine), sorted(levels), rows)
                whole = known.filter(mine).drop_nulls(list(spec.adjusted_for))
                _fill_bounds(spec, whole, sorted(levels), rows, fitted)
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
    note += _plain_range(mine[spec.outcome], COLUMNS[spec.outcome].unit)
    return {
        "comparison": spec.name, "outcome": spec.outcome, "unit": COLUMNS[spec.outcome].unit, "factor": spec.factor,
        "level": level, "rows": mine.height,
        "rows_excluded": known.filter(pl.col(spec.factor) == level).height - mine.height, "pads": pads,
        "wells": mine["well_id"].n_unique(), "group": group, "separable": False, "effect": None, "low": None,
        "high": None, "joint_low": None, "joint_high": None, "freedom": None, "shrunken": None,
        "next_pad_share": None, "picker_share": None, "p_exact": None,
        "chance_best": None, "rank_low": None, "rank_high": None, "bound_low": None, "bound_high": None,
        "effect_uncut": None, "raw_mean": mine[spec.outcome].mean(),
        "raw_low": mine[spec.outcome].quantile(0.1), "raw_high": mine[spec.outcome].quantile(0.9),
        "adjusted_for": ", ".join(spec.adjusted_for), "note": note,
    }  # fmt: skip


def _fill_uncut(spec: CompareSpec, used: pl.DataFrame, levels: list[str], rows: dict[str, dict[str, Any]]) -> None:
    """Refit without stages cut short or screened out. The main fit keeps them; this fit shows their influence."""
    if "cut_short" not in used.columns:
        return
    whole = used.filter(~(pl.col("cut_short").fill_null(False) | (pl.col("screenout").fill_null(0.0) > 0.5)))
    if whole.height == used.height or set(whole[spec.factor].unique()) != set(levels):
        return
    found = fit_levels(spec, whole, levels)
    if not isinstance(found, str):
        for level, value in zip(levels, found.among @ found.mixed.estimate[: len(levels) - 1], strict=True):
            rows[level]["effect_uncut"] = float(value)


def _fill_bounds(
    spec: CompareSpec, known: pl.DataFrame, levels: list[str], rows: dict[str, dict[str, Any]], fitted: LevelFit
) -> None:
    """Set each missing outcome to the end that moves the difference most, up and down.

    This bounds the comparison if the missing stages (hard stages lose their outcome first) were between the best and
    the worst twentieth of the observed stages; sampling error comes on top. Estimates are linear in the outcome, so
    that one solution, at the variances of the main fit, serves all levels and both ends.
    """
    lost = known[spec.outcome].is_null().to_numpy()
    if not lost.any():
        return
    low, high = known.select(pl.col(spec.outcome).quantile(q).alias(str(q)) for q in (0.05, 0.95)).row(0)
    table = LevelRows.of(spec, known, levels)
    if table.lost or table.kept != fitted.rows.kept:
        return
    errors = picker_errors(known, spec.outcome)
    weights = None if errors is None or fitted.picker is None else fitted.picker.weights(errors)
    by_row = row_weights(fitted.mixed, table.design, table.pads, table.wells_or_pads, weights)
    effect = fitted.among @ by_row[: len(levels) - 1]
    sure = effect @ known[spec.outcome].fill_null(0.0).to_numpy()
    ends = np.stack((effect[:, lost] * low, effect[:, lost] * high))
    for i, level in enumerate(levels):
        rows[level] |= {
            "bound_low": float(sure[i] + ends[:, i].min(axis=0).sum()),
            "bound_high": float(sure[i] + ends[:, i].max(axis=0).sum()),
        }


def _fill_effects(
    spec: CompareSpec, used: pl.DataFrame, levels: list[str], rows: dict[str, dict[str, Any]], many: int
) -> LevelFit | None:
    """Fill in the effects of a connected set; joint limits hold for all that the comparison compares, of all sets."""
    found = fit_levels(spec, used, levels)
    together = 1.0 - 0.05 / many
    contrasts = [] if isinstance(found, str) else found.contrasts(together)
    if isinstance(found, str) or min(one.freedom for one in contrasts) < FEWEST_FREEDOM:
        for level in levels:
            mine = used.filter(pl.col(spec.factor) == level)[spec.outcome]
            told = found if isinstance(found, str) else TOO_FEW
            rows[level]["note"] = told + _plain_range(mine, COLUMNS[spec.outcome].unit)
        return None
    k = len(levels)
    effect = np.array([one.estimate for one in contrasts])
    joint = np.array([one.reach(together) for one in contrasts])
    covariance = found.covariance()
    shrunk = empirical_bayes(effect, np.array([one.error for one in contrasts]))
    best = chance_of_least(effect, covariance, min(one.freedom for one in contrasts))
    ranks = rank_intervals(effect - joint, effect + joint)
    pads = used["pad"].n_unique()
    differences = _pad_differences(spec, used, levels, found) if k == 2 else np.zeros(0)
    exact = sign_flips(differences)
    for i, (level, one) in enumerate(zip(levels, contrasts, strict=True)):
        reach = one.reach()
        narrower = _with_one_more_pad(one, pads, together) / float(joint[i])
        rows[level] |= {
            "separable": True, "effect": one.estimate, "low": one.estimate - reach, "high": one.estimate + reach,
            "joint_low": float(effect[i] - joint[i]), "joint_high": float(effect[i] + joint[i]),
            "freedom": one.freedom, "shrunken": float(shrunk.value[i]), "chance_best": float(best[i]),
            "rank_low": ranks[i][0], "rank_high": ranks[i][1],
            "next_pad_share": narrower,
            "picker_share": None if found.picker is None else found.picker.share, "p_exact": exact,
            "note": _note(k, pads, narrower, exact, differences.size)
            + _closure_note(spec, used)
            + _picker_note(found),
        }  # fmt: skip
    return found


def _note(levels: int, pads: int, narrower: float, exact: float | None, shared: int) -> str:
    """What the comparison rests on, and, with few pads, what can be told without a model and what a pad would add."""
    told = f"compared within a connected set of {levels}"
    if pads > SMALL:
        return told
    told += f"; {pads} pads: one more like them would make the limits {100.0 * narrower:.0f} % as wide"
    if exact is None:
        return told
    least = f", of {format_number(2.0 ** (1 - shared), 2)} at least" if shared <= LEAST_SIGNS else ""
    return f"{told}; exact test of signs over {shared} pads: p {format_number(exact, 2)}{least}"


def _plain_range(values: pl.Series, unit: str) -> str:
    """What can be said without a comparison: where most of a level's rows lie."""
    low, high = values.quantile(0.1), values.quantile(0.9)
    return (
        ""
        if low is None or high is None
        else f"; unadjusted, 8 of 10 rows lie from {qty(low, unit)} to {qty(high, unit)}"
    )


def _picker_note(fitted: LevelFit) -> str:
    """How much of the spread is the picker's."""
    return "" if fitted.picker is None else f"; {fitted.picker.words} of the spread within wells is the picker's"


def _closure_note(spec: CompareSpec, used: pl.DataFrame) -> str:
    """Where the closure gradient comes from, if the comparison is adjusted for it: it can carry a provider's effect."""
    if "closure_gradient_psi_ft" not in spec.adjusted_for:
        return ""
    known = used["closure_source"].drop_nulls().unique().sort().to_list() if "closure_source" in used.columns else []
    source = ", ".join(known) or "a source that is not recorded"
    return f"; adjusted for closure gradients from {source}: if a provider supplied them, its own effect can be in them"


def _pad_differences(spec: CompareSpec, used: pl.DataFrame, levels: list[str], fitted: LevelFit) -> Array:
    """Difference of two levels' means, adjusted as in the fit, on each pad that has both; wells count alike."""
    first = len(levels) - 1
    adjusted = used[spec.outcome].to_numpy() - fitted.rows.design[:, first:] @ fitted.mixed.estimate[first:]
    apart = used.with_columns(pl.Series(spec.outcome, adjusted))
    wells = apart.group_by("pad", spec.factor, "well_id", maintain_order=True).agg(pl.col(spec.outcome).mean())
    means = wells.group_by("pad", spec.factor, maintain_order=True).agg(pl.col(spec.outcome).mean())
    wide = means.pivot(spec.factor, index="pad", values=spec.outcome).sort("pad").drop_nulls()
    return np.asarray((wide[levels[0]] - wide[levels[1]]).to_numpy(), dtype=np.float64)


def sign_flips(differences: Array) -> float | None:
    """Return the exact two-sided p value of no difference: the share of all changes of sign with as large a mean. [1]

    Parameters
    ----------
    differences : array, shape (n,)
        One per pad.

    Returns
    -------
    float or None
        None without pads, or with more than `SMALL`: the model's limits serve there.

    References
    ----------
    Fisher, *The Design of Experiments* (1935), section 21.
    """
    if not 0 < differences.size <= SMALL:
        return None
    signs = np.array(list(product((-1.0, 1.0), repeat=differences.size)))
    means = np.abs(signs @ differences)
    return float(np.mean(means >= abs(float(differences.sum())) * (1.0 - 1e-12)))


def _with_one_more_pad(one: Contrast, pads: int, level: float) -> float:
    """Half width with one more pad that tells as much as those so far do on average."""
    more = (pads + 1) / pads
    return Contrast(one.estimate, one.error / np.sqrt(more), one.freedom * more).reach(level)
