"""A PDF of each part, for sharing: vector charts with their texts, and the caution."""

from __future__ import annotations

import json
import shutil
import tempfile
from pathlib import Path
from typing import Any

import typst

from pipeline import __version__, resources
from pipeline.files import replace_bytes
from pipeline.report.content import Content, Drawn, Part, Rows
from pipeline.report.glossary import terms_in
from pipeline.report.html import Sheet, waits
from pipeline.report.pictures import Pictures
from pipeline.report.text import CAUTION, cell
from pipeline.report.theme import FONT, colours, font_folder, plain

MOST_COLUMNS = 9
"""Columns of a table that an upright page has room for."""
LONGEST_TABLE = 40
"""A longer table is complete only in the page and the spreadsheet. [rows]"""
BREAK = "\u200b"
"""Character that allows a break in a long word."""


def write_pdfs(content: Content, sheet: Sheet, folder: Path, pictures: Pictures) -> list[Path]:
    """Write ``quarter.pdf``, ``crews-and-designs.pdf`` and so on into a folder; return their paths."""
    folder.mkdir(parents=True, exist_ok=True)
    fonts = typst.Fonts(include_system_fonts=True, include_embedded_fonts=True, font_paths=[str(font_folder())])
    return [_write(part, content, sheet, folder / f"{part.anchor}.pdf", pictures, fonts) for part in content.parts]


def _write(part: Part, content: Content, sheet: Sheet, path: Path, pictures: Pictures, fonts: Any) -> Path:
    """Typeset one part. Texts are passed to the template as data, never as code."""
    with tempfile.TemporaryDirectory() as name:
        room = Path(name)
        shutil.copyfile(resources.folder("reports") / "templates" / "part.typ", room / "part.typ")
        charts: list[dict[str, Any]] = []
        for number, drawn in enumerate(part.charts):
            if drawn.sketch is not None:
                picture = f"chart-{number}.svg"
                (room / picture).write_text(plain(pictures.svg(drawn.sketch)), encoding="utf-8")
                again = any(drawn.about == one["about"] for one in charts)
                charts.append(_chart(drawn, picture) | ({"about": drawn.rows.query.title} if again else {}))
        said = {
            "title": sheet.title, "part": part.page.title, "question": part.page.question, "edition": sheet.edition,
            "caution": CAUTION, "built": f"{sheet.built_at} UTC, heelward {__version__}", "font": FONT,
            "brief": [_breakable(sentence) for sentence in part.brief],
            "numbers": [{key: _breakable(str(value)) for key, value in row.items()} for row in part.numbers],
            "day": str(content.since.day) if content.since is not None else "",
            "charts": charts, "waits": waits(part),
            "tables": [_table(rows) for rows in part.tables], "words": _words(part), "colours": colours()["light"],
        }  # fmt: skip
        (room / "said.json").write_text(json.dumps(said), encoding="utf-8")
        pdf = typst.compile(str(room / "part.typ"), root=str(room), font_paths=fonts)
    replace_bytes(path, pdf)
    return path


def _chart(drawn: Drawn, picture: str) -> dict[str, Any]:
    return {
        "title": _breakable(drawn.title),
        "was": _breakable(drawn.was), "picture": picture, "words": drawn.chart.words,
        "about": drawn.about, "query": drawn.rows.query.name, "alt": f"{drawn.rows.query.title}. {drawn.title}.",
    }  # fmt: skip


def _words(part: Part) -> list[dict[str, str]]:
    """Return the terms of a part, explained: a reader on paper cannot point at them."""
    texts = [*part.brief, *(drawn.chart.words for drawn in part.charts), *(str(row["verdict"]) for row in part.numbers)]
    return [{"term": term, "means": means} for term, means in terms_in(texts).items()]


def _table(rows: Rows) -> dict[str, Any]:
    frame = rows.frame.select(rows.frame.columns[:MOST_COLUMNS]).head(LONGEST_TABLE)
    missing = {"row": rows.frame.height - frame.height, "column": rows.frame.width - frame.width}
    left = [f"{count:,} more {what}{'s' if count > 1 else ''}" for what, count in missing.items() if count]
    return {
        "title": rows.query.title, "heads": [rows.label(name) for name in frame.columns],
        "numeric": [dtype.is_numeric() for dtype in frame.dtypes],
        "rows": [[_breakable(cell(value)) for value in row] for row in frame.iter_rows()],
        "left": f"In the page: {' and '.join(left)}." if left else "",
    }  # fmt: skip


def _breakable(text: str, longest: int = 18) -> str:
    """Return a text whose long words can be broken."""
    return " ".join(
        word if len(word) <= longest else BREAK.join(word[i : i + longest] for i in range(0, len(word), longest))
        for word in text.split(" ")
    )
