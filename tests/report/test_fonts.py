"""The fonts that pages include hold the letters in use, with the shapes of the typeface's own package."""

from __future__ import annotations

import io

import pytest
from fontTools.ttLib import TTFont

from pipeline.report.theme import font_folder, style
from tests.fonts import WANTED, cut, folder


def shapes(font: TTFont) -> dict[int, tuple[int, bytes]]:
    """Width and outline of each character."""
    return {
        letter: (font["hmtx"][glyph][0], font["glyf"][glyph].compile(font["glyf"]))
        for letter, glyph in font.getBestCmap().items()
    }


@pytest.mark.parametrize("name", WANTED)
def test_a_font_holds_the_letters_in_use(name: str) -> None:
    face, letters = WANTED[name]
    kept, whole = TTFont(folder() / name), TTFont(font_folder() / face)
    assert set(kept.getBestCmap()) == set(whole.getBestCmap()) & set(letters), "run `python -m tests.fonts`"
    assert shapes(kept) == shapes(TTFont(io.BytesIO(cut(face, letters)))), "run `python -m tests.fonts`"


def test_pages_include_both_weights_and_records_the_short_ones() -> None:
    whole, short = style(), style(short=True)
    assert whole.count("@font-face") == short.count("@font-face") == 2
    assert len(short) < len(whole)


def test_the_licence_goes_with_the_fonts() -> None:
    assert "SIL Open Font License, Version 1.1" in (folder() / "LICENSE.txt").read_text(encoding="utf-8")
