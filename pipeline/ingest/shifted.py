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

Mask = NDArray[np.bool_]


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
    values = {
        lake: frame[lake].cast(pl.Float64, strict=False).fill_null(np.nan).to_numpy() for _, lake in order
    }  # fmt: skip
    left = _repeats([(values[a], values[b]) for a, b in neighbours])
    if not left.any():
        return None
    first = int(left.argmax()) + 1
    right = _repeats([(values[b], values[a]) for a, b in neighbours])[first:]
    return first, first + 1 + int(right.argmax()) if right.any() else frame.height


def _stays(values: NDArray[np.float64]) -> Mask:
    """Return the rows whose value the following rows keep."""
    kept = np.ones(values.size, dtype=bool)
    for step in range(1, LASTS):
        later = np.append(values[step:], np.full(min(step, values.size), np.nan))
        kept &= np.abs(later - values) <= MOVED / 3.0 * np.abs(values)
    return kept


def _repeats(pairs: list[tuple[NDArray[np.float64], NDArray[np.float64]]]) -> Mask:
    """Return the rows, from the second on, in which the first of each pair takes the value that the second had."""
    count, moved, far = 0, 0, 0
    with np.errstate(invalid="ignore"):
        for here, there in pairs:
            now, before, other = here[1:], here[:-1], there[:-1]
            same = (np.abs(now - other) <= ALIKE * np.abs(other)) & (other != 0.0)
            size, step = np.maximum(np.abs(now), np.abs(before)), np.abs(now - before)
            stays = _stays(here)[1:]
            count = count + same
            moved = moved + (same & stays & (step > MOVED * size))
            far = far + (same & stays & (step > FAR * size))
    return np.asarray((moved >= LEAST_PAIRS) | ((count >= LEAST_PAIRS) & (far > 0)))
