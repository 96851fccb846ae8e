"""`heelward inspect`: how files would be read, and maps proposed for those that no map describes."""

from __future__ import annotations

import tempfile
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import polars as pl

from pipeline.commands.init import FIRST_MAP_TEXT
from pipeline.errors import HeelwardError, SetAside, short
from pipeline.files import replace_text
from pipeline.ingest.content import content_of
from pipeline.ingest.discover import discover
from pipeline.ingest.draft import Draft, Group, drafts, grouped, sample_rows, tried, without_rivals
from pipeline.ingest.inspect import inspect_file
from pipeline.ingest.maps import read_maps
from pipeline.ingest.names import WellRegistry
from pipeline.ingest.orders import settled, with_numbers, with_revisions
from pipeline.ingest.propose import SURE
from pipeline.ingest.tally import told_once
from pipeline.lake import Lake
from pipeline.schemas.wells import WELLS
from pipeline.units import format_number, format_quantities
from pipeline.workspace import Workspace

SHOWN_QUESTIONS = 20
SHOWN_PROBLEMS = 8


def inspect(workspace: Workspace, path: Path, *, write: bool) -> tuple[str, bool]:
    """Describe how a file or the files of a folder would be read; propose maps where none can.

    Parameters
    ----------
    workspace : Workspace
    path : Path
        A file, or a folder.
    write : bool
        Whether to save the proposed maps in the workspace.

    Returns
    -------
    text : str
    usable : bool
        Whether every file can be read, with the maps that are there or were written.

    Raises
    ------
    HeelwardError
        If the path does not exist.
    """
    if path.is_dir():
        return _folder(workspace, path, write=write)
    text, usable = inspect_file(workspace, path)
    if usable:
        return text, True
    group = without_rivals(_base(workspace, path), Group([path]), _claimed(workspace))
    proposed, fine = _proposed(workspace, [group], write=write)
    return f"{text}\n\n{proposed}", fine and write


def _base(workspace: Workspace, path: Path) -> Path:
    """The landing folder that holds a path; else the path's own folder."""
    landing = [folder.resolve() for folder in workspace.landing]
    inside = [folder for folder in landing if path.resolve().is_relative_to(folder)]
    return inside[0] if inside else path.resolve().parent if path.is_file() else path.resolve()


def _claimed(workspace: Workspace) -> dict[Path, str]:
    """Return the files that maps claim, with their paths below their landing folder: no further map must claim them."""
    found = discover(workspace, read_maps(workspace.maps)[0]).items
    files = {item.file for item in found if item.loaded is not None}
    return {
        file.resolve(): file.relative_to(folder).as_posix()
        for file in files for folder in workspace.landing if file.is_relative_to(folder)
    }  # fmt: skip


def _folder(workspace: Workspace, folder: Path, *, write: bool) -> tuple[str, bool]:
    files = sorted(path for path in folder.resolve().rglob("*") if path.is_file() and not path.name.startswith("."))
    if not files:
        raise HeelwardError(f"no files in {folder}")
    readable = [path for path in files if _read_by_a_map(workspace, path)]
    base, unread = _base(workspace, folder), [path for path in files if path not in readable]
    claimed = _claimed(workspace)
    rivals = [*readable, *(claimed.keys() - set(files))]
    groups = [without_rivals(base, group, claimed) for group in grouped(base, unread, rivals)]
    told = {path for group in groups for path in group.files}
    rest = [path for path in files if path not in told and path not in readable]
    text, fine = _proposed(workspace, groups, write=write)
    lines = [
        f"{folder}: {len(files)} file(s); {len(readable)} that a map reads, {len(groups)} kind(s) that none does",
        "",
    ]
    if rest:
        names = ", ".join(short(path.name) for path in rest[:5])
        lines.append(f"No table found in {len(rest)} file(s): {names}{' ...' if len(rest) > 5 else ''}\n")
    return "\n".join([*lines, text]), fine and (write or not groups)


def _read_by_a_map(workspace: Workspace, path: Path) -> bool:
    try:
        return inspect_file(workspace, path)[1]
    except OSError:
        return False


def _proposed(workspace: Workspace, groups: list[Group], *, write: bool) -> tuple[str, bool]:
    names = WellRegistry()
    names.learn(Lake(workspace.lake, workspace.storage).scan(WELLS).collect())
    parts: list[str] = []
    fine = True
    taken: set[str] = set()
    for group in sorted(groups, key=_size):  # tables of wells before the records of these wells
        file = max(group.files, key=lambda path: path.stat().st_size)
        with tempfile.TemporaryDirectory() as spool:
            try:
                found = drafts(file, content_of(file), names, workspace.settings.time_zone, Path(spool), group.patterns)
            except SetAside as aside:
                parts.append("\n".join(aside.lines(file.name)))
                fine = False
                continue
            if not found:
                parts.append(f"{file.name}: no table of the lake fits its columns: write a map by hand")
                fine = False
            rest = [path for path in group.files if path != file]
            for draft in found:
                if draft.shaped is not None and draft.proposal.lands == WELLS.name:
                    names.learn(pl.concat(draft.shaped.rows.frames()))
            for number, draft in enumerate(found):
                decided, unread = settled(draft, file, rest, names, Path(spool) / f"draft {number}")
                decided = replace(decided, proposal=with_revisions(decided.proposal, group.files))
                numbered = with_numbers(decided.proposal, group.files)
                if numbered is not decided.proposal:
                    again = Path(spool) / f"numbered {number}"
                    decided = tried(numbered, content_of(file), file.name, names, again, leave_out=False)
                parts.append(_told(workspace, decided, group, write=write, taken=taken))
                if unread:
                    lines = [f"  {line}" for line in unread[:SHOWN_PROBLEMS]]
                    parts.append("\n".join([f"  It cannot read {len(unread)} of the other files:", *lines]))
                fine = fine and decided.shaped is not None
    if write and groups:
        _drop_unused_first_map(workspace)
    return "\n\n".join(parts), fine


def _size(group: Group) -> int:
    return max(path.stat().st_size for path in group.files)


def _told(workspace: Workspace, draft: Draft, group: Group, *, write: bool, taken: set[str]) -> str:
    """Return the text of one proposal, and save it if asked."""
    proposal = draft.proposal
    lines = [
        f"Proposed map '{proposal.name}' -> table {proposal.lands}, "
        f"for {len(group.files)} file(s) like {group.files[0].name}"
    ]
    if draft.shaped is None:
        lines += [f"  it cannot read the file: {draft.problem}", *_asked(draft), "", proposal.toml()]
        return "\n".join(lines)
    lines.append(f"  {draft.shaped.rows_in} rows read, {draft.shaped.rows.height} would land")
    width = max((len(guess.lake) for guess in proposal.guesses), default=0)
    lines += [f"  {guess.lake:{width}}  {guess.confidence:6}  {guess.why}" for guess in proposal.guesses]
    if proposal.left:
        shown = ", ".join(short(name, 30) for name in proposal.left[:12])
        lines.append(f"  not used: {shown}{' ...' if len(proposal.left) > 12 else ''}")
    lines += [
        f"  finding: {format_quantities(message, workspace.settings.display_units)}"
        for message in told_once(draft.shaped.findings)
    ]
    lines += ["", *_rows(draft)]
    lines += _asked(draft)
    asked = sum(guess.confidence != SURE for guess in proposal.guesses)
    if write:
        path = _saved(workspace, draft, taken)
        lines += ["", f"  written: {path}; edit the {asked} line(s) marked 'check' where they are wrong"]
    else:
        lines += ["", "The map, to save with --write:", "", proposal.toml()]
    return "\n".join(lines)


def _asked(draft: Draft) -> list[str]:
    questions = draft.proposal.questions[:SHOWN_QUESTIONS]
    if not questions:
        return []
    return ["", "  A person must decide:", *(f"  {number}. {text}" for number, text in enumerate(questions, start=1))]


def _rows(draft: Draft) -> list[str]:
    frame = sample_rows(draft)
    if frame is None or frame.is_empty():
        return []
    cells = [frame.columns, *([_cell(value) for value in row] for row in frame.rows())]
    widths = [max(len(row[i]) for row in cells) for i in range(len(frame.columns))]
    return ["  " + "  ".join(f"{text:>{width}}" for text, width in zip(row, widths, strict=True)) for row in cells]


def _cell(value: object) -> str:
    if isinstance(value, float):
        return format_number(value)
    return short(f"{value:%Y-%m-%d %H:%M:%S}" if isinstance(value, datetime) else str(value), 24)


def _saved(workspace: Workspace, draft: Draft, taken: set[str]) -> Path:
    """Write a map under a name that no other map has."""
    workspace.maps.mkdir(parents=True, exist_ok=True)
    used = taken | {path.stem for path in workspace.maps.glob("*.toml")}
    name, number = draft.proposal.name, 2
    while name in used:
        name, number = f"{draft.proposal.name}_{number}", number + 1
    taken.add(name)
    path = workspace.maps / f"{name}.toml"
    replace_text(path, draft.proposal.toml().replace(f'name = "{draft.proposal.name}"', f'name = "{name}"', 1))
    return path


def _drop_unused_first_map(workspace: Workspace) -> None:
    """Remove the example map of `init` if it was never edited: it would claim the same files."""
    path = workspace.maps / "first_map.toml"
    if path.exists() and path.read_text(encoding="utf-8") == FIRST_MAP_TEXT:
        path.unlink()
