"""Commands. Each imports what it needs when it runs, so that help is shown without delay."""

from __future__ import annotations

import gc
import logging
import os
import shlex
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from pipeline.text import say

if TYPE_CHECKING:
    from pipeline.ingest.land import Landed
    from pipeline.workspace import Workspace

ALL_WELL, FAILED, SET_ASIDE = 0, 1, 3
EPILOG = "Exit codes: 0 success, 3 a file was set aside, 1 failed."


def _epilog(example: str) -> str:
    return f"Example: {example}\n\n{EPILOG}"


app = typer.Typer(
    name="heelward",
    help="Land the records of well completions, measure every stage, plug and run the same way, compare crews and "
    "designs fairly, and build the team's report.",
    epilog=EPILOG,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
)
Where = Annotated[Path, typer.Option("--workspace", "-w", help="The workspace folder.", show_default="this folder")]


def main() -> None:
    """Run the command line; show every error as a message, never as a traceback."""
    from pipeline.errors import HeelwardError, explained
    from pipeline.events import log_to_terminal

    os.environ.setdefault("RUST_BACKTRACE", "0")
    log_to_terminal()
    try:
        app()
    except HeelwardError as error:
        say(str(error), error=True)
        raise SystemExit(FAILED) from None
    except BaseException as error:
        panic = type(error).__name__ == "PanicException"  # raised by a library; not an Exception
        if os.environ.get("HEELWARD_DEBUG") or not (isinstance(error, Exception) or panic):
            raise
        say(explained(error), error=True)
        raise SystemExit(FAILED) from None


@app.callback()
def _told(
    verbose: Annotated[bool, typer.Option("--verbose", "-v", help="Write a line per file, well and fit.")] = False,
    quiet: Annotated[bool, typer.Option("--quiet", "-q", help="Write neither progress nor summaries.")] = False,
    json: Annotated[bool, typer.Option("--json", help="Write these lines as JSON, for machines.")] = False,
) -> None:
    from pipeline.events import log_to_terminal

    level = logging.ERROR if quiet else logging.INFO if verbose or json else logging.WARNING
    log_to_terminal(level, as_json=json)


def _summary(text: str) -> None:
    """Print what a step did, unless the lines of its events are for machines or it is to be quiet."""
    if not _quiet():
        say(text)


def _quiet() -> bool:
    return logging.getLogger("heelward").level >= logging.ERROR


Spread = Annotated[
    str | None,
    typer.Option(
        "--cluster", help="Scheduler of a Dask cluster, such as tcp://10.0.0.5:8786; as 'cluster' in the settings."
    ),
]


def _open(workspace: Path, cluster: str | None = None) -> Workspace:
    from pipeline.workspace import open_workspace

    opened = open_workspace(workspace)
    return opened if cluster is None else opened.on(cluster)


@contextmanager
def _bar(label: str) -> Iterator[Callable[[int, int, str], None]]:
    """Show a progress bar while a step runs, if the output is a terminal."""
    from rich.console import Console
    from rich.progress import (
        BarColumn,
        MofNCompleteColumn,
        Progress,
        TextColumn,
        TimeElapsedColumn,
        TimeRemainingColumn,
    )

    console = Console(stderr=True)
    times = (TimeElapsedColumn(), TextColumn("left"), TimeRemainingColumn())
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), *times)
    with Progress(*columns, console=console, transient=True, disable=_quiet() or not console.is_terminal) as progress:
        task = progress.add_task(label, total=None)

        def tell(done: int, total: int, what: str) -> None:
            progress.update(task, completed=done, total=total)

        yield tell


def _say_landed(report: Landed, system: str) -> int:
    """Print what an ingest did, findings of one kind once and rare ones first; return the exit code."""
    from pipeline.errors import grouped
    from pipeline.units import format_quantities

    parts = [f"{report.landed} landed", f"{report.unchanged} unchanged"]
    if report.copies:
        parts.append(f"{report.copies} copies of landed files")
    if report.superseded:
        parts.append(f"{report.superseded} superseded by a later revision")
    if report.still_aside:
        parts.append(f"{report.still_aside} of the unchanged files still set aside")
    _summary(f"ingest: {', '.join(parts)}; {report.findings} findings")
    for table in report.restored:
        say(f"  repaired: the lake's table '{table}' was damaged; its lost rows are landed again from the files")
    for path in report.incomplete:
        say(f"  repaired: some rows of {path} were missing from the lake")
    for path, why in report.skipped:
        say(f"  not read: {path}: {why}")
    for line in grouped(report.set_aside):
        say(f"  {line}")
    for kind in sorted(report.kinds.values(), key=lambda kind: kind.count):
        say(f"  {kind.where}: {format_quantities(kind.message, system)}")
    for text in report.broken_maps:
        say(f"this map cannot be used; its files are not processed until it is corrected:\n{text}", error=True)
    if report.broken_maps:
        return FAILED
    return SET_ASIDE if report.set_aside else ALL_WELL


@app.command(epilog=_epilog("heelward demo --small"))
def demo(
    folder: Annotated[Path, typer.Argument(help="Where to build the sample workspace.")] = Path("demo"),
    small: Annotated[bool, typer.Option("--small", help="Two pads and short wells only.")] = False,
) -> None:
    """Build the sample workspace, run all steps, and print the path of the report."""
    from pipeline.demo.build import build_demo

    with _bar("demo") as tell:
        built = build_demo(folder, small=small, progress=tell)
    _say_landed(built.landed, "field")
    say(f"measure: {built.measured.stages} stages, {built.measured.plugs} plugs, {built.measured.runs} coil runs")
    say(f"fit: {', '.join(built.fitted.fitted) or 'too few pads'}")
    say(f"report: {built.report.path}")


@app.command(epilog=_epilog("heelward init myteam --from /data/frac_records"))
def init(
    folder: Annotated[Path, typer.Argument(help="The new workspace folder.")],
    from_: Annotated[
        Path | None, typer.Option("--from", help="A folder of files: propose maps for them and land them.")
    ] = None,
) -> None:
    """Create a new workspace; with --from, propose maps for a folder of files and land it at once."""
    from pipeline.commands.init import make_workspace

    if from_ is not None:
        raise typer.Exit(_init_from(folder, from_))
    make_workspace(folder)
    say(f"Workspace created in {folder}.")
    say(f"1. Put records into {folder / 'landing'}.")
    first = folder / "maps" / "first_map.toml"
    typed = shlex.quote(str(folder))
    say(f"2. Edit {first} to match them; `heelward inspect FILE -w {typed}` shows how a file is read.")
    say(f"3. Run `heelward refresh -w {typed}`.")


def _init_from(folder: Path, records: Path) -> int:
    from pipeline.commands.init import make_workspace, missing
    from pipeline.commands.inspect import inspect as look
    from pipeline.errors import HeelwardError

    if not records.is_dir():
        raise HeelwardError(f"no such folder: {records}")
    make_workspace(folder, records)
    space = _open(folder)
    text, _ = look(space, records, write=True)
    say(text)
    code = _ingest(space)
    say(f"\nWorkspace created in {folder}; its files are read where they are, in {records}.")
    for line in missing(space):
        say(f"  {line}")
    say(f"Answer what a person must decide in {space.maps}, then run `heelward refresh -w {shlex.quote(str(folder))}`.")
    return code


@app.command(epilog=_epilog("heelward inspect landing/stage_07.csv --write -w myteam"))
def inspect(
    file: Annotated[
        Path,
        typer.Argument(help="A file or a folder of files; with --stage, --run or --pump-down, a well name or alias."),
    ],
    write: Annotated[bool, typer.Option("--write", help="Save the maps that are proposed.")] = False,
    stage: Annotated[int | None, typer.Option("--stage", help="Show this stage's picks, and draw its page.")] = None,
    run: Annotated[int | None, typer.Option("--run", help="Show this coil run's picks, and draw its page.")] = None,
    pump_down: Annotated[
        int | None, typer.Option("--pump-down", help="Show this pump-down's picks, and draw its page.")
    ] = None,
    show: Annotated[bool, typer.Option("--open", help="Open the page in the browser.")] = False,
    workspace: Where = Path(),
) -> None:
    """Show how files would be read, and propose maps where none can; or show the picks and the page of a record."""
    asked = [
        (level, number)
        for level, number in (("stage", stage), ("run", run), ("wireline", pump_down))
        if number is not None
    ]
    if asked:
        from pipeline.commands.review import describe

        say("\n\n".join(describe(_open(workspace), str(file), *one, show=show) for one in asked))
        return
    from pipeline.commands import inspect as command

    text, usable = command.inspect(_open(workspace), file, write=write)
    say(text)
    raise typer.Exit(ALL_WELL if usable else SET_ASIDE)


def _ingest(space: Workspace) -> int:
    from pipeline import steps

    with _bar("ingest") as tell:
        report = steps.run_ingest(space, tell)
    return _say_landed(report, space.settings.display_units)


def _say_restored(tables: list[str]) -> None:
    for table in tables:
        say(f"  repaired: the lake's table '{table}' was damaged; all of its rows are made again")


def _measure(space: Workspace) -> None:
    from pipeline import steps

    with _bar("measure") as tell:
        report = steps.run_measure(space, tell)
    _say_restored(report.restored)
    _summary(
        f"measure: {report.wells} wells measured ({report.stages} stages, {report.plugs} plugs, {report.runs} coil "
        f"runs, {report.findings} findings), {report.unchanged} unchanged"
    )


def _fit(space: Workspace) -> int:
    from pipeline import steps

    with _bar("fit") as tell:
        report = steps.run_fit(space, tell)
    _say_restored(report.restored)
    named = {
        "fitted": report.fitted,
        "unchanged": report.unchanged,
        "not possible yet": report.not_possible,
        "no longer possible": report.removed,
    }
    _summary("fit: " + "; ".join(f"{label}: {', '.join(names)}" for label, names in named.items() if names))
    if report.plan_error is not None:
        say(f"the plan for the next pad cannot be used:\n{report.plan_error}", error=True)
    return ALL_WELL if report.plan_error is None else FAILED


def _report(space: Workspace, **asked: Any) -> None:
    from pipeline import steps

    with _bar("report") as tell:
        built = steps.run_report(space, tell, **asked)
    state = "" if built.anew else "unchanged: "
    _summary(f"report: {state}{built.path} ({built.charts} charts, {built.size_bytes / 1e6:.1f} MB)")
    for path in built.beside:
        _summary(f"  {path}")


@app.command(epilog=_epilog("heelward ingest -w myteam"))
def ingest(workspace: Where = Path(), cluster: Spread = None) -> None:
    """Land new and changed files; set aside what cannot be used."""
    raise typer.Exit(_ingest(_open(workspace, cluster)))


@app.command(epilog=_epilog("heelward measure -w myteam"))
def measure(workspace: Where = Path(), cluster: Spread = None) -> None:
    """Measure every stage, plug and coil run whose inputs changed."""
    _measure(_open(workspace, cluster))


@app.command(epilog=_epilog("heelward fit -w myteam"))
def fit(workspace: Where = Path(), cluster: Spread = None) -> None:
    """Fit the models and comparisons whose rows changed, and evaluate the plan named in the settings."""
    raise typer.Exit(_fit(_open(workspace, cluster)))


@app.command(epilog=_epilog("heelward report --quarter 2025Q2 --pdf -w myteam"))
def report(
    workspace: Where = Path(),
    quarter: Annotated[
        str | None, typer.Option("--quarter", help="Exclude data after this quarter, such as 2025Q2.")
    ] = None,
    as_of: Annotated[
        str | None, typer.Option("--as-of", help="Use the data on record at the end of this day, such as 2025-07-05.")
    ] = None,
    mask: Annotated[
        str | None,
        typer.Option("--mask", help="Replace names with stable aliases: crews, wells, pads, separated by commas."),
    ] = None,
    against: Annotated[
        str | None, typer.Option("--against", help="Tell and mark what changed since the end of this day, and why.")
    ] = None,
    pdf: Annotated[bool, typer.Option("--pdf", help="Also write a PDF of each part.")] = False,
    xlsx: Annotated[bool, typer.Option("--xlsx", help="Also write the tables as a spreadsheet.")] = False,
    brief: Annotated[
        bool, typer.Option("--brief", help="Also write the opening sentences as Markdown and text, for a mail.")
    ] = False,
) -> None:
    """Build the report as a self-contained page; each edition is written to a separate folder."""
    from pipeline.report.edition import edition

    beside = [name for name, wanted in (("pdf", pdf), ("xlsx", xlsx), ("brief", brief)) if wanted] or None
    _report(_open(workspace), edition=edition(quarter, as_of, mask, against), beside=beside)


@app.command(epilog=_epilog("heelward refresh -w myteam"))
def refresh(workspace: Where = Path(), cluster: Spread = None) -> None:
    """Ingest, measure, fit and report in order; each step processes only what changed."""
    space = _open(workspace, cluster)
    from pipeline.steps import together

    gc.freeze()  # what is imported stays: no collection goes through it again
    with together(report=True):
        code = _ingest(space)
        _measure(space)
        code = _fit(space) or code
        _report(space, again=False)
    raise typer.Exit(code)


@app.command(epilog=_epilog('heelward query --sql "SELECT pad, count(*) FROM stage GROUP BY pad" -w myteam'))
def query(
    name: Annotated[str | None, typer.Argument(help="Name of a saved query; without it, list all.")] = None,
    workspace: Where = Path(),
    given: Annotated[
        list[str] | None, typer.Option("--set", help="A parameter, as name=value. May be repeated.")
    ] = None,
    sql: Annotated[str | None, typer.Option("--sql", help="A SELECT statement, instead of a saved query.")] = None,
    file: Annotated[Path | None, typer.Option("--file", help="A file with a SELECT statement.")] = None,
    about: Annotated[str | None, typer.Option("--about", help="List the columns of a mart or table.")] = None,
    out: Annotated[
        Path | None, typer.Option("--out", "-o", help="Write to a .csv, .parquet or .xlsx file instead of the screen.")
    ] = None,
    columns: Annotated[str | None, typer.Option("--columns", help="Columns to print, separated by commas.")] = None,
    wide: Annotated[bool, typer.Option("--wide", help="Print every column, one block of lines per row.")] = False,
    json: Annotated[bool, typer.Option("--json", help="Print one JSON object per row, for machines.")] = False,
) -> None:
    """Run a saved query, or SQL, on the marts and tables of the lake. Read only.

    On the screen a saved query uses the display units; files and SQL keep the units given at the end of column names.
    """
    from pipeline import queries
    from pipeline.errors import HeelwardError

    asked = [
        word
        for word, value in (("NAME", name), ("--sql", sql), ("--file", file), ("--about", about))
        if value is not None
    ]
    if len(asked) > 1 or (given and name is None):
        raise HeelwardError(f"give one of NAME, --sql, --file, --about (got {', '.join(asked)}); --set requires NAME")
    if not asked:
        for line in queries.listing():
            say(line)
        return
    from pipeline import steps
    from pipeline.report import export

    opened = _open(workspace)
    if about is not None:
        answer = queries.about(about)
    elif name is not None:
        answer = steps.run_query(opened, name, _pairs(given or []))
    else:
        answer = steps.run_sql(opened, _text_of(file) if file is not None else sql or "")
    if json + wide + (columns is not None) + (out is not None) > 1:
        raise HeelwardError("give one of --json, --wide, --columns, --out")
    if json:
        say(answer.frame.write_ndjson().rstrip("\n"))
    elif out is None:
        chosen = list(dict.fromkeys(name.strip() for name in (columns or "").split(",") if name.strip()))
        export.show(answer, opened.settings.display_units, wide=wide, columns=chosen)
    else:
        export.write(answer.frame, out)
        say(f"{answer.frame.height} rows written to {out}")


def _text_of(path: Path) -> str:
    from pipeline.errors import HeelwardError

    try:
        return path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise HeelwardError(f"{path}: cannot be read as text: {error}") from None


def _pairs(given: list[str]) -> dict[str, Any]:
    from pipeline.errors import HeelwardError

    pairs = {}
    for item in given:
        key, mark, value = item.partition("=")
        if not mark:
            raise HeelwardError(f"--set: expected name=value, got '{item}'")
        pairs[key] = value
    return pairs


@app.command(epilog=_epilog("heelward plan next_pad.toml --out plan.html -w myteam"))
def plan(
    file: Annotated[Path, typer.Argument(help="A plan in TOML: the pad, its limits and the candidate designs.")],
    workspace: Where = Path(),
    teach: Annotated[
        str | None,
        typer.Option("--teach", help="A comparison, such as designs_pressure: report the most informative trial."),
    ] = None,
    out: Annotated[Path | None, typer.Option("--out", "-o", help="Also write an .html, .csv or .parquet file.")] = None,
) -> None:
    """Compare candidate designs for the next pad: predictions with intervals, physics against limits, hours, cost."""
    from pipeline import steps
    from pipeline.report import export

    page = out if out is not None and out.suffix.lower() == ".html" else None
    planned = steps.run_plan(_open(workspace), file, teach, page)
    export.show_plan(planned)
    if out is not None:
        if page is None:
            export.write(planned.table(), out)
        say(f"written: {out}")


@app.command(
    epilog=_epilog(
        'heelward amend "Teal 1H" 5 isip --value 4510 --by "A. Reader" --why "hammer not yet faded" -w myteam'
    )
)
def amend(
    well: Annotated[str, typer.Argument(help="The well name or an alias.")],
    number: Annotated[int, typer.Argument(help="The stage (or plug, coil run, pump-down: see --level).")],
    pick: Annotated[str, typer.Argument(help="The pick, such as isip, breakdown_pressure or shut_in.")],
    by: Annotated[str, typer.Option("--by", help="Name of the person who makes the amendment.")],
    why: Annotated[str, typer.Option("--why", help="Reason for the amendment.")],
    value: Annotated[float | None, typer.Option("--value", help="The value, in the pick's unit.")] = None,
    time: Annotated[
        str | None, typer.Option("--time", help="The time, in pad local time or with a UTC offset.")
    ] = None,
    level: Annotated[str, typer.Option("--level", help="stage, plug, run (coil) or wireline (pump-down).")] = "stage",
    withdraw: Annotated[bool, typer.Option("--withdraw", help="Withdraw the amendment.")] = False,
    confirm: Annotated[bool, typer.Option("--confirm", help="Confirm the automatic pick as it is.")] = False,
    workspace: Where = Path(),
) -> None:
    """Record an engineer's correction or confirmation of a pick; it is used everywhere until it is withdrawn."""
    from pipeline.commands.review import amend as record

    space = _open(workspace)
    say(
        record(
            space, well, level, number, pick, value=value, time=time, by=by, why=why, withdraw=withdraw, confirm=confirm
        )
    )


@app.command(epilog=_epilog('heelward export "Teal 1H" --out teal_1h.xml -w myteam'))
def export(
    well: Annotated[str, typer.Argument(help="The well name or an alias.")],
    out: Annotated[Path, typer.Option("--out", "-o", help="The file: .xml for stages, .las for a record.")],
    stage: Annotated[int | None, typer.Option("--stage", help="Write this stage's record as LAS 2.0.")] = None,
    run: Annotated[int | None, typer.Option("--run", help="Write this coil run's record as LAS 2.0.")] = None,
    workspace: Where = Path(),
) -> None:
    """Write a well's measured stages as WITSML 2.1, or one record with its picks as LAS 2.0."""
    from pipeline.commands.export import export as write

    say(write(_open(workspace), well, out, stage=stage, run=run))


@app.command(epilog=_epilog("heelward review --count 5 -w myteam"))
def review(
    workspace: Where = Path(),
    count: Annotated[int, typer.Option("--count", min=1, max=100, help="Number of picks.")] = 10,
    audit: Annotated[
        int | None, typer.Option("--audit", help="Draw a random sample of this size instead: it measures the picker.")
    ] = None,
    seed: Annotated[int, typer.Option("--seed", help="Seed of the sample.")] = 1,
) -> None:
    """List the picks most worth a person's minute: doubtful ones that move what rests on them."""
    from pipeline.commands import queue

    space = _open(workspace)
    say("\n".join(queue.queue(space, count) if audit is None else queue.audit(space, audit, seed)))


@app.command(epilog=_epilog("heelward status -w myteam"))
def status(workspace: Where = Path()) -> None:
    """Report what has landed, what was set aside and why, and what is stale."""
    from pipeline.commands.status import describe

    say(describe(_open(workspace)))


@app.command(epilog=_epilog("heelward check -w myteam"))
def check(workspace: Where = Path()) -> None:
    """Verify the lake: rows and files against their record, keys, sums; say how to repair. Changes nothing."""
    from pipeline.commands.check import check as verify

    lines, sound = verify(_open(workspace))
    say("\n".join(lines))
    raise typer.Exit(ALL_WELL if sound else FAILED)


@app.command(epilog=_epilog("heelward tidy -w myteam"))
def tidy(
    workspace: Where = Path(),
    keep_days: Annotated[
        float | None,
        typer.Option("--keep-days", min=1.0, help="Give up reports as of earlier days; default: keep all days."),
    ] = None,
) -> None:
    """Join small files of the lake and delete those that no report needs, also not one as of a past day."""
    from pipeline import steps

    done = steps.run_tidy(_open(workspace), keep_days)
    forgotten = f", {done.forgotten} past states given up" if done.forgotten else ""
    say(f"tidy: {done.joined} small files joined, {done.deleted} files deleted{forgotten}")


@app.command(epilog=_epilog("heelward backup myteam_2031-04-01.tar -w myteam"))
def backup(
    file: Annotated[Path, typer.Argument(help="The file to write; it must not exist.")],
    workspace: Where = Path(),
    records: Annotated[
        bool, typer.Option("--records/--no-records", help="Whether to include the landing folder.")
    ] = True,
) -> None:
    """Write settings, maps, amendments, the lake and the records to one file, with a sum of each."""
    from pipeline.commands.backup import backup as write

    say(write(_open(workspace), file, records=records))


@app.command(epilog=_epilog("heelward restore myteam_2031-04-01.tar restored_team"))
def restore(
    file: Annotated[Path, typer.Argument(help="A file that `heelward backup` wrote.")],
    folder: Annotated[Path, typer.Argument(help="The new workspace folder; it must not exist.")],
) -> None:
    """Restore a workspace from a backup into a new folder; every file is compared with its sum."""
    from pipeline.commands.backup import restore as read

    say(read(file, folder))


@app.command(epilog=_epilog("heelward serve -w myteam --port 4300"))
def serve(
    workspace: Where = Path(),
    port: Annotated[int, typer.Option(help="Port of the web page; 0 selects a free port.")] = 0,
) -> None:
    """Run the schedules of the settings until stopped (Ctrl-C), with Prefect's web page."""
    from pipeline.commands.serve import serve_workspace

    raise typer.Exit(serve_workspace(_open(workspace), port))


if __name__ == "__main__":
    main()
