"""Well, stage and run of a strange file: from the lines above its data, its sheet and its name."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable
from pathlib import PurePath

from pipeline.ingest.propose.guess import ASKED, CHECK, LIKELY, Guess
from pipeline.ingest.sniff import Table
from pipeline.schemas import LANDED

_NOISE_WORD = r"(?:frac|fracturing|treatment|treating|data|datos|record|job|pump|coil|ct|millout|mill-out|mill)"
"""Words of a file's name that are no part of a well's name."""
_NOISE = rf"(?:[ _.-]*{_NOISE_WORD}\b)*"
_STAGE_WORD = r"(?:stage|stg|etapa|[eé]tape|stufe|interval|int|zone|zona|frac)"
_RUN_WORD = r"(?:run|carrera|corrida|descente)"
_FROM_HEEL = r"(?i)(?:count|number|num[eé]ro|nummer|contad|z[aä]hl)\w*\b[^.;\n]{0,30}\b(?:heel|tal[oó]n|ferse)\b"
_FROM_HEAD, _FROM_NAME = "from the lines above the data of one file", "from the name of one file"
_HEADS = {
    "well": (
        r'(?i)\b(?:well(?:[ _]?name)?|pozo|puits|bohrung|uwi)\s*[:=,;\t|]+\s*"?(?P<well>[^,;|"\t]*[^,;|"\t\s])',
        r"(?i)\b(?:well(?:[ _]?name)?|pozo|puits|bohrung)\s+(?P<well>[A-Za-z]+[ _-]?\d[\w()#.-]*)",
    ),
    "stage": (
        r"(?i)\b(?:stage|stg|etapa|[eé]tape|stufe|interval)(?:[ _]*(?:no|number|num|n°))?\.?"
        r"\s*[:=,;\t|#]*\s*\"?(?P<stage>\d+)",
    ),
    "run": (r"(?i)\b(?:run|carrera|corrida|descente)(?:[ _]*(?:no|number|num))?\.?\s*[:=,;\t|#]*\s*\"?(?P<run>\d+)",),
}
"""How lines above the data tell a well, a stage or a run: with a mark, or as a code with a digit."""


def name_guesses(
    path: str, table: Table, lands: str, have: set[str], sheet: str
) -> tuple[list[str], list[Guess], list[str]]:
    """Return the lines, channels and questions for well, stage and run."""
    keys = [key for key in ("well_id", "stage", "run") if key in LANDED[lands].key and key not in have]
    lines = ['unknown_wells = "create"   # a well that no wells table names is created, with a finding']
    if "well_id" not in LANDED[lands].columns:
        return [], [], []
    name = PurePath(path).name
    number = "run" if "run" in LANDED[lands].key else "stage"
    wanted = {"well": "well_id" in keys, number: number in keys}
    guesses, questions, patterns = [], [], []
    for group, ways in _HEADS.items():
        if not wanted.get(group):
            continue
        told = next(((way, line) for way in ways for line in table.head if re.search(way, line)), None)
        if told is not None:
            patterns.append(told[0])
            wanted[group] = False
            questions.append(f"{group}: '{_group(*told, group)}', from the lines above the data: right?")
    counted = next((text for text in (*table.head, *table.said) if re.search(_FROM_HEEL, text)), None)
    if "stage" in LANDED[lands].columns and counted is not None:
        lines.append(
            f'stages_numbered_from = "heel"  {CHECK} stated in the file; the wells table must have the number of stages'
        )
        questions.append(f"stage: '{counted.strip()[:60]}': are the stages counted from the heel?")
    if patterns:
        lines.append(f"head_pattern = [{', '.join(quoted(pattern) for pattern in patterns)}]  {CHECK} {_FROM_HEAD}")
    on_sheet = re.search(rf"(?i)(?:{_STAGE_WORD}|{_RUN_WORD})[ _.#-]*(\d+)", sheet)
    if wanted.get(number) and on_sheet is not None:
        wanted[number] = False
        guesses.append(
            Guess(number, -1, "", f"{{ value = {int(on_sheet[1])} }}", LIKELY, f"the sheet is named '{sheet}'")
        )
    found = _in_name(name, number, wanted)
    if found is not None:
        lines.append(f"name_pattern = {quoted(found)}  {CHECK} {_FROM_NAME}")
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


def number_in_name(name: str, number: str) -> int | None:
    """Return the stage (or run) that a file's name tells by a word for it; None if it tells none."""
    pattern = _in_name(name, number, {"well": False, number: True})
    match = (
        re.search(pattern, name) if pattern is not None and (_STAGE_WORD in pattern or _RUN_WORD in pattern) else None
    )
    return None if match is None else int(match[number])


def _in_name(name: str, number: str, wanted: dict[str, bool]) -> str | None:
    """Return the first pattern of well and stage, or run, that a file's name fits."""
    word = _RUN_WORD if number == "run" else _STAGE_WORD
    short = "(?:r|c)" if number == "run" else "(?:st|s|et|e|fr|f|z)"
    no = r"[ _.#-]*(?:no\.?|num\.?)?[ _.#-]*"
    both: Iterable[str] = (
        rf"(?i)^(?:\d{{8}}[ _-]+|ctu?[ _-]+)*(?P<well>.+?)[ _.-]*{word}{no}(?P<{number}>\d+)",
        rf"(?i)^(?P<well>.+?){_NOISE}[ _.-]*{word}{no}(?P<{number}>\d+)",
        rf"(?i)^{word}{no}(?P<{number}>\d+)[ _.-]+(?P<well>.+?){_NOISE}(?:\.[a-z.]+)$",
        rf"(?i)^(?P<well>.+?){_NOISE}[ _.-]+{short}[ _.#-]?(?P<{number}>\d+)(?!\d)",
    )
    alone = (rf"(?i){word}{no}(?P<{number}>\d+)", rf"(?i)(?:^|[ _.-]){short}[ _.#-]?(?P<{number}>\d+)(?!\d)")
    if wanted.get("well"):
        for pattern in both:
            match = re.search(pattern, name)
            if (
                match is not None
                and re.search(r"[^\W_]", match["well"])
                and not re.search(rf"(?i).[ _.-]{_NOISE_WORD}$", match["well"])
            ):
                return pattern if wanted.get(number) else pattern.replace(f"(?P<{number}>", "(?:")
    if wanted.get(number):
        return next((pattern for pattern in alone if re.search(pattern, name)), None)
    return None


def quoted(pattern: str) -> str:
    """Return a pattern as TOML."""
    return f"'{pattern}'" if "'" not in pattern else json.dumps(pattern, ensure_ascii=False)
