"""A masked copy holds no original name anywhere; aliases are stable and nobody's name."""

from __future__ import annotations

import json
import re
import shutil
import zipfile
from pathlib import Path

import polars as pl
import pypdfium2
import pytest

from pipeline import steps
from pipeline.lake import Lake
from pipeline.report.edition import Edition
from pipeline.report.mask import KEPT_IN, Mask, make_mask
from pipeline.schemas.fitted import PLANNED
from pipeline.schemas.wells import STAGES
from tests.conftest import Campaign

KINDS = ("crews", "wells", "pads")


def telling(campaign: Campaign) -> set[str]:
    """The words that the campaign's names are made of, without those that tell nothing."""
    wells = campaign.truth.wells
    names = {
        name
        for well in wells
        for name in (well.well_id, well.name, *well.aliases, well.pad, *well.shifts, well.coil_crew)
    }
    names |= {"Wren", "Dunlin"}
    words = {word.lower() for name in names for word in re.findall(r"[A-Za-z]{4,}", name)}
    numbers = {alias for well in wells for alias in well.aliases if not re.search("[a-z]", alias, re.IGNORECASE)}
    return (words | numbers) - {"draw", "flats", "gate", "ridge", "bend", "knoll", "hollow"}


def texts(path: Path) -> list[str]:
    """Return all that can be read out of a file, metadata included."""
    if path.suffix == ".pdf":
        found = pypdfium2.PdfDocument(path)
        return [str(found.get_metadata_dict()), *(page.get_textpage().get_text_bounded() for page in found)]
    if path.suffix == ".xlsx":
        with zipfile.ZipFile(path) as book:
            return [book.read(name).decode("utf-8") for name in book.namelist()]
    text = path.read_text(encoding="utf-8")
    # the chart library is the same in every report
    return [re.sub(r"<script>.*?</script>", "", text, flags=re.S)]


@pytest.fixture(scope="module")
def masked(campaign: Campaign) -> Path:
    edition = Edition(mask=KINDS)
    left = campaign.workspace.out / edition.name / "audit" / "saltgrass-1h" / "index.html"
    left.parent.mkdir(parents=True)
    left.write_text("Saltgrass 1H, of an earlier copy that masked crews only", encoding="utf-8")
    return steps.run_report(campaign.workspace, edition=edition, beside=["pdf", "xlsx"]).path.parent


def test_no_original_name_stands_anywhere_in_a_masked_copy(campaign: Campaign, masked: Path) -> None:
    names = telling(campaign)
    assert {"saltgrass", "heron", "alder", "gannet", "wren"} <= names
    assert len(names) > 30
    files = [path for path in masked.rglob("*") if path.is_file()]
    assert len(files) > 200
    assert {path.suffix for path in files} >= {".html", ".svg", ".pdf", ".xlsx"}
    leaks = []
    for path in files:
        place = str(path.relative_to(masked))
        leaks += [(place, name) for text in (place, *texts(path)) for name in names if name in text.lower()]
    assert leaks == []
    # and the search does find names where they are
    plain = campaign.report.path.read_text(encoding="utf-8").lower()
    assert all(name in plain for name in ("saltgrass", "heron", "alder", "gannet"))


def test_nothing_of_files_or_people_stands_in_it(masked: Path) -> None:
    for path in (masked / "report.html", masked / "tables.xlsx"):
        everything = "".join(texts(path))
        assert "landing/" not in everything
        assert "larkspoke" not in everything.lower()
        assert "withheld" in everything


def test_a_masked_report_still_tells_crews_and_pads_apart(campaign: Campaign, masked: Path) -> None:
    text = (masked / "report.html").read_text(encoding="utf-8")
    kept = json.loads((campaign.workspace.root / KEPT_IN).read_text(encoding="utf-8"))
    assert set(kept) == {*KINDS, "fleets"}
    for alias in (kept["crews"]["Crew Birch"], kept["pads"]["Otter Bend"], kept["wells"]["otter-bend-1h"]):
        assert alias in text
    assert f"{kept['crews']['Crew Dogwood']} cannot be compared" in text
    assert "Names of crews, wells, pads are replaced by aliases" in text


def test_aliases_stay_the_same_and_new_names_get_new_ones(campaign: Campaign, tmp_path: Path) -> None:
    lake = campaign.lake
    first = make_mask(lake, ("crews",), tmp_path)
    assert make_mask(lake, ("crews",), tmp_path) == first
    path = tmp_path / KEPT_IN
    kept = json.loads(path.read_text(encoding="utf-8"))
    lost = kept["crews"].pop("Crew Birch")
    path.write_text(json.dumps(kept), encoding="utf-8")
    again = make_mask(lake, ("crews",), tmp_path)
    assert again.whole["Crew Alder"] == first.whole["Crew Alder"]
    assert again.whole["Crew Birch"] not in kept["crews"].values()
    assert lost  # it had one


def test_pads_and_fleets_are_masked_wherever_the_lake_names_them(campaign: Campaign, tmp_path: Path) -> None:
    copy = Lake(str(tmp_path / "lake"))
    shutil.copytree(campaign.workspace.lake, copy.root)
    told = {"design": "wide", "figure": "cost", "place": 1, "pad": "Juniper Bench", "inputs": "x"}
    copy.replace(PLANNED, pl.DataFrame([told], schema=PLANNED.dtypes), {})
    mask = make_mask(copy, ("crews", "pads"), tmp_path)
    fleets = copy.scan(STAGES).select("frac_fleet").drop_nulls().unique().collect()["frac_fleet"].to_list()
    assert fleets
    for name in ("Juniper Bench", *fleets):
        assert name not in mask.text(f"of {name}, the next")
    assert mask.text(fleets[0]).startswith("Fleet ")


def test_an_alias_is_nobodys_name(campaign: Campaign, tmp_path: Path) -> None:
    copy = tmp_path / "lake"
    shutil.copytree(campaign.workspace.lake, copy, ignore=shutil.ignore_patterns("treatment", "coil"))
    from pipeline.lake import Lake

    lake = Lake(str(copy))
    rows = lake.scan_raw(STAGES).collect().with_columns(frac_crew=pl.col("frac_crew").replace("Crew Alder", "Crew 1"))
    lake.replace(STAGES, rows, {})
    mask = make_mask(lake, ("crews",), tmp_path)
    assert "Crew 1" in mask.whole
    assert "Crew 1" not in mask.whole.values()


NAMES = {
    "Saltgrass 13H": "Well 3", "Saltgrass 3H": "Well 2", "A": "Crew 1", "K9": "Crew 2", "Straße Öst": "Pad 1",
    "Pipit Draw": "Pad 2", "Việt rigs": "Crew 3", "Dun-Lin Line": "Crew 4", "Wren": "Crew 5",
}  # fmt: skip


@pytest.mark.parametrize(
    ("text", "masked"),
    [
        ("Saltgrass 3H", "Well 2"),
        ("SALTGRASS #3H stage 4", "Well 2 stage 4"),
        ("saltgrass_3h_stage_4", "Well 2_stage_4"),
        ("Saltgrass 3H, Saltgrass 13H", "Well 2, Well 3"),
        ("saltgrass 03H and SaltgrassH3", "Well 2 and SaltgrassH3"),
        ("Saltgrass3 H/Saltgrass 3-H", "Well 2/Well 2"),
        ("Saltgrass\u20113H, saltgrass\u20133h", "Well 2, Well 2"),
        ("crew A of 3", "crew A of 3"),
        ("A", "Crew 1"),
        ("K9 was late, k9 too", "Crew 2 was late, k9 too"),
        ("STRASSE ÖST", "Pad 1"),
        ("strasse o\u0308st, stra\u00adße öst", "Pad 1, Pad 1"),
        ("at Straße\u00a0Öst  now", "at Pad 1  now"),
        ("Straße  Öst", "Pad 1"),
        ("pipit/draw; Pipit,  DRAW", "Pad 2; Pad 2"),
        ("vie\u0302\u0323t rigs, viê\u0323t rigs", "Crew 3, Crew 3"),
        ("DUN-LIN line", "Crew 4"),
        ("WrenStage, a wrench, now rendered", "Crew 5Stage, a wrench, now rendered"),
        (None, None),
    ],
)
def test_names_are_found_however_they_are_written(text: str | None, masked: str | None) -> None:
    from pipeline.report.mask import _SHORTEST, compact

    mask = Mask(NAMES, {name: alias for name, alias in NAMES.items() if len(compact(name)) >= _SHORTEST})
    frame = pl.DataFrame({"t": [text]}, schema={"t": pl.String})
    assert mask.frame(frame)["t"][0] == masked


def test_words_of_the_trade_are_no_names_and_codes_stay(campaign: Campaign, tmp_path: Path) -> None:
    from pipeline.lake import Lake
    from pipeline.schemas.fitted import COMPARISONS
    from pipeline.schemas.ledger import COST

    copy = tmp_path / "lake"
    shutil.copytree(campaign.workspace.lake, copy, ignore=shutil.ignore_patterns("treatment", "coil"))
    lake = Lake(str(copy))
    rows = lake.scan_raw(STAGES).collect()
    lake.replace(STAGES, rows.with_columns(frac_crew=pl.col("frac_crew").replace("Crew Alder", "Stage Coach")), {})
    mask = make_mask(lake, ("crews",), tmp_path)
    assert "Coach" in mask.within
    assert "Stage" not in mask.within
    for table, column in ((COMPARISONS, "comparison"), (COST, "category")):
        plain = lake.scan(table).select(column).collect()
        assert mask.seen(table, lake.scan(table)).select(column).collect().equals(plain)
