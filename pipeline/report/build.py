"""Build an edition of the report: page, audit pages, and requested additional files."""

from __future__ import annotations

import hashlib
import json
import shutil
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import duckdb
import polars as pl

from pipeline import __version__, queries
from pipeline.files import replace_text
from pipeline.lake import Lake
from pipeline.metrics.well import planning
from pipeline.parallel import Workers
from pipeline.report.against import causes, compared
from pipeline.report.audit import begin_audit
from pipeline.report.content import gather, steps_of
from pipeline.report.edition import PLAIN, Edition, until
from pipeline.report.html import Sheet, write_html
from pipeline.report.mask import make_mask
from pipeline.report.pages import load_pages
from pipeline.report.pictures import Pictures
from pipeline.resources import product_digest
from pipeline.schemas.base import Table
from pipeline.text import inert_text
from pipeline.workspace import Workspace

Progress = Callable[[int, int, str], None]
NOTE = "report.json"
"""File of the workspace's state with what its plain report was built from."""


@dataclass(frozen=True)
class Built:
    """A built report: its location and content; whether it was written anew."""

    path: Path
    charts: int
    size_bytes: int
    beside: list[Path] = field(default_factory=list)
    anew: bool = True


def last_built(workspace: Workspace, mark: str) -> Built | None:
    """Return the report that stands in the output folder, if it was built from the same; else None.

    Parameters
    ----------
    workspace : Workspace
    mark : str
        Of everything that it is built from (`mark_of`).
    """
    try:
        note = json.loads((workspace.state / NOTE).read_text(encoding="utf-8"))
        path, *beside = (workspace.out / one for one in note["files"])
        found = Built(path, note["charts"], note["size_bytes"], beside, anew=False)
    except (OSError, ValueError, KeyError, TypeError):
        return None
    there = all(path.is_file() for path in (found.path, *found.beside))
    return found if note.get("mark") == mark and there else None


def note_built(workspace: Workspace, mark: str, built: Built) -> None:
    """Remember what a report was built from."""
    files = [str(path.relative_to(workspace.out)) for path in (built.path, *built.beside)]  # the folder can be copied
    note = {"mark": mark, "files": files, "charts": built.charts, "size_bytes": built.size_bytes}
    replace_text(workspace.state / NOTE, json.dumps(note))


def mark_of(workspace: Workspace, versions: Mapping[str, int], beside: Sequence[str]) -> str:
    """Return a hash of all that a plain report depends on: tables, settings, code, queries and pages."""
    of = [product_digest(), dict(versions), workspace.settings_hash, list(beside)]
    return hashlib.sha256(json.dumps(of, sort_keys=True).encode()).hexdigest()[:16]


def build(
    workspace: Workspace,
    lake: Lake,
    versions: Mapping[str, int],
    edition: Edition = PLAIN,
    beside: Sequence[str] = (),
    progress: Progress | None = None,
    before: Mapping[str, Any] | None = None,
    workers: Workers | None = None,
) -> Built:
    """Write an edition of the report.

    Parameters
    ----------
    workspace : Workspace
    lake : Lake
        Pinned to ``versions``.
    versions : mapping of str to int
        Shown in the report.
    edition : Edition
        The plain edition is written to the workspace's output folder, others to separate subfolders.
    beside : sequence of str
        ``pdf`` for a PDF of each part, ``xlsx`` for the tables as a spreadsheet, ``brief`` for the opening sentences
        as text.
    progress : callable, optional
        Called with (done, to do, what).
    before : mapping, optional
        The snapshot that an edition ``against`` a past day is compared with.
    workers : Workers, optional
        Where the pages of records are drawn; default: on this machine.

    Returns
    -------
    Built
    """
    settings = workspace.settings
    out = workspace.out / edition.name
    mask = make_mask(lake, edition.mask, workspace.root)
    if edition.mask:  # for readers outside the team: must not contain files of an earlier copy with another mask
        shutil.rmtree(out, ignore_errors=True)
    draw_records = begin_audit(
        lake,
        out / "audit",
        mask=mask,
        system=settings.display_units,
        planning=planning(settings),
        progress=progress,
        workers=workers,
    )

    def seen(table: Table, rows: pl.LazyFrame) -> pl.LazyFrame:
        return mask.seen(table, until(edition.quarter, table, rows))

    def connected(held: Lake) -> duckdb.DuckDBPyConnection:
        return queries.connect(
            held,
            settings.display_units,
            None if edition == PLAIN else seen,
            zone=settings.time_zone,
            quarter=edition.quarter,
        )

    connection = connected(lake)
    pages = load_pages()
    total, done = steps_of(pages) * (1 if edition.against is None else 2) + len(beside), 0

    def told(what: str) -> None:
        nonlocal done
        done += 1
        if progress is not None:
            progress(done, total, what)

    pictures = Pictures(out / "pictures", workspace.state)
    content = gather(connection, pages, settings.display_units, told)
    pictures.begin(content.sketches)
    if edition.against is not None and before is not None:
        earlier = connected(lake.at(before["versions"]))
        code, other_settings = before["code_version"], before["settings_hash"] != workspace.settings_hash
        why = causes(connection, earlier, (code, __version__), settings=other_settings)
        content = compared(content, gather(earlier, pages, settings.display_units, told), edition.against, why)
    sheet = Sheet(
        mask.text(inert_text(settings.title)), edition.words(), dict(versions), f"{datetime.now(UTC):%Y-%m-%d %H:%M}",
        None if edition.mask else workspace.root, beside,
    )  # fmt: skip
    draw_records()  # tables link to what is there
    path = write_html(content, sheet, out, pictures, workers)
    pictures.sweep()
    written: list[Path] = []
    if "brief" in beside:
        from pipeline.report.brief import write_brief

        written += write_brief(content, sheet, out)
        told("brief")
    if "pdf" in beside:
        from pipeline.report.pdf import write_pdfs

        written += write_pdfs(content, sheet, out / "pdf", pictures)
        told("pdf")
    if "xlsx" in beside:
        from pipeline.report.sheets import write_xlsx

        written.append(write_xlsx(content, sheet, out / "tables.xlsx"))
        told("xlsx")
    charts = len(content.drawn)
    files = [path] if path.parent == out else [one for one in path.parent.rglob("*") if one.is_file()]
    return Built(path, charts, sum(one.stat().st_size for one in files), written)
