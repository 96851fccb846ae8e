"""Build the report: one self-contained page, every number from a saved query."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import duckdb
import jinja2
import polars as pl
import vl_convert
from markupsafe import Markup

from pipeline import __version__, resources
from pipeline.lake import Lake
from pipeline.report import queries
from pipeline.report.audit import draw_audit
from pipeline.report.charts import draw
from pipeline.report.pages import ChartSpec, load_pages
from pipeline.schemas import Table
from pipeline.units import shown
from pipeline.workspace import Workspace, replace_text

CAUTION = (
    "Treating at pressure, perforating with explosives, coiled tubing under pressure and high-pressure iron can kill. "
    "The figures here are for engineering review. They are no operating limits, and they defer to the well's approved "
    "programme, the equipment's rated limits, local regulation and the responsible licensed engineer."
)
_LEDGER = (
    ("stages", False), ("plugs", False), ("coil_runs", False), ("acceptance", False),
    ("toe_preparation", False), ("wireline", False), ("pad_days", False), ("cost_units", False), ("neighbours", False),
    ("quarter_safety", False), ("amendments_by_pick", True), ("amendments", False),
    ("set_aside", True), ("findings_by_kind", True),
    ("findings", False), ("who_can_be_compared", False), ("production_excluded", False),
    ("model_cards", False), ("sources", False),
)  # fmt: skip


@dataclass(frozen=True)
class Built:
    """What a report is: where it lies and what it shows."""

    path: Path
    charts: int
    size_bytes: int


def build(
    workspace: Workspace,
    lake: Lake,
    tables: Sequence[Table],
    versions: Mapping[str, int],
    progress: Callable[[int, int, str], None] | None = None,
) -> Built:
    """Write the report.

    Parameters
    ----------
    workspace : Workspace
    lake : Lake
        Pinned to ``versions``.
    tables : sequence of Table
        What queries may read.
    versions : mapping of str to int
        Shown in the report.
    progress : callable, optional
        Told (done, to do, what).

    Returns
    -------
    Built
    """
    system = workspace.settings.display_units
    connection = lake.connect(tables)
    draw_audit(lake, workspace.out / "audit", CAUTION, progress=progress)
    pages, specs = [], {}
    definitions = load_pages()
    total = sum(len(page.charts) for page in definitions) + len(_LEDGER)
    done = 0
    for page in definitions:
        charts = []
        for chart in page.charts:
            identity = f"chart-{done}"
            drawn = _chart(connection, chart, identity, system)
            if drawn["spec"] is not None:
                specs[identity] = drawn["spec"]
            charts.append(drawn)
            done += 1
            if progress is not None:
                progress(done, total, f"{page.title}: {chart.query}")
        anchor = page.title.lower().replace(" ", "-")
        pages.append(
            {"title": page.title, "reader": page.reader, "question": page.question, "anchor": anchor, "charts": charts}
        )
    ledger = []
    for name, opened in _LEDGER:
        ledger.append(_table(connection, name, opened, system))
        done += 1
        if progress is not None:
            progress(done, total, name)
    headline = _frame(connection, "headline", {}, system)[0].row(0, named=True)
    html = render(
        "report.html", bundle=_bundle(), title=workspace.settings.title, headline=headline, pages=pages,
        tables=ledger, caution=CAUTION, versions=versions, specs=_script_json(specs),
        built_at=f"{datetime.now(UTC):%Y-%m-%d %H:%M}",
    )  # fmt: skip
    workspace.out.mkdir(parents=True, exist_ok=True)
    path = workspace.out / "report.html"
    replace_text(path, html)
    return Built(path, len(specs), path.stat().st_size)


def _frame(
    connection: duckdb.DuckDBPyConnection, name: str, given: Mapping[str, Any], system: str
) -> tuple[pl.DataFrame, dict[str, str], queries.Query]:
    """Run a query; return its rows in the units shown, the labels of the units, and the query."""
    query = queries.load(name)
    frame = queries.run(connection, query, dict(given))
    labels = {}
    for column in query.columns:
        if not column.unit:
            continue
        line, label = shown(column.unit, system)
        labels[column.name] = label
        if (line.factor, line.offset) != (1.0, 0.0):
            frame = frame.with_columns(pl.col(column.name) * line.factor + line.offset)
    return frame, labels, query


def _chart(connection: duckdb.DuckDBPyConnection, chart: ChartSpec, identity: str, system: str) -> dict[str, Any]:
    frame, labels, query = _frame(connection, chart.query, chart.given, system)
    given = chart.given if chart.title_given is None else chart.title_given
    title = str(_frame(connection, chart.title, given, system)[0]["title"][0])
    spec = None if frame.is_empty() else draw(chart, frame, labels)
    alt = f"{query.title}. {title}. {frame.height} rows."
    return {
        "id": identity, "title": title, "words": chart.words, "query": chart.query, "spec": spec, "alt": alt,
        "empty": query.grain + " is needed",
    }  # fmt: skip


def _table(connection: duckdb.DuckDBPyConnection, name: str, opened: bool, system: str) -> dict[str, Any]:
    frame, labels, query = _frame(connection, name, {}, system)
    columns = [
        {
            "label": column.name.replace("_", " ") + (f" [{labels[column.name]}]" if column.name in labels else ""),
            "meaning": column.meaning,
        }
        for column in query.columns
    ]
    numeric = [frame.schema[column.name].is_numeric() for column in query.columns]
    rows = [
        [{"text": cell(value), "number": number, "href": None} for value, number in zip(row, numeric, strict=True)]
        for row in frame.select(column.name for column in query.columns).iter_rows()
    ]
    _link_stages(rows, frame)
    return {
        "title": query.title, "anchor": name.replace("_", "-"), "columns": columns, "rows": rows, "query": name,
        "open": opened and bool(rows),
    }  # fmt: skip


def _link_stages(rows: list[list[dict[str, Any]]], frame: pl.DataFrame) -> None:
    """Lead every stage number, and the well beside it, to its audit page."""
    place = {name: index for index, name in enumerate(frame.columns)}
    number = "stage" if "stage" in place else "number"
    if not {"well", "well_id", number} <= set(place) or (number == "number" and "level" not in place):
        return
    levels = frame["level"].to_list() if "level" in frame.columns else ["stage"] * frame.height
    for row, level, well, stage in zip(rows, levels, frame["well_id"], frame[number], strict=True):
        if level == "stage" and well is not None and stage is not None:
            row[place[number]]["href"] = f"audit/{well}/{stage}.svg"
            row[place["well"]]["href"] = f"audit/{well}/index.html"


def cell(value: Any) -> str:
    """Return a value as a reader expects it; unknown is a dash, never a zero."""
    if value is None:
        return "–"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:,.0f}" if abs(value) >= 1000 else f"{value:,.4g}"
    if isinstance(value, datetime):
        return f"{value:%Y-%m-%d %H:%M:%S}"
    if isinstance(value, date):
        return value.isoformat()
    return str(value)


def _script_json(value: Any) -> Markup:
    """Return JSON that cannot end the script element it stands in."""
    text = json.dumps(value, separators=(",", ":"), ensure_ascii=True, allow_nan=False)
    return Markup(text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026"))


def render(template: str, **values: Any) -> str:
    """Return a page from a template of `reports/`, everything that is not markup escaped, with the style inside."""
    folder = resources.folder("reports")
    environment = jinja2.Environment(
        loader=jinja2.FileSystemLoader(folder / "templates"), autoescape=True, undefined=jinja2.StrictUndefined,
        trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip
    style = Markup((folder / "report.css").read_text(encoding="utf-8"))
    return environment.get_template(template).render(style=style, code_version=__version__, **values)


def _bundle() -> Markup:
    """Return the chart library as a script that needs no network."""
    return Markup(vl_convert.javascript_bundle("window.vegaEmbed = vegaEmbed;").replace("</script", "<\\/script"))
