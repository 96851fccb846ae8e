"""What the values of a column say: clock or elapsed time and its format, order of day and month, rate or total."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.ingest.months import Language, halves_of_the_day, in_english, language_of

Array = NDArray[np.float64]
_CLOCK = re.compile(r"(\d{1,2}:\d{2})(:\d{2})?([.,:]\d{3,6}|[.,]\d+)?( ?)([AaPp]\.?\s?[Mm]\.?)?(Z|[+-]\d{2}:?\d{2})?$")
_DAYS = (
    "%Y-%m-%d", "%Y/%m/%d", "%Y.%m.%d", "%d/%m/%Y", "%m/%d/%Y", "%d-%m-%Y", "%m-%d-%Y", "%d.%m.%Y", "%d/%m/%y",
    "%m/%d/%y", "%d-%m-%y", "%m-%d-%y", "%d.%m.%y", "%d-%b-%Y", "%d-%b-%y", "%d %b %Y", "%b %d %Y", "%Y%m%d",
    "%d-%B-%Y", "%B %d, %Y", "%b %d, %Y", "%d %B %Y", "%d. %b %Y", "%d de %b de %Y",
    "%d:%m:%Y", "%m:%d:%Y", "%Y:%m:%d",
)  # fmt: skip
_MONTHS = (
    "%b-%y", "%b-%Y", "%b %Y", "%b %y", "%B %Y", "%B-%Y", "%b/%Y", "%Y-%m", "%Y/%m", "%m/%Y", "%m-%Y", "%Y%m", "%m/%y",
)  # fmt: skip
"""Formats of a month without a day."""
MOST_UNREAD = 0.03
"""Share of cells that a time format need not read. [1]"""


@dataclass(frozen=True)
class TimeGuess:
    """How times are written.

    Attributes
    ----------
    format : str
        Empty for elapsed time.
    kind : {"clock", "day", "month", "time of day", "elapsed"}
    unit : str
        Of elapsed time.
    ambiguous : bool
        Whether day and month could be exchanged.
    why : str
    other : str
        The other format, if it is ambiguous.
    months : str
        Language of month names.
    offset : bool
        Whether each time has its own offset from UTC.
    since : str
        The day from which numbers count: of a spreadsheet, or of 1970.
    """

    format: str
    kind: str
    why: str
    unit: str = ""
    ambiguous: bool = False
    other: str = ""
    months: Language = "en"
    offset: bool = False
    since: str = ""


def numbers(cells: list[str], decimal: str, thousands: str) -> Array:
    """Return cells as numbers; NaN for those that are not."""
    out = np.full(len(cells), np.nan)
    for index, cell in enumerate(cells):
        text = cell.replace("\u00a0", "").strip("%$ ")
        if thousands:
            text = text.replace(thousands, "")
        try:
            out[index] = float(text.replace(",", ".") if decimal == "," else text)
        except ValueError:
            continue
    return out


def _english(cells: list[str], language: Language) -> list[str]:
    """Return cells with English months, and with the halves of the day as am and pm."""
    return in_english(halves_of_the_day(pl.Series(cells, dtype=pl.String)), language).to_list()


def _formats_of(cell: str) -> list[tuple[str, str]]:
    """Return the formats that a cell can have, with their kind."""
    match = _CLOCK.search(cell)
    if match is None:
        whole = [] if re.fullmatch(r"\d{6}", cell) else [(day, "day") for day in _DAYS]
        return [*whole, *((month, "month") for month in _MONTHS)]
    _, seconds, fraction, space, half, zone = match.groups()
    clock = ("%I" if half else "%H") + ":%M" + (":%S" if seconds else "")
    if fraction:
        clock += "%.f" if fraction[0] == "." else f"{fraction[0]}%{3 if len(fraction) <= 4 else 6}f"
    clock += f"{space}%p" if half else space
    offset = "" if zone is None else "Z" if zone == "Z" else "%z"
    before = cell[: match.start()]
    fixed = re.search(r"( 00:00(:00(\.0+)?)?)?( ?(1899-12-3[01]|1900-01-0[01]))?[ T]?$", before)
    literal = fixed[0] if fixed is not None else ""
    if not before[: len(before) - len(literal)]:
        return [(literal + clock + offset, "time of day")]
    day = re.match(r"(.*?)(T|[ :,-]*)$", before[: len(before) - len(literal)] if literal.strip(" T") else before)
    joint = "" if day is None else day[2]
    if day is None or not joint + literal:
        return []
    middle = joint + literal if literal.strip(" T") else joint
    return [(f"{one}{middle}{clock}{offset}", "clock") for one in _DAYS]


def _parses(cells: list[str], written: str) -> list[datetime] | None:
    """Return the times of cells; None if more than a few do not fit."""
    plain = re.sub(r"%[369]f", "%f", written.replace("%.f", ".%f"))
    found, failed = [], 0
    for cell in cells:
        try:
            found.append(datetime.strptime(cell, plain).replace(tzinfo=None))
        except ValueError:
            failed += 1
            if failed > MOST_UNREAD * len(cells):
                return None
    return found


def time_guess(cells: list[str], decimal: str, said: str = "") -> TimeGuess | None:
    """Return how a column's times are written; None if it has none.

    Parameters
    ----------
    cells : list of str
    decimal : str
        Decimal mark, for elapsed time.
    said : str
        What heading and unit say of the column: ``DD/MM/YYYY`` settles the order of day and month.

    Notes
    -----
    A format must read nearly every cell of the sample that has a digit. Where day and month can be exchanged, the order
    with which times go on in small steps is right; if both do, it is ambiguous.
    """
    some = [cell.strip() for cell in cells if any(char.isdigit() for char in cell)]
    some = some[:40] + some[40 :: max(1, len(some) // 160)]
    if not some:
        return None
    language = language_of(some[:50])
    plain = _english(some, language)
    fits = [
        (written, kind, times)
        for written, kind in _formats_of(plain[len(plain) // 2])
        if (times := _parses(plain, written)) is not None and (kind != "month" or _order(times) >= 0)
    ]
    if fits:
        best = max(fits, key=lambda item: (_order(item[2]), -fits.index(item)))
        kind = best[1]
        alike = [item for item in fits if item[1] == kind and item[0] != best[0] and _order(item[2]) == _order(best[2])
                 and item[2] != best[2]]  # fmt: skip
        why = f"every time of the sample fits {best[0]}"
        order = re.search(r"(?i)\b(?:(dd?)\W?mm|(mm)\W?dd)\b", said)
        if alike and order is not None:
            first = next((item for item in (best, *alike) if _day_first(item[0]) == (order[1] is not None)), best)
            best, alike, why = first, [], f"the file says {order[0]}"
        if alike:
            why += f"; so does {alike[0][0]}"
        elif len({item[0] for item in fits}) > 1 and _exchanged(best[0]):
            why += ", and day and month cannot be exchanged"
        return TimeGuess(best[0], kind, why, ambiguous=bool(alike), other=alike[0][0] if alike else "", months=language,
                         offset="%z" in best[0] or best[0].endswith("Z"))  # fmt: skip
    return _elapsed(some, decimal)


def _day_first(written: str) -> bool:
    return written.find("%d") < written.find("%m") if "%m" in written else True


def _exchanged(written: str) -> bool:
    return re.search(r"%d[-/.:]%m|%m[-/.:]%d[-/.:]%[yY]", written) is not None


def _order(times: list[datetime]) -> int:
    """2 if times go on in small steps, 1 if they never go back, 0 otherwise; a year before 1990 does not count."""
    if any(moment.year not in (1900, *range(1990, 2100)) for moment in times):
        return -1
    steps = [(after - before).total_seconds() for before, after in pairwise(times)]
    if any(step < 0.0 for step in steps):
        return 0
    return 2 if max(steps, default=0.0) < 86400.0 else 1


def usual_step_s(cells: list[str], guess: TimeGuess) -> float | None:
    """Return the median step between times; None with fewer than two. [s]"""
    times = _parses(_english([cell.strip() for cell in cells if cell.strip()], guess.months), guess.format)
    if times is None or len(times) < 2:
        return None
    return float(np.median([abs((after - before).total_seconds()) for before, after in pairwise(times)]))


def _elapsed(cells: list[str], decimal: str) -> TimeGuess | None:
    values = numbers(cells, decimal, "")
    if values.size and (match := re.fullmatch(r"(\d{8})([ T_-]?)(\d{6})", cells[0])) is not None:
        written = f"%Y%m%d{match[2]}%H%M%S"
        if (times := _parses(cells, written)) is not None and _order(times) > 0:
            return TimeGuess(written, "clock", f"every time of the sample fits {written}")
    if np.isnan(values).any() or values.size < 3:
        return None
    steps = np.diff(values[: min(40, values.size)])
    if (steps <= 0.0).any() or values[0] < -1.0:
        return None
    step = float(np.median(steps))
    if 30000.0 < values[0] < 60000.0 and step < 1.0:
        why = f"numbers like {cells[0]} are days since 1899-12-30, as spreadsheets count them"
        return TimeGuess("", "elapsed", why, unit="day", since="1899-12-30")
    for unit, size in (("s", 1.0), ("ms", 1000.0)):
        if 6e8 * size < values[0] < 3e9 * size:
            why = f"numbers like {cells[0]} are {unit} since 1970"
            return TimeGuess("", "elapsed", why, unit=unit, since="1970-01-01")
    unit = "s" if step >= 0.2 else "min" if step >= 1.0 / 120.0 else "hour"
    return TimeGuess("", "elapsed", f"grows by {step:g} from row to row: elapsed time in {unit}", unit=unit)


def is_total(values: Array) -> bool:
    """Whether a column never falls and grows over most of the sample: a cumulative total."""
    known = values[~np.isnan(values)]
    if known.size < 20 or known.max() <= known.min():
        return False
    steps = np.diff(known)
    return bool((steps >= -1e-9 * np.abs(known).max()).all() and (steps > 0.0).mean() > 0.3)


FEW_VALUES = 500
"""With fewer values, single wrong ones must not decide what the others are. [1]"""


def spread(values: Array, *, zeros: bool = True) -> tuple[float, float]:
    """Return the 1st and the 99th percentile, of few values the 5th and the 95th; NaN for an empty column.

    Parameters
    ----------
    values : array, shape (n,)
    zeros : bool
        Whether a zero is a value.
    """
    known = values[~np.isnan(values) & (zeros | (values != 0.0))]
    if not known.size:
        return float("nan"), float("nan")
    tail = 0.01 if known.size >= FEW_VALUES else 0.05
    low, high = np.quantile(known, [tail, 1.0 - tail])
    return float(low), float(high)
