"""Rank trials on the next pad by the information they give about a difference."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl
from scipy import stats

from pipeline.models.columns import predictors
from pipeline.models.design_matrix import design_matrix
from pipeline.models.linear import aliased_terms
from pipeline.models.mixed import covariance_of, fit_mixed
from pipeline.models.specs import CompareSpec

ROWS_PER_WELL = 12
"""Assumed stages or plugs per well of the trial."""


@dataclass(frozen=True)
class Trial:
    """An allocation of the next pad's wells.

    Attributes
    ----------
    wells : tuple of str
        Level of the factor in each well.
    half_width : float
        Expected half width of the 95 % interval of the difference, in the outcome's unit.
    shrinks_to : float
        Ratio to the present half width; 1 if nothing is learned. [1]
    """

    wells: tuple[str, ...]
    half_width: float
    shrinks_to: float


def trials(frame: pl.DataFrame, spec: CompareSpec, one: str, other: str, wells: int) -> list[Trial] | str:
    """Rank the allocations of two levels of a factor to the wells of one more pad.

    Parameters
    ----------
    frame : polars.DataFrame
        Modelling table of the comparison.
    spec : CompareSpec
    one, other : str
        Levels of the factor, such as two designs.
    wells : int
        Number of wells on the next pad.

    Returns
    -------
    list of Trial, or str
        The most informative first; or the reason why no ranking is possible.

    Notes
    -----
    The new pad's rows are set to the means of the covariates, with the variances of pads, wells and rows as fitted. A
    pad with both levels removes its own effect from the difference; a pad with one level does not.
    """
    used = frame.drop_nulls([spec.outcome, spec.factor, "pad", *spec.adjusted_for])
    used = used.filter(pl.col(spec.factor).is_in([one, other]))
    if used[spec.factor].n_unique() < 2 or used["pad"].n_unique() < 3:
        return f"{one} and {other} are not both recorded, or on fewer than three pads"
    others, names, _ = design_matrix(used, predictors(list(spec.adjusted_for)))
    side = (used[spec.factor] == one).to_numpy().astype(float)
    lost = aliased_terms(np.column_stack((others, side)), [*names, "difference"])
    if "difference" in lost:
        return f"{one} and {other} are aliased with a covariate: a trial with whole wells cannot separate them"
    keep = [i for i, name in enumerate(names) if name not in lost]
    design = np.column_stack((side, others[:, keep]))
    pads, well = used["pad"].to_numpy().astype(str), used["well_id"].to_numpy().astype(str)
    fitted = fit_mixed(
        used[spec.outcome].to_numpy().astype(float), design, pads, None if spec.level == "well" else well
    )
    rows = 1 if spec.level == "well" else ROWS_PER_WELL
    freedom = max(used["well_id"].n_unique() - design.shape[1], 1)

    def half_width(matrix: np.ndarray, at: np.ndarray, of: np.ndarray, spare: int) -> float:
        variance = covariance_of(matrix, at, of, fitted)[0, 0]
        return float(stats.t.ppf(0.975, max(freedom + spare, 1)) * np.sqrt(variance))

    present = half_width(design, pads, well, 0)
    mean = design[:, 1:].mean(axis=0)
    found = []
    for count in range(wells + 1):
        allocation = (one,) * count + (other,) * (wells - count)
        extra = np.vstack(
            [np.concatenate(([1.0 if level == one else 0.0], mean)) for level in allocation for _ in range(rows)]
        )
        names_of = np.asarray([f"new-{i}" for i in range(wells) for _ in range(rows)])
        width = half_width(
            np.vstack((design, extra)), np.concatenate((pads, np.full(wells * rows, "\x00new pad"))),
            np.concatenate((well, names_of)), wells,
        )  # fmt: skip
        found.append(Trial(allocation, width, width / present))
    return sorted(found, key=lambda trial: trial.half_width)
