"""Amendments: an engineer's corrections of picks, in one CSV file of the workspace that is landed like other files."""

from __future__ import annotations

import csv
import hashlib
import io
import math
import unicodedata
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

from pipeline.errors import HeelwardError, short
from pipeline.files import replace_text, sweep_parts
from pipeline.ingest.maps import Channel, LoadedMap, SourceMap
from pipeline.locks import held
from pipeline.text import inert_text

FILE = "amendments.csv"
COLUMNS = ("well", "level", "number", "pick", "value", "time", "by", "at", "why", "withdrawn")
LONGEST = 1000
_FORMAT = "%Y-%m-%d %H:%M:%S"


def _map() -> LoadedMap:
    moment = {"format": _FORMAT, "zone": "UTC"}
    source = SourceMap(
        name="amendments",
        lands="amendments",
        files=FILE,
        columns={
            "well_id": Channel(column="well"),
            "level": Channel(column="level"),
            "number": Channel(column="number"),
            "pick": Channel(column="pick"),
            "value": Channel(column="value", unit="ratio", optional=True),
            "time": Channel(column="time", optional=True, **moment),
            "by": Channel(column="by"),
            "at": Channel(column="at", **moment),
            "why": Channel(column="why"),
            "withdrawn": Channel(column="withdrawn"),
        },
    )
    return LoadedMap(source, hashlib.sha256(source.model_dump_json().encode()).hexdigest()[:16], Path(FILE))


MAP = _map()
"""The source map of the amendments file; every workspace has it."""


@dataclass(frozen=True)
class Amendment:
    """One correction of a pick.

    Attributes
    ----------
    well, level, number, pick : str, str, int, str
        Which pick.
    value : float, optional
        In the pick's unit.
    time : datetime, optional
        UTC.
    by, why : str
    withdrawn : bool
        Withdraws the amendment of that pick.
    """

    well: str
    level: str
    number: int
    pick: str
    value: float | None
    time: datetime | None
    by: str
    why: str
    withdrawn: bool = False


def read_moment(written: str, zone: str) -> datetime:
    """Read a time as an engineer writes it: ISO, in pad local time if it has no offset. Returns UTC.

    Raises
    ------
    HeelwardError
        If it is not an ISO time.
    """
    try:
        moment = datetime.fromisoformat(written)
        return (moment if moment.tzinfo else moment.replace(tzinfo=ZoneInfo(zone))).astimezone(UTC)
    except (ValueError, OverflowError) as error:
        raise HeelwardError(f"--time: expected a time such as '2025-06-30 14:05:10', got '{short(written)}'") from error


def write(root: Path, amendment: Amendment, wait_s: float) -> Path:
    """Append an amendment to the workspace's file, in one atomic replacement, one process at a time.

    Raises
    ------
    HeelwardError
        If name or reason is empty, is not one line of printable characters, or could be read as a formula by a
        spreadsheet; if the value is not a number; if another process locks the file for longer than ``wait_s``.
    """
    for label, text in (("--by", amendment.by), ("--why", amendment.why)):
        first = unicodedata.normalize("NFKC", text.strip()[:1])
        if not first or first[0] in "=+-@" or inert_text(text) != text or len(text) > LONGEST:
            raise HeelwardError(
                f"{label} must be one line of text that starts with a letter or digit, without control characters, "
                f"at most {LONGEST} characters"
            )
    if amendment.value is not None and not math.isfinite(amendment.value):
        raise HeelwardError(f"--value must be a number, got {amendment.value}")
    path = root / FILE
    with held(root / ".heelward" / "amendments.lock", "amend", wait_s, "the amendments file"):
        sweep_parts(root, deep=False)
        before = path.read_text(encoding="utf-8") if path.exists() else ",".join(COLUMNS) + "\n"
        line = io.StringIO()
        csv.writer(line, lineterminator="\n").writerow(
            [
                amendment.well, amendment.level, amendment.number, amendment.pick,
                "" if amendment.value is None else repr(amendment.value),
                "" if amendment.time is None else amendment.time.strftime(_FORMAT), amendment.by,
                _next_moment(before), amendment.why, "yes" if amendment.withdrawn else "no",
            ]
        )  # fmt: skip
        replace_text(path, before + ("" if before.endswith("\n") else "\n") + line.getvalue())
    return path


def _next_moment(before: str) -> str:
    """Return now, or one second after the last amendment if that is later: amendments have an order."""
    now = datetime.now(UTC).replace(microsecond=0, tzinfo=None)
    try:
        said = [datetime.strptime(row["at"], _FORMAT) for row in csv.DictReader(io.StringIO(before, newline=""))]
    except (KeyError, TypeError, ValueError, csv.Error) as error:
        raise HeelwardError(
            f"{FILE}: every row needs a UTC time in the column 'at', such as 2025-06-30 14:05:10 ({error}).\n"
            "fix: open the file and correct the row. Nothing was written"
        ) from error
    if said:
        now = max(now, max(said) + timedelta(seconds=1))
    return now.strftime(_FORMAT)
