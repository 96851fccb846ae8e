"""Rows whose values stand under the headings left of theirs, because a field was lost on the way."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise

import numpy as np
import polars as pl
from numpy.typing import NDArray

ALIKE, MOVED, FAR = 0.02, 0.3, 0.8
"""Two values are the same within the first share of them; a channel has jumped by more than the others. [1]"""
LEAST_PAIRS = 2
"""Neighbouring columns in which a row must repeat the one before, one field to the left. [1]"""
LASTS = 5
"""Rows for which a channel that has jumped stays where it is: noise near zero does not. [rows]"""
LONGEST = 50
"""Shifted rows that can be cut out; of more, no row can be trusted. [rows]"""

Values = NDArray[np.float64]


def shifted_rows(frame: pl.DataFrame, places: Mapping[str, int]) -> tuple[int, int] | None:
    """Return the first rows that stand one field to the left: the first of them, and the first right row below.

    Parameters
    ----------
    frame : polars.DataFrame
        Numbers or texts, by lake column.
    places : mapping of str to int
        Position of each column in the file.

    Returns
    -------
    (int, int) or None
        Places in the frame; the second is its height where no right row follows.

    Notes
    -----
    Where a field is lost, each value repeats the value that the row before has one column to the right, and a
    channel jumps. Two columns must do so at once, and stay there; or one jumps far while another repeats its neighbour.
    """
    order = sorted((place, lake) for lake, place in places.items() if lake in frame.columns)
    neighbours = [(a, b) for (at, a), (next_at, b) in pairwise(order) if next_at == at + 1]
    if len(neighbours) < LEAST_PAIRS or frame.height < 2:
        return None
    values = {lake: frame[lake].cast(pl.Float64, strict=False).to_numpy() for _, lake in order}  # a null is NaN
    left = _repeats([(values[a], values[b]) for a, b in neighbours])
    if not left.size:
        return None
    first = int(left[0])
    right = _repeats([(values[b], values[a]) for a, b in neighbours])
    right = right[right > first]
    return first, int(right[0]) if right.size else frame.height


def _repeats(pairs: list[tuple[Values, Values]]) -> NDArray[np.intp]:
    """Return the rows in which the first of each pair takes the value that the second had in the row before.

    Hardly any row has a channel that jumps: only these are looked at.
    """
    with np.errstate(invalid="ignore"):
        jumping = np.zeros(pairs[0][0].size - 1, dtype=bool)
        for here, _ in pairs:
            size = np.abs(here)
            jumping |= np.abs(np.diff(here)) > MOVED * np.maximum(size[1:], size[:-1])
        rows = np.flatnonzero(jumping) + 1
        count, moved, far = 0, 0, 0
        for here, there in pairs:
            now, before, other = here[rows], here[rows - 1], there[rows - 1]
            same = (np.abs(now - other) <= ALIKE * np.abs(other)) & (other != 0.0)
            size, step = np.maximum(np.abs(now), np.abs(before)), np.abs(now - before)
            stays = same & _stays(here, rows)
            count = count + same
            moved = moved + (stays & (step > MOVED * size))
            far = far + (stays & (step > FAR * size))
    return np.asarray(rows[(moved >= LEAST_PAIRS) | ((count >= LEAST_PAIRS) & (far > 0))])


def _stays(values: Values, rows: NDArray[np.intp]) -> NDArray[np.bool_]:
    """Return which rows have a value that the rows after them keep."""
    kept = rows + LASTS <= values.size
    for step in range(1, LASTS):
        later = values[np.minimum(rows + step, values.size - 1)]
        kept = kept & (np.abs(later - values[rows]) <= MOVED / 3.0 * np.abs(values[rows]))
    return np.asarray(kept)
