"""Files of one kind taken together: dates that one file leaves open, dates that contradict, revisions; gauges in the well."""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from pipeline import steps
from pipeline.commands.init import make_workspace
from pipeline.commands.inspect import inspect
from pipeline.ingest.maps import claimer
from pipeline.schemas.lineage import FINDINGS
from pipeline.schemas.records import TREATMENT
from pipeline.unit_names import read_unit
from pipeline.units import UnknownUnit
from pipeline.workspace import Workspace, open_workspace


def record(first: datetime, written: str, seconds: int = 420, step: float = 0.0) -> str:
    """One stage's samples, with its times as a provider writes them."""
    lines = ["Time,Treating Pressure (psi),Slurry Rate (bpm),Proppant Conc (ppa)"]
    for second in range(seconds):
        moment = (first + timedelta(seconds=second)).strftime(written)
        rate = 0.0 if second < 30 or second > 390 else 80.0
        lines.append(
            f"{moment},{2500 + 60 * rate + step + second % 7:.0f},{rate + 0.1 * (second % 3):.1f},{0.02 * rate:.2f}"
        )
    return "\n".join(lines) + "\n"


def folder_of(tmp_path: Path, files: Sequence[tuple[str, str]]) -> Workspace:
    make_workspace(tmp_path / "team")
    for name, text in files:
        path = tmp_path / "team" / "landing" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    return open_workspace(tmp_path / "team")


def written_map(workspace: Workspace) -> dict[str, object]:
    (path,) = workspace.maps.glob("*.toml")
    return tomllib.loads(path.read_text(encoding="utf-8"))


DAY_FIRST, MONTH_FIRST = "%d/%m/%Y %H:%M:%S", "%m/%d/%Y %H:%M:%S"


@pytest.mark.parametrize("written", [DAY_FIRST, MONTH_FIRST])
def test_another_file_of_the_kind_settles_day_and_month(written: str, tmp_path: Path) -> None:
    """The largest file, from which the map is made, holds one day only: 5 April or 4 May."""
    workspace = folder_of(tmp_path, [
        ("Teal 1H stage 3.csv", record(datetime(2025, 4, 5, 6), written, 600)),
        ("Teal 1H stage 4.csv", record(datetime(2025, 4, 25, 6), written)),
    ])  # fmt: skip
    text, usable = inspect(workspace, workspace.root / "landing", write=True)
    assert usable and "day and month could be exchanged" not in text
    assert "'Teal 1H stage 4.csv' can only be read so" in text
    assert steps.run_ingest(workspace).landed == 2
    first = steps.open_lake(workspace).scan(TREATMENT).filter(stage=3).select("time").first().collect().item()
    assert first == datetime(2025, 4, 5, 6, tzinfo=UTC)


def test_without_evidence_the_order_is_asked(tmp_path: Path) -> None:
    files = [(f"Teal 1H stage {n}.csv", record(datetime(2025, 4, n, 6), DAY_FIRST)) for n in (3, 5)]
    text, _ = inspect(workspace := folder_of(tmp_path, files), workspace.root / "landing", write=False)
    assert "day and month could be exchanged" in text


def test_files_that_contradict_each_other_are_told(tmp_path: Path) -> None:
    workspace = folder_of(tmp_path, [
        ("Teal 1H stage 3.csv", record(datetime(2025, 4, 25, 6), DAY_FIRST, 600)),
        ("Teal 1H stage 4.csv", record(datetime(2025, 4, 26, 6), MONTH_FIRST)),
    ])  # fmt: skip
    text, _ = inspect(workspace, workspace.root / "landing", write=False)
    assert (
        "dates: 'Teal 1H stage 4.csv' can only be read with day and month in the other order than 'Teal 1H stage 3.csv'"
        in text
    )
    assert "It cannot read 1 of the other files" in text


@pytest.mark.parametrize("mark", [" rev2", "_REV 2", " v2", " (2)", "_version2"])
def test_revisions_of_a_document_are_proposed_and_the_latest_lands(mark: str, tmp_path: Path) -> None:
    first = datetime(2025, 4, 25, 6)
    workspace = folder_of(tmp_path, [
        ("Teal 1H stage 3.csv", record(first, DAY_FIRST)),
        (f"Teal 1H stage 3{mark}.csv", record(first, DAY_FIRST, step=1000.0)),
        ("Teal 1H stage 4.csv", record(first + timedelta(hours=4), DAY_FIRST)),
    ])  # fmt: skip
    text, usable = inspect(workspace, workspace.root / "landing", write=True)
    assert usable and f"revisions: 'Teal 1H stage 3{mark}.csv' replaces 'Teal 1H stage 3.csv'" in text
    landed = steps.run_ingest(workspace)
    assert (landed.landed, landed.superseded, landed.set_aside) == (2, 1, [])
    rows = steps.open_lake(workspace).scan(TREATMENT).filter(stage=3).collect()
    assert rows.height == 420 and rows["treating_pressure_psi"].min() >= 3500.0


def test_runs_of_a_coil_are_no_revisions(tmp_path: Path) -> None:
    first = datetime(2025, 4, 25, 6)
    files = [(f"Teal 1H r{number}.csv", record(first + timedelta(hours=number), DAY_FIRST)) for number in (1, 2)]
    text, _ = inspect(workspace := folder_of(tmp_path, files), workspace.root / "landing", write=True)
    assert "revision" not in text
    assert "revision_pattern" not in written_map(workspace)


def test_a_gauge_in_the_well_lands_beside_the_surface_gauge(tmp_path: Path) -> None:
    lines = [
        "Time,Treating Pressure (psi),Slurry Rate (bpm),Downhole Gauge Press (psia),Downhole Temp (degC),Calc BHP (psi)"
    ]
    for second in range(420):
        moment = (datetime(2025, 4, 25, 6) + timedelta(seconds=second)).strftime(DAY_FIRST)
        rate = 80.0 if 30 <= second <= 390 else 0.0
        lines.append(
            f"{moment},{2500 + 60 * rate + second % 7:.0f},{rate:.1f},{8014.6959 + second % 5:.4f},{80 + 0.01 * second:.2f},9000"
        )
    workspace = folder_of(tmp_path, [("Teal 1H stage 3.csv", "\n".join(lines) + "\n")])
    inspect(workspace, workspace.root / "landing", write=True)
    assert steps.run_ingest(workspace).landed == 1
    steps.run_measure(workspace)
    row = steps.open_lake(workspace).scan(TREATMENT).sort("time").first().collect().row(0, named=True)
    assert row["treating_pressure_psi"] == pytest.approx(2500.0)
    assert row["downhole_pressure_psi"] == pytest.approx(8000.0, abs=1e-3)  # psia less 14.6959 (NIST SP 811)
    assert row["downhole_temperature_degf"] == pytest.approx(176.0)
    from pipeline.metrics.measure import STAGE_METRICS

    stage = steps.open_lake(workspace).scan(STAGE_METRICS).collect().row(0, named=True)
    assert stage["avg_downhole_pressure_psi"] == pytest.approx(8002.0, abs=0.2)


def elapsed_record(start: str, seconds: int = 600) -> str:
    lines = [f"Job Start: {start}", "Elapsed (s),Treating Pressure (psi),Slurry Rate (bpm)"]
    for second in range(seconds):
        rate = 80.0 if 30 <= second <= 390 else 0.0
        lines.append(f"{second},{2500 + 60 * rate + second % 7:.0f},{rate:.1f}")
    return "\n".join(lines) + "\n"


def test_the_order_in_a_start_above_the_data_is_asked_and_settled_by_other_files(tmp_path: Path) -> None:
    one = folder_of(tmp_path / "one", [("Teal 1H stage 3.csv", elapsed_record("9/5/2025 06:30:00"))])
    text, _ = inspect(one, one.root / "landing", write=False)
    assert "time: day and month could be exchanged in 'Start: 9/5/2025 06:30:00'" in text
    both = folder_of(tmp_path / "both", [
        ("Teal 1H stage 3.csv", elapsed_record("9/5/2025 06:30:00", 700)),
        ("Teal 1H stage 4.csv", elapsed_record("9/25/2025 06:30:00")),
    ])  # fmt: skip
    text, _ = inspect(both, both.root / "landing", write=True)
    assert "could be exchanged" not in text
    assert steps.run_ingest(both).landed == 2
    first = steps.open_lake(both).scan(TREATMENT).filter(stage=3).select("time").first().collect().item()
    assert first == datetime(2025, 9, 5, 6, 30, tzinfo=UTC)


def test_a_record_whose_clock_was_set_back_is_set_aside_unless_the_map_decides(tmp_path: Path) -> None:
    first = datetime(2025, 4, 25, 6)
    head, *rows = record(first, DAY_FIRST, 400).splitlines()
    later = record(first + timedelta(seconds=200), DAY_FIRST, 400, step=500.0).splitlines()[1:]
    workspace = folder_of(tmp_path, [
        ("Teal 1H stage 3.csv", "\n".join([head, *rows, *later]) + "\n"),
        ("Teal 1H stage 4.csv", record(first + timedelta(days=1), DAY_FIRST, 900)),
    ])  # fmt: skip
    inspect(workspace, workspace.root / "landing", write=True)
    (path,) = workspace.maps.glob("*.toml")
    assert "duplicates" not in path.read_text(encoding="utf-8")
    (aside,) = steps.run_ingest(workspace).set_aside
    told = str(aside)
    assert "the clock goes back by 199 s, and 200 times are there twice with other values" in told
    assert "line 402" in told and 'duplicates = "last"' in told
    path.write_text(
        path.read_text(encoding="utf-8").replace("\n[columns]", '\nduplicates = "last"\n\n[columns]'), encoding="utf-8"
    )
    assert steps.run_ingest(open_workspace(workspace.root)).set_aside == []
    rows_in = steps.open_lake(workspace).scan(TREATMENT).filter(stage=3).collect()
    assert rows_in.height == 600 and rows_in.sort("time")["treating_pressure_psi"][250] >= 3000.0


def test_the_same_rows_twice_are_not_set_aside(tmp_path: Path) -> None:
    head, *rows = record(datetime(2025, 4, 25, 6), DAY_FIRST).splitlines()
    workspace = folder_of(tmp_path, [("Teal 1H stage 3.csv", "\n".join([head, *rows, *rows]) + "\n")])
    inspect(workspace, workspace.root / "landing", write=True)
    assert steps.run_ingest(workspace).landed == 1
    assert steps.open_lake(workspace).scan(TREATMENT).collect().height == 420


def test_a_name_that_tells_another_stage_than_the_content_is_a_finding(tmp_path: Path) -> None:
    first = datetime(2025, 4, 25, 6)
    files = [
        (
            f"Teal 1H stage {name}.csv",
            f"Well: Teal 1H\nStage: {held}\n" + record(first + timedelta(days=name), DAY_FIRST),
        )
        for name, held in ((5, 5), (6, 7))
    ]
    workspace = folder_of(tmp_path, files)
    inspect(workspace, workspace.root / "landing", write=True)
    assert steps.run_ingest(workspace).landed == 2
    found = steps.open_lake(workspace).scan(FINDINGS).filter(kind="name_differs").collect()
    assert found["message"].to_list() == ["the file's name says stage 6, its content stage 7: the content counts"]


@pytest.mark.parametrize("written", ["1000 m3", "10³ m³", "e3m3", "10**3 m**3"])
def test_a_thousand_cubic_metres_is_no_thousand_cubic_feet(written: str) -> None:
    assert read_unit(written, "mcf").factor == pytest.approx(35.3147, rel=1e-5)  # 1 ft = 0.3048 m (NIST SP 811)


def test_an_unknown_unit_is_never_declared_to_be_the_unit_of_the_lake() -> None:
    with pytest.raises(UnknownUnit) as told:
        read_unit("zorgs", "mcf")
    assert "with a unit such as" in str(told.value) and '"zorgs" = "..."' in str(told.value)
    assert '= "mcf"' not in str(told.value)


SEMICOLONS = record(datetime(2025, 4, 25, 6), DAY_FIRST).replace(",", ";")


@pytest.mark.parametrize("asked", ["landing/odd", "landing/odd/Heron 9H stage 2.csv", "elsewhere"])
def test_a_further_map_does_not_claim_what_another_map_reads(asked: str, tmp_path: Path) -> None:
    workspace = folder_of(tmp_path, [("frac/Teal 1H stage 3.csv", record(datetime(2025, 4, 25, 6), DAY_FIRST))])
    inspect(workspace, workspace.root / "landing" / "frac", write=True)
    (first,) = workspace.maps.glob("*.toml")
    first.write_text(first.read_text(encoding="utf-8").replace('"**/*.csv"', '"frac/*.csv"'), encoding="utf-8")
    for place in ("landing/odd", "elsewhere"):
        (workspace.root / place).mkdir()
        (workspace.root / place / "Heron 9H stage 2.csv").write_text(SEMICOLONS, encoding="utf-8")
    inspect(workspace, workspace.root / asked, write=True)
    (new,) = set(workspace.maps.glob("*.toml")) - {first}
    claims = claimer(tuple(tomllib.loads(new.read_text(encoding="utf-8"))["files"].split("\n")))
    assert claims("odd/Heron 9H stage 2.csv") and not claims("frac/Teal 1H stage 3.csv")


def test_a_file_that_two_maps_claim_is_told_with_the_map_that_reads_it(tmp_path: Path) -> None:
    workspace = folder_of(tmp_path, [("frac/Teal 1H stage 3.csv", record(datetime(2025, 4, 25, 6), DAY_FIRST))])
    inspect(workspace, workspace.root / "landing", write=True)
    (first,) = workspace.maps.glob("*.toml")
    text = first.read_text(encoding="utf-8").replace('unknown_wells = "set aside"', 'unknown_wells = "create"')
    first.write_text(text, encoding="utf-8")
    assert steps.run_ingest(workspace).landed == 1
    other = tomllib.loads(text)["name"] + "_too"
    again = text.replace(f'name = "{tomllib.loads(text)["name"]}"', f'name = "{other}"')
    (workspace.maps / "second.toml").write_text(again.replace("Slurry Rate", "Slurry Flow"), encoding="utf-8")
    ((_, aside),) = steps.run_ingest(workspace).set_aside
    assert f"the map '{tomllib.loads(text)['name']}' reads this file: leave it out of 'files' of the map" in aside.fix
    (workspace.root / "landing" / "frac" / "Teal 1H stage 3.csv").write_text("rubbish\n", encoding="utf-8")
    both = steps.run_ingest(workspace).set_aside
    assert len(both) == 2 and not any("reads this file" in aside.fix for _, aside in both)


def test_a_further_map_does_not_claim_files_of_another_landing_folder(tmp_path: Path) -> None:
    text = record(datetime(2025, 4, 25, 6), DAY_FIRST)
    workspace = folder_of(tmp_path, [("x/old_1.csv", text)])
    settings = workspace.root / "heelward.toml"
    inspect(workspace, workspace.root / "landing", write=True)
    (first,) = workspace.maps.glob("*.toml")
    settings.write_text('title = "t"\nlanding = ["linked", "landing"]\n', encoding="utf-8")
    (workspace.root / "more" / "x").mkdir(parents=True)
    (workspace.root / "linked").symlink_to(workspace.root / "more")
    for number in (2, 3):
        (workspace.root / "more" / "x" / f"old_{number}.csv").write_text(text.replace(",", ";"), encoding="utf-8")
    inspect(open_workspace(workspace.root), workspace.root / "linked", write=True)
    news = set(workspace.maps.glob("*.toml")) - {first}
    told = [tomllib.loads(new.read_text(encoding="utf-8"))["files"] for new in news]
    claims = claimer(tuple(one for files in told for one in ([files] if isinstance(files, str) else files)))
    assert claims("x/old_2.csv") and claims("x/old_3.csv") and not claims("x/old_1.csv")
