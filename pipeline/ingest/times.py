"""Convert clock times to UTC, including the two clock changes per year."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import polars as pl

SETTLED = timedelta(days=30)
"""No time zone changes its clock twice within this time."""

FIRST_DAY = date(1950, 1, 1)
"""No completion record is older."""
PLANNED_DAYS = 3650
"""Maximum time ahead for a planned date. [d]"""


def days_allowed(*, ahead: bool = False) -> tuple[date, date]:
    """Return the first and last date allowed in a record: up to tomorrow, as clocks differ; later for planned dates."""
    today = datetime.now(UTC).date()
    return FIRST_DAY, today + timedelta(days=PLANNED_DAYS if ahead else 1)


def to_utc(times: pl.Series, zone: str) -> tuple[pl.Series, list[tuple[str, str, int]]]:
    """Convert naive local times, in the order of the file's rows, to UTC.

    Parameters
    ----------
    times : polars.Series of Datetime without zone
        In the order of the rows; null if a time could not be read.
    zone : str
        Time zone of the clock.

    Returns
    -------
    utc : polars.Series of Datetime[us, UTC]
        Null if the local time does not exist (the hour skipped in spring).
    notes : list of (kind, message, rows)
        Findings.

    Notes
    -----
    The hour that occurs twice in autumn is resolved by the order of the rows: before the clock goes back it is the
    first, afterwards the second. If no step is found, rows that continue without a gap into the hour are the first
    pass, and rows that continue without a gap after it are the second. Otherwise the hour stays ambiguous, is
    read as the first pass, and a finding is added.
    """
    times = times.cast(pl.Datetime("us"))
    if zone == "UTC":
        return times.dt.replace_time_zone("UTC"), []
    offset = _one_offset(times, zone)
    if offset is not None:
        return (times - offset).dt.replace_time_zone("UTC"), []
    first = times.dt.replace_time_zone(zone, ambiguous="earliest", non_existent="null").dt.convert_time_zone("UTC")
    second = times.dt.replace_time_zone(zone, ambiguous="latest", non_existent="null").dt.convert_time_zone("UTC")
    notes: list[tuple[str, str, int]] = []
    skipped = int((first.is_null() & times.is_not_null()).sum())
    if skipped:
        notes.append(
            ("no_such_time", f"{skipped} row(s) have a local time that {zone} skipped in spring; not used", skipped)
        )
    twice = (first != second).fill_null(False)
    if not twice.any():
        return first, notes
    return _resolve(times, first, second, twice, zone, notes)


def _one_offset(times: pl.Series, zone: str) -> timedelta | None:
    """Return the clock's offset from UTC if it is certain and the same for all times; otherwise None."""
    first, last = times.min(), times.max()
    if not isinstance(first, datetime) or not isinstance(last, datetime) or last - first > SETTLED:
        return None
    local = [moment.replace(tzinfo=ZoneInfo(zone), fold=fold) for moment in (first, last) for fold in (0, 1)]
    offsets = {moment.utcoffset() for moment in local}
    return offsets.pop() if len(offsets) == 1 else None


def _resolve(
    times: pl.Series, first: pl.Series, second: pl.Series, twice: pl.Series, zone: str,
    notes: list[tuple[str, str, int]],
) -> tuple[pl.Series, list[tuple[str, str, int]]]:  # fmt: skip
    frame = pl.DataFrame({"t": times, "first": first, "second": second, "twice": twice})
    step = frame["t"].diff()
    back = ((step <= timedelta(minutes=-30)) & frame["twice"]).fill_null(False).cum_sum() > 0
    count = int(twice.sum())
    if not back.any():
        inside = frame["twice"].arg_true()
        start, stop = int(inside[0]), int(inside[-1])
        leads_in = start > 0 and frame["t"][start] - frame["t"][start - 1] < timedelta(minutes=10)
        leads_out = stop + 1 < frame.height and frame["t"][stop + 1] - frame["t"][stop] < timedelta(minutes=10)
        if leads_out and not leads_in:
            return frame.select(pl.when("twice").then("second").otherwise("first")).to_series(), notes
        if leads_in == leads_out:
            notes.append(
                (
                    "ambiguous_time",
                    f"{count} row(s) are in the hour that occurred twice in {zone}, and the order of the rows "
                    "does not show which one; read as the first",
                    count,
                )
            )
        return first, notes
    chosen = frame.select(pl.when(pl.col("twice") & back).then("second").otherwise("first")).to_series()
    return chosen, notes


def near_clock_change(moment: datetime, zone: str) -> bool:
    """Whether a zone's clock changes within half a day of a local time; False if the time is out of range."""
    first, last = days_allowed()
    if not first <= moment.date() <= last:
        return False
    offsets = {(moment + timedelta(hours=hours)).replace(tzinfo=ZoneInfo(zone)).utcoffset() for hours in (-12, 0, 12)}
    return len(offsets) > 1
