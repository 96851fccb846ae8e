"""What would be made of a file; nothing is written."""

from __future__ import annotations

from pathlib import Path

import polars as pl

from pipeline.errors import HeelwardError, SetAside
from pipeline.ingest.maps import LoadedMap, load_maps
from pipeline.ingest.names import Names
from pipeline.ingest.read import content_of, read_raw
from pipeline.ingest.shape import Shaped, shape
from pipeline.ingest.suggest import suggest
from pipeline.lake import Lake
from pipeline.schemas import WELLS
from pipeline.workspace import Workspace


def inspect_file(workspace: Workspace, file: Path) -> tuple[str, bool]:
    """Describe what a workspace's maps would make of a file.

    Parameters
    ----------
    workspace : Workspace
    file : Path

    Returns
    -------
    text : str
    usable : bool
        Whether some map can read it.

    Raises
    ------
    HeelwardError
        If there is no such file.
    """
    if not file.is_file():
        raise HeelwardError(f"there is no file {file}")
    names = Names()
    names.learn(Lake(workspace.lake, workspace.settings.storage).scan(WELLS).collect())
    try:
        data = content_of(file)
    except SetAside as aside:
        return f"{file}\n{_aside(aside)}", False
    maps = load_maps(workspace.maps)
    claiming = [item for item in maps if _claims(workspace, item, file)]
    results = [_under(item, data, file, names) for item in claiming or maps]
    usable = [text for text, fine in results if fine]
    if claiming:
        return "\n\n".join([str(file), *(text for text, _ in results)]), bool(usable)
    if usable:
        note = "No map's 'files' matches this path, but these can read it:"
        return "\n\n".join([str(file), note, *usable]), True
    guess = suggest(str(file), data, workspace.settings.time_zone)
    if guess is None:
        return f"{file}\nNo map fits, and the file is no table of text.", False
    return f"{file}\nNo map fits. A first map to save as {workspace.maps.name}/NAME.toml:\n\n{guess.toml}", False


def _claims(workspace: Workspace, loaded: LoadedMap, file: Path) -> bool:
    for folder in workspace.landing:
        if file.resolve().is_relative_to(folder):
            inside = file.resolve().relative_to(folder).as_posix()
            return loaded.source.claims(inside)
    return False


def _under(loaded: LoadedMap, data: bytes, file: Path, names: Names) -> tuple[str, bool]:
    head = f"map {loaded.source.name} -> table {loaded.source.lands}"
    try:
        shaped = shape(read_raw(data, loaded.source), loaded.source, names, file.name)
    except SetAside as aside:
        return f"{head}\n{_aside(aside)}", False
    return f"{head}\n{_described(loaded, shaped)}", True


def _aside(aside: SetAside) -> str:
    at = f" (line {aside.line})" if aside.line is not None else ""
    rest = f"  expected: {aside.expected}\n  found:    {aside.found}\n  mend:     {aside.mend}"
    return f"  would be set aside{at}: {aside.reason}\n{rest}"


def _described(loaded: LoadedMap, shaped: Shaped) -> str:
    frame, table = shaped.frame, loaded.source.table
    lines = [f"  {shaped.rows_in} rows read, {frame.height} would land"]
    if "well_id" in frame.columns:
        wells = frame["well_id"].unique().sort().to_list()
        lines.append(f"  wells: {', '.join(str(well) for well in wells[:6])}{' ...' if len(wells) > 6 else ''}")
    single = [key for key in ("stage", "run") if key in table.key and frame[key].n_unique() == 1]
    lines += [f"  {key}: {frame[key][0]}" for key in single]
    if "time" in table.key:
        lines.append(f"  time: {frame['time'][0]:%Y-%m-%d %H:%M:%S} to {frame['time'][-1]:%Y-%m-%d %H:%M:%S} UTC")
    for name, channel in loaded.source.columns.items():
        unit = table.unit(name)
        if not unit or channel.column is None or name not in frame.columns:
            continue
        low, high = frame.select(low=pl.col(name).min(), high=pl.col(name).max()).row(0)
        span = "void" if low is None else f"{low:.4g} to {high:.4g} {unit}"
        lines.append(f"  {name}: '{channel.column}' in {channel.unit}; {span}")
    lines += [f"  finding: {finding.message}" for finding in shaped.findings] or ["  no findings"]
    return "\n".join(lines)
