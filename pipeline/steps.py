"""The steps: plain functions on a workspace, called by both commands and flows."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import ExitStack, contextmanager, suppress
from contextvars import ContextVar
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from importlib import import_module
from pathlib import Path
from typing import Any, TypeVar

import duckdb
import polars as pl
from deltalake.exceptions import CommitFailedError, DeltaError

from pipeline import __version__, queries
from pipeline.errors import HeelwardError
from pipeline.events import event
from pipeline.files import replace_text, sweep_parts
from pipeline.ingest.growing import LOOK
from pipeline.ingest.land import Landed, land
from pipeline.ingest.verify import REPAIRED
from pipeline.lake import Lake, Lease, kept_connections, open_anew
from pipeline.lake.migrate import migrate
from pipeline.locks import held
from pipeline.metrics.measure import MADE as MEASURED
from pipeline.metrics.measure import Measured, measure
from pipeline.metrics.tables import TABLES
from pipeline.metrics.well import planning
from pipeline.models.fit import MADE as FITTED
from pipeline.models.fit import FitReport, fit
from pipeline.models.frames import modelled_tables, modelling_tables
from pipeline.parallel import call_helpers, cluster, kept_helpers
from pipeline.plan.compare import Planned, Taught
from pipeline.plan.compare import run_plan as plan
from pipeline.plan.store import begin_taught, record_plan
from pipeline.queries import Answer
from pipeline.report import pictures
from pipeline.report.build import NOTE, Built, build, last_built, mark_of, note_built
from pipeline.report.edition import PLAIN, Edition, snapshot_of, versions_as_of
from pipeline.report.plan_page import write_plan
from pipeline.schemas.base import Table
from pipeline.schemas.lineage import FINDINGS, SNAPSHOTS, SOURCES
from pipeline.workspace import Workspace

HELPED_FILES = 1000
"""Files of a workspace from which starting other processes early pays in a refresh: it takes two seconds. [1]"""
MANY_FILES = 64
"""Files of a table from which landing joins them. [1]"""
Progress = Callable[[int, int, str], None]
Result = TypeVar("Result", Landed, Measured, FitReport, "Tidied", "Migrated")


def open_lake(workspace: Workspace, *, anew: bool = False) -> Lake:
    """Return the workspace's lake.

    Parameters
    ----------
    workspace : Workspace
    anew : bool
        Whether a deleted lake inside the workspace may be rebuilt from the landing folder.

    Raises
    ------
    HeelwardError
        If the workspace had a lake that is now missing: it must not be treated as empty.
    """
    lake, note = Lake(workspace.lake, workspace.storage), workspace.state / "lake"
    gone = "://" not in lake.root and not Path(lake.root).is_dir() and _noted(note) == lake.root
    if gone and not (anew and _below(workspace, lake)):
        raise HeelwardError(
            f"the lake of this workspace is missing: {lake.root}. Nothing was changed.\n"
            "fix: check that its network share is mounted, restore a backup into a new folder (`heelward restore`),\n"
            "or create a new lake from the landing folder with `heelward ingest`\n"
            f"(for a lake outside the workspace, delete {note} first)"
        )
    return lake


def _below(workspace: Workspace, lake: Lake) -> bool:
    return Path(lake.root).resolve().is_relative_to(workspace.root)


def _noted(note: Path) -> str:
    return note.read_text(encoding="utf-8") if note.is_file() else ""


_report_follows: ContextVar[bool] = ContextVar("report_follows", default=False)


def ready_to_help() -> None:
    """Load what helpers need for fits and charts; most commands do not."""
    for module in ("sklearn.ensemble", "sklearn.linear_model", "pipeline.report.charts"):
        import_module(module)
    pictures.ready()


@contextmanager
def together(*, report: bool = False) -> Iterator[None]:
    """Let the steps that run within share what takes time to make: processes that help, connections to the lake.

    If one of them is the report, fitting opens what the report will read while helpers fit.
    """
    token = _report_follows.set(report or _report_follows.get())
    try:
        with kept_helpers(ready_to_help), kept_connections():
            yield
    finally:
        _report_follows.reset(token)


@contextmanager
def _alone(workspace: Workspace, step: str, *, writes_lake: bool = True) -> Iterator[Lake]:
    """Lock the workspace, and the lake if it is written, while a step runs; return the lake.

    A lake inside the workspace is locked with it. A lake elsewhere may be shared by several workspaces: on this machine
    it has a separate lock file, in an object store a lease.
    """
    wait_s, lake = workspace.settings.wait_s, open_lake(workspace, anew=step == "ingest")
    with ExitStack() as stack:
        stack.enter_context(held(workspace.state / "run.lock", step, wait_s))
        for name in ("lake", NOTE, LOOK):
            sweep_parts(workspace.state, deep=False, of=name)
        if writes_lake and "://" in lake.root:
            lease = Lease(f"{lake.root.rstrip('/')}/lease", lake.storage_options, step)
            lake = replace(lake, guard=stack.enter_context(lease.held(wait_s)).check)
        elif writes_lake and not _below(workspace, lake):
            stack.enter_context(held(Path(lake.root) / "run.lock", step, wait_s, f"the lake {lake.root}"))
        if writes_lake:
            lake.drop_damaged_checkpoints(TABLES.values())
            if step != "ingest":
                lake.refuse_damaged(REPAIRED)
            _bring_up(workspace, lake)
        try:
            yield lake
        except BaseException:
            open_anew()  # the next try sees what this one may have failed at
            raise
        if writes_lake and "://" not in lake.root and Path(lake.root).is_dir():
            note = workspace.state / "lake"
            if _noted(note) != lake.root:
                replace_text(note, lake.root)


def _bring_up(workspace: Workspace, lake: Lake) -> None:
    """Make the changes that a lake of an older version lacks; they count as a step, so that they are made once."""
    changes = migrate(lake)
    if changes:
        event("migrated", changes="; ".join(changes))
        _snapshot(workspace, lake, "migrate", Migrated(changes))


def versions(lake: Lake) -> dict[str, int]:
    """Return the current version of every table that exists."""
    found = {name: lake.version(table) for name, table in TABLES.items() if table is not SNAPSHOTS}
    return {name: version for name, version in found.items() if version is not None}


def _snapshot(workspace: Workspace, lake: Lake, step: str, result: Result) -> Result:
    """Append the state of all tables after a step; a step without changes adds no row, unless it is the first."""
    taken = lake.scan(SNAPSHOTS).select("step", "at").collect()
    if result.changed or step not in taken["step"]:
        last: Any = taken["at"].max()
        at = datetime.now(UTC)
        if last is not None and at <= last:  # the clock was set back: snapshots keep their order
            at = last + timedelta(microseconds=1)
        name = f"{at:%Y%m%dT%H%M%S%f}-{step}"
        row = {
            "snapshot": name, "at": at, "step": step, "versions": json.dumps(versions(lake), sort_keys=True),
            "code_version": __version__, "settings_hash": workspace.settings_hash, "changed": result.changed,
        }  # fmt: skip
        lake.replace(SNAPSHOTS, pl.DataFrame([row], schema=SNAPSHOTS.dtypes), {"snapshot": name})
    return result


def run_ingest(workspace: Workspace, progress: Progress | None = None, *, only_settled: bool = False) -> Landed:
    """Land new and changed files; if asked, only those that have stopped growing."""
    with _alone(workspace, "ingest") as lake, cluster(workspace.settings.cluster) as workers:
        sweep_parts(workspace.out / "set_aside", deep=False)
        if lake.damaged((FINDINGS,)):  # those of measuring are lost too
            _forget(lake, MEASURED)
        landed = land(workspace, lake, progress, workers, only_settled=only_settled, begin=_call_helpers)
        for table in (SOURCES, FINDINGS, SNAPSHOTS):  # every batch or step adds a file; each step reads them all
            lake.compact(table, MANY_FILES)
        return _snapshot(workspace, lake, "ingest", landed)


def _call_helpers(files: int) -> None:
    if files >= HELPED_FILES:
        call_helpers()


def _restored(lake: Lake, made: Sequence[Table]) -> list[str]:
    """If one of the tables that a step makes is damaged, let the step make all rows of all of them again."""
    damaged = [table.name for table in lake.damaged(made)]
    if damaged:
        _forget(lake, made)
        event("restored", tables=", ".join(damaged))
    return damaged


def _forget(lake: Lake, made: Sequence[Table]) -> None:
    """Empty the tables that a step makes: those that mark rows as current first, so that a stop loses nothing."""
    for table in made:
        if lake.version(table) is None:
            continue
        try:
            lake.replace(table, table.empty(), {})
        except DeltaError as error:
            if isinstance(error, CommitFailedError):  # another process wrote
                raise
            lake.move_away(table)


def run_measure(workspace: Workspace, progress: Progress | None = None) -> Measured:
    """Measure the wells that are stale."""
    settings = workspace.settings
    with _alone(workspace, "measure") as lake, cluster(settings.cluster) as workers:
        restored = _restored(lake, MEASURED)
        measured = measure(lake, settings.time_zone, progress, planning(settings), workers)
        measured.restored = restored
        return _snapshot(workspace, lake, "measure", measured)


def run_fit(workspace: Workspace, progress: Progress | None = None) -> FitReport:
    """Fit the models and comparisons that are stale, then evaluate the workspace's plan for the next pad.

    A plan that cannot be used is reported; everything else is still done.
    """
    with _alone(workspace, "fit") as lake, cluster(workspace.settings.cluster) as workers:
        restored = _restored(lake, FITTED)
        frames = modelled(workspace, lake)
        taught: Taught | None = None

        def meanwhile() -> None:
            nonlocal taught
            with suppress(HeelwardError):  # told below
                taught = begin_taught(workspace.plan, frames)
            if _report_follows.get():
                with suppress(HeelwardError):  # the report tells what it cannot read
                    _connected(workspace, lake, [name for name, table in TABLES.items() if table not in FITTED])

        report = fit(lake, frames, progress, workers, meanwhile)
        report.restored = restored
        try:
            if record_plan(lake, workspace.plan, frames, taught):
                report.fitted.append("plan")
        except HeelwardError as error:
            report.plan_error = str(error)
        return _snapshot(workspace, lake, "fit", report)


def run_report(
    workspace: Workspace,
    progress: Progress | None = None,
    *,
    edition: Edition = PLAIN,
    beside: Sequence[str] | None = None,
    again: bool = True,
) -> Built:
    """Build an edition of the report: from the current tables, or from their state on a past day.

    Parameters
    ----------
    workspace : Workspace
    progress : callable, optional
    edition : Edition
    beside : sequence of str, optional
        ``pdf``, ``xlsx``, ``brief``; default: as in the settings.
    again : bool
        Whether to draw it even if the one that is there was built from the same.

    Raises
    ------
    HeelwardError
        If there was no data on record on the requested day.
    """
    settings = workspace.settings
    asked = settings.beside if beside is None else beside
    with _alone(workspace, "report", writes_lake=False) as lake, cluster(settings.cluster) as workers:
        sweep_parts(workspace.out, deep=True)
        pinned = versions(lake) if edition.as_of is None else versions_as_of(lake, edition.as_of, settings.time_zone)
        before = None if edition.against is None else snapshot_of(lake, edition.against, settings.time_zone)
        mark = mark_of(workspace, pinned, asked) if edition == PLAIN else ""
        standing = last_built(workspace, mark) if mark and not again else None
        if standing is not None:
            return standing
        built = build(workspace, lake.at(pinned).still(), pinned, edition, asked, progress, before, workers)
        event("report", path=str(built.path), charts=built.charts, size_bytes=built.size_bytes)
        if mark:
            note_built(workspace, mark, built)
        return built


@dataclass
class Migrated:
    """What was changed in a lake that an older version wrote."""

    changes: list[str]

    @property
    def changed(self) -> bool:
        """Whether the lake was changed."""
        return bool(self.changes)


@dataclass
class Tidied:
    """What tidying the lake did: small files joined, files deleted, snapshots that can no longer be read."""

    joined: int = 0
    deleted: int = 0
    forgotten: int = 0

    @property
    def changed(self) -> bool:
        """Whether the lake was changed."""
        return self.joined + self.deleted + self.forgotten > 0


def run_tidy(workspace: Workspace, keep_days: float | None = None, hours: float = 24.0) -> Tidied:
    """Join small files of the lake, and delete those that no report needs.

    Parameters
    ----------
    workspace : Workspace
    keep_days : float, optional
        Reports ``--as-of`` an earlier day become impossible; default: all days on record stay readable. [d]
    hours : float
        Files that left the lake less long ago stay for readers of now. [h]
    """
    done = Tidied()
    with _alone(workspace, "tidy") as lake:
        taken = lake.scan(SNAPSHOTS).sort("at").collect()
        if keep_days is not None and taken.height:
            first = datetime.now(UTC) - timedelta(days=keep_days)
            old = taken.filter(pl.col("at") < first)
            old = old.head(max(old.height - 1, 0))  # the last one is the state at the beginning of the time kept
            done.forgotten = old.height
            if old.height:
                lake.replace(SNAPSHOTS, SNAPSHOTS.empty(), {"snapshot": old["snapshot"].to_list()})
                taken = taken.filter(~pl.col("snapshot").is_in(old["snapshot"].implode()))
        kept = [json.loads(text) for text in taken["versions"]]
        for name, table in TABLES.items():
            done.joined += lake.compact(table)
            done.deleted += lake.vacuum(table, [found[name] for found in kept if name in found], hours)
        return _snapshot(workspace, lake, "tidy", done)


def connect(workspace: Workspace) -> duckdb.DuckDBPyConnection:
    """Open the marts and tables of the present lake for queries, texts in the display units."""
    return _connected(workspace, open_lake(workspace), TABLES)


def _connected(workspace: Workspace, lake: Lake, tables: Iterable[str]) -> duckdb.DuckDBPyConnection:
    settings = workspace.settings
    return queries.connect(lake, settings.display_units, zone=settings.time_zone, tables=tables)


def modelled(workspace: Workspace, lake: Lake) -> dict[str, pl.DataFrame]:
    """Return the modelling tables of a lake, by level."""
    return modelling_tables(_connected(workspace, lake, modelled_tables()))


def run_query(workspace: Workspace, name: str, given: dict[str, Any]) -> Answer:
    """Run a saved query on the current lake."""
    query = queries.load(name)
    return queries.run(connect(workspace), query, given)


def run_sql(workspace: Workspace, text: str) -> Answer:
    """Run a user's SELECT statement on the marts and tables of the current lake."""
    return queries.run_sql(connect(workspace), text)


def run_plan(workspace: Workspace, path: Path, teach: str | None = None, out: Path | None = None) -> Planned:
    """Compare the designs of a plan file; write its page if requested."""
    lake = open_lake(workspace)
    planned = plan(lake, path, modelled(workspace, lake), () if teach is None else (teach,))
    planned = planned.shown_in(workspace.settings.display_units)
    if out is not None:
        write_plan(planned, out)
    return planned


@dataclass
class Refreshed:
    """What a refresh did, step by step."""

    landed: Landed
    measured: Measured
    fitted: FitReport
    report: Built


def refresh(workspace: Workspace, progress: Callable[[str], Progress] | None = None) -> Refreshed:
    """Run the four steps in order; each processes only what changed.

    Parameters
    ----------
    workspace : Workspace
    progress : callable, optional
        Takes a step's name and returns the progress function of that step.
    """

    def of(step: str) -> Progress | None:
        return None if progress is None else progress(step)

    with together(report=True):
        return Refreshed(
            run_ingest(workspace, of("ingest")),
            run_measure(workspace, of("measure")),
            run_fit(workspace, of("fit")),
            run_report(workspace, of("report"), again=False),
        )
