"""Which column of a strange file is which of the lake."""

from __future__ import annotations

import json
import re
from dataclasses import replace

import numpy as np

from pipeline.ingest.behaviour import spread, time_guess, usual_step_s
from pipeline.ingest.propose.behaves import better_read, volume_of
from pipeline.ingest.propose.clocks import Times, zone_question
from pipeline.ingest.propose.guess import ASKED, LIKELY, SURE, Guess, Look, weaker
from pipeline.ingest.propose.measured import goes_against, in_lake_units, lake_unit, only_unit, unit_can_be, unit_guess
from pipeline.ingest.vocabulary import Meaning, fit, listed, vocabulary, words_of
from pipeline.schemas import LANDED
from pipeline.schemas.base import meta
from pipeline.unit_names import names_added

RIVAL = 0.45
"""Two headings whose fits differ by less cannot be told apart by their words. [1]"""
SMALL_RATE = 16.0
"""Rates of a stage that stay below could be cubic metres per minute. [1]"""
UNIT_ONLY = 0.3
"""Fit of a heading that nothing tells but its unit. [1]"""
LONGEST_STEP_S = 120.0
"""Records of samples have smaller steps. [s]"""
REPEATED_KEYS = 3.0
"""What speaks against a table whose rows the keys do not tell apart. [1]"""
USUAL_KEYS = {"strings": {"string": '"casing"', "section": "1"}}
"""Keys that tables of a kind rarely have, and what they mean then."""
MOST_WORDS = 12
"""Words of a fixed list that are asked at once."""
_EXPECTED = ("treating_pressure_psi", "slurry_rate_bpm", "depth_ft")
"""Columns without which a record of samples is of little use."""


def _assigned(
    look: Look, meanings: dict[str, Meaning], skip: set[int | None], *, numeric: bool
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
                and only_unit(look, place, lake)
            ):
                score = UNIT_ONLY
            if not score:
                continue
            values = look.values(place)
            rising = lake.endswith(("_bpm", "_ppa", "_gpt")) and look.total(place)
            if numeric and (np.isnan(values).mean() > 0.9 or rising):
                continue
            if not unit_can_be(look, place, lake):
                continue
            scored.append((score, lake, place))
    chosen: dict[str, tuple[int, float]] = {}
    used: set[int] = set()
    for score, lake, place in sorted(scored, key=lambda item: (-item[0], item[2])):
        if lake not in chosen and place not in used:
            chosen[lake] = (place, score)
            used.add(place)
    return chosen


def find_signal(look: Look, times: Times) -> tuple[str, dict[str, tuple[int, float]]] | None:
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


def _steps_are_small(look: Look, times: Times) -> bool:
    """Whether rows follow each other within a minute or two, as samples do."""
    if times.guess.kind == "elapsed":
        return True
    cells = look.cells[times.place]
    if times.date is not None:
        cells = [f"{a} {b}" for a, b in zip(look.cells[times.date], cells, strict=True)]
    step = usual_step_s(cells, times.guess)
    return step is None or step <= LONGEST_STEP_S * max(1.0, look.table.thinned)


def signal_guesses(look: Look, lands: str, chosen: dict[str, tuple[int, float]]) -> tuple[list[Guess], list[str]]:
    """Return the guesses for the columns of a record of samples, and what must be asked."""
    guesses, questions = [], []
    chosen, doubts = better_read(look, chosen) if lands == "treatment" else (chosen, {})
    odd = _clean_is_higher(look, chosen)
    for lake in vocabulary().signals[lands]:
        if lake not in chosen:
            if lake in _EXPECTED:
                questions.append(f"{lake}: no column is read as it; which one is it?")
            continue
        place, score = chosen[lake]
        rivals = _rivals(look, chosen, vocabulary().signals[lands][lake], lake)
        unit, confidence, why, units = unit_guess(look, place, lands, lake)
        told = f"'{look.heading(place)}' is read as {lake.rsplit('_', 1)[0].replace('_', ' ')}"
        doubt = doubts.get(lake)
        if doubt is not None:
            confidence, why, unit = ASKED, f"{why}; {doubt.why}", doubt.unit or unit
            questions.append(doubt.question)
        elif rivals:
            confidence = weaker(confidence, ASKED)
            why = f"{why}; {', '.join(repr(name) for name in rivals[:3])} could be it too"
            questions.append(f"{lake}: '{look.heading(place)}' or {' or '.join(repr(name) for name in rivals[:3])}?")
        elif score <= UNIT_ONLY:
            confidence, why = ASKED, f"only its unit tells: {why}"
            questions.append(f"{lake}: is it '{look.heading(place)}'?")
        elif score < 1.0:
            confidence = weaker(confidence, LIKELY)
        if odd and lake in ("slurry_rate_bpm", "clean_rate_bpm"):
            confidence, why = ASKED, f"{why}; the clean rate is above the slurry rate while proppant runs"
            questions.append(f"{lake}: is '{look.heading(place)}' the {lake.split('_')[0]} rate, and in {unit}?")
        elif confidence == ASKED and not rivals and doubt is None and score > UNIT_ONLY:
            questions.append(
                f"{lake}: the unit of '{look.heading(place)}': {unit}{''.join(f' or {u}' for u in units)}?"
            )
        more = ""
        if lake_unit(lake) == "ppa":
            volume, told_by, asked = volume_of(look, chosen, lands)
            why = f"{why}; {told_by}" if told_by else why
            more = ', per = "slurry"' if volume == "slurry" else ""
            if asked:
                confidence = ASKED
                questions.append(_volume_question(lake, look.heading(place), volume, told_by))
            elif told_by and not names_added(unit):
                confidence = weaker(confidence, LIKELY)
        text = f"{{ {look.column(place)}, unit = {json.dumps(unit, ensure_ascii=False)}{more} }}"
        guesses.append(
            Guess(
                lake,
                place,
                look.heading(place),
                text,
                confidence,
                f"{told}; {why}",
                (*rivals, *units),
                goes_against(look, place, lake, unit),
            )
        )
    odd_unit = next(
        (one for one in guesses if one.lake == "treating_pressure_psi" and "the file says" in one.why), None
    )
    if odd_unit is not None and odd_unit.confidence == ASKED and re.search("unusual|impossible", odd_unit.why):
        for at, one in enumerate(guesses):
            if one.lake.endswith("_bpm") and spread(look.values(one.place))[1] < SMALL_RATE:
                why = f"{one.why}; the pressure's unit is in doubt, and these values could be m3/min"
                guesses[at] = replace(one, confidence=ASKED, why=why)
                questions.append(f"{one.lake}: is '{one.heading}' in the unit that the file says, or in m3/min?")
    return guesses, questions


def _volume_question(lake: str, heading: str, volume: str, told_by: str) -> str:
    if told_by and not volume:
        return f"{lake}: {told_by}: are '{heading}' and both rates the right columns?"
    assumed = "of slurry" if volume else "of clean fluid"
    return (
        f"{lake}: is '{heading}' per volume of clean fluid or of slurry? "
        f'{assumed} is assumed (per = "clean" or "slurry")'
    )


def _rivals(look: Look, chosen: dict[str, tuple[int, float]], meaning: Meaning, lake: str) -> list[str]:
    """Return the headings of other columns whose words fit about as well."""
    taken = {place for place, _ in chosen.values()}
    found = []
    for place in range(len(look.table.names)):
        score = fit(look.said(place), meaning)
        if place in taken or not score or chosen[lake][1] - score >= RIVAL or not unit_can_be(look, place, lake):
            continue
        values = look.values(place)
        if not np.isnan(values).all() and not look.total(place):
            found.append(look.heading(place))
    return found


def key_columns(look: Look, lands: str, taken: set[int | None]) -> list[Guess]:
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


def _clean_is_higher(look: Look, chosen: dict[str, tuple[int, float]]) -> bool:
    """Whether the clean rate is above the slurry rate while proppant runs, both in the lake's unit."""
    if not {"slurry_rate_bpm", "clean_rate_bpm", "proppant_conc_ppa"} <= set(chosen):
        return False

    slurry, clean = (
        in_lake_units(look, chosen[lake][0], "treatment", lake) for lake in ("slurry_rate_bpm", "clean_rate_bpm")
    )
    conc = look.values(chosen["proppant_conc_ppa"][0])
    if not np.isfinite(conc).any():
        return False
    sand = (conc > 0.2 * np.nanmax(conc)) & np.isfinite(slurry) & np.isfinite(clean)
    return bool(
        sand.sum() > 10 and float(np.median(clean[sand] - slurry[sand])) > 0.05 * float(np.median(slurry[sand]))
    )


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
        keys = {key: vocabulary().keys[key] for key in table.key if key in vocabulary().keys}
        chosen = _assigned(look, {**keys, **meanings}, skip=set(), numeric=False)
        missing = [key for key in table.key if key not in chosen and key not in USUAL_KEYS.get(lands, {})]
        own = [lake for lake in chosen if lake not in keys]
        weight = sum(chosen[lake][1] for lake in own) + 0.5 * (len(chosen) - len(own)) - 1.5 * len(missing)
        if not missing and _keys_repeat(look, [chosen[key][0] for key in table.key if key in chosen]):
            weight -= REPEATED_KEYS
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
        elif (usual := USUAL_KEYS.get(lands, {}).get(lake)) is not None:
            guesses.append(Guess(lake, -1, "", f"{{ value = {usual} }}", ASKED, "the file does not say it"))
            questions.append(f"{lake}: the file does not say it; is it {usual} in all rows?")
    return lands, guesses, questions


def _keys_repeat(look: Look, places: list[int]) -> bool:
    """Whether many rows have the same keys: a table with one row per well does not name each well twenty times."""
    rows = [row for row in zip(*(look.cells[place] for place in places), strict=True) if all(row)]
    return len(rows) > 3 and len(set(rows)) < 0.7 * len(rows)


def _cell_guess(look: Look, lands: str, lake: str, place: int, score: float, zone: str) -> tuple[Guess, list[str]]:
    column = look.column(place)
    why = f"'{look.heading(place)}' is read as {lake.replace('_', ' ')}"
    confidence = SURE if score >= 1.0 else LIKELY
    dtype = str(LANDED[lands].dtypes[lake])
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
        guess = time_guess(look.cells[place], look.table.decimal)
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
