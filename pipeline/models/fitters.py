"""Ways to fit a modelling table on some of its pads: linear, logistic, and boosted trees beside them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit

if TYPE_CHECKING:
    from sklearn.ensemble import HistGradientBoostingClassifier

from pipeline.models.columns import Column
from pipeline.models.logistic import Logistic, fit_logistic
from pipeline.models.training import Array, Mask, Table

PENALTIES = np.array([0.1, 1.0, 10.0, 100.0, 1000.0])
INNER_FOLDS = 3
SAME = 1e-6
"""A number that varies within the training pads by less than this share of its spread is constant there. [1]"""
BOOSTED_MOST = 5000
"""Most rows that a boosted model is fitted on; a random sample of more."""


class Fitted(Protocol):
    """A fitted model."""

    def predict(self, features: Array) -> Array:
        """Return predictions of rows; chances if the outcome is 1 or 0."""


class Fitter(Protocol):
    """A way to fit a table on any of its pads."""

    table: Table

    def fit(self, members: Mask) -> Fitted:
        """Fit on the pads that a mask of the table's `names` selects."""


def pad_folds(rows: NDArray[np.int64], folds: int) -> NDArray[np.int64]:
    """Return the fold of each pad, so that folds have about as many rows: the largest pads first, to the lightest fold.

    Parameters
    ----------
    rows : array of int, shape (pads,)
        Rows of each pad.
    folds : int

    Notes
    -----
    As scikit-learn's `GroupKFold` does, but from the numbers of rows alone.
    """
    fold, held = np.zeros(rows.size, dtype=np.int64), np.zeros(folds)
    for pad in np.argsort(rows, kind="stable")[::-1]:
        fold[pad] = np.argmin(held)
        held[fold[pad]] += rows[pad]
    return fold


@dataclass(frozen=True)
class Encoding:
    """How a linear model reads features: numbers scaled by the training rows, one indicator column per class."""

    numbers: list[int]
    centre: Array
    scale: Array
    levels: dict[int, Array]

    @classmethod
    def made_on(cls, columns: list[Column], features: Array) -> Encoding:
        """Return the encoding that some rows suggest."""
        numbers = [i for i, column in enumerate(columns) if column.role == "number"]
        levels = {i: np.unique(features[:, i]) for i, column in enumerate(columns) if column.role == "class"}
        values = features[:, numbers]
        centre, scale = values.mean(axis=0), values.std(axis=0)
        return cls(numbers, centre, np.where(scale > 1e-12 * np.abs(centre), scale, 1.0), levels)

    def __call__(self, features: Array) -> Array:
        """Return the design matrix; a class not in the training rows has no column, so none is set."""
        scaled = (features[:, self.numbers] - self.centre) / self.scale
        return np.hstack([scaled, *(features[:, [i]] == levels for i, levels in self.levels.items())])


@dataclass(frozen=True)
class Served:
    """A linear or logistic model as numbers.

    Attributes
    ----------
    encoding : Encoding
    constant : float
    coefficients : array, shape (k,)
        Of the encoded columns.
    logistic : Logistic, optional
        The fit of a chance, whose log odds the others are.
    """

    encoding: Encoding
    constant: float
    coefficients: Array
    logistic: Logistic | None = None

    def predict(self, features: Array) -> Array:
        """Return predictions of rows; chances if the outcome is 1 or 0."""
        told = self.constant + self.encoding(features) @ self.coefficients
        return told if self.logistic is None else np.asarray(expit(told))


class Linear:
    """Ridge regression on scaled numbers and one-hot classes, its penalty chosen with held-out pads.

    Parameters
    ----------
    table : Table

    Notes
    -----
    All fits are made from sums of squares and products over each pad, computed once: with many rows, fitting on
    some of the pads needs no pass over their rows.
    """

    def __init__(self, table: Table) -> None:
        self.table = table
        names, place = table.by_pad
        self.encoding = Encoding.made_on(table.columns, table.features)
        self.mean = float(table.outcome.mean())
        encoded = self.encoding(table.features)
        self.width, self.numbers = encoded.shape[1], len(self.encoding.numbers)
        whole = np.column_stack((np.ones(place.size), encoded, table.outcome - self.mean))
        order = np.argsort(place, kind="stable")
        self.rows = np.bincount(place, minlength=names.size)
        scaled = whole[:, 1 : 1 + self.numbers]
        bounds = np.cumsum(self.rows)[:-1]
        parts = [(whole[rows], table.weights[rows], scaled[rows]) for rows in np.split(order, bounds)]
        self.products = np.stack([(rows * weights[:, None]).T @ rows for rows, weights, _ in parts])
        self.sums = np.stack([np.stack((numbers.sum(axis=0), (numbers**2).sum(axis=0))) for *_, numbers in parts])

    def fit(self, members: Mask) -> Served:
        """Fit on some pads; the penalty is first chosen with whole pads of them held out."""
        among = np.flatnonzero(members)
        fold = pad_folds(self.rows[among], min(among.size, INNER_FOLDS))
        lost = np.zeros(PENALTIES.size)
        for number in range(fold.max() + 1) if among.size > 1 else ():
            train, test = members.copy(), np.zeros_like(members)
            train[among[fold == number]], test[among[fold == number]] = False, True
            lost += self._squares(self._solved(train, PENALTIES), test)
        line = self._solved(members, PENALTIES[[int(np.argmin(lost))]])[:, 0]
        return Served(self.encoding, self.mean - float(line[0]), -line[1:-1])

    def _solved(self, members: Mask, penalties: Array) -> Array:
        """Return, for each penalty, the weights that turn a row of (1, features, outcome) into its error; as columns.

        Columns are scaled as if these pads alone had been encoded.
        """
        total = self.products[members].sum(axis=0)
        centre = total[0, 1:] / total[0, 0]
        about = total[1:, 1:] - total[0, 0] * np.outer(centre, centre)
        scale = np.ones(self.width)
        rows = self.rows[members].sum()
        mean, square = self.sums[members].sum(axis=0) / rows
        scale[: self.numbers] = np.sqrt(np.maximum(square - mean**2, 0.0))
        varies = scale > SAME
        scale = np.where(varies, scale, 1.0)
        value, vector = np.linalg.eigh(about[:-1, :-1] / np.outer(scale, scale) * np.outer(varies, varies))
        along = vector.T @ (about[:-1, -1] / scale * varies)
        slope = vector @ (along[:, None] / (np.maximum(value, 0.0)[:, None] + penalties)) / scale[:, None]
        slope *= varies[:, None]
        constant = centre[-1] - centre[:-1] @ slope
        return np.vstack((-constant, -slope, np.ones(penalties.size)))

    def _squares(self, lines: Array, members: Mask) -> Array:
        """Return the sum of squared errors of some pads for each column of `_solved`."""
        total = self.products[members].sum(axis=0)
        return np.asarray(np.einsum("ia,ij,ja->a", lines, total, lines))


class Logit:
    """Logistic regression with one fixed penalty, for a chance; its effects come from the same fit."""

    def __init__(self, table: Table) -> None:
        self.table = table

    def fit(self, members: Mask) -> Served:
        """Fit on some pads."""
        rows = self.table.rows_of(members)
        features = self.table.features[rows]
        encoding = Encoding.made_on(self.table.columns, features)
        design = np.hstack([np.ones((rows.size, 1)), encoding(features)])
        fitted = fit_logistic(design, self.table.outcome[rows], clusters=self.table.pads[rows])
        return Served(encoding, float(fitted.estimate[0]), fitted.estimate[1:], fitted)


class Boosted:
    """Small gradient boosting model, on the same columns."""

    def __init__(self, table: Table, *, chance: bool = False) -> None:
        self.table, self.chance = table, chance

    def fit(self, members: Mask) -> Fitted:
        """Fit on some pads, on a sample of many rows; no setting is chosen by pads."""
        from sklearn.ensemble import HistGradientBoostingClassifier, HistGradientBoostingRegressor

        rows = self.table.rows_of(members)
        if rows.size > BOOSTED_MOST:  # it only tells whether a straight line misses something
            rows = rows[np.random.default_rng(0).choice(rows.size, BOOSTED_MOST, replace=False)]
        classes = [i for i, column in enumerate(self.table.columns) if column.role == "class"]
        kind: Any = HistGradientBoostingClassifier if self.chance else HistGradientBoostingRegressor
        weights = self.table.weights[rows]
        model = kind(
            max_iter=20, learning_rate=0.3, max_bins=63, max_leaf_nodes=8, min_samples_leaf=10, early_stopping=False,
            categorical_features=classes or None, random_state=0,
        )  # fmt: skip
        # without weights it finds its bins several times as fast
        model.fit(self.table.features[rows], self.table.outcome[rows], weights if np.ptp(weights) > 0.0 else None)
        return _Chances(model) if self.chance else model  # type: ignore[no-any-return]


@dataclass(frozen=True)
class _Chances:
    model: HistGradientBoostingClassifier

    def predict(self, features: Array) -> Array:
        return np.asarray(self.model.predict_proba(features)[:, 1])
