"""Which column of a strange file is which of the lake."""

from __future__ import annotations

import json
import re
from dataclasses import replace

import numpy as np

from pipeline.errors import SetAside
from pipeline.ingest.behaviour import spread, usual_step_s
from pipeline.ingest.propose.behaves import RIVAL, better_read, volume_of
from pipeline.ingest.propose.clocks import Times
from pipeline.ingest.propose.guess import ASKED, LIKELY, Guess, Look, weaker
from pipeline.ingest.propose.measured import goes_against, in_lake_units, lake_unit, only_unit, unit_can_be, unit_guess
from pipeline.ingest.vocabulary import Meaning, fit, vocabulary, words_of
from pipeline.schemas import LANDED
from pipeline.unit_names import names_added

SMALL_RATE = 16.0
"""Rates of a stage that stay below could be cubic metres per minute. [1]"""
UNIT_ONLY = 0.3
"""Fit of a heading that nothing tells but its unit. [1]"""
LONGEST_STEP_S = 120.0
"""Records of samples have smaller steps. [s]"""
_EXPECTED = ("treating_pressure_psi", "slurry_rate_bpm", "depth_ft")
"""Columns without which a record of samples is of little use."""


def assigned(
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
    _refuse_wireline(look)
    best: tuple[float, str, dict[str, tuple[int, float]]] | None = None
    for lands, meanings in vocabulary().signals.items():
        chosen = assigned(look, meanings, skip={times.place, times.date}, numeric=True)
        weight = sum(score for _, score in chosen.values())
        if lands == "coil" and "depth_ft" not in chosen:
            continue
        if lands == "coil":
            weight += 1.5
        if len(chosen) >= 2 and (best is None or weight > best[0]):
            best = (weight, lands, chosen)
    return None if best is None else (best[1], best[2])


def _refuse_wireline(look: Look) -> None:
    """Refuse the record of a wireline run: it has a depth and a tension, as coil does, and is none."""
    for place in range(len(look.table.names)):
        words = words_of(look.said(place))
        if "ccl" in words or (words & {"line", "cable", "wireline"} and words & {"depth", "speed", "tension"}):
            raise SetAside(
                "the file is a record of a wireline run", "a record of pumping or of coil",
                f"the heading '{look.heading(place)}'",
                "land one row per run with a map for the table 'wireline', and leave this file out of the landing "
                "folder; the pump-down itself is read from the record of the stage below",
            )  # fmt: skip


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
    found = assigned(look, keys, skip=taken, numeric=False)
    guesses = []
    for key, (place, _) in found.items():
        cells = {cell for cell in look.cells[place] if cell}
        more = ""
        if key != "well_id" and not all(re.fullmatch(r"\d{1,3}(\.0+)?", cell) for cell in cells):
            if not all(re.fullmatch(r"[^\d]{1,12}\d{1,3}", cell) for cell in cells):
                continue
            more = r", pattern = '(?P<value>\d+)$'"
        if not cells:
            continue
        if key == "well_id" and len(cells) > 0.2 * len(look.cells[place]):
            continue
        why = f"'{look.heading(place)}' names the {key.removesuffix('_id')} of each row"
        guesses.append(Guess(key, place, look.heading(place), f"{{ {look.column(place)}{more} }}", LIKELY, why))
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
