"""Rank trials on the next pad by the information they give about a difference."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl

from pipeline.models.levels import LevelRows
from pipeline.models.mixed import adjusted_for, fit_mixed
from pipeline.models.specs import CompareSpec, columns_of

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
    The new pad's rows are set to the means of the covariates, with the variances of wells and rows as fitted. A pad
    with both levels removes its own effect from the difference; a pad with one level tells nothing of it.
    """
    used = columns_of(frame, spec).drop_nulls([spec.outcome, spec.factor, "pad", *spec.adjusted_for])
    used = used.filter(pl.col(spec.factor).is_in([one, other]))
    if used[spec.factor].n_unique() < 2 or used["pad"].n_unique() < 3:
        return f"{one} and {other} are not both recorded, or on fewer than three pads"
    table = LevelRows.of(spec, used, [other, one])
    if wells < 1:
        return "a trial needs a well"
    if table.lost:
        return f"{one} and {other} are aliased with a covariate or with pads: not separable"
    outcome = used[spec.outcome].to_numpy().astype(float)
    try:
        fitted = fit_mixed(outcome, table.design, table.pads, table.wells, within_pads=True)
    except ValueError:
        fitted = None
    rows = 1 if spec.per_well else ROWS_PER_WELL

    def half_width(design: np.ndarray, pads: np.ndarray, wells: np.ndarray | None) -> float:
        told = None if fitted is None else adjusted_for(fitted, design, pads, wells)
        first = np.eye(design.shape[1])[0]
        return np.nan if told is None else told.contrast(first, first).reach()

    present = half_width(table.design, table.pads, table.wells)
    if not np.isfinite(present):
        return f"{one} and {other} share too few pads and wells to know how much wells differ"
    mean = table.design[:, 1:].mean(axis=0)
    found = []
    for count in range(wells + 1):
        allocation = (one,) * count + (other,) * (wells - count)
        extra = np.vstack(
            [np.concatenate(([1.0 if level == one else 0.0], mean)) for level in allocation for _ in range(rows)]
        )
        names_of = None if table.wells is None else np.asarray([f"new-{i}" for i in range(wells) for _ in range(rows)])
        width = half_width(
            np.vstack((table.design, extra)), np.concatenate((table.pads, np.full(wells * rows, "\x00new pad"))),
            None if names_of is None or table.wells is None else np.concatenate((table.wells, names_of)),
        )  # fmt: skip
        found.append(Trial(allocation, width, width / present))
    return sorted(found, key=lambda trial: trial.half_width)
