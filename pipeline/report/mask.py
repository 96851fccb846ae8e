"""Copies for outside the team: names replaced by stable aliases, files and people withheld."""

from __future__ import annotations

import itertools
import json
import random
import unicodedata
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import polars as pl

from pipeline.lake import Lake
from pipeline.schemas import AMENDMENTS, COIL_RUNS, OFFSETS, PLUGS, SOURCES, STAGES, WELLS, WIRELINE, Table
from pipeline.workspace import replace_text

KEPT_IN = "aliases.json"
WORDS = {"crews": "Crew", "wells": "Well", "pads": "Pad"}
WITHHELD = "withheld"
# Texts that quote files or people: no list of names covers what may stand in them.
_PRIVATE = {
    "sources": ("path", "reason", "expected", "found", "mend", "map"), "findings": ("path", "message"),
    "amendments": ("by", "why"), "picks": ("amended_reason",),
}  # fmt: skip
_SHORTEST = 3
"""A shorter name is replaced only where it is the whole text: inside others it would hit words. [characters]"""
_GAPS = (" ", "_", "-", "", ".", " #", "-#", "_#", "#")
"""How the parts of a name may be joined where a file spells it in its own way."""


@dataclass(frozen=True)
class Mask:
    """Aliases of names.

    Names are found however their letters are written: case, composed or decomposed accents, no-break and double
    spaces, and invisible characters make no difference.

    Attributes
    ----------
    whole : dict of str to str
        Alias of each name where it is the whole text.
    within : dict of str to str
        Alias of each spelling where it is part of a text; the longest spelling that fits counts.
    """

    whole: dict[str, str] = field(default_factory=dict)
    within: dict[str, str] = field(default_factory=dict)
    _known: dict[str, str] = field(default_factory=dict, compare=False, repr=False)

    def text(self, value: str) -> str:
        """Return a text with its names replaced."""
        return str(self._series(pl.Series([value]))[0]) if self.whole else value

    def frame(self, rows: Any) -> Any:
        """Return a frame, lazy or not, with the names in all its texts replaced."""
        if not self.whole:
            return rows
        texts = [name for name, dtype in rows.collect_schema().items() if dtype == pl.String]
        return rows.with_columns(
            pl.col(name).map_batches(self._series, return_dtype=pl.String).alias(name) for name in texts
        )

    def seen(self, table: Table, rows: pl.LazyFrame) -> pl.LazyFrame:
        """Return a table's rows as a masked report may see them."""
        if not self.whole:
            return rows
        private = [name for name in _PRIVATE.get(table.name, ()) if name in table.dtypes]
        kept: pl.LazyFrame = self.frame(rows.with_columns(
            pl.when(pl.col(name).is_not_null()).then(pl.lit(WITHHELD)).alias(name) for name in private
        ))  # fmt: skip
        return kept

    def _series(self, values: pl.Series) -> pl.Series:
        distinct = values.drop_nulls().unique()
        new = [text for text in distinct if text not in self._known]
        if new:
            self._known.update(zip(new, self._masked(new), strict=True))
        if all(self._known[text] == text for text in distinct):
            return values
        return values.replace_strict(
            distinct, pl.Series([self._known[text] for text in distinct], dtype=pl.String), default=None,
            return_dtype=pl.String,
        )  # fmt: skip

    def _masked(self, texts: list[str]) -> list[str]:
        short = {folded(name): alias for name, alias in self.whole.items() if len(name) < _SHORTEST}
        spelled = sorted(((folded(name), alias) for name, alias in self.within.items()), key=lambda pair: -len(pair[0]))
        aliases = dict(reversed(spelled))
        names = list(dict.fromkeys(name for name, _ in spelled))
        plain = pl.Series([folded(text) for text in texts], dtype=pl.String).to_frame("text")
        found = plain.select(
            at=pl.col("text").str.find_many(names, leftmost=True),
            name=pl.col("text").str.extract_many(names, leftmost=True),
        )
        out = []
        for text, (places, matches) in zip(texts, found.iter_rows(), strict=True):
            if text in self.whole:
                out.append(self.whole[text])
            elif not matches:
                out.append(short.get(folded(text), text))
            else:
                out.append(
                    _spliced(text, [(at, name, aliases[name]) for at, name in zip(places, matches, strict=True)])
                )
        return out


def folded(text: str) -> str:
    """Return a text as names are compared: without case, with accents decomposed, each space one plain space."""
    if text.isascii() and text.isprintable() and "  " not in text:
        return text.lower()
    return "".join(letters for letters, _ in _folded_letters(text))


def _folded_letters(text: str) -> Iterator[tuple[str, int]]:
    """Yield what each letter becomes, and where it stands in the text."""
    after_space = False
    for index, letter in enumerate(text):
        kind = unicodedata.category(letter)
        if kind == "Cf":  # soft hyphens, zero-width spaces
            continue
        space = letter.isspace() or kind[0] == "Z"
        if space and after_space:
            continue
        after_space = space
        yield " " if space else unicodedata.normalize("NFKD", unicodedata.normalize("NFKD", letter).casefold()), index


def _spliced(text: str, found: list[tuple[int, str, str]]) -> str:
    """Return a text with aliases in place of names; found at bytes of its folded form."""
    place: list[int] = []  # of each byte of the folded form, the letter that it comes from
    for letters, index in _folded_letters(text):
        place += [index] * len(letters.encode())
    place.append(len(text))
    out, end = [], 0
    for at, name, alias in found:
        out += [text[end : place[at]], alias]
        end = place[at + len(name.encode()) - 1] + 1
    return "".join([*out, text[end:]])


def make_mask(lake: Lake, kinds: Sequence[str], root: Path) -> Mask:
    """Return the mask of the lake's names; new names get aliases, which are kept with the workspace.

    Parameters
    ----------
    lake : Lake
    kinds : sequence of str
        Of crews, wells and pads.
    root : Path
        The workspace: aliases stay the same from report to report through ``aliases.json`` in it. Whoever has that
        file can undo a mask.
    """
    if not kinds:
        return Mask()
    path = root / KEPT_IN
    kept: dict[str, dict[str, str]] = json.loads(path.read_text(encoding="utf-8")) if path.exists() else {}
    names = {"crews": _crews(lake), "wells": _wells(lake), "pads": _pads(lake)}
    taken = {spelling.casefold() for groups in names.values() for group in groups for spelling in group}
    for kind in kinds:
        _extend(kept.setdefault(kind, {}), [group[0] for group in names[kind]], WORDS[kind], taken)
    replace_text(path, json.dumps(kept, indent=1, ensure_ascii=False, sort_keys=True) + "\n")
    whole: dict[str, str] = {}
    within: dict[str, str] = {}
    for kind in kinds:
        for group in names[kind]:
            alias = kept[kind][group[0]]
            for name in group:
                # an id stands in file names and anchors: its alias must be fit for them
                shown = alias.lower().replace(" ", "-") if kind == "wells" and name == group[0] else alias
                whole[name] = shown
                within |= {spelling: alias for spelling in _spellings(name) if len(spelling) >= _SHORTEST}
    return Mask(whole, dict(sorted(within.items(), key=lambda item: -len(item[0]))))


def _extend(known: dict[str, str], names: list[str], word: str, taken: set[str]) -> None:
    """Give new names aliases in an order that tells nothing about them; an alias is nobody's name."""
    new = sorted(set(names) - set(known))
    random.SystemRandom().shuffle(new)
    used = {alias.casefold() for alias in known.values()} | taken
    free = (alias for number in itertools.count(1) if (alias := f"{word} {number}").casefold() not in used)
    known.update(zip(new, free, strict=False))


def _spellings(name: str) -> set[str]:
    """Return a name as files may spell it: its parts joined in other ways."""
    parts = "".join(letter if letter.isalnum() else " " for letter in name).split()
    return {name, *(gap.join(parts) for gap in _GAPS)} if parts else {name}


def _distinct(lake: Lake, places: Iterable[tuple[Table, str]]) -> list[str]:
    found = [lake.scan(table).select(pl.col(column).alias("n")) for table, column in places]
    return pl.concat(found).drop_nulls().unique().sort("n").collect()["n"].to_list()


def _crews(lake: Lake) -> list[list[str]]:
    """Return the crews, each with the words that only its name holds: texts call it by them too."""
    places = ((STAGES, "frac_crew"), (PLUGS, "wireline_crew"), (COIL_RUNS, "coil_crew"), (WIRELINE, "wireline_crew"))
    names = _distinct(lake, places)
    held = Counter(folded(word) for name in names for word in set(name.split()))
    own = {name: [w for w in name.split() if held[folded(w)] == 1 and len(w) >= _SHORTEST] for name in names}
    return [[name, *(word for word in own[name] if word != name)] for name in names]


def _pads(lake: Lake) -> list[list[str]]:
    return [[name] for name in _distinct(lake, ((WELLS, "pad"),))]


def _wells(lake: Lake) -> list[list[str]]:
    """Return the spellings of each well, its id first; wells that only a file or a neighbour names included."""
    described = lake.scan(WELLS).select("well_id", "well_name", "aliases").unique().collect()
    groups: dict[str, list[str]] = {}
    for well, name, aliases in described.iter_rows():
        group = groups.setdefault(well, [well])
        ways = [item.strip() for item in (name or "", *(aliases or "").split("|"))]
        group += [way for way in ways if way and way not in group]
    spelled = {name for group in groups.values() for name in group}
    for well in _distinct(lake, ((SOURCES, "well_id"), (AMENDMENTS, "well_id"), (OFFSETS, "offset_id"))):
        if well not in spelled:
            groups[well] = [well]
    return list(groups.values())
