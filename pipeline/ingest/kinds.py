"""Kinds of files whose columns have names of their own, by what they begin with."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from pipeline.ingest.columnar import Columns, is_las, is_parquet, read_las, read_parquet
from pipeline.ingest.content import Content
from pipeline.ingest.witsml import is_witsml, read_witsml


@dataclass(frozen=True)
class Kind:
    """How a kind of file is recognised by its first bytes, and read."""

    recognises: Callable[[bytes], bool]
    read: Callable[[Content], Columns]


KINDS = {
    "las": Kind(is_las, read_las),
    "parquet": Kind(is_parquet, read_parquet),
    "witsml": Kind(is_witsml, read_witsml),
}


def kind_of(first: bytes) -> str:
    """Return the kind of a file that has columns of its own; empty for text."""
    return next((name for name, kind in KINDS.items() if kind.recognises(first)), "")
