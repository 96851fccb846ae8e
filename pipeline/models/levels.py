"""Levels of a factor, such as crews, fitted within pads."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.models.clustered import Contrast
from pipeline.models.columns import predictors
from pipeline.models.design_matrix import design_matrix
from pipeline.models.kenward_roger import Adjusted
from pipeline.models.linear import aliased_terms
from pipeline.models.mixed import Mixed, fit_mixed
from pipeline.models.picker import Picker, picker_errors, picker_of
from pipeline.models.specs import CompareSpec

Array = NDArray[np.float64]
NOTHING = 1e-12
"""A residual variance below this share of the largest square is rounding. [1]"""
TOO_FEW = "too few pads and wells shared with others to know how much wells differ: not compared"


@dataclass(frozen=True)
class LevelRows:
    """Rows of a comparison as arrays.

    Attributes
    ----------
    design : array, shape (n, k)
        Levels but the first, then the covariates that vary within pads.
    kept, lost : list of str
        Terms of the design; levels that are aliased with a covariate or with pads.
    pads : array of str, shape (n,)
    wells : array of str, shape (n,), optional
        None if a row is a well.
    """

    design: Array
    kept: list[str]
    lost: list[str]
    pads: NDArray[np.str_]
    wells: NDArray[np.str_] | None

    @property
    def wells_or_pads(self) -> NDArray[np.str_]:
        """Wells, or pads if a row is a well."""
        return self.pads if self.wells is None else self.wells

    @classmethod
    def of(cls, spec: CompareSpec, used: pl.DataFrame, levels: list[str]) -> LevelRows:
        """Build them; `lost` has the crews that are aliased with a covariate, or with the pads."""
        others, names, _ = design_matrix(used, predictors(list(spec.adjusted_for)))
        crews = np.column_stack([(used[spec.factor] == level).to_numpy().astype(float) for level in levels[1:]])
        design, terms = np.column_stack((others[:, 1:], crews)), [*names[1:], *levels[1:]]
        pads = used["pad"].to_numpy().astype(str)
        _, code, count = np.unique(pads, return_inverse=True, return_counts=True)
        mean = np.zeros((count.size, design.shape[1]))
        np.add.at(mean, code, design)
        inside = np.linalg.qr(design - (mean / count[:, None])[code], mode="r")
        size = np.sqrt(np.square(design).sum(axis=0))
        lost = aliased_terms(np.where(np.abs(inside) > 1e-10 * size, inside, 0.0), terms)
        kept = [name for name in (*levels[1:], *names[1:]) if name not in lost]
        wells = None if spec.per_well else used["well_id"].to_numpy().astype(str)
        return cls(
            design[:, [terms.index(name) for name in kept]], kept, [x for x in levels if x in lost], pads, wells
        )  # fmt: skip


@dataclass(frozen=True)
class LevelFit:
    """A fitted comparison.

    Attributes
    ----------
    rows : LevelRows
    mixed : Mixed
    adjusted : Adjusted
    among : array, shape (levels, levels - 1)
        Makes differences from the mean of the set from the levels' coefficients.
    picker : Picker, optional
        None if the outcome is not picked.
    by_pad : Adjusted, optional
        The same with a random effect of each level on each pad in place of wells: a crew can be better on some pads
        than on others. None if the data cannot tell.
    """

    rows: LevelRows
    mixed: Mixed
    adjusted: Adjusted
    among: Array
    picker: Picker | None
    by_pad: Adjusted | None

    def contrasts(self, level: float) -> list[Contrast]:
        """Differences of the levels from the mean of the set, each with the wider of both fits' limits at a level."""
        plain = [self.adjusted.contrast(row, self.mixed.estimate) for row in self._weights()]
        if self.by_pad is None:
            return plain
        other = [self.by_pad.contrast(row, self.mixed.estimate) for row in self._weights()]
        return [
            two if two.freedom >= 1.0 and not two.reach(level) <= one.reach(level) else one
            for one, two in zip(plain, other, strict=True)
        ]

    def covariance(self) -> Array:
        """Covariance of the differences, of the fit that gives them the larger errors."""
        weights = self._weights()
        found = [weights @ one.covariance @ weights.T for one in (self.adjusted, self.by_pad) if one is not None]
        return np.asarray(max(found, key=np.trace))

    def _weights(self) -> Array:
        spare = self.mixed.estimate.size - self.among.shape[1]
        return np.hstack((self.among, np.zeros((self.among.shape[0], spare))))


def fit_levels(spec: CompareSpec, used: pl.DataFrame, levels: list[str]) -> LevelFit | str:
    """Fit levels within pads, rows weighted by how well they were picked; a text says why it cannot be done."""
    rows = LevelRows.of(spec, used, levels)
    if rows.lost:
        return "aliased with a covariate: not separable"
    outcome = used[spec.outcome].to_numpy().astype(float)
    spread = used.select((pl.col(spec.outcome) - pl.col(spec.outcome).mean().over("pad")).abs().max()).item()
    if spread <= 1e-9 * float(np.abs(outcome).max()):
        return "its pads have one value each: not separable from the pad effect"
    try:
        fitted = fit_mixed(outcome, rows.design, rows.pads, rows.wells, within_pads=True)
        errors = picker_errors(used, spec.outcome)
        picker = picker_of(errors, fitted.residual_variance)
        weights = None if errors is None or picker is None else picker.weights(errors)
        if fitted.residual_variance <= NOTHING * float(np.square(outcome).max()):
            return "nothing varies beside what is compared: not separable from chance"
        if weights is not None:
            fitted = fit_mixed(outcome, rows.design, rows.pads, rows.wells, within_pads=True, weights=weights)
        cells = used[spec.factor].to_numpy().astype(str)
        by_pad = fit_mixed(outcome, rows.design, rows.pads, cells, within_pads=True, weights=weights).adjusted
    except ValueError:
        return TOO_FEW
    if fitted.adjusted is None:
        return TOO_FEW
    k = len(levels)
    return LevelFit(rows, fitted, fitted.adjusted, (np.eye(k) - 1.0 / k)[:, 1:], picker, by_pad)
