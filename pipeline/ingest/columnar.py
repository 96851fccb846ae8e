"""Files whose columns have names of their own: LAS 2.0 and Parquet or Arrow, as columns of text."""

from __future__ import annotations

import io
from dataclasses import dataclass, field

import polars as pl

from pipeline.errors import SetAside, short
from pipeline.ingest.content import Content

LARGEST_BYTES = 256 * 1024**2


@dataclass(frozen=True)
class Columns:
    """Columns of a file.

    Attributes
    ----------
    names, units : list of str
        Units are empty where the file gives none.
    frame : polars.DataFrame
        Text, columns named by their position.
    head : list of str
        What the file says above its data, line by line.
    said : list of str
        All that the file says of each column, if that is more than its name.
    """

    names: list[str]
    units: list[str]
    frame: pl.DataFrame
    head: list[str]
    said: list[str] = field(default_factory=list)


def is_las(first: bytes) -> bool:
    """Whether a file begins as LAS."""
    return first.lstrip(b"\xef\xbb\xbf \r\n").startswith((b"~V", b"~v"))


def is_parquet(first: bytes) -> bool:
    """Whether a file begins as Parquet or Arrow."""
    return first.startswith((b"PAR1", b"ARROW1"))


def read_las(content: Content) -> Columns:
    """Read a LAS file of version 1.2 or 2.0 (Canadian Well Logging Society), indexed by time or depth.

    Raises
    ------
    SetAside
        If it is not LAS, or has no data.
    """
    import lasio

    text = content.all(LARGEST_BYTES).decode("utf-8-sig", "replace")
    if not text.lstrip().startswith("~"):
        raise SetAside(
            "the file is not LAS", "a section that begins with ~V", short(text[:40]), "correct 'kind' in the map"
        )
    try:
        las = lasio.read(
            io.StringIO(text), engine="normal", null_policy="none", ignore_header_errors=True, mnemonic_case="preserve"
        )
    except Exception as error:  # the reader raises its own kinds for damaged files
        raise SetAside(
            "the LAS file cannot be read", "LAS 2.0", short(str(error) or type(error).__name__, 160),
            "ask the provider to send it again",
        ) from error  # fmt: skip
    if not las.curves or not len(las.curves[0].data):
        raise SetAside(
            "the LAS file has no data", "a section ~A with rows", "none", "ask the provider to send it again"
        )
    series = [pl.Series(str(i), list(curve.data), strict=False).cast(pl.String) for i, curve in enumerate(las.curves)]
    told = [item for section in (las.well, las.params) for item in section if str(item.value).strip()]
    head = [f"{name}: {item.value}" for item in told for name in dict.fromkeys((item.mnemonic, item.descr)) if name]
    names = [str(curve.original_mnemonic or curve.mnemonic) for curve in las.curves]
    said = [f"{name} {curve.descr or ''}".strip() for name, curve in zip(names, las.curves, strict=True)]
    return Columns(names, [str(curve.unit or "") for curve in las.curves], pl.DataFrame(series), head, said)


def read_parquet(content: Content) -> Columns:
    """Read a Parquet or an Arrow (IPC) file.

    Raises
    ------
    SetAside
        If it is neither.
    """
    data = content.all(LARGEST_BYTES)
    try:
        frame = pl.read_parquet(io.BytesIO(data)) if data.startswith(b"PAR1") else pl.read_ipc(io.BytesIO(data))
    except pl.exceptions.PolarsError as error:
        raise SetAside(
            "the file is not Parquet or Arrow", "a Parquet or Arrow file", short(str(error), 120),
            "correct 'kind' in the map",
        ) from error  # fmt: skip
    names = frame.columns
    flat = frame.select(pl.col(name).cast(pl.String, strict=False).alias(str(i)) for i, name in enumerate(names))
    return Columns(list(names), [""] * len(names), flat, [])
