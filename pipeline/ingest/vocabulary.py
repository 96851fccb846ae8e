"""What headings mean, by the words of `words.toml`."""

from __future__ import annotations

import re
import tomllib
import unicodedata
from dataclasses import dataclass
from functools import cache, lru_cache
from importlib.resources import files
from typing import Any

from pipeline.unit_names import looks_like_unit


@dataclass(frozen=True)
class Meaning:
    """Words that tell a lake column.

    Attributes
    ----------
    needs : tuple of frozenset of str
        One word of each set must occur.
    likes, never : frozenset of str
        Words that speak for it, and words that exclude it.
    """

    needs: tuple[frozenset[str], ...]
    likes: frozenset[str] = frozenset()
    never: frozenset[str] = frozenset()


@dataclass(frozen=True)
class Vocabulary:
    """Meanings by lake column.

    Attributes
    ----------
    time, date : Meaning
    keys : dict of str to Meaning
        Columns that name the row's well, stage, run or plug.
    signals, tables : dict of str to dict of str to Meaning
        Columns of records of samples, and of all other tables.
    lists : dict of str to dict of str to frozenset of str
        For a column with a fixed list of words: the words of the trade that mean each of them.
    """

    time: Meaning
    date: Meaning
    keys: dict[str, Meaning]
    signals: dict[str, dict[str, Meaning]]
    tables: dict[str, dict[str, Meaning]]
    lists: dict[str, dict[str, frozenset[str]]]


@cache
def vocabulary() -> Vocabulary:
    """Return the words of the package."""
    found = tomllib.loads(files("pipeline").joinpath("words.toml").read_text(encoding="utf-8"))

    def each(part: dict[str, dict[str, Any]]) -> dict[str, Meaning]:
        return {lake: _meaning(words) for lake, words in part.items()}

    times = each(found["times"])
    return Vocabulary(
        times["time"], times["date"], each(found["keys"]),
        {name: each(part) for name, part in found["signals"].items()},
        {name: each(part) for name, part in found["tables"].items()},
        {lake: {word: frozenset(said.split()) for word, said in part.items()} for lake, part in found["lists"].items()},
    )  # fmt: skip


def _meaning(words: dict[str, Any]) -> Meaning:
    needs = tuple(frozenset(needed.split()) for needed in words["needs"])
    return Meaning(needs, frozenset(words.get("likes", "").split()), frozenset(words.get("never", "").split()))


def _plain(text: str) -> str:
    """Return a text without accents."""
    return unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode()


@lru_cache(maxsize=4096)
def words_of(heading: str) -> frozenset[str]:
    """Return the words of a heading: without accents and bracketed units, joined words split."""

    def kept(found: re.Match[str]) -> str:
        return " " if looks_like_unit(found[1]) else f" {found[1]} "

    text = re.sub(r"[\[({<]([^\])}>]*)[\])}>]", kept, heading)
    text = _plain(text)
    text = re.sub(r"(?<=[a-z])(?=[A-Z])|(?<=[A-Z])(?=[A-Z][a-z])", " ", text).casefold()
    plain = re.findall(r"[a-z]+|\d+", text)
    parts = [part for word in plain for part in _parts(word)]
    return frozenset((*plain, *parts, *re.findall(r"[a-z0-9#]+", text)))


@cache
def _all_words() -> frozenset[str]:
    """All words of the vocabulary with three letters or more, and some that only stand in joined headings."""
    meanings = [vocabulary().time, vocabulary().date, *vocabulary().keys.values()]
    for part in (*vocabulary().signals.values(), *vocabulary().tables.values()):
        meanings += part.values()
    words = {word for one in meanings for held in (*one.needs, one.likes, one.never) for word in held}
    return frozenset(word for word in (*words, "dens", "density") if len(word) >= 3 and word.isalpha()) | {"tr"}


def _parts(word: str) -> list[str]:
    """Return the words that a joined word is made of, such as PROPCONC; nothing if it holds others."""
    known = _all_words()
    if len(word) < 6 or word in known:
        return []
    for at in range(2, len(word) - 2):
        if word[:at] in known:
            rest = [word[at:]] if word[at:] in known else _parts(word[at:])
            if rest:
                return [word[:at], *rest]
    return []


@lru_cache(maxsize=4096)
def _bracketed(heading: str) -> frozenset[str]:
    """Return the words within brackets, units too."""
    inside = " ".join(re.findall(r"[\[({<]([^\])}>]*)[\])}>]", heading)).casefold()
    return frozenset(re.findall(r"[a-z]+\d*|\d+", inside))


def listed(cell: str, lake: str) -> str | None:
    """Return the word of a fixed list that a cell means: of several the first, as the list has them; None if none."""
    words = frozenset(re.findall(r"[a-z0-9]+", _plain(cell).casefold()))
    return next((word for word, said in vocabulary().lists.get(lake, {}).items() if words & said), None)


def fit(heading: str, meaning: Meaning) -> float:
    """Return how well a heading fits a meaning: 0 not at all; 1 and more for words that speak for it. [1]"""
    words = words_of(heading)
    with_units = words | _bracketed(heading)
    if words & meaning.never or not all(with_units & needed for needed in meaning.needs):
        return 0.0
    if meaning.needs and not words & meaning.needs[0]:  # a unit alone names nothing
        return 0.0
    return 1.0 + 0.4 * len(words & meaning.likes) + 0.2 * (len(meaning.needs) - 1) - 0.02 * len(words)
