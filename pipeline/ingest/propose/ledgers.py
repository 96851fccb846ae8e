"""Which column of a strange table of jobs, stages, months or lines is which of the lake."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import replace

from pipeline.ingest.behaviour import TimeGuess, time_guess, usual_step_s
from pipeline.ingest.propose.clocks import zone_question
from pipeline.ingest.propose.columns import assigned
from pipeline.ingest.propose.guess import ASKED, BRACKETED, CHECK, LIKELY, SURE, Guess, Look, weaker
from pipeline.ingest.propose.measured import goes_against, lake_unit, unit_guess
from pipeline.ingest.vocabulary import fit, listed, vocabulary
from pipeline.schemas import LANDED
from pipeline.schemas.base import meta
from pipeline.unit_names import is_unit

REPEATED_KEYS = 3.0
"""What speaks against a table whose rows the keys do not tell apart. [1]"""
USUAL_KEYS = {
    "strings": {
        "string": ('{ value = "casing" }', 'is it "casing" in all rows?'),
        "section": ("{ value = 1 }", "is it 1 in all rows?"),
    },
    "activity": {"pad": ('{ value = "pad" }', 'write the name of the pad in place of "pad"')},
    "cost": {"line": ("{ row = true }", "rows are counted; a second file of the well needs numbers that go on")},
}
"""Keys that tables of a kind rarely have: what they are then, and the question."""
MOST_WORDS = 12
"""Words of a fixed list that are asked at once."""
CURRENCIES = (
    "USD", "CAD", "ARS", "MXN", "COP", "BRL", "CLP", "EUR", "GBP", "NOK", "AED", "SAR", "KWD", "CNY", "AUD", "INR",
)  # fmt: skip
"""Codes of ISO 4217 that headings of amounts name."""


def ledger_guesses(look: Look, zone: str, only: str = "") -> tuple[str, list[Guess], list[str]] | None:
    """Return the table, columns and questions of a file with one row per job, stage, plug, run, month or line.

    Parameters
    ----------
    look : Look
    zone : str
        Time zone of clock times that do not say theirs.
    only : str
        The one table that is looked for; any if empty.
    """
    best: tuple[float, str, dict[str, tuple[int, float]]] | None = None
    for lands, meanings in vocabulary().tables.items():
        if only not in ("", lands):
            continue
        table = LANDED[lands]
        with_well = (*table.key, *(["well_id"] if "well_id" in table.columns else []))
        keys = {key: vocabulary().keys[key] for key in with_well if key in vocabulary().keys}
        chosen = assigned(look, {**keys, **meanings}, skip=set(), numeric=False)
        missing = [key for key in table.key if key not in chosen and key not in USUAL_KEYS.get(lands, {})]
        own = [lake for lake in chosen if lake not in keys]
        told = [lake for lake in own if lake not in table.key]  # a table of keys alone says nothing
        weight = sum(chosen[lake][1] for lake in own) + 0.5 * (len(chosen) - len(own)) - 1.5 * len(missing)
        if set(table.key) <= set(chosen) and _keys_repeat(look, [chosen[key][0] for key in table.key]):
            weight -= REPEATED_KEYS
        if told and (best is None or weight > best[0]) and weight > 1.0:
            best = (weight, lands, chosen)
    if best is None:
        return None
    _, lands, chosen = best
    guesses, questions = [], []
    for lake in LANDED[lands].columns:
        if lake in chosen and (strange := _strange_unit(look, lake, chosen[lake][0])):
            questions.append(
                f"{lake}: '{strange}' of '{look.heading(chosen[lake][0])}' is no unit that is known here: left out; "
                "say what it is under [units], and add the column"
            )
        elif lake in chosen:
            guess, asked = _cell_guess(look, lands, lake, *chosen[lake], zone)
            guesses.append(guess)
            questions += asked
        elif (usual := USUAL_KEYS.get(lands, {}).get(lake)) is not None:
            guesses.append(Guess(lake, -1, "", usual[0], ASKED, "the file does not say it"))
            questions.append(f"{lake}: the file does not say it; {usual[1]}")
    named, asked_too = _currency(look, lands, chosen)
    setting, asked_days = _days_of_months(look, lands, chosen)
    if setting:
        guesses = [replace(one, setting=setting, confidence=ASKED) if one.lake == "month" else one for one in guesses]
    guesses, questions = [*guesses, *named], [*questions, *asked_too, *asked_days]
    return lands, guesses, questions


def _currency(look: Look, lands: str, chosen: Mapping[str, tuple[int, float]]) -> tuple[list[Guess], list[str]]:
    """Return the currency that the heading of an amount names; questions if none does, or no column is an amount."""
    if lands != "cost":
        return [], []
    if "amount" not in chosen:
        return [], ['amount: no column is read as the amount; add: amount = { column = "...", unit = "ratio" }']
    if "currency" in chosen:
        return [], []
    heading = look.about(chosen["amount"][0])
    named = next((code for code in CURRENCIES if re.search(rf"\b{code}\b", heading)), None)
    if named is None:
        return [], ['currency: the file does not say it; add: currency = { value = "USD" }']
    asked = f"currency: amounts in {named} are added up per well (`well_cost`); charts and models read USD only"
    guess = Guess("currency", -1, "", f'{{ value = "{named}" }}', LIKELY, f"'{heading.strip()}' names it")
    return [guess], [] if named == "USD" else [asked]


def _days_of_months(look: Look, lands: str, chosen: Mapping[str, tuple[int, float]]) -> tuple[str, list[str]]:
    """Return the setting that adds the days of a month, where production is by day, and its question."""
    if lands != "production" or "month" not in chosen:
        return "", []
    days = [cell for cell in look.cells[chosen["month"][0]] if cell]
    guess = time_guess(days, look.table.decimal, look.about(chosen["month"][0]))
    if guess is None or guess.kind == "month" or usual_step_s(days, guess) not in (0.0, 86_400.0):
        return "", []
    heading = look.heading(chosen["month"][0])
    asked = f"month: '{heading}' is a day: the amounts of a month are added (duplicates = \"add\"): right?"
    return f'duplicates = "add"  {CHECK} the rows are days', [asked]


def _strange_unit(look: Look, lake: str, place: int) -> str:
    """Return the unit in brackets of a heading, if it is not a known one; else an empty text."""
    bracketed = BRACKETED.findall(look.table.names[place])
    target = lake_unit(lake)
    if (
        not bracketed
        or not target
        or target == "ratio"
        or any(is_unit(unit, target) for unit in look.units_said(place))
    ):
        return ""
    return bracketed[-1] if re.search(r"\d|/", bracketed[-1]) else ""


def _keys_repeat(look: Look, places: list[int]) -> bool:
    """Whether many rows have the same keys: a table with one row per well does not name each well twenty times."""
    rows = [row for row in zip(*(look.cells[place] for place in places), strict=True) if all(row)]
    return len(rows) > 3 and len(set(rows)) < 0.7 * len(rows)


def _cell_guess(look: Look, lands: str, lake: str, place: int, score: float, zone: str) -> tuple[Guess, list[str]]:
    column = look.column(place)
    why = f"'{look.heading(place)}' is read as {lake.replace('_', ' ')}"
    confidence = SURE if score >= 1.0 else LIKELY
    dtype = str(LANDED[lands].dtypes[lake])
    if lake == "amount":
        text = f'{{ {column}, unit = "ratio" }}'
        return Guess(lake, place, look.heading(place), text, confidence, f"{why}, in its currency"), []
    if lake_unit(lake):
        unit, sure, told, units = unit_guess(look, place, lands, lake)
        asked = (
            [f"{lake}: the unit of '{look.heading(place)}': {unit}{''.join(f' or {u}' for u in units)}?"]
            if sure == ASKED
            else []
        )
        text = f"{{ {column}, unit = {json.dumps(unit, ensure_ascii=False)} }}"
        against = goes_against(look, place, lake, unit)
        return Guess(
            lake, place, look.heading(place), text, weaker(confidence, sure), f"{why}; {told}", units, against
        ), asked
    if dtype.startswith("Date"):
        cells = [re.sub(r"^24:00", "00:00", cell) for cell in look.cells[place]]
        guess = time_guess(cells, look.table.decimal)
        if dtype.startswith("Datetime") and guess is not None and guess.kind == "time of day":
            guess, day = _with_day(look, guess, cells, place)
            column = f"{column}, date = {_toml(day)}" if day else column
            column += ', after = "start_time"' if day and lake == "end_time" else ""
        written = guess.format if guess is not None and guess.format else "%Y-%m-%d"
        questions = (
            [f"{lake}: day and month could be exchanged: {guess.format} or {guess.other}?"]
            if guess and guess.ambiguous
            else []
        )
        months = "" if guess is None or guess.months == "en" else f', months = "{guess.months}"'
        if not dtype.startswith("Datetime"):
            text = f'{{ {column}, format = "{written}"{months} }}'
        else:
            text = f'{{ {column}, format = "{written}", zone = "{zone}"{months} }}'
            questions.append(f"{lake}: {zone_question(look.heading(place), zone)}")
        sure = ASKED if guess is None or guess.ambiguous else LIKELY
        return Guess(lake, place, look.heading(place), text, weaker(confidence, sure), why), questions
    allowed = meta(LANDED[lands].columns[lake]).get("one_of")
    if allowed:
        return _word_guess(look, lands, lake, place, confidence, why, tuple(allowed))
    return Guess(lake, place, look.heading(place), f"{{ {column} }}", confidence, why), []


def _with_day(look: Look, guess: TimeGuess, times: list[str], place: int) -> tuple[TimeGuess, str]:
    """Return how a time of day and the date of another column are written together, and that column's heading."""
    for at, cells in enumerate(look.cells):
        if at == place or not fit(look.said(at), vocabulary().date) or not look.table.names[at]:
            continue
        both = [f"{day} {time}" for day, time in zip(cells, times, strict=True) if day and time]
        joined = time_guess(both, look.table.decimal, look.about(at))
        if joined is not None and joined.kind == "clock":
            return joined, look.table.names[at]
    return guess, ""


def _toml(text: str) -> str:
    """Return a text as TOML writes it."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _word_guess(
    look: Look, lands: str, lake: str, place: int, confidence: str, why: str, allowed: tuple[str, ...]
) -> tuple[Guess, list[str]]:
    """Return the guess for a column with a fixed list of words; what no word means is left out, and asked."""
    known = {word.casefold() for word in allowed}
    strange = sorted(
        {cell.strip() for cell in look.cells[place] if cell.strip() and cell.strip().casefold() not in known}
    )
    words = {cell: word for cell in strange if (word := listed(cell, lake)) is not None}
    unknown = [cell for cell in strange if cell not in words][:MOST_WORDS]
    quoted = ", ".join(_toml(cell) for cell in unknown)
    setting, left_out = "", "such cells are empty until then"
    heading = look.table.names[place]
    if unknown and lake in LANDED[lands].key and heading and look.table.names.count(heading) == 1:
        setting, left_out = f"not_rows = {{ {_toml(heading)} = [{quoted}] }}", "such rows are left out until then"
    elif unknown:
        words |= dict.fromkeys(unknown, "")
    text = f"{{ {look.column(place)} }}"
    if words:
        pairs = ", ".join(f"{_toml(cell)} = {_toml(word)}" for cell, word in words.items())
        text = f"{{ {look.column(place)}, words = {{ {pairs} }} }}"
        why = f"{why}; its words by their meaning"
    sure = weaker(confidence, ASKED if unknown else LIKELY if words else SURE)
    question = f"{lake}: which of {', '.join(allowed)} is {quoted}? ({left_out})"
    return Guess(lake, place, look.heading(place), text, sure, why, setting=setting), [question] if unknown else []
