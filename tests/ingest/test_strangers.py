"""What a stranger's files taught: spaces between thousands, French months, wide text, and messages that help."""

from __future__ import annotations

from datetime import UTC, date, datetime
from pathlib import Path

import polars as pl
import pytest

from pipeline import steps
from pipeline.commands import status
from pipeline.commands.init import make_workspace
from pipeline.commands.inspect import inspect
from pipeline.errors import SetAside
from pipeline.ingest.maps import checked
from pipeline.ingest.shape import head_groups
from pipeline.ingest.sniff import decoded, sniff_text
from pipeline.schemas.ledger import PRODUCTION
from pipeline.schemas.lineage import FINDINGS
from pipeline.schemas.records import TREATMENT
from pipeline.schemas.wells import WELLS as WELLS_TABLE
from pipeline.unit_names import read_unit
from pipeline.workspace import Workspace, open_workspace
from tests.builders import TREATMENT_MAP, WELLS, WELLS_MAP, record_csv, workspace

MONTHS = ("janv. 2025", "févr. 2025", "mars 2025", "avr. 2025", "mai 2025", "juin 2025", "juil. 2025", "août 2025",
          "sept. 2025", "oct. 2025", "nov. 2025", "déc. 2025")  # fmt: skip


def team(folder: Path, name: str, data: bytes) -> Workspace:
    make_workspace(folder / "team")
    (folder / "team" / "landing" / name).write_bytes(data)
    return open_workspace(folder / "team")


@pytest.mark.parametrize("space", [" ", "\u202f", "\u00a0"])
def test_french_months_and_narrow_spaces_between_thousands_land(space: str, tmp_path: Path) -> None:
    lines = ["Puits;Mois;Huile (m3);Gaz (10³ m3);Jours"]
    lines += [f"Teal 8H;{month};{number + 1}{space}100,5;861,00;30" for number, month in enumerate(MONTHS)]
    found = team(tmp_path, "production.csv", ("\n".join(lines) + "\n").encode())
    text, usable = inspect(found, found.root / "landing", write=True)
    assert usable, text
    assert steps.run_ingest(found).landed == 1
    rows = steps.open_lake(found).scan(PRODUCTION).sort("month").collect()
    assert rows["month"].to_list() == [date(2025, number, 1) for number in range(1, 13)]
    assert rows["oil_bbl"][1] == pytest.approx(2100.5 / 0.158987294928)  # 1 bbl = 0.158987294928 m3 (NIST SP 811)
    assert rows["gas_mcf"][0] == pytest.approx(861_000.0 / 28.316846592)  # 1 ft = 0.3048 m


@pytest.mark.parametrize("encoding", ["utf-16", "utf-16-le", "utf-16-be"])
def test_text_of_two_bytes_is_read_with_and_without_its_mark(encoding: str, tmp_path: Path) -> None:
    text = "Time,Treating Pressure (psi)\n" + "2025-04-25 06:00:00,2500\n" * 40
    found = decoded(text.encode(encoding))
    assert found is not None and found[0].lstrip("\ufeff").startswith("Time,")
    assert found[1].startswith("utf-16")
    assert decoded(bytes(range(256)) * 40) is None or decoded(bytes(range(256)) * 40)[1] != encoding  # type: ignore[index]


def test_one_name_may_stand_where_several_may() -> None:
    source = {
        "name": "a", "lands": "wells", "files": "*.csv", "header_row": 1,
        "columns": {
            "well_id": {"column": "Well"},
            "rotary_table_ft": {"column": "Cota mesa", "minus": "Cota terreno", "unit": "m"},
        },
    }  # fmt: skip
    made, problems = checked(source)
    assert problems == [] and made is not None
    assert made.columns["rotary_table_ft"].minus == ("Cota terreno",)


def test_a_line_that_no_pattern_matches_is_shown_as_it_is() -> None:
    source, _ = checked({
        "name": "a", "lands": "wells", "files": "*.csv", "header_row": 2, "head_pattern": [r"Run +(?P<run>\d+)"],
        "columns": {"well_id": {"column": "Well"}},
    })  # fmt: skip
    assert source is not None
    with pytest.raises(SetAside) as aside:
        head_groups(source, ["Run\t7", "", "Well"])
    assert aside.value.found == "lines such as 'Run\\t7'; 'Well'"


@pytest.mark.parametrize(("name", "asked"), [("El Suace 14H", True), ("El Sauce 15H", False), ("Marl 14H", False)])
def test_a_new_well_that_is_spelled_like_a_known_one_is_asked(name: str, asked: bool, tmp_path: Path) -> None:
    space = workspace(
        tmp_path, {"records": TREATMENT_MAP.replace('"set aside"', '"create"'), "wells": WELLS_MAP},
        {"tables/wells.csv": WELLS.replace("Saltgrass", "El Sauce").replace("3H", "14H"), f"{name} stage 1.csv": record_csv(60)},
    )  # fmt: skip
    steps.run_ingest(space)
    lake = steps.open_lake(space)
    found = lake.scan(FINDINGS).filter(pl.col("kind") == "well_created").collect()["message"].to_list()
    assert len(found) == 1 and ("is it 'El Sauce 14H'" in found[0]) is asked


@pytest.mark.parametrize(
    ("written", "lake", "factor"), [("mMD", "ft", 3.28084), ("ftMD", "ft", 1.0), ("m (MD)", "ft", 3.28084)]
)
def test_depth_units_that_name_their_reference(written: str, lake: str, factor: float) -> None:
    assert read_unit(written, lake).factor == pytest.approx(factor, rel=1e-5)


def test_a_row_of_totals_makes_no_well(tmp_path: Path) -> None:
    lines = ["Pozo;Mes;Petroleo (m3);Dias", *(f"Teal 8H;2025-{month:02d}-01;{month}00;30" for month in range(1, 13))]
    found = team(tmp_path, "production.csv", ("\n".join([*lines, "Total;;7800;360"]) + "\n").encode())
    text, usable = inspect(found, found.root / "landing", write=True)
    assert usable, text
    assert steps.run_ingest(found).landed == 1
    lake = steps.open_lake(found)
    assert lake.scan(WELLS_TABLE).collect()["well_id"].to_list() == ["teal-8h"]
    assert "Total" not in "".join(lake.scan(FINDINGS).collect()["message"])


@pytest.mark.parametrize(
    ("written", "zone"),
    [("UTC-3", "Etc/GMT+3"), ("GMT+05:00", "Etc/GMT-5"), ("UTC+0", "UTC"), ("America/Denver", "America/Denver")],
)
def test_a_wells_zone_may_be_an_offset(written: str, zone: str, tmp_path: Path) -> None:
    """The sign of Etc/GMT zones is turned: Etc/GMT+3 is three hours behind UTC (IANA tz database, file etcetera)."""
    found = team(
        tmp_path, "pozos.csv", f"Pozo;PVV (m);Huso horario\nTeal 8H;2905;{written}\nTeal 9H;2910;{written}\n".encode()
    )
    text, usable = inspect(found, found.root / "landing", write=True)
    assert usable, text
    steps.run_ingest(found)
    rows = steps.open_lake(found).scan(WELLS_TABLE).collect()
    assert rows["time_zone"].to_list() == [zone, zone]
    assert rows["tvd_ft"].to_list() == pytest.approx([2905 / 0.3048, 2910 / 0.3048])


def test_a_mark_of_thousands_that_comes_late_is_seen() -> None:
    """The first thousand samples are below 1.000,0."""
    lines = ["Hora\tProf. CT (m)\tPeso (daN)"]
    for at in range(4000):
        depth = f"{at / 2:,.1f}".replace(",", "_").replace(".", ",").replace("_", ".")
        lines.append(f"2025-03-20 {6 + at // 3600:02d}:{at // 60 % 60:02d}:{at % 60:02d}\t{depth}\t{900 + at % 7},5")
    table = sniff_text("\n".join(lines).encode())
    assert table is not None and (table.decimal, table.thousands) == (",", ".")


def test_a_unit_with_two_meanings_is_asked(tmp_path: Path) -> None:
    lines = ["Pozo;Mes;Gas (Mm3);Dias", *(f"Teal 8H;2025-{month:02d}-01;468;30" for month in range(1, 13))]
    found = team(tmp_path, "gas.csv", ("\n".join(lines) + "\n").encode())
    text, _ = inspect(found, found.root / "landing", write=False)
    assert "read as gas mcf; the file says Mm3: thousands, as in the trade, or millions?" in text
    assert "the unit of 'Gas (Mm3)': Mm3 or MMm3?" in text


@pytest.mark.parametrize(("day", "clock"), [("Datum", "Uhrzeit"), ("Paeivae", "Kello")])
def test_a_column_of_days_is_the_date_whatever_it_is_called(day: str, clock: str, tmp_path: Path) -> None:
    lines = [
        "Firma: Nordstein;;;",
        "Bohrung: Otter Bend 9H;Stufe: 3;;",
        f"{day};{clock};Druck Kopf (bar);Rate (m3/min)",
    ]
    for second in range(600):
        hour, rest = divmod(23 * 3600 + 55 * 60 + second, 3600)
        rate = 12.0 if 60 < second < 540 else 0.0
        numbers = f"{300 + 20 * rate:.2f};{rate:.2f}".replace(".", ",")
        lines.append(f"{25 + hour // 24}.02.2025;{hour % 24:02d}:{rest // 60:02d}:{rest % 60:02d};{numbers}")
    found = team(tmp_path, "record.csv", ("\n".join(lines) + "\n").encode())
    text, usable = inspect(found, found.root / "landing", write=True)
    assert usable and "no date" not in text and "not used" not in text, text
    assert steps.run_ingest(found).landed == 1
    rows = steps.open_lake(found).scan(TREATMENT).sort("time").collect()
    assert (rows["well_id"][0], rows["stage"][0], rows.height) == ("otter-bend-9h", 3, 600)
    assert (rows["time"][0], rows["time"][-1]) == (
        datetime(2025, 2, 25, 23, 55, tzinfo=UTC), datetime(2025, 2, 26, 0, 4, 59, tzinfo=UTC),
    )  # fmt: skip


def test_the_start_of_a_las_file_is_read_from_the_line_that_has_it(tmp_path: Path) -> None:
    rows = "\n".join(f"{i} {5000 + i % 7} {80 if 60 < i < 540 else 0}" for i in range(600))
    text = (
        "~VERSION\n VERS. 2.0 : LAS\n WRAP. NO : one line\n~WELL\n STRT.S 0.0 : START\n STOP.S 599 : STOP\n"
        " STEP.S 1.0 : STEP\n NULL. -999.25 : NULL\n WELL. OTTER BEND 9H : WELL\n STAGE. 5 : STAGE NUMBER\n"
        " DATE. 28-FEB-2025 01:15:00 : START DATE\n~CURVE\n ETIM.S : Elapsed time\n TPRES.PSI : Treating pressure\n"
        f" SRATE.BPM : Slurry rate\n~A\n{rows}\n"
    )
    found = team(tmp_path, "a.las", text.encode())
    said, usable = inspect(found, found.root / "landing", write=True)
    assert usable, said
    assert steps.run_ingest(found).landed == 1
    assert steps.open_lake(found).scan(TREATMENT).collect()["time"].min() == datetime(2025, 2, 28, 1, 15, tzinfo=UTC)


def test_a_hint_names_no_heading_that_the_map_reads_as_something_else(tmp_path: Path) -> None:
    text, files = record_csv(400, "2025-03-01 12:00:00"), {"tables/wells.csv": WELLS}
    for heading, hint in (("Rate of Slurry", True), ("Xyz", False)):
        maps = {"records": TREATMENT_MAP.replace('"Rate"', '"Slurry rate"'), "wells": WELLS_MAP}
        record = {"Saltgrass 3H stage 1.csv": text.replace("Rate", heading, 1)}
        ((_, aside),) = steps.run_ingest(workspace(tmp_path / heading, maps, {**files, **record})).set_aside
        assert "no column has the heading 'Slurry rate'" in aside.reason
        assert aside.found.endswith("the nearest is 'Rate of Slurry'") == hint, aside.found


def test_status_tells_of_files_that_wait(tmp_path: Path) -> None:
    files: dict[str, str | bytes] = {"tables/wells.csv": WELLS}
    files |= {f"Saltgrass 3H stage {n}.csv": record_csv(400, f"2025-03-0{n} 12:00:00") for n in (1, 2)}
    space = workspace(tmp_path / "w", {"records": TREATMENT_MAP, "wells": WELLS_MAP}, files)
    steps.run_ingest(space)
    assert "waiting" not in status.describe(space)
    landing = space.root / "landing"
    (landing / "Saltgrass 3H stage 3.csv").write_text(record_csv(400, "2025-03-03 12:00:00"), encoding="utf-8")
    with (landing / "Saltgrass 3H stage 2.csv").open("a", encoding="utf-8") as file:
        file.write("2025-03-02 13:00:00,10,0,0\n")
    said = status.describe(space)
    assert "waiting: 1 new file (landing/Saltgrass 3H stage 3.csv) (run `heelward refresh`)" in said
    assert "waiting: 1 changed file (landing/Saltgrass 3H stage 2.csv)" in said
    broken = space.maps / "records.toml"
    broken.write_text(broken.read_text(encoding="utf-8") + "\nnonsense = [", encoding="utf-8")
    assert "changed file" not in status.describe(space), "files of a broken map wait for the map, not for a refresh"
