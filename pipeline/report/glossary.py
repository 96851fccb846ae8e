"""Words of the trade and of statistics, explained where they stand."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable
from functools import cache

from markupsafe import Markup, escape

from pipeline import resources


@cache
def glossary() -> dict[str, str]:
    """Return each term with its explanation, in the order of the alphabet."""
    found = tomllib.loads((resources.folder("reports") / "glossary.toml").read_text(encoding="utf-8"))
    return dict(sorted(found.items(), key=lambda item: item[0].casefold()))


@cache
def _terms() -> tuple[re.Pattern[str], dict[str, str]]:
    """Return a pattern of all terms, the longest first, and the term that each spelling stands for."""
    spelled = {term.casefold(): term for term in glossary()}
    longest = sorted(glossary(), key=len, reverse=True)
    # a plural is the same word; within a name or a number no term is meant
    pattern = rf"(?i)(?<![\w-])(?P<term>{'|'.join(map(re.escape, longest))})(?:e?s)?(?![\w-])"
    return re.compile(pattern), spelled


def anchor(term: str) -> str:
    """Return the anchor of a term's explanation in a page."""
    return "term-" + re.sub("[^a-z0-9]+", "-", term.casefold()).strip("-")


def explained(text: str, seen: set[str], page: str = "") -> Markup:
    """Return a text as HTML, in which terms lead to their explanation and show it to pointer and keyboard.

    Parameters
    ----------
    text : str
        Not escaped yet.
    seen : set of str
        Terms that stand above already: they are left as they are. Those of the text are added.
    page : str
        Address of the page with the explanations; empty for the same page.
    """
    pattern, spelled = _terms()
    parts, end = [], 0
    for match in pattern.finditer(text):
        term = spelled[match["term"].casefold()]
        if term in seen:
            continue
        seen.add(term)
        parts.append(escape(text[end : match.start()]))
        parts.append(
            Markup('<a class="term" href="{}#{}" data-means="{}">{}</a>').format(
                page, anchor(term), glossary()[term], match[0]
            )
        )
        end = match.end()
    return Markup("").join([*parts, escape(text[end:])])


def terms_in(texts: Iterable[str]) -> dict[str, str]:
    """Return the terms that some texts use, with their explanations."""
    seen: set[str] = set()
    for text in texts:
        explained(text, seen)
    return {term: means for term, means in glossary().items() if term in seen}
