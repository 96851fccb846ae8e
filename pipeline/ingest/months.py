"""Months and halves of the day as files write them: the language of month names, and their English abbreviations."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Literal, get_args

import polars as pl

Language = Literal["en", "fr", "es", "de", "pt", "it", "nl"]
ENGLISH = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_WHOLE = ("uary", "ruary", "ch", "il", "", "e", "y", "ust", "t?(?:ember)?", "ober", "ember", "ember")
_BEGINS: dict[Language, tuple[str, ...]] = {
    "fr": ("jan", "f[ée]v", "mars", "avr", "mai", "juin", "juil", "ao[uû]", "sep", "oct", "nov", "d[ée]c"),
    "es": ("ene", "feb", "mar", "abr", "may", "jun", "jul", "ago", "sep|set", "oct", "nov", "dic"),
    "de": ("j[äa]n", "feb", "m[äa]r|maer|mrz", "apr", "mai", "jun", "jul", "aug", "sep", "okt", "nov", "dez"),
    "pt": ("jan", "fev", "mar", "abr", "mai", "jun", "jul", "ago", "set", "out", "nov", "dez"),
    "it": ("gen", "feb", "mar", "apr", "mag", "giu", "lug", "ago", "set", "ott", "nov", "dic"),
    "nl": ("jan", "feb", "mrt|maa", "apr", "mei", "jun", "jul", "aug", "sep", "okt", "nov", "dec"),
}
"""Beginnings of month names, January first; what follows of the name does not matter."""
_OF: dict[Language, str] = {
    "en": "|".join(f"{begin}(?:{rest})?" for begin, rest in zip(ENGLISH, _WHOLE, strict=True)),
    **{language: "|".join(rf"(?:{begin})\w*" for begin in begins) for language, begins in _BEGINS.items()},
}


def language_of(cells: Sequence[str]) -> Language:
    """Return the language that reads most month names of some cells; the first of those that read as many."""
    words = set(re.findall(r"[^\W\d_]{3,}", " ".join(cells).casefold()))

    def read(language: Language) -> int:
        return sum(re.fullmatch(_OF[language], word, re.IGNORECASE) is not None for word in words)

    return max(get_args(Language), key=read)


def halves_of_the_day(text: pl.Series) -> pl.Series:
    """Return times with the halves of the day as am and pm, however they are written: ``p. m.``."""
    return text.str.replace(r"(?i)\b([ap])\.?\s?m\.?\s*$", "${1}m")


def in_english(text: pl.Series, language: Language) -> pl.Series:
    """Return texts with their month names as English abbreviations."""
    for name, begin in zip(ENGLISH, _BEGINS.get(language, ()), strict=False):
        text = text.str.replace(rf"(?i)\b(?:{begin})[\pL.]*", name)
    return text
