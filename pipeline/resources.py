"""Location of queries, report pages and the sample workspace: in an installed wheel or in a checkout."""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Callable
from contextlib import suppress
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any, TypeVar

from pipeline.files import replace_text

Made = TypeVar("Made")
PACKAGE = Path(__file__).parent


def folder(name: str) -> Path:
    """Return one of the product's folders: ``queries``, ``reports`` or ``sample_lake``.

    Raises
    ------
    FileNotFoundError
        If it is in neither location.
    """
    package = Path(str(files("pipeline")))
    for candidate in (package / "_assets" / name, package.parent / name):
        if candidate.is_dir():
            return candidate
    raise FileNotFoundError(f"the folder '{name}' of heelward is missing: reinstall the package")


def kept_at(name: str, package: Path = PACKAGE) -> Path:
    """Return where to keep what takes time to make from the sources: beside the package, or else in a user folder."""
    beside = package / "__pycache__"
    if os.access(beside if beside.exists() else package, os.W_OK):
        return beside / name
    return Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache") / "heelward" / name


def kept(path: Path, read: Callable[[Any], Made]) -> Made | None:
    """Return what a function makes of the JSON that is kept at such a place; None if there is none that it can read."""
    try:
        return read(json.loads(path.read_text(encoding="utf-8")))
    except (OSError, ValueError, TypeError, AttributeError, IndexError):
        return None


def keep(path: Path, made: Any) -> None:
    """Keep something as JSON at such a place, instead of those made from other sources, if it can be written."""
    with suppress(OSError):
        path.parent.mkdir(parents=True, exist_ok=True)
        for other in path.parent.glob(f"{path.name.partition('-')[0]}-*{path.suffix}"):
            if other != path:
                other.unlink(missing_ok=True)
        replace_text(path, json.dumps(made))


def product_digest() -> str:
    """Return a hash of all that determines what is shown of a lake: sources, queries, pages."""
    digest = hashlib.sha256(source_digest(".").encode())
    for name in ("queries", "reports"):
        for path in sorted(one for one in folder(name).rglob("*") if one.is_file() and one.suffix != ".png"):
            digest.update(path.read_bytes())
    return digest.hexdigest()[:16]


@cache
def source_digest(*names: str, package: Path = PACKAGE) -> str:
    """Return a hash of the product's sources in given folders or files; their results depend on these sources."""
    digest = hashlib.sha256()
    for name in names:
        place = package / name
        for path in sorted(place.rglob("*.py")) if place.is_dir() else [place]:
            digest.update(path.read_bytes())
    return digest.hexdigest()[:16]
