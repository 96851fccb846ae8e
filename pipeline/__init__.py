"""heelward: reads records of well completions; writes measured stages, fair comparisons and a team report."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pipeline.notebook import OpenWorkspace

__version__ = "0.2.0.dev0"


def open_workspace(folder: Path | str) -> OpenWorkspace:
    """Open a workspace for queries from Python: saved queries and SQL, as Polars frames.

    Parameters
    ----------
    folder : path
        The folder of its ``heelward.toml``.
    """
    from pipeline.notebook import OpenWorkspace  # imported here: the help of the command line must not load it

    return OpenWorkspace(Path(folder))
