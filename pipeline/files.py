"""Files that are written whole or not at all."""

from __future__ import annotations

import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

PART = ".part"


def replace_text(path: Path, text: str) -> None:
    """Write a file atomically: a reader, or a kill at any time, finds the old text or the new text, never a part."""
    replace_bytes(path, text.encode())


def replace_bytes(path: Path, content: bytes) -> None:
    """Write a file's bytes in the same way."""
    with replacing(path) as part:
        part.write_bytes(content)


@contextmanager
def replacing(path: Path) -> Iterator[Path]:
    """Yield a temporary path that replaces a file if the block succeeds, and is removed if it fails."""
    part = path.with_name(f".{path.name[:80]}.{uuid.uuid4().hex}{PART}")
    try:
        yield part
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)


def sweep_parts(folder: Path, *, deep: bool, of: str = "") -> None:
    """Remove what killed writes left in a folder (those of one file, if named); nothing else may be writing there."""
    for part in folder.rglob(f".*{PART}") if deep else folder.glob(f".{of}*{PART}"):
        part.unlink(missing_ok=True)
