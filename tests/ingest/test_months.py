"""Month names of several languages are recognised, and read as what they are."""

from __future__ import annotations

from typing import get_args

import polars as pl
import pytest

from pipeline.ingest.behaviour import time_guess
from pipeline.ingest.clock import english
from pipeline.ingest.maps import Channel
from pipeline.ingest.months import ENGLISH, Language, language_of

# usual abbreviations and names of the months, from memory
YEARS: dict[Language, list[str]] = {
    "en": ["Jan Feb Mar Apr May Jun Jul Aug Sep Oct Nov Dec",
           "January February March April May June July August September October November December"],
    "es": ["ene feb mar abr may jun jul ago sep oct nov dic",
           "enero febrero marzo abril mayo junio julio agosto setiembre octubre noviembre diciembre"],
    "fr": ["janv. févr. mars avr. mai juin juil. août sept. oct. nov. déc.",
           "janvier fevrier mars avril mai juin juillet aout septembre octobre novembre decembre"],
    "de": ["Jan Feb Mär Apr Mai Jun Jul Aug Sep Okt Nov Dez",
           "Jänner Februar März April Mai Juni Juli August September Oktober November Dezember"],
    "pt": ["jan fev mar abr mai jun jul ago set out nov dez",
           "janeiro fevereiro março abril maio junho julho agosto setembro outubro novembro dezembro"],
    "it": ["gen feb mar apr mag giu lug ago set ott nov dic",
           "gennaio febbraio marzo aprile maggio giugno luglio agosto settembre ottobre novembre dicembre"],
    "nl": ["jan feb mrt apr mei jun jul aug sep okt nov dec",
           "januari februari maart april mei juni juli augustus september oktober november december"],
}  # fmt: skip


def test_every_language_is_tried() -> None:
    assert set(YEARS) == set(get_args(Language))


@pytest.mark.parametrize("language", YEARS)
@pytest.mark.parametrize("place", [0, 1], ids=["abbreviations", "names"])
def test_a_year_of_months_is_read(language: Language, place: int) -> None:
    cells = [f"07 {name} 2025" for name in YEARS[language][place].split()]
    guess = time_guess(cells, ".")
    assert guess is not None
    assert guess.months == language
    format = "%d %B %Y" if language == "en" and place else "%d %b %Y"
    found = english(Channel(column="t", format=format, months=guess.months), pl.Series(cells))
    assert found.str.to_datetime(format).dt.month().to_list() == list(range(1, 13))


@pytest.mark.parametrize(
    ("cell", "language"),
    [
        ("03-Mar-2025 14:00:01", "en"), ("2025-03-01T14:00:01Z", "en"), ("March 3, 2025", "en"),
        ("03-mars-2025 14:00:01", "fr"), ("3. Okt. 2025 14:00", "de"), ("3 de diciembre de 2025", "es"),
        ("03/Aug/2025 2:00 pm", "en"), ("Sept 3, 2025", "en"),
    ],
)  # fmt: skip
def test_the_language_of_one_cell(cell: str, language: str) -> None:
    assert language_of([cell]) == language


@pytest.mark.parametrize("cell", ["3. Okt. 2025 14:00:05", "3 de diciembre de 2025 14:00:05", "03-mrt-2025 14:00:05"])
def test_usual_ways_to_write_a_day_are_found(cell: str) -> None:
    guess = time_guess([cell.replace(":05", f":{second:02}") for second in range(5, 25)], ",")
    assert guess is not None
    assert guess.kind == "clock"


def test_english_months_stay() -> None:
    assert language_of([f"1 {name} 2025" for name in ENGLISH]) == "en"
