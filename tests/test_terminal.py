"""What reaches a terminal is inert, and whatever fails says what to do: no traceback, exit 1, nothing half done."""

from __future__ import annotations

import ast
import errno
import json
import logging
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from deltalake.exceptions import DeltaError
from typer.testing import CliRunner

from pipeline import queries, steps
from pipeline.cli import app
from pipeline.commands import status
from pipeline.errors import HeelwardError, explained
from pipeline.ingest.land import land
from pipeline.lake import Lake
from pipeline.schemas.records import TREATMENT
from pipeline.text import inert_lines, inert_text, say
from pipeline.workspace import SETTINGS_FILE, Workspace, open_workspace
from tests.builders import TREATMENT_MAP, WELLS, WELLS_MAP, put, record_csv, workspace
from tests.command import heelward
from tests.ingest.test_hostile_files import STAGES_MAP
from tests.test_layout import FILES, PACKAGE

EVIL = "\x1b]0;gone\x07\x1b[2Jred\r\u202e"


def run(space: Workspace, *words: str, limit_bytes: int | None = None) -> subprocess.CompletedProcess[str]:
    """Run a command; where a limit is given, no file may grow larger."""
    command = [sys.executable, "-m", "pipeline.cli", *words, "-w", str(space.root)]

    def limited() -> None:
        import resource

        if limit_bytes is not None:
            resource.setrlimit(resource.RLIMIT_FSIZE, (limit_bytes, limit_bytes))

    return subprocess.run(
        command, capture_output=True, text=True, check=False, preexec_fn=limited, encoding="utf-8", errors="replace"
    )


def raw(text: str) -> list[str]:
    return [letter for letter in text if (ord(letter) < 32 and letter not in "\n") or letter in "\x7f\x9b\u202e"]


def test_text_is_made_inert() -> None:
    assert not raw(inert_text(EVIL))
    assert inert_text("Otter Bend 2H, 12 °C, 井") == "Otter Bend 2H, 12 °C, 井"
    assert inert_lines("a\nb\x1b") == "a\nb\ufffd"


def test_nothing_in_the_product_prints_but_through_the_inert_function() -> None:
    for path in FILES:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            called = node.func.id if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) else ""
            if called == "print":
                assert str(path.relative_to(PACKAGE)) in (
                    "text.py",
                    "flows.py",
                    "ingest/workbook.py",
                    "ingest/apart.py",
                ), path


def test_names_and_texts_of_files_cannot_move_the_cursor(tmp_path: Path) -> None:
    stages = f'well,stage,crew,clusters\nSaltgrass 3H,1,"{EVIL.replace(chr(13), "")} crew",8\n'
    space = workspace(
        tmp_path, {"records": TREATMENT_MAP.replace('"set aside"', '"create"'), "wells": WELLS_MAP, "stages": STAGES_MAP},
        {"tables/wells.csv": WELLS, f"{EVIL} stage 1.csv": record_csv(20), f"odd{EVIL}.dat": "x",
         "tables/stages.csv": stages},
    )  # fmt: skip
    os.mkfifo(space.root / "landing" / f"pipe{EVIL}")
    commands = [("ingest",), ("status",), ("inspect", str(space.root / "landing" / f"odd{EVIL}.dat"))]
    for words in (*commands, *(("query", name) for name in ("set_aside", "sources", "findings", "wells"))):
        done = CliRunner().invoke(app, [*words, "-w", str(space.root)])
        assert not raw(done.output), words
        assert done.stdout
    assert len(queries.names()) > 40  # all of them pass `export.show`, which this test goes through


@pytest.mark.parametrize(
    ("error", "words"),
    [
        (OSError(errno.ENOSPC, "No space left on device"), "the disk is full"),
        (DeltaError("Generic LocalFileSystem error: Unable to copy data: No space left on device"), "the disk is full"),
        (OSError(errno.EFBIG, "File too large"), "exceeds the system's file size limit"),
        (OSError(errno.EROFS, "Read-only file system"), "read-only"),
        (PermissionError(errno.EACCES, "Permission denied"), "permission denied"),
        (NotADirectoryError(errno.ENOTDIR, "Not a directory"), "a file exists where a folder is expected"),
    ],
)
def test_what_the_system_refuses_is_explained(error: Exception, words: str) -> None:
    said = explained(error)
    assert words in said
    assert "fix: " in said


def test_a_failure_without_a_known_cause_names_its_kind() -> None:
    assert explained(ValueError("\x1b[31modd\x1b[0m")).startswith("heelward failed: ValueError: odd\n")


@pytest.mark.parametrize(
    "limit_bytes", [pytest.param(600, marks=pytest.mark.turn), pytest.param(4_000, marks=pytest.mark.long)]
)
def test_a_limit_of_file_sizes_ends_with_a_message_and_a_re_run_completes(tmp_path: Path, limit_bytes: int) -> None:
    files: dict[str, str | bytes] = {"tables/wells.csv": WELLS}
    files |= {f"Saltgrass 3H stage {n}.csv": record_csv(400, f"2025-03-0{n} 12:00:00") for n in range(1, 4)}
    space = workspace(tmp_path, {"records": TREATMENT_MAP, "wells": WELLS_MAP}, files)
    done = run(space, "ingest", limit_bytes=limit_bytes)
    assert done.returncode == 1, done.stdout
    assert "Traceback" not in done.stderr
    assert "fix: " in done.stderr
    assert run(space, "ingest").returncode == 0
    assert Lake(space.lake).scan(TREATMENT).collect().height == 1200
    assert Lake(space.lake).scan_raw(TREATMENT).collect().height == 1200
    assert not list(space.root.rglob("*.part"))


@pytest.mark.parametrize(
    "place",
    ["lake", pytest.param("out", marks=pytest.mark.long), pytest.param(".heelward", marks=pytest.mark.long)],
)
def test_a_file_where_a_folder_belongs(tmp_path: Path, place: str) -> None:
    space = workspace(tmp_path, {"wells": WELLS_MAP}, {"tables/wells.csv": WELLS})
    (tmp_path / place).write_text("in the way", encoding="utf-8")
    for command in ("ingest", "report"):
        done = heelward(command, "-w", space.root)
        if (place, command) in (("out", "ingest"), ("lake", "report")):
            continue
        assert done.returncode == 1, (command, done.stdout)
        assert "Traceback" not in done.stderr
        assert done.stderr.strip()


def test_the_disk_fills_up_while_rows_are_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    space = workspace(
        tmp_path, {"records": TREATMENT_MAP, "wells": WELLS_MAP},
        {"tables/wells.csv": WELLS, "Saltgrass 3H stage 1.csv": record_csv(20)},
    )  # fmt: skip
    original = Lake._write

    def full(self: Lake, table: object, *given: object, **named: object) -> int:
        if table is TREATMENT:
            raise DeltaError("No space left on device (os error 28)")
        return original(self, table, *given, **named)  # type: ignore[arg-type]

    monkeypatch.setattr(Lake, "_write", full)
    with pytest.raises(DeltaError):
        steps.run_ingest(space)
    monkeypatch.setattr(Lake, "_write", original)
    assert Lake(space.lake).scan(TREATMENT).collect().is_empty()
    assert steps.run_ingest(space).landed == 1


def test_parts_of_killed_writes_are_swept(tmp_path: Path) -> None:
    space = workspace(tmp_path, {"wells": WELLS_MAP}, {"tables/wells.csv": WELLS})
    left = [space.out / "set_aside" / ".abc.file.123.part", space.out / "audit" / "w" / ".1.svg.9.part"]
    for path in left:
        path.parent.mkdir(parents=True)
        path.write_text("half", encoding="utf-8")
    steps.run_ingest(space)
    assert not left[0].exists()
    steps.run_report(space, beside=[])
    assert not left[1].exists()


@pytest.mark.parametrize(
    "name",
    [
        pytest.param("my team", marks=pytest.mark.long),
        "50% of it",
        pytest.param("a#b+c", marks=pytest.mark.long),
        "Größe",
    ],
)
def test_a_workspace_may_be_named_as_people_name_folders(tmp_path: Path, name: str) -> None:
    space = workspace(
        tmp_path / name, {"records": TREATMENT_MAP, "wells": WELLS_MAP},
        {"tables/wells.csv": WELLS, "Saltgrass 3H stage 1.csv": record_csv(60)},
    )  # fmt: skip
    steps.refresh(space)
    put(space.root, "Saltgrass 3H stage 2.csv", record_csv(60, "2025-03-02 12:00:00"))
    done = steps.refresh(open_workspace(space.root))
    assert (done.landed.landed, done.landed.incomplete, done.measured.stages) == (1, [], 2)


def test_a_lake_that_is_not_there_is_not_taken_for_an_empty_one(tmp_path: Path) -> None:
    space = workspace(
        tmp_path / "w", {"records": TREATMENT_MAP, "wells": WELLS_MAP},
        {"tables/wells.csv": WELLS, "Saltgrass 3H stage 1.csv": record_csv(60)},
    )  # fmt: skip
    steps.run_ingest(space)
    Path(space.lake).rename(tmp_path / "elsewhere")
    for step in (steps.run_measure, steps.run_fit, steps.run_report, status.describe):
        with pytest.raises(HeelwardError, match="the lake of this workspace is missing"):
            step(space)
    assert steps.run_ingest(space).landed == 2  # deleted to be made again
    share = tmp_path / "share"
    share.mkdir()
    (space.root / SETTINGS_FILE).write_text(f'title = "Test"\nlake = "{share / "lake"}"\n', encoding="utf-8")
    space = open_workspace(space.root)
    assert steps.run_ingest(space).landed == 2
    (share / "lake").rename(share / "off")
    with pytest.raises(HeelwardError, match="check that its network share is mounted"):
        steps.run_ingest(space)
    (share / "off").rename(share / "lake")
    assert not steps.run_ingest(space).changed


def test_maps_that_are_not_there_withdraw_nothing(tmp_path: Path) -> None:
    space = workspace(
        tmp_path, {"records": TREATMENT_MAP, "wells": WELLS_MAP},
        {"tables/wells.csv": WELLS, "Saltgrass 3H stage 1.csv": record_csv(60)},
    )  # fmt: skip
    steps.run_ingest(space)
    (tmp_path / "maps").rename(tmp_path / "mpas")
    with pytest.raises(HeelwardError, match="is not a folder with source maps"):
        steps.run_ingest(space)
    assert Lake(space.lake).scan(TREATMENT).collect().height == 60
    (tmp_path / "mpas").rename(tmp_path / "maps")
    path = tmp_path / "maps" / "records.toml"
    path.rename(tmp_path / "maps" / "another.toml")  # a broken map whose name cannot be read
    good = (tmp_path / "maps" / "another.toml").read_text(encoding="utf-8")
    (tmp_path / "maps" / "another.toml").write_text(good.replace('"records"', '"records'), encoding="utf-8")
    report = land(space, Lake(space.lake))
    assert not report.set_aside
    assert Lake(space.lake).scan(TREATMENT).collect().height == 60


def test_events_are_lines_for_people_or_objects_for_machines(tmp_path: Path) -> None:
    files: dict[str, str | bytes] = {
        "tables/wells.csv": WELLS, "Saltgrass 3H stage 1.csv": record_csv(), f"odd{EVIL}.csv": "nothing",
    }  # fmt: skip
    space = workspace(tmp_path, {"records": TREATMENT_MAP, "wells": WELLS_MAP}, files)
    told = run_with("--json", space, "ingest").stderr.splitlines()
    events = {line["file"]: line for line in map(json.loads, told)}
    landed = events["landing/Saltgrass 3H stage 1.csv"]
    assert (landed["event"], landed["well"], landed["number"], landed["rows"]) == ("landed", "saltgrass-3h", 1, 60)
    assert events[f"landing/odd{EVIL}.csv"]["event"] == "set aside"
    measured = run_with("--verbose", space, "measure").stderr
    assert re.search(r'^\d\d:\d\d:\d\d measured: well="saltgrass-3h" stage=1$', measured, re.MULTILINE)
    put(space.root, f"strange{EVIL}.csv", "nothing")
    assert "\x1b" not in run_with("--verbose", space, "ingest").stderr


def test_a_line_is_broken_between_words_at_the_width_of_the_terminal_and_a_command_is_not(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    line, command = (
        "  " + "a finding of some words " * 9,
        "  look: heelward inspect --stage 36 --open 'Marl Flats 2H' " * 3,
    )
    say(line)
    assert capsys.readouterr().out == f"{line}\n", "a pipe gets whole lines"
    monkeypatch.setattr("sys.stdout.isatty", lambda: True, raising=False)
    monkeypatch.setenv("COLUMNS", "80")
    say(f"{line}\n{command}")
    first, *others, last = capsys.readouterr().out.rstrip("\n").split("\n")
    assert last == command and others and all(one.startswith("    ") for one in others)
    assert max(map(len, (first, *others))) <= 80 and " ".join([first, *others]).split() == line.split()


def test_quiet_says_nothing_of_what_went_well(tmp_path: Path) -> None:
    space = workspace(tmp_path, {"wells": WELLS_MAP}, {"tables/wells.csv": WELLS})
    done = run_with("--quiet", space, "refresh")
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")
    (space.root / "maps" / "broken.toml").write_text("name = ", encoding="utf-8")
    done = run_with("--quiet", space, "refresh")
    assert done.returncode != 0 and "not valid TOML" in done.stderr, "what failed is told"


def run_with(option: str, space: Workspace, command: str) -> subprocess.CompletedProcess[str]:
    level = logging.getLogger("heelward").level
    try:
        return heelward(option, command, "-w", str(space.root))
    finally:
        logging.getLogger("heelward").setLevel(level)
