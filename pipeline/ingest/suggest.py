"""What a file that no map fits seems to be, and a first map for it."""

from __future__ import annotations

import csv
import json
import re
from dataclasses import dataclass
from pathlib import Path

from pipeline.errors import SetAside
from pipeline.units import UnknownUnit, conversion

_WORDS: tuple[tuple[str, str, str], ...] = (
    # pattern over heading, lake column, likely unit; the first match wins
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
_UNITS = (
    "psi",
    "bar",
    "kPa",
    "MPa",
    "bpm",
    "m**3/min",
    "ppa",
    "ppg",
    "kg/m**3",
    "gpt",
    "ft",
    "m",
    "lbf",
    "daN",
    "s",
    "min",
)


@dataclass(frozen=True)
class Suggestion:
    """A guess at a delimited file: its shape, and the text of a map."""

    delimiter: str
    header_row: int
    names: list[str]
    toml: str


def no_map_fits(path: str, data: bytes, maps: Path) -> SetAside:
    """Return why a file that no map claims is set aside."""
    guess = suggest(path, data)
    seen = f"headings {', '.join(guess.names[:8])}" if guess else "no table of text"
    return SetAside(
        "no map fits the file", f"a map in {maps.name}/ whose 'files' matches it", seen,
        f'write one (`heelward inspect "{path}"` suggests it), or move the file out of the landing folder',
    )  # fmt: skip


def suggest(path: str, data: bytes) -> Suggestion | None:
    """Guess the shape of a delimited file and write a first map for it.

    Parameters
    ----------
    path : str
        Its path, for the name.
    data : bytes
        Its content.

    Returns
    -------
    Suggestion or None
        None where it is no table of text.
    """
    if b"\x00" in data[:4096]:
        return None
    lines = data[:65536].decode("utf-8", "replace").splitlines()[:60]
    delimiter = max(",;\t|", key=lambda mark: _score(lines, mark))
    if _score(lines, delimiter) == 0:
        return None
    rows = list(csv.reader(lines, delimiter=delimiter))
    width = max(len(row) for row in rows)
    header = next((i for i, row in enumerate(rows) if len(row) == width and not _numbers(row)), None)
    if header is None:
        return None
    names = ["".join(c for c in name.strip() if c.isprintable())[:60] for name in rows[header]]
    after = rows[header + 1] if header + 1 < len(rows) else []
    units = after if after and not _numbers(after) else []
    return Suggestion(delimiter, header + 1, names, _toml(path, delimiter, header + 1, names, units))


def _score(lines: list[str], mark: str) -> int:
    counts = [line.count(mark) for line in lines if line.strip()]
    return max(counts, default=0) if counts else 0


def _numbers(row: list[str]) -> bool:
    filled = [cell.strip() for cell in row if cell.strip()]
    return (
        bool(filled)
        and sum(bool(re.fullmatch(r"[-+]?[\d.,]+([eE][-+]?\d+)?", cell)) for cell in filled) > len(filled) / 2
    )


def _toml(path: str, delimiter: str, header: int, names: list[str], units: list[str]) -> str:
    name = re.sub(r"[^a-z0-9]+", "_", Path(path).stem.lower()).strip("_")[:40] or "new_map"
    columns: dict[str, str] = {}
    for place, heading in enumerate(names):
        for pattern, lake, usual in _WORDS:
            if lake not in columns and re.search(pattern, heading, re.IGNORECASE):
                columns[lake] = _channel(
                    heading, lake, _unit(heading, units[place] if place < len(units) else "", usual)
                )
                break
    lands = "coil" if "depth_ft" in columns else "treatment"
    number = "run" if lands == "coil" else "stage"
    lines = [
        "# A first guess: check every line.",
        f'name = "{name}"',
        f'lands = "{lands}"',
        f'files = "**/*{Path(path).suffix}"',
        f"name_pattern = '(?P<well>.+?)[ _-]*(?:{number}|{number[0]})[ _-]*(?P<{number}>\\d+)'",
        f"delimiter = {json.dumps(delimiter)}",
        f"header_row = {header}",
    ]
    if units:
        lines.append(f"units_row = {header + 1}")
    lines.append("\n[columns]")
    lines += [f"{lake} = {text}" for lake, text in columns.items()]
    return "\n".join(lines) + "\n"


def _channel(heading: str, lake: str, unit: str) -> str:
    column = json.dumps(heading, ensure_ascii=False)
    if lake == "time":
        return f'{{ column = {column}, format = "%Y-%m-%d %H:%M:%S", zone = "pad" }}'
    return f'{{ column = {column}, unit = "{unit}" }}'


def _unit(heading: str, below: str, usual: str) -> str:
    words = [below.strip("[]() "), *re.findall(r"[\w*/^]+", heading)]
    for word in words:
        for known in _UNITS:
            if usual and word.lower() == known.lower():
                try:
                    conversion(known, usual)
                    return known
                except UnknownUnit:
                    continue
    return usual
