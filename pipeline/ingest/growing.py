"""Files that are still being written: a scheduled run lands a file only when it has stopped growing."""

from __future__ import annotations

import json
import time
from collections.abc import Sequence
from dataclasses import replace

from pipeline.files import replace_text
from pipeline.ingest.discover import SourceFile, as_recorded
from pipeline.ingest.known import SourceIndex
from pipeline.workspace import Workspace

OLD_S = 600.0
"""A file that was last written longer ago does not grow. [s]"""
LOOK = "look.json"
"""File of the workspace's state with the files that wait: size, time stamp, and since when they are so."""


def settled_items(
    workspace: Workspace, items: Sequence[SourceFile], known: SourceIndex
) -> tuple[list[SourceFile], int]:
    """Return the files that have stopped growing, and how many wait.

    Parameters
    ----------
    workspace : Workspace
        `settle_s` of its settings says how long a file must have kept its size and time stamp.
    items : sequence of SourceFile
    known : SourceIndex

    Notes
    -----
    A file that is on record as it stands, or was last written long ago, is settled. What waits stays on record as it
    was, and supersedes nothing yet.
    """
    now, before, look = time.time(), _last_look(workspace), {}
    waiting: set[str] = set()
    for item in items:
        row = known.get(item.key)
        if as_recorded(item, row):
            continue
        size, modified, since = before.get(item.path, (None, None, now))
        if now - item.modified_us / 1e6 > OLD_S:
            continue
        same = (size, modified) == (item.size, item.modified_us) and since <= now  # a clock can be set back
        look[item.path] = (item.size, item.modified_us, since if same else now)
        if now - look[item.path][2] < workspace.settings.settle_s or not same:
            waiting.add(item.path)
    if look or before:
        replace_text(workspace.state / LOOK, json.dumps(look))
    return [_not_yet_superseded(item, waiting, known) for item in items if item.path not in waiting], len(waiting)


def _not_yet_superseded(item: SourceFile, waiting: set[str], known: SourceIndex) -> SourceFile:
    if item.superseded_by not in waiting:
        return item
    row = known.get(item.key)
    return item if row is not None and row["state"] == "superseded" else replace(item, superseded_by=None)


def _last_look(workspace: Workspace) -> dict[str, tuple[int, int, float]]:
    try:
        found = json.loads((workspace.state / LOOK).read_text(encoding="utf-8"))
        return {str(path): (int(size), int(modified), float(since)) for path, (size, modified, since) in found.items()}
    except (OSError, ValueError, TypeError, AttributeError):
        return {}
