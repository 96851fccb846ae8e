"""Copies for readers outside the team: names replaced by stable aliases, names of files and people removed."""

from __future__ import annotations

import itertools
import json
import random
import re
import unicodedata
from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

import polars as pl

from pipeline.files import replace_text
from pipeline.lake import Lake
from pipeline.metrics.tables import TABLES
from pipeline.schemas.base import Table, meta
from pipeline.schemas.lineage import SOURCES
from pipeline.schemas.review import AMENDMENTS
from pipeline.schemas.wells import OFFSETS, WELLS

KEPT_IN = "aliases.json"
WORDS = {"crews": "Crew", "fleets": "Fleet", "wells": "Well", "pads": "Pad"}
ALSO = {"crews": ("fleets",)}
"""What is masked with a kind of names."""
WITHHELD = "withheld"
_SHORTEST = 2
"""A shorter name is replaced only if it is the whole text: inside other texts it would match words. [characters]"""
_SHORT = 2
"""A name of at most this length is replaced inside a text only if written in capitals. [characters]"""
_NO_LETTER = re.compile("[^a-z0-9]+")
_LEADING_ZEROS = re.compile(r"(?<!\d)0+(?=\d)")


@dataclass(frozen=True)
class Mask:
    """Aliases of names.

    Names are found in any spelling: only letters and digits are compared, without case, accents and leading zeros,
    and other characters are ignored. A name must be a separate word, not part of a longer word.

    Attributes
    ----------
    whole : dict of str to str
        Alias of each name if it is the whole text.
    within : dict of str to str
        Alias of each name if it is part of a text; the longest matching name is used.
    """

    whole: dict[str, str] = field(default_factory=dict)
    within: dict[str, str] = field(default_factory=dict)
    _known: dict[str, str] = field(default_factory=dict, compare=False, repr=False)

    def text(self, value: str) -> str:
        """Return a text with its names replaced."""
        return str(self._series(pl.Series([value]))[0]) if self.whole else value

    def frame(self, rows: Any, codes: Collection[str] = ()) -> Any:
        """Return a frame, lazy or not, with the names in all its texts replaced; codes are not names."""
        if not self.whole:
            return rows
        dtypes = rows.collect_schema().items()
        texts = [name for name, dtype in dtypes if dtype == pl.String and name not in codes]
        return rows.with_columns(
            pl.col(name).map_batches(self._series, return_dtype=pl.String).alias(name) for name in texts
        )

    def seen(self, table: Table, rows: pl.LazyFrame) -> pl.LazyFrame:
        """Return a table's rows as allowed in a masked report."""
        if not self.whole:
            return rows
        private = [name for name, column in table.columns.items() if meta(column).get("private")]
        codes = {name for name, column in table.columns.items() if meta(column).get("code")} - set(private)
        kept: pl.LazyFrame = self.frame(rows.with_columns(
            pl.when(pl.col(name).is_not_null()).then(pl.lit(WITHHELD)).alias(name) for name in private
        ), codes)  # fmt: skip
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
        aliases: dict[str, str] = {}
        for name in sorted(self.within, key=len, reverse=True):
            aliases.setdefault(compact(name), self.within[name])
        names = sorted(filter(None, aliases), key=len, reverse=True)
        found = pl.DataFrame({"text": [compact(text) for text in texts]}, schema={"text": pl.String}).select(
            at=pl.col("text").str.find_many(names, leftmost=True),
            name=pl.col("text").str.extract_many(names, leftmost=True),
        )
        out = []
        for text, (places, matches) in zip(texts, found.iter_rows(), strict=True):
            if text in self.whole:
                out.append(self.whole[text])
            elif matches:
                out.append(
                    _spliced(text, [(at, name, aliases[name]) for at, name in zip(places, matches, strict=True)])
                )
            else:
                out.append(text)
        return out


def compact(text: str) -> str:
    """Return the comparison form of a name: its letters and digits, without case, accents and leading zeros."""
    if text.isascii():
        return _NO_LETTER.sub("", _LEADING_ZEROS.sub("", text.lower()))
    return "".join(letters for letters, _ in _compact_letters(text))


def _compact_letters(text: str) -> Iterator[tuple[str, int]]:
    """Yield the compact form of each letter, and its position in the text."""
    for index, letter in enumerate(text):
        if letter == "0" and not text[index - 1 : index].isdigit() and text[index + 1 : index + 2].isdigit():
            continue
        plain = unicodedata.normalize("NFKD", unicodedata.normalize("NFKD", letter).casefold())
        letters = "".join(one for one in plain if one.isalnum())
        if letters:
            yield letters, index


def _spliced(text: str, found: list[tuple[int, str, str]]) -> str:
    """Return a text with separate names replaced by aliases; positions are bytes of its compact form."""
    place: list[int] = []  # for each byte of the compact form, the index of its letter
    for letters, index in _compact_letters(text):
        place += [index] * len(letters.encode())
    out, end = [], 0
    for at, name, alias in found:
        first, last = place[at], place[at + len(name.encode()) - 1]
        if _parts(text, first) and _parts(text, last + 1) and (len(name) > _SHORT or text[first : last + 1].isupper()):
            out += [text[end:first], alias]
            end = last + 1
            while end < len(text) and unicodedata.combining(text[end]):
                end += 1
    return "".join([*out, text[end:]])


def _parts(text: str, index: int) -> bool:
    """Whether there is a word boundary before a letter: no neighbouring letter, another kind, or a capital."""
    before, after = text[index - 1 : index] if index else "", text[index : index + 1]
    if not before.isalnum() or not after.isalnum():
        return True
    return before.isdigit() != after.isdigit() or (before.islower() and after.isupper())


@cache
def _words_of_the_trade() -> frozenset[str]:
    """Return the words in names and descriptions of tables and columns: alone, none of them is a name."""
    told = [f"{table.name} {table.grain}" for table in TABLES.values()]
    told += [f"{name} {column.description}" for table in TABLES.values() for name, column in table.columns.items()]
    return frozenset(re.findall("[a-z]+", " ".join(told).lower())) | {"crew", "team", "fleet"}


def make_mask(lake: Lake, kinds: Sequence[str], root: Path) -> Mask:
    """Return the mask of the lake's names; new names get aliases, which are stored in the workspace.

    Parameters
    ----------
    lake : Lake
    kinds : sequence of str
        Of crews, wells and pads.
    root : Path
        The workspace: ``aliases.json`` in it keeps aliases the same in all reports. Anyone with that
        file can undo a mask.
    """
    if not kinds:
        return Mask()
    path = root / KEPT_IN
    kept: dict[str, dict[str, str]] = json.loads(path.read_text(encoding="utf-8")) if path.exists() else {}
    kinds = [one for kind in kinds for one in (kind, *ALSO.get(kind, ()))]
    names = {
        "crews": _with_own_words(_distinct(lake, _places("crew"))),
        "fleets": _with_own_words(_distinct(lake, _places("fleet"))),
        "wells": _wells(lake),
        "pads": [[name] for name in _distinct(lake, _places("pad"))],
    }
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
                # an id is used in file names and anchors: its alias must be valid there
                shown = alias.lower().replace(" ", "-") if kind == "wells" and name == group[0] else alias
                whole[name] = shown
                if len(compact(name)) >= _SHORTEST:
                    within[name] = alias
    return Mask(whole, within)


def _extend(known: dict[str, str], names: list[str], word: str, taken: set[str]) -> None:
    """Give new names aliases in random order; an alias is never an existing name."""
    new = sorted(set(names) - set(known))
    random.SystemRandom().shuffle(new)
    used = {alias.casefold() for alias in known.values()} | taken
    free = (alias for number in itertools.count(1) if (alias := f"{word} {number}").casefold() not in used)
    known.update(zip(new, free, strict=False))


def _distinct(lake: Lake, places: Iterable[tuple[Table, str]]) -> list[str]:
    found = [lake.scan(table).select(pl.col(column).alias("n")) for table, column in places]
    return pl.concat(found).drop_nulls().unique().sort("n").collect()["n"].to_list()


def _places(what: str) -> list[tuple[Table, str]]:
    """Return every column of the lake that names a crew, a fleet or a pad: ``pad``, ``frac_crew``."""
    return [
        (table, column)
        for table in TABLES.values()
        for column in table.columns
        if column == what or column.endswith(f"_{what}")
    ]


def _with_own_words(names: list[str]) -> list[list[str]]:
    """Return names, each with the words that are unique to it: texts may use them instead of the name."""
    held = Counter(compact(word) for name in names for word in set(name.split()))

    def alone(word: str) -> bool:
        plain = compact(word)
        return held[plain] == 1 and len(plain) > _SHORT and plain not in _words_of_the_trade()

    return [[name, *(word for word in name.split() if alone(word) and word != name)] for name in names]


def _wells(lake: Lake) -> list[list[str]]:
    """Return the spellings of each well, its id first; includes wells named only in a file or as a neighbour."""
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
