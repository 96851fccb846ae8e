"""Cut the report's typeface down to the characters in use: `python -m tests.fonts` writes `reports/fonts` anew."""

from __future__ import annotations

import io
from pathlib import Path

from fontTools import subset
from fontTools.ttLib import TTFont

from pipeline import resources
from pipeline.report.theme import font_folder

FACES = {400: "SourceSansPro-Regular.ttf", 600: "SourceSansPro-Semibold.ttf"}
# characters for names and numbers in completions; others are shown in a font of the reader's machine
LETTERS = (*range(0x20, 0x17F), *range(0x370, 0x400), *range(0x2010, 0x2060), 0x20AC, *range(0x2190, 0x2194),
           0x2212, 0x2248, 0x2260, 0x2264, 0x2265, 0xFFFD)  # fmt: skip
ENGLISH = (*range(0x20, 0x7F), 0xB0, 0xB1, 0xB2, 0xB3, 0xB7, 0xD7, 0x2013, 0x2026, 0x2212)
WANTED = {
    f"{weight}{ending}.woff": (face, letters)
    for weight, face in FACES.items()
    for ending, letters in (("", LETTERS), ("-english", ENGLISH))
}


def cut(face: str, letters: tuple[int, ...]) -> bytes:
    """Return a compressed font with some characters of a face."""
    font = TTFont(font_folder() / face, recalcTimestamp=False)  # the same letters are the same bytes
    for rules in ("GPOS", "GSUB"):  # pruning kerning takes seconds; digits have one width without it
        del font[rules]
    subsetter = subset.Subsetter(subset.Options(hinting=False))
    subsetter.populate(unicodes=letters)
    subsetter.subset(font)
    font.flavor = "woff"
    kept = io.BytesIO()
    font.save(kept)
    return kept.getvalue()


def folder() -> Path:
    """Folder of the fonts that pages include."""
    return resources.folder("reports") / "fonts"


def main() -> None:
    """Write the fonts, and their licence."""
    folder().mkdir(exist_ok=True)
    for name, (face, letters) in WANTED.items():
        (folder() / name).write_bytes(cut(face, letters))
    licence = (font_folder() / "LICENSE.txt").read_text(encoding="utf-8")
    (folder() / "LICENSE.txt").write_text(licence, encoding="utf-8")


if __name__ == "__main__":
    main()
