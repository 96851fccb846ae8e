"""Show how a file would be read; nothing is written."""

from __future__ import annotations

import tempfile
from pathlib import Path

import polars as pl

from pipeline.errors import HeelwardError, SetAside
from pipeline.ingest.content import Content, content_of
from pipeline.ingest.maps import LoadedMap, read_maps
from pipeline.ingest.names import WellRegistry
from pipeline.ingest.prepare import as_set_aside
from pipeline.ingest.read import read_raw
from pipeline.ingest.shape import Shaped, shape
from pipeline.ingest.tally import told_once
from pipeline.lake import Lake
from pipeline.schemas.wells import WELLS
from pipeline.units import format_quantities, format_quantity
from pipeline.workspace import Workspace


def inspect_file(workspace: Workspace, file: Path) -> tuple[str, bool]:
    """Describe how a workspace's maps would read a file.

    Parameters
    ----------
    workspace : Workspace
    file : Path

    Returns
    -------
    text : str
    usable : bool
        Whether any map can read it.

    Raises
    ------
    HeelwardError
        If the file does not exist.
    """
    if not file.is_file():
        raise HeelwardError(f"file not found: {file}")
    names = WellRegistry()
    names.learn(Lake(workspace.lake, workspace.storage).scan(WELLS).collect())
    try:
        content = content_of(file)
    except SetAside as aside:
        return f"{file}\n{_aside(aside)}", False
    system = workspace.settings.display_units
    maps, broken = read_maps(workspace.maps)
    claiming = [item for item in maps if _claims(workspace, item, file)]
    with tempfile.TemporaryDirectory() as spool:
        results = [_under(item, content, file, names, Path(spool), system) for item in claiming or maps]
    text, fine = _told(workspace, file, content, claiming, results)
    return "\n\n".join([text, *(f"This map cannot be used:\n{item}" for item in broken)]), fine


def _told(
    workspace: Workspace, file: Path, content: Content, claiming: list[LoadedMap], results: list[tuple[str, bool]]
) -> tuple[str, bool]:
    usable = [text for text, fine in results if fine]
    if claiming:
        return "\n\n".join([str(file), *(text for text, _ in results)]), bool(usable)
    if usable:
        note = "No map's 'files' pattern matches this path, but these maps can read it:"
        return "\n\n".join([str(file), note, *usable]), True
    return f"{file}\nNo map matches.", False


def _claims(workspace: Workspace, loaded: LoadedMap, file: Path) -> bool:
    for folder in workspace.landing:
        if file.resolve().is_relative_to(folder.resolve()):
            inside = file.resolve().relative_to(folder.resolve()).as_posix()
            return loaded.source.claims(inside)
    return False


def _under(
    loaded: LoadedMap, content: Content, file: Path, names: WellRegistry, spool: Path, system: str
) -> tuple[str, bool]:
    head = f"map {loaded.source.name} -> table {loaded.source.lands}"
    try:
        with as_set_aside(loaded.source.name):
            shaped = shape(read_raw(content, loaded.source), loaded.source, names, file.name, spool)
            return f"{head}\n{_described(loaded, shaped, system)}", True
    except SetAside as aside:
        return f"{head}\n{_aside(aside)}", False


def _aside(aside: SetAside) -> str:
    return "\n".join(f"  {line}" for line in aside.lines()).replace("set aside", "would be set aside", 1)


def _described(loaded: LoadedMap, shaped: Shaped, system: str) -> str:
    rows, table = shaped.rows, loaded.source.table
    lines = [f"  {shaped.rows_in} rows read, {rows.height} would land"]
    if rows.wells:
        wells = sorted(rows.wells)
        lines.append(f"  wells: {', '.join(str(well) for well in wells[:6])}{' ...' if len(wells) > 6 else ''}")
    number = next((key for key in ("stage", "run") if key in table.key), None)
    if number is not None and len(rows.numbers) == 1:
        lines.append(f"  {number}: {next(iter(rows.numbers))}")
    if rows.first is not None and rows.last is not None:
        lines.append(f"  time: {rows.first:%Y-%m-%d %H:%M:%S} to {rows.last:%Y-%m-%d %H:%M:%S} UTC")
    names = [name for name, channel in loaded.source.columns.items() if table.unit(name) and channel.from_rows]
    spans = [frame.select(pl.min(*names).name.suffix(":low"), pl.max(*names).name.suffix(":high")) if names else frame
             for frame in rows.frames()]  # fmt: skip
    for name in names:
        low, high = pl.concat(spans).select(low=pl.min(f"{name}:low"), high=pl.max(f"{name}:high")).row(0)
        channel = loaded.source.columns[name]
        unit = table.unit(name)
        span = "void" if low is None else " to ".join(format_quantity(value, unit, system, 4) for value in (low, high))
        lines.append(f"  {name}: '{channel.shown}' in {channel.unit}; {span}")
    lines += [f"  finding: {format_quantities(message, system)}" for message in told_once(shaped.findings)] or [
        "  no findings"
    ]
    return "\n".join(lines)
