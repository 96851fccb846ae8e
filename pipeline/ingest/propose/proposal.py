"""Propose a map for a file that none describes: guesses with confidence and reason, and what a person must decide."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass, field, replace
from pathlib import PurePath

from pipeline.ingest.propose.clocks import find_times, time_channel
from pipeline.ingest.propose.columns import find_signal, key_columns, signal_guesses
from pipeline.ingest.propose.guess import ASKED, CHECK, SURE, Guess, Look
from pipeline.ingest.propose.ledgers import ledger_guesses
from pipeline.ingest.propose.named import name_guesses, quoted
from pipeline.ingest.sniff import Table


@dataclass(frozen=True)
class Proposal:
    """A proposed map: its lines, its guesses, and the questions that a person must answer."""

    name: str
    lands: str
    files: tuple[str, ...]
    settings: list[str]
    guesses: list[Guess]
    questions: list[str] = field(default_factory=list)
    left: list[str] = field(default_factory=list)

    def toml(self) -> str:
        """The map, with every guess that is not sure in a comment."""
        lines = [
            "# Proposed by `heelward inspect`: lines marked 'check' are guesses.",
            f'name = "{self.name}"', f'lands = "{self.lands}"', f"files = {_one_or_list(self.files)}",
            *self.settings, "", "[columns]",
        ]  # fmt: skip
        for guess in self.guesses:
            check = "" if guess.confidence == SURE else f"  {CHECK} {_plain(guess.why)}"
            lines.append(f"{guess.lake} = {guess.text}{check}")
        return "\n".join(lines) + "\n"

    def without(self, lake: str, question: str) -> Proposal:
        """The same without a column, and with a question in its place."""
        kept = [guess for guess in self.guesses if guess.lake != lake]
        return replace(self, guesses=kept, questions=[*self.questions, question])


def _one_or_list(texts: tuple[str, ...]) -> str:
    return json.dumps(texts[0] if len(texts) == 1 else texts, ensure_ascii=False)


def _plain(text: str) -> str:
    return re.sub(r"[^\x20-\x7eÀ-ÿ³²·°]", "?", text)


def propose(
    path: str, table: Table, zone: str, *, sheet: str = "", files: tuple[str, ...] = (), kind: str = "", only: str = ""
) -> Proposal | None:
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
        ``las``, ``witsml`` or ``parquet``; empty for text and sheets.
    files : tuple of str
        Patterns of the files that the map is for; from the path if empty.
    only : str
        The one table that the map may be for; any if empty.

    Returns
    -------
    Proposal or None
        None if the columns are those of no table of the lake.
    """
    look = Look(table, [[row[i] if i < len(row) else "" for row in table.rows] for i in range(len(table.names))])
    times = find_times(look)
    signal = find_signal(look, times) if times is not None and not only else None
    if signal is not None:
        lands, chosen = signal
        guesses, questions = signal_guesses(look, lands, chosen)
        timed, asked = time_channel(look, times, zone, PurePath(path).name) if times is not None else (None, [])
        taken = {guess.place for guess in guesses} | ({times.place, times.date} if times is not None else set())
        guesses = [*key_columns(look, lands, taken), *([timed] if timed is not None else []), *guesses]
        questions = [*asked, *questions]
    else:
        found = ledger_guesses(look, zone, only)
        if found is None:
            return None
        lands, guesses, questions = found
    guesses, questions = _marks_asked(table, guesses, questions)
    if any(guess.against_units_row for guess in guesses):  # the map goes against what the file says of its units
        table = replace(table, units_row=None)
    names, keyed, told = name_guesses(path, table, lands, {guess.lake for guess in guesses}, sheet)
    settings = [*_settings(table, sheet, kind), *names, *(guess.setting for guess in guesses if guess.setting)]
    used = {place for guess in guesses for place in (guess.place, guess.date)}
    left = [name or f"column {i + 1}" for i, name in enumerate(table.names) if i not in used and any(look.cells[i])]
    name = re.sub(r"[^a-z0-9]+", "_", f"{PurePath(path).stem} {sheet}".casefold()).strip("_")
    name = re.sub(r"_?\d+", "", name)[:40].strip("_") or "new_map"
    return Proposal(
        f"{name}_{lands}", lands, files or (pattern_of(path),), settings, [*keyed, *guesses], [*told, *questions], left
    )


def _marks_asked(table: Table, guesses: list[Guess], questions: list[str]) -> tuple[list[Guess], list[str]]:
    """Ask where a point could stand between thousands as well as before decimals."""
    doubtful = {guess.place: table.doubtful[guess.place] for guess in guesses if guess.place in table.doubtful}
    if not doubtful:
        return guesses, questions
    cell = next(iter(doubtful.values()))
    plain, read = cell.replace(".", ""), "thousands" if table.thousands == "." else "decimals"
    asked = f"numbers: is '{cell}' {plain}, or {cell.rstrip('0').rstrip('.')} with decimals? read as with {read}"
    marked = [
        replace(guess, confidence=ASKED, why=f"{guess.why}; the mark in '{doubtful[guess.place]}' is not certain")
        if guess.place in doubtful else guess
        for guess in guesses
    ]  # fmt: skip
    return marked, [asked, *questions]


def pattern_of(path: str) -> str:
    """Return a pattern of files that are named alike: digits may differ."""
    name = PurePath(path).name
    alike = re.sub(r"\d+", "*", re.sub(r"[\[\]?*]", "?", name))
    return f"**/{alike}"


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
        lines.append(f"skip_lines = {quoted(table.skip_lines)}")
        lines.append("most_void_rows = 0.05")
    return lines
