"""Counts of a file's cells over all its pieces, and the findings from these counts."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field

import polars as pl

from pipeline.errors import SetAside, short
from pipeline.ingest.maps import SourceMap
from pipeline.ingest.names import WellRegistry
from pipeline.ingest.read import RawFile, few
from pipeline.schemas.base import meta
from pipeline.units import qty

WRONG_UNIT_SHARE = 0.05
"""If a larger share of samples is outside the hard range, the unit is wrong. [1]"""


@dataclass
class Finding:
    """A problem in a file that did not prevent its landing."""

    kind: str
    message: str
    row: int | None = None
    rows: int | None = None


def told_once(findings: list[Finding]) -> list[str]:
    """Return the messages of findings, one per kind, with the number of others like it."""
    kinds: dict[str, list[Finding]] = {}
    for finding in findings:
        kinds.setdefault(finding.kind, []).append(finding)
    return [
        held[0].message + (f" (and {len(held) - 1} more like it)" if len(held) > 1 else "") for held in kinds.values()
    ]


@dataclass
class Tally:
    """Counts of the cells of a column over all pieces of a file.

    Attributes
    ----------
    rows, values : int
        Number of cells, and of valid values.
    bad, outside, unusual, skipped : int
        Invalid cells, values outside the hard range or the usual range, and times skipped by a clock change.
    zeros : int
        Zeros that stand for no value, where the range excludes them.
    expected : str
        Expected content of a cell.
    first_bad, first_outside : (line, text), optional
        The first such cell.
    """

    rows: int = 0
    values: int = 0
    bad: int = 0
    outside: int = 0
    unusual: int = 0
    skipped: int = 0
    zeros: int = 0
    expected: str = "a value"
    first_bad: tuple[int, str] | None = None
    first_outside: tuple[int, str] | None = None


@dataclass
class FileJob:
    """State of converting one file: its map and content, the known wells, groups of its name and head, its findings.

    `created` has, by folded name, the id, name and line of each well that the file names and no wells table has;
    `passed_midnight` is the last time of day in microseconds, and the days that passed, where times have no date.
    """

    source: SourceMap
    raw: RawFile
    names: WellRegistry
    groups: dict[str, str]
    file_name: str = ""
    passed_midnight: tuple[int, int] = (-1, 0)
    findings: list[Finding] = field(default_factory=list)
    created: dict[str, tuple[str, str, int | None]] = field(default_factory=dict)
    tallies: dict[str, Tally] = field(default_factory=lambda: defaultdict(Tally))


def judge(work: FileJob) -> None:
    """Add findings for the problems in the cells of all pieces.

    Raises
    ------
    SetAside
        If a column has too many invalid cells, or too many values outside its possible range.
    """
    for lake, tally in work.tallies.items():
        _judge_bad(work, lake, tally)
        _judge_outside(work, lake, tally)
        text = isinstance(work.source.table.columns[lake].dtype, pl.String)
        channel = work.source.columns[lake]
        if tally.values == tally.outside and tally.rows and not text and not channel.optional:
            heading = short(channel.shown or lake)
            message = f"'{heading}' ({lake}) has no value in any of {tally.rows} row(s)"
            work.findings.append(Finding("void_column", message, rows=tally.rows))


def _judge_bad(work: FileJob, lake: str, tally: Tally) -> None:
    if not tally.bad or tally.first_bad is None:
        return
    line, shown = tally.first_bad
    heading = short(work.source.columns[lake].shown or lake)
    if not few(tally.bad, tally.rows) or tally.bad == tally.rows:
        raise SetAside(
            f"'{heading}' is not {tally.expected} in {tally.bad} of {tally.rows} rows", tally.expected, f"'{shown}'",
            "correct the file, add such texts to 'void_values', translate them in 'words', or correct the "
            f"decimal mark or format in the map '{work.source.name}'", line,
        )  # fmt: skip
    text = f"'{heading}' is not {tally.expected} in {tally.bad} row(s), first '{shown}': void"
    work.findings.append(Finding("not_a_value", text, line, tally.bad))


def _judge_outside(work: FileJob, lake: str, tally: Tally) -> None:
    declared, channel = meta(work.source.table.columns[lake]), work.source.columns[lake]
    unit = work.source.table.unit(lake)
    if tally.outside and tally.first_outside is not None:
        low, high = declared["hard"]
        line, shown = tally.first_outside
        if tally.outside > max(WRONG_UNIT_SHARE * tally.values, 1) or tally.outside == tally.values:
            raise SetAside(
                f"'{short(channel.shown or lake)}' is out of range in {tally.outside} of {tally.values} rows",
                f"{low:g} to {high:g} {unit}".strip(), f"{shown} {unit} when read as '{channel.unit}'",
                f"correct 'unit' in the map '{work.source.name}', or the mapped column", line,
            )  # fmt: skip
        text = f"{lake}: {tally.outside} value(s) outside {qty(low, unit)} to {qty(high, unit)} are void"
        work.findings.append(Finding("void_samples", text, line, tally.outside))
    if tally.zeros:
        text = (
            f"{lake}: {tally.zeros} zero(s) are no value, because it is at least {qty(declared['hard'][0], unit)}: void"
        )
        work.findings.append(Finding("zero_for_missing", text, rows=tally.zeros))
    if tally.unusual:
        low, high = declared["soft"]
        text = f"{lake}: {tally.unusual} value(s) outside the usual {qty(low, unit)} to {qty(high, unit)}"
        work.findings.append(Finding("unusual_values", text, rows=tally.unusual))


def counted(work: FileJob, lake: str, text: pl.Series, value: pl.Series, expected: str, lines: pl.Series) -> pl.Series:
    """Count the invalid cells of a piece; they are void until `judge` has processed all of them."""
    tally = work.tallies[lake]
    tally.rows += len(text)
    tally.values += value.count()
    tally.expected = expected
    if value.null_count() > text.null_count():
        bad = (text.is_not_null() & (text.cast(pl.String).str.strip_chars() != "") & value.is_null()).arg_true()
        tally.bad += len(bad)
        if len(bad) and tally.first_bad is None:
            tally.first_bad = (int(lines[bad[0]]), short(str(text[int(bad[0])])))
    return value.alias(lake)
