"""A file's content: unpacked, hashed, and read in parts if it is large."""

from __future__ import annotations

import hashlib
import zipfile
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from pipeline.errors import SetAside, short

LARGEST_BYTES = 4 * 1024**3
"""A file with a larger unpacked size is set aside: larger than any plausible record."""
PART_BYTES = 8 * 1024**2
"""Size of the parts in which a file is read. A smaller file is kept in memory; a larger one is read twice, in parts."""

LONGEST_RECORD = 8 * 1024**2
"""Maximum length of a record. [bytes]"""


@dataclass(frozen=True)
class Content:
    """Content of a file.

    Attributes
    ----------
    path : Path
    digest : str
        SHA-256 of the (unpacked) content.
    size : int
        [bytes]
    whole : bytes, optional
        The complete content, if it is small.
    """

    path: Path
    digest: str
    size: int
    whole: bytes | None

    def parts(self) -> Iterator[bytes]:
        """Read the content in parts.

        Raises
        ------
        SetAside
            If it has changed since it was hashed.
        """
        if self.whole is not None:
            yield self.whole
            return
        digest = hashlib.sha256()
        for part in _unpacked(self.path):
            digest.update(part)
            yield part
        if digest.hexdigest() != self.digest:
            raise SetAside(
                "the file changed while it was read", "a file that does not change", "different content",
                "wait until the file is complete; the next ingest reads it again",
            )  # fmt: skip

    def first(self) -> bytes:
        """Return the first part."""
        return next(self.parts(), b"")

    def within(self, most: int) -> Iterator[bytes]:
        """Read the content in parts, if it is not too large.

        Raises
        ------
        SetAside
            If it is larger than ``most`` bytes.
        """
        if self.size > most:
            raise SetAside(
                "the file is too large", f"at most {most // 1024**2} MiB for this kind of file",
                f"{self.size // 1024**2} MiB", "export it as delimited text, or split it",
            )  # fmt: skip
        return self.parts()

    def all(self, most: int) -> bytes:
        """Return the whole content of a file that cannot be read in parts; raises as `within`."""
        return b"".join(self.within(most))


def content_of(path: Path) -> Content:
    """Read a file once: hash and size, and its content if it is small.

    Raises
    ------
    SetAside
        If it is empty, has a gzip name but is not gzip, or unpacks to more than 4 GiB.
    OSError
        If it cannot be read.
    """
    digest, size, first, blank = hashlib.sha256(), 0, b"", True
    for part in _unpacked(path):
        first = first or part
        blank = blank and not part.strip()
        size += len(part)
        digest.update(part)
        if size > LARGEST_BYTES:
            raise SetAside("the file is too large", "at most 4 GiB unpacked", "more", "split the file")
    if blank:
        raise SetAside("the file is empty", "a header and rows", "nothing", "ask the provider to send it again")
    return Content(path, digest.hexdigest(), size, first if len(first) == size else None)


def _unpacked(path: Path) -> Iterator[bytes]:
    with path.open("rb") as file:
        if path.suffix.lower() == ".gz":
            yield from _gunzipped(iter(lambda: file.read(PART_BYTES), b""))
        elif path.suffix.lower() == ".zip":
            yield from _unzipped(file)
        else:
            while part := file.read(PART_BYTES):
                yield part


def _unzipped(file: BinaryIO) -> Iterator[bytes]:
    """Unpack the one file of a zip archive, in parts."""
    again = "pack each file on its own, or unpack them into the landing folder"
    try:
        with zipfile.ZipFile(file) as archive:
            held = [item for item in archive.infolist() if not item.is_dir()]
            if len(held) != 1:
                raise SetAside("the archive does not hold one file", "one file", f"{len(held)} files", again)
            with archive.open(held[0]) as packed:
                while part := packed.read(PART_BYTES):
                    yield part
    except (zipfile.BadZipFile, zlib.error, EOFError, RuntimeError, NotImplementedError) as error:
        raise SetAside(
            "the file cannot be unpacked", "a zip archive without a password", short(str(error), 80), again
        ) from error  # fmt: skip


def _gunzipped(packed: Iterator[bytes]) -> Iterator[bytes]:
    """Unpack a gzip stream of one member or several, in parts of bounded size."""
    stream, ended, waiting = zlib.decompressobj(wbits=31), False, b""
    try:
        for part in packed:
            waiting += part
            while waiting:
                if ended:  # another member, or padding added by some writers
                    waiting = waiting.lstrip(b"\x00")
                    if not waiting:
                        break
                    stream, ended = zlib.decompressobj(wbits=31), False
                unpacked = stream.decompress(waiting, PART_BYTES)
                ended = stream.eof
                waiting = stream.unused_data if ended else stream.unconsumed_tail
                if unpacked:
                    yield unpacked
                elif not ended:
                    break
    except zlib.error as error:
        raise SetAside(
            "the file cannot be unpacked", "a gzip file", str(error), "ask the provider to send it again"
        ) from error
    if not ended:
        raise SetAside(
            "the file is truncated", "a complete file", "a truncated gzip stream", "ask the provider to send it again"
        )


def whole_lines(text: Iterator[bytes], too_long: Exception) -> Iterator[bytes]:
    """Yield a text in pieces that end where a line ends; raise an error if a line is longer than any record."""
    waiting = b""
    for part, last in with_last(text):
        piece = waiting + part if waiting else part
        end = len(piece) if last else piece.rfind(b"\n") + 1
        waiting, piece = piece[end:], piece[:end]
        if len(waiting) > LONGEST_RECORD:
            raise too_long
        if piece:
            yield piece


def with_last(parts: Iterator[bytes]) -> Iterator[tuple[bytes, bool]]:
    """Yield parts, and whether each is the last."""
    part = next(parts, b"")
    for following in parts:
        yield part, False
        part = following
    yield part, True
