"""Page definitions: queries, charts and texts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

from pydantic import Field

from pipeline import resources
from pipeline.errors import HeelwardError
from pipeline.workspace import Frozen, parse_toml


class ChartSpec(Frozen):
    """One chart of a page.

    Attributes
    ----------
    kind : str
        Chart type in ``charts.py``.
    query, given : str, dict
        The saved query and the values of its parameters.
    title, title_given : str, dict
        The query whose single ``title`` states the result; its parameters (default: those of ``given``).
    x, y, colour : str
        Columns.
    x_label, y_label : str
        Axis titles; the unit is added.
    words : str
        How to read it.
    needs : str
        Which records it is drawn from, said while there are none; default: the rows of its query.
    colour_label : str
        For cells: title of the colours; the unit is added.
    confidence : str
        For cells: column with the confidence of what is drawn; a low one and an amended one are marked.
    steps : list of float
        For cells: four values between the five colours; default: even steps over the usual values.
    colour_order : list of str
        Values with the same colour in all charts with the same list.
    x_end : str
        Column with the end of a timeline bar.
    diagonal : bool
        Whether to draw the line of equal values.
    absent : str
        For intervals: what stands in place of a value that is not given.
    brief : bool
        Whether its title is one of the sentences that open the part.
    cells : str
        For a trend: the query with sums and counts by job, for the line of the selected jobs.
    """

    kind: Literal["trend", "stack", "bars", "interval", "strip", "scatter", "timeline", "funnel", "trade", "cells"]
    query: str
    cells: str | None = None
    given: dict[str, str] = Field(default_factory=dict)
    title: str
    title_given: dict[str, str] | None = None
    x: str
    x_end: str | None = None
    y: str
    colour: str | None = None
    colour_label: str = ""
    confidence: str | None = None
    steps: list[float] | None = Field(default=None, min_length=4, max_length=4)
    colour_order: list[str] = Field(default_factory=list)
    x_label: str
    y_label: str
    words: str
    needs: str = ""
    diagonal: bool = False
    absent: str = "no value"
    brief: bool = False


class Page(Frozen):
    """One part of the report.

    Attributes
    ----------
    title, question : str
    reader : str
    look : str
        A query of one ``sentence``: what to look at next.
    numbers : str
        A query of a few numbers that are shown first: measure, value, limits, verdict, provisional.
    charts : list of ChartSpec
    tables : list of str
        Queries shown as tables below the charts.
    across : dict of str to str
        Tables in which each value of a column gets a column of its own: candidates side by side.
    """

    title: str
    reader: Literal["manager", "analyst", "engineer"]
    question: str
    look: str | None = None
    numbers: str | None = None
    charts: list[ChartSpec]
    tables: list[str] = Field(default_factory=list)
    across: dict[str, str] = Field(default_factory=dict)


def load_pages(folder: Path | None = None) -> list[Page]:
    """Read the page definitions, in the order of their file names."""
    paths = sorted((folder or resources.folder("reports") / "pages").glob("*.toml"))
    pages = [parse_toml(path, Page) for path in paths]
    for place, page in enumerate(pages):
        if page.title in [other.title for other in pages[:place]]:
            raise HeelwardError(f"{paths[place]}: another page has the title '{page.title}': give it another one")
    return pages


@dataclass(frozen=True)
class Labels:
    """What a chart calls its columns.

    Attributes
    ----------
    units : mapping of str to str
        Label of each column's unit; one that has none is absent or empty.
    headings : mapping of str to str
        Heading of each column, with its unit; a column without one goes by its name.
    """

    units: Mapping[str, str] = field(default_factory=dict)
    headings: Mapping[str, str] = field(default_factory=dict)

    def unit(self, column: str) -> str:
        """Return the label of a column's unit, empty if it has none."""
        return self.units.get(column, "")

    def heading(self, column: str) -> str:
        """Return a column's heading."""
        return self.headings.get(column) or column.replace("_", " ")
