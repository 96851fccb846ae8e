"""Maps proposed for files that no map describes, each tried on its own file before it is shown."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import polars as pl

from pipeline.errors import SetAside, short
from pipeline.ingest.content import Content, content_of
from pipeline.ingest.kinds import KINDS, kind_of
from pipeline.ingest.maps import PAD_ZONE, SourceMap, checked, claimer
from pipeline.ingest.names import WellRegistry
from pipeline.ingest.prepare import as_set_aside
from pipeline.ingest.propose import Proposal, pattern_of, propose
from pipeline.ingest.read import read_raw
from pipeline.ingest.shape import Shaped, shape
from pipeline.ingest.sniff import Table, sniff_columns, sniff_rows, sniff_text
from pipeline.ingest.workbook import read_sheet, sheets_of
from pipeline.schemas.wells import WELL_DESIGNS, WELLS

MOST_TRIES = 8
"""Columns that are given up, one after the other, until a proposed map reads its own file."""


@dataclass(frozen=True)
class Draft:
    """A proposed map that was tried on its file.

    Attributes
    ----------
    proposal : Proposal
    source : SourceMap, optional
        The map; None if it is not valid.
    shaped : Shaped, optional
        What it makes of the file; None if it cannot read it.
    problem : str
        Why it cannot be used; empty if it can.
    """

    proposal: Proposal
    source: SourceMap | None
    shaped: Shaped | None
    problem: str


def tables_in(path: Path, content: Content) -> Iterator[tuple[str, Table]]:
    """Yield the tables of a file: sheet (empty for text) and table."""
    first = content.first()
    if first.startswith(b"PK") and path.suffix.lower().startswith(".xls"):
        for sheet in sheets_of(content):
            first_rows = next(read_sheet(content, sheet))
            rows = [["" if cell is None else str(cell) for cell in row] for row in first_rows.rows()]
            found = sniff_rows(rows)
            if found is not None:
                yield sheet, found
        return
    if kind := kind_of(first):
        held = KINDS[kind].read(content)
        columns = [column.fill_null("").to_list() for column in held.first]
        yield "", sniff_columns(held.names, held.units, columns, held.head, held.said)
        return
    found = sniff_text(first)
    if found is not None:
        yield "", found


def drafts(
    path: Path, content: Content, names: WellRegistry, zone: str, spool: Path, files: tuple[str, ...] = ()
) -> list[Draft]:
    """Propose a map for each table of a file, and try it.

    Parameters
    ----------
    path : Path
    content : Content
    names : WellRegistry
    zone : str
        Time zone of clock times that do not say theirs.
    spool : Path
        Folder for rows that are too large for memory.
    files : tuple of str
        Patterns of the files that the map is for; from the file's name if empty.
    """
    found = []
    with as_set_aside("of the proposal"):  # what no map describes can hold anything
        kind = kind_of(content.first())
        for sheet, table in tables_in(path, content):
            made = partial(propose, path.name, table, sheet=sheet, files=files, kind=kind)
            proposal = made(zone)
            if proposal is None:
                continue
            draft = tried(proposal, content, path.name, names, spool)
            found.append(_on_known_clock(draft, made, content, path.name, names, spool))
            if proposal.lands == WELL_DESIGNS.name:  # such tables say what the wells are, too
                also = made(zone, only=WELLS.name)
                found += [] if also is None else [tried(also, content, path.name, names, spool)]
    return found


def _on_known_clock(
    draft: Draft,
    made: Callable[[str], Proposal | None],
    content: Content,
    file_name: str,
    names: WellRegistry,
    spool: Path,
) -> Draft:
    """Return the draft with the local time of its wells, where the wells table tells it."""
    if draft.shaped is not None:
        zones = {names.zones.get(well) for well in draft.shaped.rows.wells}
    else:  # perhaps because of a clock change
        zones = set(names.zones.values())
    if not zones or None in zones or (len(zones) > 1 and draft.shaped is not None):
        return draft
    for zone in (PAD_ZONE, *sorted(zones, key=str)):  # a file with wells in a column needs the zone itself
        proposal = made(str(zone))
        if proposal is None or proposal.toml() == draft.proposal.toml():
            return draft
        other = tried(proposal, content, file_name, names, spool / "local", leave_out=False)
        if other.shaped is not None:
            return other
    return draft


def tried(
    proposal: Proposal,
    content: Content,
    file_name: str,
    names: WellRegistry,
    spool: Path,
    *,
    leave_out: bool = True,
) -> Draft:
    """Read a file with a proposed map; columns that keep it from being read are left out, and asked, if allowed."""
    problem = ""
    source: SourceMap | None = None
    for attempt in range(MOST_TRIES):
        source, problems = checked(tomllib.loads(proposal.toml()))
        problem = "; ".join(problems)
        culprit = next((lake for text in problems if (lake := _named_column(text)) is not None), None)
        if source is not None and not problems:
            try:
                with as_set_aside(source.name):
                    shaped = shape(read_raw(content, source), source, names, file_name, spool / str(attempt))
                return Draft(proposal, source, shaped, "")
            except SetAside as aside:
                problem = str(aside)
                culprit = _culprit(proposal, aside)
        if not leave_out or culprit is None or not any(guess.lake == culprit for guess in proposal.guesses):
            break
        proposal = proposal.without(
            culprit, f"{culprit}: left out, because the file could not be read with it: {short(problem, 160)}"
        )
    return Draft(proposal, source, None, problem)


def _named_column(problem: str) -> str | None:
    match = re.match(r"columns\.(\w+)", problem)
    return match[1] if match else None


def _culprit(proposal: Proposal, aside: SetAside) -> str | None:
    """Return the column that a message names, unless the file cannot be read without it."""
    for guess in proposal.guesses:
        if (
            guess.lake not in ("time", "well_id", "stage", "run")
            and guess.heading
            and f"'{short(guess.heading)}'" in aside.reason
        ):
            return guess.lake
    return None


@dataclass(frozen=True)
class Group:
    """Files of a folder with one layout: the files, and the patterns that claim them."""

    files: list[Path]
    patterns: tuple[str, ...] = ()


def grouped(folder: Path, paths: Iterable[Path], rivals: Sequence[Path] = ()) -> list[Group]:
    """Group the files of a folder by their layout; files without a table are left out.

    Parameters
    ----------
    folder : Path
        The landing folder, which patterns start from.
    paths : iterable of Path
    rivals : sequence of Path
        Further files that no pattern may claim: other maps read them.
    """
    by_layout: dict[tuple[object, ...], list[Path]] = {}
    for path in paths:
        try:
            with as_set_aside("of the proposal"):
                found = [(sheet, *_layout(table)) for sheet, table in tables_in(path, content_of(path))]
        except (SetAside, OSError):
            continue
        if found:
            by_layout.setdefault((_kind(path).lower(), *found), []).append(path)
    groups = []
    for files in by_layout.values():
        others = [*rivals, *(path for held in by_layout.values() if held is not files for path in held)]
        groups += _patterns(folder, files, others)
    return [_apart(folder, group, groups) for group in groups]


def _apart(folder: Path, group: Group, groups: list[Group]) -> Group:
    """Return a group whose patterns another one has too with the paths of its files instead."""
    shared = any(set(group.patterns) & set(other.patterns) for other in groups if other is not group)
    return _by_path(folder, group) if shared else group


def _by_path(folder: Path, group: Group) -> Group:
    """Return a group with the paths of its files as patterns; those outside of the folder have none."""
    files = sorted(path.resolve() for path in group.files)
    paths = [path.relative_to(folder).as_posix() for path in files if path.is_relative_to(folder)]
    return Group(group.files, tuple(re.sub(r"[*?]", "?", path) for path in paths) or group.patterns)


def without_rivals(folder: Path, group: Group, rivals: Mapping[Path, str]) -> Group:
    """Return a group with the paths of its files instead of patterns that claim files which other maps read.

    Parameters
    ----------
    folder : Path
        The landing folder, which patterns start from.
    group : Group
        A single file has the pattern of its name, if it has none.
    rivals : mapping of Path to str
        Files, with their paths below their landing folder.
    """
    patterns = group.patterns or tuple(sorted({pattern_of(path.name) for path in group.files}))
    claims, mine = claimer(patterns), {path.resolve() for path in group.files}
    claimed = any(claims(below) for path, below in rivals.items() if path not in mine)
    return _by_path(folder, group) if claimed else group


def _layout(table: Table) -> tuple[object, ...]:
    return (table.delimiter, table.decimal, table.header_row, table.units_row, tuple(table.names), tuple(table.units))


def _patterns(folder: Path, files: list[Path], others: list[Path]) -> list[Group]:
    """Return the widest patterns that claim all these files and none of the others."""
    endings = {_ending(path) for path in files}
    rivals = [other for other in others if _ending(other) in endings]
    if not rivals:
        return [Group(files, tuple(f"**/*{ending}" for ending in sorted(endings)))]
    parents = {path.parent for path in files}
    if not parents & {rival.parent for rival in rivals} and all(path.is_relative_to(folder) for path in rivals):
        groups = []
        for parent in sorted(parents):
            held = [path for path in files if path.parent == parent]
            above = "".join(f"{part}/" for part in parent.relative_to(folder).parts)
            groups.append(
                Group(held, tuple(f"{above}*{ending}" for ending in sorted({_ending(path) for path in held})))
            )
        return groups
    by_name: dict[str, list[Path]] = {}
    for path in files:
        by_name.setdefault(pattern_of(path.name.removesuffix(_packed(path))), []).append(path)
    return [Group(held, tuple(sorted({pattern_of(path.name) for path in held}))) for held in by_name.values()]


def _packed(path: Path) -> str:
    """Return the ending of a compressed file, which stands behind that of its content; empty if it is none."""
    return path.suffix if path.suffix.lower() in (".gz", ".zip") and len(path.suffixes) > 1 else ""


def _kind(path: Path) -> str:
    """Return the ending of a file, without that of its compression."""
    return Path(path.name.removesuffix(_packed(path))).suffix


def _ending(path: Path) -> str:
    return f"{_kind(path)}{_packed(path)}"


def sample_rows(draft: Draft, count: int = 3) -> pl.DataFrame | None:
    """Return the first rows that a draft would land, without empty columns."""
    if draft.shaped is None:
        return None
    frame = next(iter(draft.shaped.rows.frames()), None)
    if frame is None:
        return None
    some = frame.drop("source_row").head(count)
    return some.select(name for name in some.columns if some[name].null_count() < some.height)
