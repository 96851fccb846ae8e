"""Propose a map for a file that none describes: guesses with confidence and reason, and what a person must decide."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from pathlib import PurePath

import numpy as np
from numpy.typing import NDArray

from pipeline.ingest.behaviour import TimeGuess, is_total, numbers, spread, time_guess, usual_step_s
from pipeline.ingest.maps import PAD_ZONE
from pipeline.ingest.sniff import Table
from pipeline.ingest.vocabulary import Meaning, fit, vocabulary, words_of
from pipeline.schemas import LANDED
from pipeline.schemas.base import meta
from pipeline.unit_names import is_unit, looks_like_unit, read_unit
from pipeline.workspace import known_zone

SURE, LIKELY, ASKED = "sure", "likely", "asked"
RIVAL = 0.45
"""Two headings whose fits differ by less cannot be told apart by their words. [1]"""
SMALL_RATE = 16.0
"""Rates of a stage that stay below could be cubic metres per minute. [1]"""
UNIT_ONLY = 0.3
"""Fit of a heading that nothing tells but its unit. [1]"""
LONGEST_STEP_S = 120.0
"""Records of samples have smaller steps. [s]"""
_TYPICAL: dict[str, tuple[tuple[str, float, float], ...]] = {
    # unit, range of the 99th percentile in it (common practice); the first that fits is proposed, and asked
    "psi": (("psi", 300.0, 15000.0), ("MPa", 5.0, 100.0), ("bar", 100.0, 300.0), ("kPa", 15000.0, 100000.0)),
    "bpm": (("bpm", 16.0, 150.0), ("m3/min", 0.05, 16.0), ("L/min", 150.0, 25000.0)),
    "ppa": (("ppa", 0.1, 12.0), ("kg/m3", 12.0, 1500.0)),
    "ft": (("ft", 4500.0, 40000.0), ("m", 10.0, 4500.0)),
    "lbf": (("lbf", 1000.0, 120000.0), ("klbf", 5.0, 120.0), ("daN", 1000.0, 60000.0)),
    "gpt": (("gpt", 0.01, 10.0),),
}
_EXPECTED = ("treating_pressure_psi", "slurry_rate_bpm", "depth_ft")
"""Columns without which a record of samples is of little use."""
_BY_UNIT = ("treating_pressure_psi", "slurry_rate_bpm", "proppant_conc_ppa", "depth_ft")
"""Columns that can be told by their unit alone, where only one column has it."""
_NOISE = (
    r"(?:[ _.-]*(?:frac|fracturing|treatment|treating|data|datos|record|job|pump|coil|ct|millout|mill-out|mill)\b)*"
)
_NOISY = r"[ _.-](?:frac|fracturing|treatment|treating|data|datos|record|job|pump|coil|ct|millout|mill-out|mill)"
_STAGE_WORD = r"(?:stage|stg|etapa|[eé]tape|interval|int|zone|zona|frac)"
_RUN_WORD = r"(?:run|carrera|descente)"


@dataclass(frozen=True)
class Guess:
    """What one column of the lake is taken from.

    Attributes
    ----------
    lake : str
    place : int
        Position in the file, counted from 0; -1 if it has no column.
    heading : str
    text : str
        The channel as a map writes it.
    confidence : {"sure", "likely", "asked"}
    why : str
    candidates : tuple of str
        Other headings, units or formats that are possible.
    """

    lake: str
    place: int
    heading: str
    text: str
    confidence: str
    why: str
    candidates: tuple[str, ...] = ()
    against_units_row: bool = False


@dataclass(frozen=True)
class Proposal:
    """A proposed map: its lines, its guesses, and the questions that a person must answer."""

    name: str
    lands: str
    files: str
    settings: list[str]
    guesses: list[Guess]
    questions: list[str] = field(default_factory=list)
    left: list[str] = field(default_factory=list)

    def toml(self) -> str:
        """The map, with every guess that is not sure in a comment."""
        lines = [
            "# Proposed by `heelward inspect`: lines marked 'check' are guesses.",
            f'name = "{self.name}"', f'lands = "{self.lands}"', f"files = {json.dumps(self.files, ensure_ascii=False)}",
            *self.settings, "", "[columns]",
        ]  # fmt: skip
        for guess in self.guesses:
            check = "" if guess.confidence == SURE else f"  # check: {_plain(guess.why)}"
            lines.append(f"{guess.lake} = {guess.text}{check}")
        return "\n".join(lines) + "\n"

    def without(self, lake: str, question: str) -> Proposal:
        """The same without a column, and with a question in its place."""
        kept = [guess for guess in self.guesses if guess.lake != lake]
        return replace(self, guesses=kept, questions=[*self.questions, question])


def _plain(text: str) -> str:
    return re.sub(r"[^\x20-\x7eÀ-ÿ³²·°]", "?", text)


def propose(path: str, table: Table, zone: str, *, sheet: str = "", files: str = "", kind: str = "") -> Proposal | None:
    """Propose a map.

    Parameters
    ----------
    path : str
        Path of the file: its name can hold well and stage.
    table : Table
    zone : str
        Time zone of clock times that do not say theirs.
    sheet : str
        Sheet of a workbook.
    kind : str
        ``las`` or ``parquet``; empty for text and sheets.
    files : str
        Pattern of the files that the map is for; from the path if empty.

    Returns
    -------
    Proposal or None
        None if the columns are those of no table of the lake.
    """
    look = _Look(table, [[row[i] if i < len(row) else "" for row in table.rows] for i in range(len(table.names))])
    times = _times(look)
    signal = _signal(look, times) if times is not None else None
    if signal is not None:
        lands, chosen = signal
        guesses, questions = _signal_guesses(look, lands, chosen)
        timed, asked = _time_channel(look, times, zone) if times is not None else (None, [])
        taken = {guess.place for guess in guesses} | ({times.place, times.date} if times is not None else set())
        guesses = [*_key_columns(look, lands, taken), *([timed] if timed is not None else []), *guesses]
        questions = [*asked, *questions]
    else:
        found = _ledger(look, zone)
        if found is None:
            return None
        lands, guesses, questions = found
    if any(guess.against_units_row for guess in guesses):  # the map goes against what the file says of its units
        table = replace(table, units_row=None)
    names, keyed, told = _names(path, table, lands, {guess.lake for guess in guesses}, sheet)
    settings = [*_settings(table, sheet, kind), *names]
    left = [name or f"column {i + 1}" for i, name in enumerate(table.names)
            if i not in {guess.place for guess in guesses} and any(look.cells[i])]  # fmt: skip
    name = re.sub(r"[^a-z0-9]+", "_", f"{PurePath(path).stem} {sheet}".casefold()).strip("_")
    name = re.sub(r"_?\d+", "", name)[:40].strip("_") or "new_map"
    return Proposal(
        f"{name}_{lands}", lands, files or pattern_of(path), settings, [*keyed, *guesses], [*told, *questions], left
    )


def pattern_of(path: str) -> str:
    """Return a pattern of files that are named alike: digits may differ."""
    name = PurePath(path).name
    alike = re.sub(r"\d+", "*", re.sub(r"[\[\]?*]", "?", name))
    return f"**/{alike}"


@dataclass(frozen=True)
class _Look:
    table: Table
    cells: list[list[str]]
    _values: dict[int, NDArray[np.float64]] = field(default_factory=dict)
    _totals: dict[int, bool] = field(default_factory=dict)

    def values(self, place: int) -> NDArray[np.float64]:
        if place not in self._values:
            kept = ["" if cell in self.table.voids else cell for cell in self.cells[place]]
            self._values[place] = numbers(kept, self.table.decimal, self.table.thousands)
        return self._values[place]

    def total(self, place: int) -> bool:
        if place not in self._totals:
            self._totals[place] = is_total(self.values(place))
        return self._totals[place]

    def said(self, place: int) -> str:
        return self.table.said[place] if place < len(self.table.said) else self.table.names[place]

    def about(self, place: int) -> str:
        """Heading and unit of a column."""
        unit = self.table.units[place] if place < len(self.table.units) else ""
        return f"{self.said(place)} {unit}"

    def column(self, place: int) -> str:
        """How a map names the column: its heading, or its position where that is empty or repeats."""
        name = self.table.names[place]
        if name and self.table.names.count(name) == 1:
            return f"column = {json.dumps(name, ensure_ascii=False)}"
        return f"place = {place + 1}"

    def heading(self, place: int) -> str:
        return self.table.names[place] or self.said(place) or f"column {place + 1}"


@dataclass(frozen=True)
class _Times:
    place: int
    guess: TimeGuess
    date: int | None = None


def _times(look: _Look) -> _Times | None:
    """Return the column of times of a record of samples, with its column of dates if that is apart."""
    found: list[tuple[float, int, TimeGuess]] = []
    days: list[tuple[float, int, TimeGuess]] = []
    for place, cells in enumerate(look.cells):
        words = fit(look.said(place), vocabulary().time)
        if not words and not any(":" in cell for cell in cells[:5]):
            continue
        guess = time_guess(cells, look.table.decimal, look.about(place))
        if guess is None or (guess.kind == "elapsed" and not words):
            continue
        if guess.kind == "day":
            days.append((words + fit(look.said(place), vocabulary().date), place, guess))
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
            return _Times(place, joined, date)
    return _Times(place, guess)


def _stands_still(cells: list[str]) -> bool:
    """Whether a column of clock times has hardly any times."""
    return len({cell for cell in cells if cell}) <= max(2, 0.02 * len(cells))


def _of_a_spreadsheet(cells: list[str]) -> bool:
    """Whether times of day carry the day zero of a spreadsheet."""
    return all(re.match(r"(1899-12-3[01]|1900-01-0[01])[ T]", cell) for cell in cells if cell)


def _signal(look: _Look, times: _Times) -> tuple[str, dict[str, tuple[int, float]]] | None:
    """Return the table of a record of samples and the place and fit of each of its columns."""
    if not _steps_are_small(look, times):
        return None
    best: tuple[float, str, dict[str, tuple[int, float]]] | None = None
    for lands, meanings in vocabulary().signals.items():
        chosen = _assigned(look, meanings, skip={times.place, times.date}, numeric=True)
        weight = sum(score for _, score in chosen.values())
        if lands == "coil" and "depth_ft" not in chosen:
            continue
        if lands == "coil":
            weight += 1.5
        if len(chosen) >= 2 and (best is None or weight > best[0]):
            best = (weight, lands, chosen)
    return None if best is None else (best[1], best[2])


def _steps_are_small(look: _Look, times: _Times) -> bool:
    """Whether rows follow each other within a minute or two, as samples do."""
    if times.guess.kind == "elapsed":
        return True
    cells = look.cells[times.place]
    if times.date is not None:
        cells = [f"{a} {b}" for a, b in zip(look.cells[times.date], cells, strict=True)]
    step = usual_step_s(cells, times.guess)
    return step is None or step <= LONGEST_STEP_S * max(1.0, look.table.thinned)


def _assigned(
    look: _Look, meanings: dict[str, Meaning], skip: set[int | None], *, numeric: bool
) -> dict[str, tuple[int, float]]:
    """Give each lake column the heading that fits best; each heading serves once."""
    scored: list[tuple[float, str, int]] = []
    for lake, meaning in meanings.items():
        for place in range(len(look.table.names)):
            if place in skip:
                continue
            score = fit(look.said(place), meaning)
            own = fit(look.table.names[place], meaning) if look.table.names[place] else 0.0
            score = max(score, own)
            if (
                not score
                and numeric
                and not words_of(look.said(place)) & meaning.never
                and _only_unit(look, place, lake)
            ):
                score = UNIT_ONLY
            if not score:
                continue
            values = look.values(place)
            rising = lake.endswith(("_bpm", "_ppa", "_gpt")) and look.total(place)
            if numeric and (np.isnan(values).mean() > 0.9 or rising):
                continue
            if not _unit_can_be(look, place, lake):
                continue
            scored.append((score, lake, place))
    chosen: dict[str, tuple[int, float]] = {}
    used: set[int] = set()
    for score, lake, place in sorted(scored, key=lambda item: (-item[0], item[2])):
        if lake not in chosen and place not in used:
            chosen[lake] = (place, score)
            used.add(place)
    return chosen


def _target(lake: str) -> str:
    return next((meta(table.columns[lake]).get("unit") or "" for table in LANDED.values() if lake in table.columns), "")


def _units_said(look: _Look, place: int) -> list[str]:
    """Return the units that the file gives for a column: below the heading, in brackets, as words of the heading."""
    heading = look.table.names[place]
    below = look.table.units[place] if place < len(look.table.units) else ""
    bracketed = re.findall(r"[\[({<]([^\])}>]+)[\])}>]", f"{heading} {look.said(place)}")
    words = [word for word in re.split(r"[\s,;:_]+", heading) if len(word) > 1 or word in "%"][1:]
    ends = [heading[at + 1 :] for at in (heading.rfind("_"), heading.rfind(",")) if 0 < at < len(heading) - 1]
    return [unit for unit in dict.fromkeys([below.strip(), *bracketed, *ends, *reversed(words)]) if unit]


def _only_unit(look: _Look, place: int, lake: str) -> bool:
    """Whether this column alone has a unit of the column's dimension."""
    target = _target(lake)
    if lake not in _BY_UNIT:
        return False
    if not any(is_unit(unit, target) for unit in _units_said(look, place)):
        return False
    others = (at for at in range(len(look.table.names)) if at != place)
    return not any(any(is_unit(unit, target) for unit in _units_said(look, at)) and not look.total(at) for at in others)


def _unit_can_be(look: _Look, place: int, lake: str) -> bool:
    """Whether no unit that the file gives contradicts the column's dimension."""
    target = _target(lake)
    below = look.table.units[place] if place < len(look.table.units) else ""
    bracketed = re.findall(r"[\[({<]([^\])}>]+)[\])}>]", look.table.names[place])
    given = [unit for unit in (below.strip(), *bracketed) if unit and looks_like_unit(unit)]
    if not target:  # a name, a number or a time: a measured quantity is none of them
        return lake in ("time", "start_time", "end_time", "set_time") or not given
    return target == "ratio" or not given or any(is_unit(unit, target) for unit in given)


def _unit(look: _Look, place: int, lake: str) -> tuple[str, str, str, tuple[str, ...]]:
    """Return unit, confidence, why and candidates of a measured column."""
    target = _target(lake)
    values = look.values(place)
    low, high = spread(values)
    for unit in _units_said(look, place):
        if not is_unit(unit, target):
            continue
        line = read_unit(unit, target)
        hard = next(meta(table.columns[lake]).get("hard") for table in LANDED.values() if lake in table.columns)
        if hard is not None and np.isfinite(high) and not (
            hard[0] <= low * line.factor + line.offset and high * line.factor + line.offset <= hard[1]
        ):  # fmt: skip
            other = _typical(target, high)
            return other or unit, ASKED, f"the file says {unit}, but its values reach {high:g}: impossible", (unit,)
        if target in ("psi", "bpm") and np.isfinite(high) and high > 0.0 and not _usual(target, high * line.factor):
            other = _typical(target, high)
            return unit, ASKED, f"the file says {unit}; values up to {high:g} are unusual", (other,) if other else ()
        return unit, SURE, f"the file says {unit}", ()
    if target == "ratio":
        return "ratio", SURE, "a count or a share", ()
    typical = _typical(target, high)
    others = tuple(unit for unit, *_ in _TYPICAL.get(target, ()) if unit != typical)
    return (
        typical or target,
        ASKED,
        f"the file gives no unit; values up to {high:g} look like {typical or target}",
        others,
    )


def _against(look: _Look, place: int, lake: str, unit: str) -> bool:
    """Whether a proposed unit is not that of the units row."""
    below = look.table.units[place].strip() if place < len(look.table.units) else ""
    target = _target(lake)
    return bool(below) and not (is_unit(below, target) and read_unit(below, target) == read_unit(unit, target))


def _typical(target: str, high: float) -> str | None:
    return next((unit for unit, low, top in _TYPICAL.get(target, ()) if low <= high <= top), None)


def _usual(target: str, high: float) -> bool:
    return {"psi": 200.0, "bpm": 0.2}[target] <= high <= {"psi": 18000.0, "bpm": 160.0}[target]


def _weaker(one: str, other: str) -> str:
    return max(one, other, key=(SURE, LIKELY, ASKED).index)


def _signal_guesses(look: _Look, lands: str, chosen: dict[str, tuple[int, float]]) -> tuple[list[Guess], list[str]]:
    guesses, questions = [], []
    odd = _clean_is_higher(look, chosen)
    for lake in vocabulary().signals[lands]:
        if lake not in chosen:
            if lake in _EXPECTED:
                questions.append(f"{lake}: no column is read as it; which one is it?")
            continue
        place, score = chosen[lake]
        rivals = _rivals(look, chosen, vocabulary().signals[lands][lake], lake)
        unit, confidence, why, units = _unit(look, place, lake)
        told = f"'{look.heading(place)}' is read as {lake.rsplit('_', 1)[0].replace('_', ' ')}"
        if rivals:
            confidence = _weaker(confidence, ASKED)
            why = f"{why}; {', '.join(repr(name) for name in rivals[:3])} could be it too"
            questions.append(f"{lake}: '{look.heading(place)}' or {' or '.join(repr(name) for name in rivals[:3])}?")
        elif score <= UNIT_ONLY:
            confidence, why = ASKED, f"only its unit tells: {why}"
            questions.append(f"{lake}: is it '{look.heading(place)}'?")
        elif score < 1.0:
            confidence = _weaker(confidence, LIKELY)
        if odd and lake in ("slurry_rate_bpm", "clean_rate_bpm"):
            confidence, why = ASKED, f"{why}; the clean rate is above the slurry rate while proppant runs"
            questions.append(f"{lake}: is '{look.heading(place)}' the {lake.split('_')[0]} rate, and in {unit}?")
        elif confidence == ASKED and not rivals and score > UNIT_ONLY:
            questions.append(
                f"{lake}: the unit of '{look.heading(place)}': {unit}{''.join(f' or {u}' for u in units)}?"
            )
        text = f"{{ {look.column(place)}, unit = {json.dumps(unit, ensure_ascii=False)} }}"
        guesses.append(
            Guess(
                lake,
                place,
                look.heading(place),
                text,
                confidence,
                f"{told}; {why}",
                (*rivals, *units),
                _against(look, place, lake, unit),
            )
        )
    doubt = next((one for one in guesses if one.lake == "treating_pressure_psi" and "the file says" in one.why), None)
    if doubt is not None and doubt.confidence == ASKED and ("unusual" in doubt.why or "impossible" in doubt.why):
        for at, one in enumerate(guesses):
            if one.lake.endswith("_bpm") and spread(look.values(one.place))[1] < SMALL_RATE:
                why = f"{one.why}; the pressure's unit is in doubt, and these values could be m3/min"
                guesses[at] = replace(one, confidence=ASKED, why=why)
                questions.append(f"{one.lake}: is '{one.heading}' in the unit that the file says, or in m3/min?")
    return guesses, questions


def _rivals(look: _Look, chosen: dict[str, tuple[int, float]], meaning: Meaning, lake: str) -> list[str]:
    """Return the headings of other columns whose words fit about as well."""
    taken = {place for place, _ in chosen.values()}
    found = []
    for place in range(len(look.table.names)):
        score = fit(look.said(place), meaning)
        if place in taken or not score or chosen[lake][1] - score >= RIVAL or not _unit_can_be(look, place, lake):
            continue
        values = look.values(place)
        if not np.isnan(values).all() and not look.total(place):
            found.append(look.heading(place))
    return found


def _key_columns(look: _Look, lands: str, taken: set[int | None]) -> list[Guess]:
    """Return the columns of a record that name the well and the stage or run of each row."""
    keys = {key: vocabulary().keys[key] for key in LANDED[lands].key if key in vocabulary().keys}
    found = _assigned(look, keys, skip=taken, numeric=False)
    guesses = []
    for key, (place, _) in found.items():
        cells = {cell for cell in look.cells[place] if cell}
        if not cells or (key != "well_id" and not all(re.fullmatch(r"\d{1,3}(\.0+)?", cell) for cell in cells)):
            continue
        if key == "well_id" and len(cells) > 0.2 * len(look.cells[place]):
            continue
        why = f"'{look.heading(place)}' names the {key.removesuffix('_id')} of each row"
        guesses.append(Guess(key, place, look.heading(place), f"{{ {look.column(place)} }}", LIKELY, why))
    return guesses


def _clean_is_higher(look: _Look, chosen: dict[str, tuple[int, float]]) -> bool:
    """Whether the clean rate is above the slurry rate while proppant runs, both in the lake's unit."""
    if not {"slurry_rate_bpm", "clean_rate_bpm", "proppant_conc_ppa"} <= set(chosen):
        return False

    def bpm(lake: str) -> NDArray[np.float64]:
        line = read_unit(_unit(look, chosen[lake][0], lake)[0], "bpm")
        return look.values(chosen[lake][0]) * line.factor + line.offset

    slurry, clean, conc = bpm("slurry_rate_bpm"), bpm("clean_rate_bpm"), look.values(chosen["proppant_conc_ppa"][0])
    if not np.isfinite(conc).any():
        return False
    sand = (conc > 0.2 * np.nanmax(conc)) & np.isfinite(slurry) & np.isfinite(clean)
    return bool(
        sand.sum() > 10 and float(np.median(clean[sand] - slurry[sand])) > 0.05 * float(np.median(slurry[sand]))
    )


def _time_channel(look: _Look, times: _Times, zone: str) -> tuple[Guess, list[str]]:
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
            questions.append(f'time: the clock of \'{named}\': "{zone}" is assumed; another zone, or "{PAD_ZONE}"?')
            why = f"{why}; the zone is assumed"
        elif said is not None:
            why = f"{why}; the file says {said}"
        return Guess("time", place, named, text, confidence, why, (guess.other,) if guess.other else ()), questions
    if guess.since:
        own = "UTC" if guess.since.startswith("1970") else zone
        text = (
            f'{{ {column}, unit = "{guess.unit}", '
            f'start = {{ value = "{guess.since}", format = "%Y-%m-%d", zone = "{own}" }} }}'
        )
        questions.append(f"time: '{named}' counts from {guess.since}: in \"{zone}\"?")
        return Guess("time", place, named, text, LIKELY, guess.why, ()), questions
    zero = guess.kind == "time of day" and _from_zero(look, place)
    start, asked = _start(look, zone, from_zero=zero)
    questions.append(asked)
    if guess.kind == "time of day":
        text = f'{{ {column}, format = "{guess.format}", start = {start}{months} }}'
    else:
        text = f'{{ {column}, unit = "{guess.unit}", start = {start} }}'
    return Guess("time", place, named, text, ASKED, guess.why, ()), questions


def _zone_said(look: _Look, place: int) -> str | None:
    """Return the time zone that the heading or the lines above the data name."""
    for text in (look.about(place), *look.table.head):
        named = re.search(r"\b(America|Europe|Asia|Africa|Australia|Atlantic|Pacific)/[A-Z][A-Za-z_]+", text)
        if named is not None and known_zone(named[0]):
            return named[0]
    return "UTC" if re.search(r"\b(UTC|GMT)\b(?![+-])", look.about(place)) else None


_DATE_LINE = r"(?:start(?: time| date)?|date|fecha|inicio|job date|d[ée]but)"


def _from_zero(look: _Look, place: int) -> bool:
    """Whether times of day count from the start: they begin at zero, or the heading says elapsed."""
    first = next((cell for cell in look.cells[place] if cell), "")
    return re.fullmatch(r"0?0:00(:0\d)?([.,]\d+)?", first) is not None or "elapsed" in words_of(look.said(place))


def _start(look: _Look, zone: str, *, from_zero: bool) -> tuple[str, str]:
    """Return the start of a record without dates: from the lines above the data, or asked."""
    more = ", from_zero = true" if from_zero else ""
    for line in look.table.head:
        match = re.search(rf"(?i)\b{_DATE_LINE}\s*[:=,;\t|]+\s*\"?(?P<start>[^,;|\"\t]*\d[^,;|\"\t]*)", line)
        if match is None:
            continue
        found = time_guess([match["start"].strip()], ".")
        if found is not None and found.kind in ("clock", "day"):
            pattern = rf"(?i)\b{_DATE_LINE}\s*[:=,;\t|]+\s*\"?(?P<start>[^,;|\"\t]*\d[^,;|\"\t]*)"
            text = (
                f'{{ pattern = \'{pattern}\', format = "{found.format.replace("%.f", ".%f")}", zone = "{zone}"{more} }}'
            )
            return (
                text,
                f"time: the start is read from '{match[0].strip()[:60]}'; is it that of the first row, in {zone}?",
            )
    text = f'{{ value = "2000-01-01 00:00:00", format = "%Y-%m-%d %H:%M:%S", zone = "{zone}"{more} }}'
    return (
        text,
        "time: the file gives no date; write the start of the record as 'start.value' (2000-01-01 stands in its place)",
    )


def _ledger(look: _Look, zone: str) -> tuple[str, list[Guess], list[str]] | None:
    """Return the table, columns and questions of a file with one row per job, stage, plug, run, month or line."""
    best: tuple[float, str, dict[str, tuple[int, float]]] | None = None
    for lands, meanings in vocabulary().tables.items():
        table = LANDED[lands]
        keys = {key: vocabulary().keys[key] for key in table.key if key in vocabulary().keys}
        chosen = _assigned(look, {**keys, **meanings}, skip=set(), numeric=False)
        missing = [key for key in table.key if key not in chosen]
        own = [lake for lake in chosen if lake not in keys]
        weight = sum(chosen[lake][1] for lake in own) + 0.5 * (len(chosen) - len(own)) - 1.5 * len(missing)
        if own and (best is None or weight > best[0]) and weight > 1.0:
            best = (weight, lands, chosen)
    if best is None:
        return None
    _, lands, chosen = best
    guesses, questions = [], []
    for lake in LANDED[lands].columns:
        if lake in chosen:
            guess, asked = _cell_guess(look, lands, lake, *chosen[lake], zone)
            guesses.append(guess)
            questions += asked
    return lands, guesses, questions


def _cell_guess(look: _Look, lands: str, lake: str, place: int, score: float, zone: str) -> tuple[Guess, list[str]]:
    column = look.column(place)
    why = f"'{look.heading(place)}' is read as {lake.replace('_', ' ')}"
    confidence = SURE if score >= 1.0 else LIKELY
    dtype = str(LANDED[lands].dtypes[lake])
    if _target(lake):
        unit, sure, told, units = _unit(look, place, lake)
        asked = (
            [f"{lake}: the unit of '{look.heading(place)}': {unit}{''.join(f' or {u}' for u in units)}?"]
            if sure == ASKED
            else []
        )
        text = f"{{ {column}, unit = {json.dumps(unit, ensure_ascii=False)} }}"
        against = _against(look, place, lake, unit)
        return Guess(
            lake, place, look.heading(place), text, _weaker(confidence, sure), f"{why}; {told}", units, against
        ), asked
    if dtype.startswith("Date"):
        guess = time_guess(look.cells[place], look.table.decimal)
        written = guess.format if guess is not None and guess.format else "%Y-%m-%d"
        questions = (
            [f"{lake}: day and month could be exchanged: {guess.format} or {guess.other}?"]
            if guess and guess.ambiguous
            else []
        )
        if not dtype.startswith("Datetime"):
            text = f'{{ {column}, format = "{written}" }}'
        else:
            text = f'{{ {column}, format = "{written}", zone = "{zone}" }}'
            questions.append(f"{lake}: the clock of '{look.heading(place)}': \"{zone}\" is assumed; another zone?")
        sure = ASKED if guess is None or guess.ambiguous else LIKELY
        return Guess(lake, place, look.heading(place), text, _weaker(confidence, sure), why), questions
    return Guess(lake, place, look.heading(place), f"{{ {column} }}", confidence, why), []


def _settings(table: Table, sheet: str, kind: str) -> list[str]:
    """Return the lines of a map that say how the file is laid out."""
    lines: list[str] = []
    if kind:
        voids = [f"void_values = {json.dumps(table.voids)}"] if table.voids else []
        return [f'kind = "{kind}"', *voids]
    if sheet:
        lines += ['kind = "workbook"', f"sheet = {json.dumps(sheet, ensure_ascii=False)}"]
    elif table.delimiter != ",":
        lines.append(f"delimiter = {json.dumps(table.delimiter)}")
    if table.encoding != "utf-8":
        lines.append(f'encoding = "{table.encoding}"')
    if table.decimal != ".":
        lines.append(f'decimal = "{table.decimal}"')
    if table.thousands:
        lines.append(f'thousands = "{table.thousands}"')
    lines.append(f"header_row = {table.header_row}")
    if table.units_row is not None and table.units_row > 0:
        lines.append(f"units_row = {table.units_row}")
    usual = max(table.header_row, table.units_row or 0) + 1
    if table.first_row != usual:
        lines.append(f"first_row = {table.first_row}")
    if table.voids:
        lines.append(f"void_values = {json.dumps(table.voids)}")
    if table.skip_lines:
        lines.append(f"skip_lines = {_quoted(table.skip_lines)}")
        lines.append("most_void_rows = 0.05")
    return lines


def _quoted(pattern: str) -> str:
    return f"'{pattern}'" if "'" not in pattern else json.dumps(pattern, ensure_ascii=False)


def _names(path: str, table: Table, lands: str, have: set[str], sheet: str) -> tuple[list[str], list[Guess], list[str]]:
    """Return the lines, channels and questions for well, stage and run."""
    keys = [key for key in ("well_id", "stage", "run") if key in LANDED[lands].key and key not in have]
    lines = ['unknown_wells = "create"   # a well that no wells table names is created, with a finding']
    if "well_id" not in LANDED[lands].columns:
        return [], [], []
    name = PurePath(path).name
    number = "run" if "run" in LANDED[lands].key else "stage"
    wanted = {"well": "well_id" in keys, number: number in keys}
    guesses, questions, patterns = [], [], []
    for group, pattern in _HEADS.items():
        if not wanted.get(group):
            continue
        line = next((line for line in table.head if re.search(pattern, line)), None)
        if line is not None:
            patterns.append(pattern)
            wanted[group] = False
            questions.append(f"{group}: '{_group(pattern, line, group)}', from the lines above the data: right?")
    if patterns:
        lines.append(f"head_pattern = [{', '.join(_quoted(pattern) for pattern in patterns)}]")
    on_sheet = re.search(rf"(?i)(?:{_STAGE_WORD}|{_RUN_WORD})[ _.#-]*(\d+)", sheet)
    if wanted.get(number) and on_sheet is not None:
        wanted[number] = False
        guesses.append(
            Guess(number, -1, "", f"{{ value = {int(on_sheet[1])} }}", LIKELY, f"the sheet is named '{sheet}'")
        )
    found = _in_name(name, number, wanted)
    if found is not None:
        lines.append(f"name_pattern = {_quoted(found)}")
        match = re.search(found, name)
        for group in match.groupdict() if match else ():
            questions.append(f"{group}: '{_group(found, name, group)}', from the file's name: right?")
            wanted[group] = False
    for group, needed in wanted.items():
        if not needed:
            continue
        stem = re.sub(r"[^\w .-]+", " ", PurePath(path).stem).strip() or "unnamed"
        value = json.dumps(stem, ensure_ascii=False) if group == "well" else "1"
        lake = "well_id" if group == "well" else group
        guesses.append(Guess(lake, -1, "", f"{{ value = {value} }}", ASKED, f"the file does not say its {group}"))
        questions.append(f"{group}: neither the file nor its name gives it; {value} stands in its place")
    return lines, guesses, questions


def _group(pattern: str, line: str, group: str) -> str:
    match = re.search(pattern, line)
    return match[group].strip() if match is not None else ""


_HEADS = {
    "well": r'(?i)\b(?:well(?:[ _]?name)?|pozo|puits|uwi)\s*[:=,;\t|]+\s*"?(?P<well>[^,;|"\t]*[^,;|"\t\s])',
    "stage": r"(?i)\b(?:stage|stg|etapa|[eé]tape|interval)(?:[ _]*(?:no|number|num|n°))?\.?"
    r"\s*[:=,;\t|#]*\s*\"?(?P<stage>\d+)",
    "run": r"(?i)\b(?:run|carrera)(?:[ _]*(?:no|number|num))?\.?\s*[:=,;\t|#]*\s*\"?(?P<run>\d+)",
}


def _in_name(name: str, number: str, wanted: dict[str, bool]) -> str | None:
    """Return the first pattern of well and stage, or run, that a file's name fits."""
    word = _RUN_WORD if number == "run" else _STAGE_WORD
    short = "r" if number == "run" else "(?:st|s|e|z)"
    no = r"[ _.#-]*(?:no\.?|num\.?)?[ _.#-]*"
    both: Iterable[str] = (
        rf"(?i)^(?:\d{{8}}[ _-]+|ctu?[ _-]+)*(?P<well>.+?)[ _.-]*{word}{no}(?P<{number}>\d+)",
        rf"(?i)^(?P<well>.+?){_NOISE}[ _.-]*{word}{no}(?P<{number}>\d+)",
        rf"(?i)^{word}{no}(?P<{number}>\d+)[ _.-]+(?P<well>.+?){_NOISE}(?:\.[a-z.]+)$",
        rf"(?i)^(?P<well>.+?){_NOISE}[ _.-]+{short}[ _.#-]?(?P<{number}>\d+)(?!\d)",
    )
    alone = (rf"(?i){word}{no}(?P<{number}>\d+)", rf"(?i)(?:^|[ _.-]){short}[ _.#-]?(?P<{number}>\d+)(?!\d)")
    if wanted.get("well") and wanted.get(number):
        for pattern in both:
            match = re.search(pattern, name)
            if (
                match is not None
                and re.search(r"[^\W_]", match["well"])
                and not re.search(rf"(?i).{_NOISY}$", match["well"])
            ):
                return pattern
    if wanted.get(number):
        return next((pattern for pattern in alone if re.search(pattern, name)), None)
    return None
