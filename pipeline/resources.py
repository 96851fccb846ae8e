"""Where queries, report pages and the sample workspace lie: in an installed wheel or in a checkout."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path


def folder(name: str) -> Path:
    """Return one of the product's folders: ``queries``, ``reports`` or ``sample_lake``.

    Raises
    ------
    FileNotFoundError
        If it is in neither place.
    """
    package = Path(str(files("pipeline")))
    for candidate in (package / "_assets" / name, package.parent / name):
        if candidate.is_dir():
            return candidate
    raise FileNotFoundError(f"the folder '{name}' of heelward is missing: install the package again")
