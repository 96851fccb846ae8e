"""Backup of a workspace in one file, and its restoring: complete, or not at all."""

from __future__ import annotations

import hashlib
import io
import json
import os
import shutil
import tarfile
import uuid
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path, PurePosixPath

from pipeline import __version__
from pipeline.errors import HeelwardError
from pipeline.files import replacing
from pipeline.ingest import amend
from pipeline.locks import held
from pipeline.workspace import SETTINGS_FILE, Workspace, open_workspace

MANIFEST = "backup.json"
"""First member: version, time, and the size and sum of every file."""
CHUNK = 1024 * 1024


def backup(workspace: Workspace, file: Path, *, records: bool) -> str:
    """Write a backup while no run works on the workspace.

    Raises
    ------
    HeelwardError
        If the file exists, or the lake is not a folder of the workspace.
    """
    if file.exists():
        raise HeelwardError(f"{file} exists already: give another name")
    lake = Path(workspace.lake)
    if "://" in workspace.lake or not lake.resolve().is_relative_to(workspace.root):
        raise HeelwardError(
            f"the lake is not in the workspace's folder: {workspace.lake}\nfix: copy it with its own tools"
        )
    with held(workspace.state / "run.lock", "backup", workspace.settings.wait_s), replacing(file) as part:
        files = {path.relative_to(workspace.root).as_posix(): path for path in _files(workspace, records=records)}
        sums = {name: [path.stat().st_size, _digest(path)] for name, path in files.items()}
        about = {"heelward": __version__, "at": f"{datetime.now(UTC):%Y-%m-%dT%H:%M:%SZ}", "files": sums}
        with tarfile.open(part, "w", format=tarfile.PAX_FORMAT) as archive:
            text = json.dumps(about, ensure_ascii=False).encode()
            member = tarfile.TarInfo(MANIFEST)
            member.size = len(text)
            archive.addfile(member, io.BytesIO(text))
            for name, path in files.items():
                archive.add(path, name, recursive=False)
    return f"backup: {len(files)} files, {file.stat().st_size / 1e6:.1f} MB in {file}"


def _files(workspace: Workspace, *, records: bool) -> Iterator[Path]:
    """Yield what a workspace needs to go on: not what can be drawn again."""
    folders = [workspace.maps, Path(workspace.lake)]
    folders += [folder for folder in workspace.landing if records and folder.resolve().is_relative_to(workspace.root)]
    single = [
        workspace.root / SETTINGS_FILE,
        workspace.root / amend.FILE,
        *([workspace.plan] if workspace.plan else []),
    ]
    yield from (path for path in single if path.is_file() and path.resolve().is_relative_to(workspace.root))
    for folder in folders:
        yield from (path for path in sorted(folder.rglob("*")) if path.is_file() and not path.is_symlink())


def restore(file: Path, folder: Path) -> str:
    """Restore a backup into a new folder.

    Raises
    ------
    HeelwardError
        If the folder exists, or the file is no complete backup; nothing is left behind then.
    """
    if folder.exists():
        raise HeelwardError(f"{folder} exists already: give the name of a new folder")
    part = folder.with_name(f".{folder.name}.{uuid.uuid4().hex}.part")
    try:
        with tarfile.open(file, "r") as archive:
            about = json.load(_opened(archive, archive.next()))
            expected = dict(about["files"])
            while (member := archive.next()) is not None:
                _extract(archive, member, expected, part)
        if expected:
            raise HeelwardError(
                f"{file} is not complete: {len(expected)} file(s) are missing, such as {next(iter(expected))}"
            )
        open_workspace(part)
        part.rename(folder)
    except (tarfile.TarError, OSError, ValueError, KeyError, TypeError, AttributeError) as error:
        raise HeelwardError(
            f"{file} cannot be restored: {error or type(error).__name__}\nfix: use another backup"
        ) from error
    finally:
        shutil.rmtree(part, ignore_errors=True)
    return (
        f"restored: {len(about['files'])} files of {about['at']} to {folder}\n"
        f"`heelward check -w {folder}` verifies them, `heelward refresh -w {folder}` draws the report"
    )


def _extract(
    archive: tarfile.TarFile, member: tarfile.TarInfo, expected: dict[str, list[int | str]], part: Path
) -> None:
    """Write one file of a backup below a folder, if it is the one that the manifest names."""
    size, digest = expected.pop(member.name, (None, None))
    safe = not PurePosixPath(member.name).is_absolute() and ".." not in PurePosixPath(member.name).parts
    if not safe or not member.isfile() or member.size != size:
        raise HeelwardError(f"the backup is damaged: {member.name}\nfix: use another backup")
    path = part / member.name
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("wb") as out:
        shutil.copyfileobj(_opened(archive, member), out, CHUNK)
    if _digest(path) != digest:
        raise HeelwardError(f"the backup is damaged: the sum of {member.name} differs\nfix: use another backup")
    os.utime(path, (member.mtime, member.mtime))  # a file that keeps its time is not read again


def _opened(archive: tarfile.TarFile, member: tarfile.TarInfo | None) -> io.BufferedReader:
    found = None if member is None else archive.extractfile(member)
    if found is None:
        raise ValueError("it is no backup of heelward")
    return found  # type: ignore[return-value]


def _digest(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
