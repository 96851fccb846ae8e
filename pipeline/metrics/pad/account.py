"""Time accounting of a pad: records and time log merged into one timeline, with daily totals."""

from __future__ import annotations

import itertools
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from pipeline.metrics.findings import finding
from pipeline.metrics.pad.intervals import Interval, by_day, hours, less, union

Row = dict[str, Any]
ACTIVITIES = ("pumping", "wireline", "swap", "coil", "standby", "NPT")
NOT_BOOKED = "not booked"
PHASES = ("toe preparation", "fracturing", "mill-out")
"""What a pad's time belongs to: before its first rate, until its last one, and after it."""
NO_PHASE = "not known"
DIFFERS_MIN = 5.0
"""A larger difference between time log and record is a finding. [min]"""
ROUNDING_MIN = 1.0
"""A gap up to this long between two bookings is treated as rounding. [min]"""
UNBOOKED_MIN = 15.0
"""A longer gap without any booking is a finding. [min]"""


@dataclass(frozen=True)
class Worked:
    """Work shown by a record: pumping a stage, or a coil run."""

    start: datetime
    end: datetime
    activity: str
    well_id: str
    number: int


@dataclass
class PadRows:
    """Result of accounting for a pad's time."""

    timeline: list[Row] = field(default_factory=list)
    days: list[Row] = field(default_factory=list)
    findings: list[Row] = field(default_factory=list)


def account(pad: str, log: Sequence[Row], worked: Sequence[Worked], zone: str) -> PadRows:
    """Assign every minute of a pad to one activity.

    Parameters
    ----------
    pad : str
    log : sequence of dict
        Rows of the `activity` table: ``start_time``, ``end_time``, ``well_id``, ``activity``, ``cause``.
    worked : sequence of Worked
        Work shown by the records.
    zone : str
        Time zone of the pad.

    Returns
    -------
    PadRows

    Notes
    -----
    Records take precedence: a minute in which a stage was pumped is pumping, regardless of the log; next a coil in
    the hole; then the log. If log entries overlap, the earlier one is kept (NPT before all others). Minutes the log
    books to pumping without a record stay pumping only if the log's stage has no record at all.
    """
    rows = PadRows()
    log = sorted((row for row in log if row["end_time"] > row["start_time"]), key=lambda row: row["start_time"])
    rows.findings += _compared(pad, log, worked)
    booked: list[Interval] = []
    pieces: list[Row] = []

    def book(start: datetime, end: datetime, activity: str, basis: str, well: str | None, cause: str | None) -> None:
        nonlocal booked
        for a, b in less((start, end), booked):
            pieces.append(
                {"start_time": a, "end_time": b, "activity": activity, "basis": basis, "well_id": well, "cause": cause}
            )
        booked = union([*booked, (start, end)])

    for activity in ("pumping", "coil"):
        for one in sorted((one for one in worked if one.activity == activity), key=lambda one: one.start):
            book(one.start, one.end, activity, "record", one.well_id, None)
    pumped = [(one.start, one.end) for one in worked if one.activity == "pumping"]
    for row in sorted(log, key=lambda row: (row["activity"] != "NPT", row["start_time"])):
        activity = row["activity"]
        if activity == "pumping" and _touches((row["start_time"], row["end_time"]), pumped):
            continue  # the record gives the times
        book(row["start_time"], row["end_time"], activity, "time log", row["well_id"], row["cause"])
    for (_, end), (start, _) in itertools.pairwise(booked) if log else []:
        # outside its log a pad may have had no work
        begin, finish = max(end, log[0]["start_time"]), min(start, max(row["end_time"] for row in log))
        if finish <= begin:
            continue
        minutes = (finish - begin).total_seconds() / 60.0
        if minutes <= ROUNDING_MIN:  # rounded times: extend the previous booking
            before = next(row for row in pieces if row["end_time"] == end)
            pieces.append({**before, "start_time": begin, "end_time": finish, "basis": "time log"})
            continue
        nothing = {"activity": NOT_BOOKED, "basis": None, "well_id": None, "cause": None}
        pieces.append({"start_time": begin, "end_time": finish, **nothing})
        if minutes > UNBOOKED_MIN:
            text = f"{minutes:.0f} min from {_words(begin)} are not booked to any activity"
            rows.findings.append(_finding(pad, "not_booked", text))
    pieces = _by_phase(sorted(pieces, key=lambda row: row["start_time"]), pumped)
    rows.timeline = [{"pad": pad, **row, "hours": hours([(row["start_time"], row["end_time"])])} for row in pieces]
    rows.days = _days(pad, rows.timeline, worked, zone)
    return rows


def _by_phase(pieces: Sequence[Row], pumped: Sequence[Interval]) -> list[Row]:
    """Cut intervals at the first and the last rate on the pad, and name the phase of each part."""
    if not pumped:
        return [{**row, "phase": NO_PHASE} for row in pieces]
    first, last = min(start for start, _ in pumped), max(end for _, end in pumped)
    parts = []
    for row in pieces:
        edges = [row["start_time"], *(at for at in (first, last) if row["start_time"] < at < row["end_time"])]
        for start, end in itertools.pairwise([*edges, row["end_time"]]):
            phase = PHASES[(start >= first) + (start >= last)]
            parts.append({**row, "start_time": start, "end_time": end, "phase": phase})
    return parts


def _touches(interval: Interval, others: Sequence[Interval]) -> bool:
    return any(start < interval[1] and interval[0] < end for start, end in others)


def _words(moment: datetime) -> str:
    return f"{moment:%Y-%m-%d %H:%M} UTC"


def _finding(pad: str, kind: str, message: str) -> Row:
    return finding(None, "pad", None, kind, message, pad)


def _compared(pad: str, log: Sequence[Row], worked: Sequence[Worked]) -> list[Row]:
    """Findings where time log and records disagree, or the log contradicts itself."""
    found: list[Row] = []
    for earlier, later in itertools.pairwise(log):
        if later["start_time"] < earlier["end_time"]:
            minutes = (min(earlier["end_time"], later["end_time"]) - later["start_time"]).total_seconds() / 60.0
            both = f"{earlier['activity']} and {later['activity']}"
            text = f"{both} overlap by {minutes:.0f} min at {_words(later['start_time'])}"
            found.append(_finding(pad, "log_overlap", text))
    for row in (row for row in log if row["activity"] == "NPT"):
        for one in worked:
            minutes = (min(row["end_time"], one.end) - max(row["start_time"], one.start)).total_seconds() / 60.0
            if one.activity == "pumping" and minutes > DIFFERS_MIN:
                text = f"{minutes:.0f} min of lost time ({row['cause'] or 'no cause'}) are booked while {one.well_id} "
                text += f"stage {one.number} is pumped, {_words(one.start)}: they count as pumping"
                found.append(_finding(pad, "lost_while_pumping", text))
    unknown = sorted({str(row["activity"]) for row in log} - set(ACTIVITIES))
    if unknown:
        text = f"the log has unknown activities {', '.join(unknown)}; known activities: {', '.join(ACTIVITIES)}"
        found.append(_finding(pad, "log_activity", text))
    entries = [row for row in log if row["activity"] == "pumping"]
    stages = sorted((one for one in worked if one.activity == "pumping"), key=lambda one: one.start)
    used: set[int] = set()
    for one in stages if log else []:
        near = [i for i, row in enumerate(entries) if row["start_time"] < one.end and one.start < row["end_time"]]
        near = [i for i in near if entries[i]["well_id"] in (None, one.well_id)] or near
        label = f"{one.well_id} stage {one.number}, {_words(one.start)}"
        if not near:
            found.append(_finding(pad, "log_missing", f"the log has no pumping entry for the recorded {label}"))
            continue
        used |= set(near)
        begin = min(entries[i]["start_time"] for i in near)
        end = max(entries[i]["end_time"] for i in near)
        spans = [(other.start, other.end) for other in stages if other is not one]
        if any(_touches((entries[i]["start_time"], entries[i]["end_time"]), spans) for i in near):
            continue  # one entry for several stages: start and end cannot be compared
        off = max(abs((begin - one.start).total_seconds()), abs((end - one.end).total_seconds())) / 60.0
        if off > DIFFERS_MIN:
            found.append(_finding(pad, "log_differs", f"the log is {off:.0f} min off the record of {label}"))
    for index, row in enumerate(entries):
        if index not in used and worked:
            text = f"the log has pumping at {_words(row['start_time'])}, without a matching record"
            found.append(_finding(pad, "pumping_without_record", text))
    for a, b in itertools.pairwise(stages):
        if a.well_id == b.well_id and b.start < a.end:
            found.append(
                _finding(pad, "records_overlap", f"{a.well_id}: stages {a.number} and {b.number} overlap in time")
            )
    return found


def _days(pad: str, timeline: Sequence[Row], worked: Sequence[Worked], zone: str) -> list[Row]:
    sums: dict[Any, dict[str, float]] = defaultdict(lambda: defaultdict(float))
    for row in timeline:
        for day, (start, end) in by_day((row["start_time"], row["end_time"]), zone):
            known = row["activity"] if row["activity"] in ACTIVITIES else NOT_BOOKED
            sums[day, row["phase"]][known] += (end - start).total_seconds() / 3600.0
    clock = ZoneInfo(zone)
    wells: dict[Any, float] = defaultdict(float)
    done: dict[Any, int] = defaultdict(int)
    for one in worked:
        if one.activity != "pumping":
            continue
        for day, (start, end) in by_day((one.start, one.end), zone):
            wells[day] += (end - start).total_seconds() / 3600.0
        done[one.end.astimezone(clock).date()] += 1
    rows = []
    for day, phase in sorted(sums):
        found, pumping = sums[day, phase], phase == "fracturing"
        rows.append(
            {
                "pad": pad, "local_date": day, "phase": phase, "hours": sum(found.values()),
                "pumping_hours": found["pumping"], "well_pumping_hours": wells[day] if pumping else 0.0,
                "wireline_hours": found["wireline"], "swap_hours": found["swap"], "coil_hours": found["coil"],
                "standby_hours": found["standby"], "npt_hours": found["NPT"], "not_booked_hours": found[NOT_BOOKED],
                "stages_completed": done[day] if pumping else 0,
            }
        )  # fmt: skip
    return rows
