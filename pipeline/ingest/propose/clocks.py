"""The times of a strange record of samples."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass

from pipeline.ingest.behaviour import TimeGuess, time_guess, usual_step_s
from pipeline.ingest.maps import PAD_ZONE
from pipeline.ingest.propose.guess import ASKED, LIKELY, SURE, Guess, Look
from pipeline.ingest.vocabulary import fit, vocabulary, words_of
from pipeline.workspace import known_zone

_MARKED = r"\s*[:=,;\t|]+\s*\"?(?P<start>(?:[A-Za-z]{3,9}\.? \d{1,2}, *)?[^,;|\"\t]*\d[^,;|\"\t]*)"
_START = r"(?i)\b(?:start(?: time| date)?|date|fecha|inicio|job date|d[ée]but|datum|beginn)" + _MARKED
"""A start above the data: a word for it, a mark, and a text with a digit."""
_DAY = re.compile(r"\d{1,2}([./-])\d{1,2}\1\d{2,4}|\d{4}([./-])\d{1,2}\2\d{1,2}")
"""A cell that looks like a day, whatever its column is called."""
_NAMED_STARTS = (
    r"(?<!\d)(?P<start>(?:19|20)\d{2}(?P<mark>[-_.]?)(?:0[1-9]|1[0-2])(?P=mark)(?:0[1-9]|[12]\d|3[01]))(?!\d)",
    r"(?<!\d)(?P<start>\d{2}(?P<mark>[-.])\d{2}(?P=mark)(?:19|20)\d{2})(?!\d)",
    r"(?<![\dA-Za-z])(?P<start>\d{1,2}[- ]?[A-Za-z]{3}[- ]?(?:19|20)\d{2})(?!\d)",
)
"""A day in a file's name."""


@dataclass(frozen=True)
class Times:
    """The column of times, how they are written, and the column of dates if that is apart."""

    place: int
    guess: TimeGuess
    date: int | None = None


def find_times(look: Look) -> Times | None:
    """Return the column of times of a record of samples, with its column of dates if that is apart."""
    found: list[tuple[float, int, TimeGuess]] = []
    days: list[tuple[float, int, TimeGuess]] = []
    for place, cells in enumerate(look.cells):
        words = fit(look.said(place), vocabulary().time)
        if not words and not any(":" in cell or _DAY.fullmatch(cell) for cell in cells[:5]):
            continue
        guess = time_guess(cells, look.table.decimal, look.about(place))
        if guess is None or (guess.kind == "elapsed" and not words):
            continue
        if guess.kind == "day":
            days.append((words + fit(look.said(place), vocabulary().date), place, guess))
            continue
        if guess.kind == "month":
            continue
        rank = {"clock": 3.0, "time of day": 2.0, "elapsed": 1.0}[guess.kind]
        found.append((rank + words, place, guess))
    if not found:
        return None
    _, place, guess = max(found, key=lambda item: (item[0], -item[1]))
    if guess.kind == "clock" and _stands_still(look.cells[place]):  # a date with a clock that was never set
        others = [item for item in found if item[1] != place and item[2].kind in ("time of day", "clock")]
        if others:
            days.append((5.0, place, guess))
            _, place, guess = max(others, key=lambda item: (item[0], -item[1]))
    if days and (guess.kind == "time of day" or _of_a_spreadsheet(look.cells[place])):
        _, date, _ = max(days, key=lambda item: item[0])
        both = [f"{a} {b}" for a, b in zip(look.cells[date], look.cells[place], strict=True) if a and b]
        joined = time_guess(both, look.table.decimal, look.about(date))
        if joined is not None and joined.kind == "clock":
            return Times(place, joined, date)
    return Times(place, guess)


def _stands_still(cells: list[str]) -> bool:
    """Whether a column of clock times has hardly any times."""
    return len({cell for cell in cells if cell}) <= max(2, 0.02 * len(cells))


def _of_a_spreadsheet(cells: list[str]) -> bool:
    """Whether times of day carry the day zero of a spreadsheet."""
    return all(re.match(r"(1899-12-3[01]|1900-01-0[01])[ T]", cell) for cell in cells if cell)


def time_channel(look: Look, times: Times, zone: str, name: str) -> tuple[Guess, list[str]]:
    """Return the channel of sample times, and what must be asked of it."""
    guess, place = times.guess, times.place
    named, column = look.heading(place), look.column(place)
    months = "" if guess.months == "en" else f', months = "{guess.months}"'
    questions: list[str] = []
    if guess.kind == "clock":
        date = "" if times.date is None else f", date = {json.dumps(look.table.names[times.date], ensure_ascii=False)}"
        written = guess.format
        said = _zone_said(look, place)
        own = "UTC" if guess.offset else said or zone
        text = f'{{ {column}{date}, format = "{written}", zone = "{own}"{months} }}'
        confidence = SURE if guess.offset else LIKELY
        why = guess.why
        if guess.ambiguous:
            confidence = ASKED
            questions.append(f"time: day and month could be exchanged: {guess.format} or {guess.other}?")
        cells = look.cells[place] if times.date is None else []
        if cells and usual_step_s(cells, guess) == 0.0:
            confidence = ASKED
            questions.append("time: most rows repeat the time of the row before: is there a column with seconds?")
        if not guess.offset and said is None:
            questions.append(f"time: {zone_question(named, zone)}")
            why = f"{why}; the zone is assumed"
        elif said is not None:
            why = f"{why}; the file says {said}"
        formats = (guess.other,) if guess.other else ()
        return Guess("time", place, named, text, confidence, why, formats, date=times.date), questions
    if guess.since:
        own = "UTC" if guess.since.startswith("1970") else zone
        text = (
            f'{{ {column}, unit = "{guess.unit}", '
            f'start = {{ value = "{guess.since}", format = "%Y-%m-%d", zone = "{own}" }} }}'
        )
        questions.append(f"time: '{named}' counts from {guess.since}: in \"{zone}\"?")
        return Guess("time", place, named, text, LIKELY, guess.why, ()), questions
    zero = guess.kind == "time of day" and _from_zero(look, place)
    start, asked, other = _start(look, zone, name, from_zero=zero)
    questions += asked
    if guess.kind == "time of day":
        text = f'{{ {column}, format = "{guess.format}", start = {start}{months} }}'
    else:
        text = f'{{ {column}, unit = "{guess.unit}", start = {start} }}'
    return Guess("time", place, named, text, ASKED, guess.why, other), questions


def zone_question(heading: str, zone: str) -> str:
    """Return the question for the zone of a clock that does not say its own."""
    if zone == PAD_ZONE:
        return f'the clock of \'{heading}\': the local time of the wells table is assumed ("{PAD_ZONE}"); or "UTC"?'
    return f'the clock of \'{heading}\': "{zone}" is assumed; another zone, or "{PAD_ZONE}"?'


def _zone_said(look: Look, place: int) -> str | None:
    """Return the time zone that the heading or the lines above the data name."""
    for text in (look.about(place), *look.table.head):
        named = re.search(r"\b(America|Europe|Asia|Africa|Australia|Atlantic|Pacific)/[A-Z][A-Za-z_]+", text)
        if named is not None and known_zone(named[0]):
            return named[0]
    for text in look.table.head:
        offset = re.search(
            r"(?i)(?:zone|zona|huso|fuseau|zeit)[^+\d-]{0,30}?(?:UTC|GMT)\s*([+-])\s*0?(\d{1,2})\b", text
        )
        if offset is not None:  # the sign of these names is turned
            return f"Etc/GMT{'-' if offset[1] == '+' else '+'}{offset[2]}" if offset[2] != "0" else "UTC"
    return "UTC" if re.search(r"(?i)(?<![a-z])(UTC|GMT)(?![a-z+-])", look.about(place)) else None


def _from_zero(look: Look, place: int) -> bool:
    """Whether times of day count from the start: they begin at zero, or the heading says elapsed."""
    first = next((cell for cell in look.cells[place] if cell), "")
    return re.fullmatch(r"0?0:00(:0\d)?([.,]\d+)?", first) is not None or "elapsed" in words_of(look.said(place))


def _pattern_of(look: Look, line: str, match: re.Match[str]) -> str | None:
    """Return a pattern, for a map, that finds the start in a line and in none above it: the first that fits counts."""
    label = line[match.start() : match.start("start")].rstrip('\t ",;|:=')
    for pattern, written in ((_START, f"'{_START}'"), (rf"(?i)\b{re.escape(label)}{_MARKED}", None)):
        if next(other for other in look.table.head if re.search(pattern, other)) == line:
            return written or json.dumps(pattern, ensure_ascii=False)
    return None


def _start(look: Look, zone: str, name: str, *, from_zero: bool) -> tuple[str, list[str], tuple[str, ...]]:
    """Return the start of a record without dates, from the lines above the data or asked; questions; another format."""
    more = ", from_zero = true" if from_zero else ""
    for line in look.table.head:
        match = re.search(_START, line)
        pattern = None if match is None else _pattern_of(look, line, match)
        if match is None or pattern is None:
            continue
        about = " ".join(other for other in look.table.head if match["start"].strip() in other)
        found = time_guess([match["start"].strip()], ".", about)
        if found is not None and found.kind in ("clock", "day"):
            written = found.format.replace("%.f", ".%f")
            said = match[0].strip()[:60]
            text = f'{{ pattern = {pattern}, format = "{written}", zone = "{zone}"{more} }}'
            asked = f"time: the start is read from '{said}'; is it that of the first row, in {zone}?"
            return text, [asked, *_exchangeable(found, said)], (found.other,) if found.ambiguous else ()
    for pattern in _NAMED_STARTS:
        match = re.search(pattern, name)
        found = time_guess([match["start"]], ".") if match is not None else None
        if match is None or found is None or found.kind != "day" or found.months != "en":
            continue
        text = f'{{ pattern = {json.dumps(pattern)}, format = "{found.format}", zone = "{zone}"{more} }}'
        asked = f"time: the day is read from the file's name, '{match['start']}': right, in {zone}?"
        return text, [asked, *_exchangeable(found, name)], (found.other,) if found.ambiguous else ()
    text = f'{{ value = "2000-01-01 00:00:00", format = "%Y-%m-%d %H:%M:%S", zone = "{zone}"{more} }}'
    asked = (
        "time: the file gives no date; write the start of the record as 'start.value' (2000-01-01 stands in its place)"
    )
    return text, [asked], ()


def _exchangeable(found: TimeGuess, said: str) -> list[str]:
    """Return the question of a date whose day and month could be exchanged."""
    if not found.ambiguous:
        return []
    return [f"time: day and month could be exchanged in '{said}': {found.format} or {found.other}?"]
