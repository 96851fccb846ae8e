"""Strange files for tests of proposals: small records and tables, and what is proposed for them."""

from __future__ import annotations

import tomllib
from pathlib import Path

from pipeline.commands.init import make_workspace
from pipeline.commands.inspect import inspect
from pipeline.ingest.content import content_of
from pipeline.ingest.draft import Draft, drafts
from pipeline.ingest.names import WellRegistry
from pipeline.workspace import open_workspace


def found_in(text: str, folder: Path, name: str = "Anna 1H stage 4.csv") -> Draft:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    (draft,) = drafts(path, content_of(path), WellRegistry(), "UTC", folder / "spool")
    return draft


def record(heading: str, row: str, count: int = 60) -> str:
    """Rows in which {t} counts seconds and {i} rows."""
    lines = [
        row.format(t=f"{i // 3600:02d}:{i // 60 % 60:02d}:{i % 60:02d}", i=i, r=80.0 + i % 3) for i in range(count)
    ]
    return "\n".join([heading, *lines]) + "\n"


def guess_of(draft: Draft, lake: str) -> str:
    return next(guess.text for guess in draft.proposal.guesses if guess.lake == lake)


def record_of_rates(heading: str, conc: list[float], clean: list[float]) -> str:
    """A record at 70 bpm of slurry, a row per second."""
    rows = [
        f"2024-03-05 10:{i // 60:02d}:{i % 60:02d},{6000 + i % 40},70,{water:.3f},{sand:.2f}"
        for i, (sand, water) in enumerate(zip(conc, clean, strict=True))
    ]
    return "\n".join([f"Time,Treating Pressure (psi),Slurry Rate (bpm),Clean Rate (bpm),{heading}", *rows, ""])


def pumped(headings: str, *columns: float) -> str:
    """A record at rate for ten minutes and shut in for five, with one level per column and phase; the first shut in."""
    at_rate, shut_in = columns[: len(columns) // 2], columns[len(columns) // 2 :]
    rows = []
    for i in range(900):
        level = at_rate if i < 600 else shut_in
        cells = ",".join(f"{value * (1.0 + 0.001 * (i % 5)):.4f}" for value in level)
        rows.append(f"2024-03-05 10:{i // 60:02d}:{i % 60:02d},{cells}")
    return "\n".join([f"Time,{headings}", *rows, ""])


def written(folder: Path, files: dict[str, str]) -> tuple[str, dict[str, dict[str, object]]]:
    """Inspect a folder of files and save the maps: what is said, and the maps by lake table."""
    make_workspace(folder)
    for name, text in files.items():
        (folder / "landing" / name).write_text(text, encoding="utf-8")
    said, _ = inspect(open_workspace(folder), folder / "landing", write=True)
    maps = [tomllib.loads(path.read_text(encoding="utf-8")) for path in (folder / "maps").glob("*.toml")]
    return said, {str(one["lands"]): one for one in maps}


RECORD = record_of_rates("Proppant Conc (ppa)", [1.0] * 400, [67.0] * 400)
