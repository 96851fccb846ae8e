"""Commands as a newcomer meets them."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from pipeline import parallel, steps
from pipeline.commands.status import describe
from pipeline.lake import Lake, connection
from pipeline.report.build import Built
from pipeline.workspace import Workspace
from tests.builders import put, record_csv
from tests.command import heelward, started
from tests.ingest.layouts import layouts

HEAVY = ("polars", "prefect", "sklearn", "pint", "duckdb", "altair", "deltalake", "scipy", "statsmodels", "numpy")


def test_help_loads_nothing_heavy() -> None:
    code = (
        "import sys, json\nfrom typer.testing import CliRunner\nfrom pipeline.cli import app\n"
        "result = CliRunner().invoke(app, ['--help'])\nassert result.exit_code == 0\n"
        f"print(json.dumps([name for name in {HEAVY!r} if name in sys.modules]))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert json.loads(done.stdout.splitlines()[-1]) == []


@pytest.mark.parametrize(
    "command",
    [
        "demo",
        "init",
        "inspect",
        "ingest",
        "measure",
        "fit",
        "report",
        "refresh",
        "query",
        "serve",
        "status",
        "plan",
        "amend",
        "export",
        "check",
        "review",
    ],
)
def test_every_command_has_help_with_exit_codes(command: str) -> None:
    done = heelward(command, "--help")
    assert done.returncode == 0
    assert "Exit codes" in done.stdout
    assert f"Example: heelward {command} " in done.stdout


def test_a_demo_does_not_touch_a_folder_that_is_not_its_own(tmp_path: Path) -> None:
    (tmp_path / "mine.txt").write_text("x", encoding="utf-8")
    done = heelward("demo", tmp_path)
    assert done.returncode == 1
    assert "not empty" in done.stderr
    assert "Traceback" not in done.stderr


def test_init_to_report_step_by_step(tmp_path: Path) -> None:
    folder = tmp_path / "mine"
    assert started("init", folder).returncode == 0
    record = (
        record_csv(900)
        .replace("Pressure", "Treating pressure")
        .replace("Rate", "Slurry rate")
        .replace("Conc", "Proppant concentration")
    )
    head, _, rest = record.split("\n", 2)
    put(folder, "Anna 1H stage 1.csv", f"{head}\n{rest}")
    seen = started("inspect", folder / "landing" / "Anna 1H stage 1.csv", "-w", folder)
    assert seen.returncode == 0, seen.stdout + seen.stderr
    assert "treating_pressure_psi: 'Treating pressure' in psi" in seen.stdout
    assert not (folder / "lake").exists()
    done = started("refresh", "-w", folder)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "1 landed" in done.stdout
    assert started("init", folder).returncode == 1


def test_a_folder_of_a_stranger_is_landed_by_one_command(tmp_path: Path) -> None:
    """An invented fourth provider: records with a units row, coil records, a table of wells; as the README says it."""
    records = tmp_path / "from them"
    records.mkdir()
    names = ("BITTERN 3H STG 12.csv", "Bittern 2H run 1.csv", "wells.csv")
    for layout in layouts():
        if layout.name in names:
            (records / layout.name).write_bytes(layout.data)
    done = heelward("init", tmp_path / "team", "--from", records)
    assert done.returncode == 0, done.stdout + done.stderr
    assert done.stdout.count("written: ") == 3
    assert "A person must decide:" in done.stdout
    assert "ingest: 3 landed" in done.stdout
    assert "with casing sizes you get" in done.stdout
    assert "with coil records you get" not in done.stdout
    assert sorted(path.name for path in records.iterdir()) == sorted(names)
    assert heelward("init", tmp_path / "team", "--from", records).returncode == 1


def test_a_proposed_map_lands_the_file_as_it_stands(tmp_path: Path) -> None:
    folder = tmp_path / "mine"
    heelward("init", folder)
    head, units, rest = record_csv(900).split("\n", 2)
    file = put(folder, "Anna 1H stage 4.csv", f"{head}\n{units}\n{rest}")
    seen = heelward("inspect", file, "-w", folder, "--write")
    assert seen.returncode == 0, seen.stdout + seen.stderr
    assert "written:" in seen.stdout
    assert not (folder / "maps" / "first_map.toml").exists()  # nobody had edited it
    done = heelward("ingest", "-w", folder)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "1 landed" in done.stdout


def test_set_aside_exits_3_and_says_file_line_and_mend(slice_workspace: Workspace) -> None:
    put(slice_workspace.root, "treatment/larkspoke/SALTGRASS 1H stage 09.csv", "Clock;Treating pressure\n")
    done = heelward("ingest", "-w", slice_workspace.root)
    assert done.returncode == 3
    assert "SALTGRASS 1H stage 09.csv" in done.stdout
    assert "fix:" in done.stdout
    status = heelward("status", "-w", slice_workspace.root)
    assert status.returncode == 0
    assert "set aside: landing/treatment/larkspoke/SALTGRASS 1H stage 09.csv" in status.stdout


def test_what_many_files_have_in_common_is_told_once(slice_workspace: Workspace) -> None:
    """Of 41 files that cannot be used, 40 for one reason, and of many findings, each kind has one message."""
    for stage in range(20, 60):
        put(slice_workspace.root, f"treatment/larkspoke/SALTGRASS 1H stage {stage}.csv", "Clock;Treating pressure\n")
    put(slice_workspace.root, "treatment/larkspoke/SALTGRASS 1H stage 98.csv", "")
    done = heelward("ingest", "-w", slice_workspace.root)
    assert done.stdout.count("fix:") == 2
    assert (
        "stage 20.csv" in done.stdout
        and "stage 23.csv and 36 more" in done.stdout
        and "stage 31.csv" not in done.stdout
    )
    told = [line for line in done.stdout.splitlines() if "finding(s) in" in line]
    assert len(told) == len({line.split(": ", 1)[1] for line in told}) >= 2
    counts = [int(line.split()[0]) for line in told]
    assert counts == sorted(counts) and f"; {sum(counts)} findings" in done.stdout
    status = describe(slice_workspace)
    assert status.count("fix:") == 2 and f"findings: {sum(counts)} of {len(told)} kinds" in status


def test_status_says_what_is_stale_and_why(slice_workspace: Workspace) -> None:
    steps.run_ingest(slice_workspace)
    assert "stale: 1 well (saltgrass-1h): not measured yet" in describe(slice_workspace)
    steps.refresh(slice_workspace)
    assert "stale: nothing" in describe(slice_workspace)
    strings = slice_workspace.root / "landing" / "tables" / "strings.csv"
    strings.write_text(strings.read_text(encoding="utf-8").replace("4.778", "4.67"), encoding="utf-8")
    steps.run_ingest(slice_workspace)
    assert "stale: 1 well (saltgrass-1h): table strings changed" in describe(slice_workspace)
    steps.run_measure(slice_workspace)
    steps.run_fit(slice_workspace)
    assert "stale: the report: tables" in describe(slice_workspace)


def test_status_lists_the_guesses_that_nobody_confirmed(slice_workspace: Workspace) -> None:
    steps.run_ingest(slice_workspace)
    assert "to confirm" not in describe(slice_workspace)
    path = slice_workspace.maps / "tables_wells.toml"
    text = path.read_text(encoding="utf-8").rstrip("\n")
    path.write_text(f"{text}  # check: a guess\n", encoding="utf-8")
    line = text.count("\n") + 1
    assert f"{path} has guesses in line {line}" in describe(slice_workspace)


def test_query_lists_shows_and_writes(measured_slice: Workspace, tmp_path: Path) -> None:
    listed = heelward("query")
    assert "stages" in listed.stdout
    shown = heelward("query", "quarter_trend", "-w", measured_slice.root, "--set", "metric=mill_min")
    assert shown.returncode == 0
    done = heelward("query", "stages", "-w", measured_slice.root, "--out", tmp_path / "out.csv")
    assert done.returncode == 0, done.stderr
    assert pl.read_csv(tmp_path / "out.csv").height == 3
    wrong = heelward("query", "stages", "-w", measured_slice.root, "--out", tmp_path / "out.txt")
    assert wrong.returncode == 1


def test_inspect_proposes_a_map_where_none_fits(slice_workspace: Workspace, tmp_path: Path) -> None:
    file = tmp_path / "other stage 4.dat"
    file.write_text(
        "Date and time;Tubing pressure;Flow rate\n;bar;m3/min\n01.02.2025 10:00:00;210,5;3,1\n", encoding="utf-8"
    )
    done = heelward("inspect", file, "-w", slice_workspace.root)
    assert done.returncode == 3
    assert 'treating_pressure_psi = { column = "Tubing pressure", unit = "bar" }' in done.stdout
    assert 'delimiter = ";"' in done.stdout
    assert "A person must decide:" in done.stdout


@pytest.mark.parametrize(
    ("words", "text"),
    [(("ingest",), "heelward init"), (("inspect", "nothing.csv"), "heelward init"), (("query", "zz"), "")],
)
def test_mistakes_get_a_message_and_no_traceback(tmp_path: Path, words: tuple[str, ...], text: str) -> None:
    done = heelward(*words, cwd=tmp_path)
    assert done.returncode == 1
    assert text in done.stderr
    assert "Traceback" not in done.stderr


def test_the_steps_of_a_refresh_share_a_connection_and_helpers(
    slice_workspace: Workspace, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(steps, "HELPED_FILES", 1)
    monkeypatch.setattr(parallel, "_cores", lambda: 2)
    seen = []
    build = steps.build

    def watched(*given: Any, **named: Any) -> Built:
        helper, held = parallel.ahead(os.getpid), connection._kept.get() or {}
        states = {name for one in held.values() for name in one.states}
        seen.append((set(held), states, helper and helper.result() != os.getpid()))
        return build(*given, **named)

    monkeypatch.setattr(steps, "build", watched)
    assert heelward("refresh", "-w", slice_workspace.root).returncode == 0
    settings = slice_workspace.settings
    [(kept, states, helped)] = seen
    assert kept == {(Lake(slice_workspace.lake).root, settings.time_zone, None, settings.display_units)}, "made by fit"
    assert "picks" in states and "effects" not in states, "what fitting does not make is opened while helpers fit"
    assert helped
    assert parallel.ahead(os.getpid) is None and connection._kept.get() is None


def test_a_refresh_that_finds_nothing_new_rewrites_nothing(slice_workspace: Workspace, tmp_path: Path) -> None:
    """Not the lake, not the report; until a setting, a lost file or the command `report` asks for it."""
    root = str(slice_workspace.root)

    def state() -> dict[Path, tuple[int, int]]:
        kept = (slice_workspace.root / "lake", slice_workspace.out)
        files = (path for folder in kept for path in folder.rglob("*") if path.is_file())
        return {path: (path.stat().st_mtime_ns, path.stat().st_ino) for path in files}

    assert "report: unchanged" not in heelward("refresh", "-w", root).stdout
    before = state()
    done = heelward("refresh", "-w", root)
    assert f"report: unchanged: {slice_workspace.out / 'report.html'}" in done.stdout
    assert state() == before
    copied = shutil.copytree(slice_workspace.root, tmp_path / "copied")
    done = heelward("refresh", "-w", str(copied))
    assert f"report: unchanged: {copied / 'out' / 'report.html'}" in done.stdout, "its own, not that of the first"
    assert "unchanged" not in heelward("report", "-w", root).stdout
    (slice_workspace.out / "report.html").unlink()
    assert "report: unchanged" not in heelward("refresh", "-w", root).stdout
    settings = slice_workspace.root / "heelward.toml"
    settings.write_text(settings.read_text(encoding="utf-8").replace("title = ", 'title = "New " #'), encoding="utf-8")
    assert "report: unchanged" not in heelward("refresh", "-w", root).stdout
    assert "<h1>New" in (slice_workspace.out / "report.html").read_text(encoding="utf-8")
