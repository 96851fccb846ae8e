"""Source maps: all that is wrong is said at once, with the key."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline import resources
from pipeline.commands.init import FIRST_MAP, make_workspace
from pipeline.errors import HeelwardError
from pipeline.ingest.maps import read_maps
from pipeline.workspace import open_workspace
from tests.builders import TREATMENT_MAP


def problems(folder: Path, text: str) -> str:
    (folder / "m.toml").write_text(text, encoding="utf-8")
    loaded, broken = read_maps(folder)
    assert not loaded
    return "\n".join(str(each) for each in broken)


def test_all_problems_are_reported_at_once(tmp_path: Path) -> None:
    text = (
        TREATMENT_MAP.replace('unit = "psi"', 'unit = "ft"').replace('"UTC"', '"Nowhere/Town"').replace('"ppa"', '"zz"')
    )
    message = problems(tmp_path, text)
    assert "m.toml" in message
    assert "treating_pressure_psi" in message
    assert "Nowhere/Town" in message
    assert "'zz' is not a known unit" in message


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('lands = "treatment"', 'lands = "treatmnt"', "known tables: wells"),
        ("treating_pressure_psi =", "treating_presure_psi =", "no such column"),
        ("stage (?P<stage>\\d+)'", "stage (?P<stag>\\d+)'", "no source for 'stage'"),
        ("'^(?P<well>.+?) stage", "'^(?P<well>.+? stage", "is not a valid regular expression"),
        ("units_row = 2", "unit_row = 2", "unknown key"),
        ("units_row = 2", "units_row = 0", "greater than or equal to 1"),
        (', unit = "psi"', "", "'unit' is missing"),
        ('format = "%Y-%m-%d %H:%M:%S", ', "", "'format' is missing"),
        ('name = "records"', 'name = "Records!"', "name"),
        ('name = "records"', 'name = "records"\nkind = "workbook"', "'sheet' must name the sheet of the workbook"),
    ],
)
def test_a_wrong_key_or_value_is_named(tmp_path: Path, old: str, new: str, words: str) -> None:
    assert old in TREATMENT_MAP
    assert words in problems(tmp_path, TREATMENT_MAP.replace(old, new))


def test_broken_toml_is_named_with_its_file(tmp_path: Path) -> None:
    assert "not valid TOML" in problems(tmp_path, "name = ")


def test_the_maps_that_ship_are_right(tmp_path: Path) -> None:
    assert len(read_maps(resources.folder("sample_lake") / "maps")[0]) == 22
    make_workspace(tmp_path / "new")
    assert read_maps(tmp_path / "new" / "maps")[0][0].source.unknown_wells == "create"
    assert FIRST_MAP.count("name_pattern") == 1


def test_wrong_settings_name_the_key_and_what_is_known(tmp_path: Path) -> None:
    (tmp_path / "heelward.toml").write_text('titel = "x"\ntime_zone = "Mars/Base"\n', encoding="utf-8")
    with pytest.raises(HeelwardError) as caught:
        open_workspace(tmp_path)
    assert "titel: unknown key; known keys: beside, cluster, debris_velocity_ft_min, display_units" in str(caught.value)
    assert "is not a known time zone" in str(caught.value)


def test_a_folder_that_is_no_workspace_says_how_to_make_one(tmp_path: Path) -> None:
    with pytest.raises(HeelwardError, match="heelward init"):
        open_workspace(tmp_path)


def test_one_pattern_for_the_head_needs_no_list(tmp_path: Path) -> None:
    text = TREATMENT_MAP.replace('name = "records"', "name = \"records\"\nhead_pattern = 'Well: (?P<well>.+)'")
    (tmp_path / "m.toml").write_text(text, encoding="utf-8")
    loaded, broken = read_maps(tmp_path)
    assert not broken
    assert list(loaded[0].source.head_pattern) == ["Well: (?P<well>.+)"]
    assert "head_pattern" in problems(tmp_path, text.replace("'Well: (?P<well>.+)'", "3"))
