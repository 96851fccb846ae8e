"""The sentences that open the report's parts, as text for a mail."""

from __future__ import annotations

import re
import textwrap
from pathlib import Path

from pipeline.files import replace_text
from pipeline.report.content import Content
from pipeline.report.html import Sheet
from pipeline.report.text import CAUTION

WIDTH = 78
"""Characters per line of the plain text."""


def write_brief(content: Content, sheet: Sheet, out: Path) -> list[Path]:
    """Write the brief as Markdown and as plain text.

    Returns
    -------
    list of Path
    """
    paths = [out / "brief.md", out / "brief.txt"]
    replace_text(paths[0], _markdown(content, sheet))
    replace_text(paths[1], _plain(content, sheet))
    return paths


def _about(sheet: Sheet) -> str:
    return " ".join(
        text for text in (f"Built {sheet.built_at} UTC.", f"{sheet.edition}." if sheet.edition else "") if text
    )


def _sections(content: Content) -> list[tuple[str, list[str]]]:
    """Return titles and their sentences: first what changed since the day that the report is compared with."""
    parts = [(part.page.title, part.brief) for part in content.parts]
    since = content.since
    if since is None:
        return parts
    changes = [f"{one.part}, {one.what}: {one.now} (before: {one.before})." for one in since.changes]
    return [
        (f"Since {since.day}", [*since.causes, *(changes or ["Nothing that the report says has changed."])]),
        *parts,
    ]


def _markdown(content: Content, sheet: Sheet) -> str:
    lines = [f"# {_marked(sheet.title)}", "", _marked(_about(sheet)), ""]
    for title, sentences in _sections(content):
        lines += [f"## {_marked(title)}", "", *(f"- {_marked(sentence)}" for sentence in sentences), ""]
    return "\n".join([*lines, _marked(CAUTION), ""])


def _marked(text: str) -> str:
    """Return a text whose marks are read as text by Markdown."""
    marked = re.sub(r"([\\`*_{}\[\]<>#|~&!])", r"\\\1", text)
    return re.sub(r"^(\d*)([-+.)])", r"\1\\\2", marked)


def _plain(content: Content, sheet: Sheet) -> str:
    lines = [sheet.title, _about(sheet), ""]
    for title, sentences in _sections(content):
        lines += [title.upper(), ""]
        lines += [textwrap.fill(sentence, WIDTH, initial_indent="- ", subsequent_indent="  ") for sentence in sentences]
        lines.append("")
    return "\n".join([*lines, textwrap.fill(CAUTION, WIDTH), ""])
