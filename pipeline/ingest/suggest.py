"""Guess the structure of a file without a matching map, and write a draft map for it."""

from __future__ import annotations

import csv
import json
import re
from collections import Counter
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from pipeline.errors import SetAside
from pipeline.units import UnknownUnit, conversion, spellings

_WORDS: tuple[tuple[str, str, str], ...] = (
    # pattern for the heading, lake column, likely unit; the first match is used
    (r"time|clock|date|utc", "time", ""),
    (r"depth", "depth_ft", "ft"),
    (r"weight|hookload", "weight_lbf", "lbf"),
    (r"wellhead|whp", "wellhead_pressure_psi", "psi"),
    (r"circ", "circulating_pressure_psi", "psi"),
    (r"return", "return_rate_bpm", "bpm"),
    (r"pump.*rate|pump", "pump_rate_bpm", "bpm"),
    (r"pres|psi|bar", "treating_pressure_psi", "psi"),
    (r"clean", "clean_rate_bpm", "bpm"),
    (r"slurry|rate|bpm|flow", "slurry_rate_bpm", "bpm"),
    (r"conc|ppa|prop|sand", "proppant_conc_ppa", "ppa"),
    (r"\bfr\b|friction|reducer", "friction_reducer_gpt", "gpt"),
)
_TIME_FORMATS = (
    "%Y-%m-%d %H:%M:%S",
    "%Y-%m-%dT%H:%M:%S",
    "%Y-%m-%dT%H:%M:%SZ",
    "%d/%m/%Y %H:%M:%S",
    "%m/%d/%Y %H:%M:%S",
    "%d.%m.%Y %H:%M:%S",
    "%d-%b-%Y %H:%M:%S",
)


@dataclass(frozen=True)
class Suggestion:
    """A guess at a delimited file: its shape, and the text of a map."""

    delimiter: str
    header_row: int
    names: list[str]
    toml: str


def no_map_fits(path: str, data: bytes, maps: Path) -> SetAside:
    """Return the reason why a file without a matching map is set aside."""
    guess = suggest(path, data)
    seen = f"headings {', '.join(guess.names[:8])}" if guess else "not a text table"
    return SetAside(
        "no map matches the file", f"a map in {maps.name}/ whose 'files' pattern matches it", seen,
        f'write one (`heelward inspect "{path}"` suggests it), or move the file out of the landing folder',
    )  # fmt: skip


def suggest(path: str, data: bytes, zone: str = "UTC") -> Suggestion | None:
    """Guess the structure of a delimited file and write a draft map for it.

    Parameters
    ----------
    path : str
        Path of the file, for the name of the map.
    data : bytes
        Its content.
    zone : str
        Assumed time zone of its times.

    Returns
    -------
    Suggestion or None
        None if it is not a text table.
    """
    if b"\x00" in data[:4096]:
        return None
    lines = data[:65536].decode("utf-8", "replace").splitlines()[:60]
    delimiter = max(",;\t|", key=lambda mark: _score(lines, mark))
    if _score(lines, delimiter) == (0, 0):
        return None
    rows = list(csv.reader(lines, delimiter=delimiter))
    width = max(len(row) for row in rows)
    header = next((i for i, row in enumerate(rows) if len(row) == width and not _numbers(row)), None)
    if header is None:
        return None
    names = ["".join(c for c in name.strip() if c.isprintable())[:60] for name in rows[header]]
    after = rows[header + 1] if header + 1 < len(rows) else []
    units = after if after and not _numbers(after) else []
    data_row = rows[header + (2 if units else 1)] if header + (2 if units else 1) < len(rows) else []
    guess = _Guess(path, delimiter, header + 1, names, units, data_row, zone)
    return Suggestion(delimiter, header + 1, names, _toml(guess))


def _score(lines: list[str], mark: str) -> tuple[int, int]:
    """Number of lines with the same count of the mark, and that count."""
    counts = Counter(count for line in lines if (count := line.count(mark)))
    if not counts:
        return 0, 0
    often, agreeing = max(counts.items(), key=lambda item: (item[1], item[0]))
    return agreeing, often


def _time_format(cell: str) -> str:
    """Return the first common format that can read a cell; day before month if both can."""
    for pattern in _TIME_FORMATS:
        try:
            datetime.strptime(cell.strip(), pattern)
        except ValueError:
            continue
        return pattern
    return _TIME_FORMATS[0]


def _numbers(row: list[str]) -> bool:
    filled = [cell.strip() for cell in row if cell.strip()]
    return (
        bool(filled)
        and sum(bool(re.fullmatch(r"[-+]?[\d.,]+([eE][-+]?\d+)?", cell)) for cell in filled) > len(filled) / 2
    )


@dataclass(frozen=True)
class _Guess:
    path: str
    delimiter: str
    header: int
    names: list[str]
    units: list[str]
    first: list[str]
    zone: str


def _toml(guess: _Guess) -> str:
    name = re.sub(r"[^a-z0-9]+", "_", Path(guess.path).stem.lower()).strip("_")[:40] or "new_map"
    columns: dict[str, str] = {}
    for place, heading in enumerate(guess.names):
        for pattern, lake, usual in _WORDS:
            if lake not in columns and re.search(pattern, heading, re.IGNORECASE):
                columns[lake] = _channel(guess, place, lake, usual)
                break
    path = Path(guess.path)
    ending = "".join(path.suffixes[-2:]) if path.suffix == ".gz" else path.suffix
    lands = "coil" if "depth_ft" in columns else "treatment"
    number = "run" if lands == "coil" else "stage"
    lines = [
        "# Draft map, guessed from the file: check every line.",
        f'name = "{name}"',
        f'lands = "{lands}"',
        f'files = "**/*{ending}"',
        f"name_pattern = '(?P<well>.+?)[ _-]*(?:{number}|{number[0]})[ _-]*(?P<{number}>\\d+)'",
        f"delimiter = {json.dumps(guess.delimiter)}",
        f"header_row = {guess.header}",
        'unknown_wells = "create"   # a well that is in no wells table is created, with a finding',
    ]
    if guess.units:
        lines.append(f"units_row = {guess.header + 1}")
    if guess.delimiter != "," and any(re.fullmatch(r"[-+]?\d+,\d+", cell.strip()) for cell in guess.first):
        lines.append('decimal = ","')
    lines.append("\n[columns]")
    lines += [f"{lake} = {text}" for lake, text in columns.items()]
    return "\n".join(lines) + "\n"


def _channel(guess: _Guess, place: int, lake: str, usual: str) -> str:
    heading = guess.names[place]
    column = json.dumps(heading, ensure_ascii=False)
    if lake == "time":
        written = guess.first[place] if place < len(guess.first) else ""
        return f'{{ column = {column}, format = "{_time_format(written)}", zone = "{guess.zone}" }}'
    below = guess.units[place] if place < len(guess.units) else ""
    return f'{{ column = {column}, unit = "{_unit(heading, below, usual)}" }}'


def _unit(heading: str, below: str, usual: str) -> str:
    """Return the unit below a heading or inside it; the usual unit if neither is known."""
    for word in (below, *re.findall(r"[\w*/^]+", heading)):
        for spelling in spellings(word):
            try:
                conversion(spelling, usual)
            except UnknownUnit:
                continue
            return spelling
    return usual
