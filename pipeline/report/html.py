"""The report as a page: one file, or a folder if one file would be too large to open."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import polars as pl
from markupsafe import Markup

from pipeline.files import replace_text
from pipeline.parallel import Workers, map_unordered
from pipeline.report.content import CHOICES, MOST_POINTS, Content, Drawn, Part, Rows, method_notes
from pipeline.report.dictionary import write_dictionary
from pipeline.report.page_table import anchor_of, packed, table_of
from pipeline.report.pictures import Pictures
from pipeline.report.text import CAUTION, cell
from pipeline.report.theme import plain, render, script, script_json

HEAVIEST = 5_000_000
"""A single page above this many bytes becomes a folder."""
_POINTER = (
    '<!doctype html><html lang="en"><meta charset="utf-8"><title>Report</title>'
    '<meta http-equiv="refresh" content="0; url=report/index.html">'
    '<p><a href="report/index.html">Report</a></p></html>\n'
)
PER_CORE = 14
"""Tables of a large report that pay for starting a process."""
_OPENED = ("amendments_by_pick", "set_aside", "findings_by_kind")


@dataclass(frozen=True)
class Sheet:
    """Texts on every page of a report, in addition to its content.

    Attributes
    ----------
    title, edition : str
        ``edition`` describes what this edition excludes; empty for the plain edition.
    versions : mapping of str to int
        Table versions.
    built_at : str
    root : Path, optional
        The workspace, as base of file paths; None if files are not named.
    beside : sequence of str
        Files written beside the page, which it links: ``pdf``, ``xlsx``.
    """

    title: str
    edition: str
    versions: Mapping[str, int]
    built_at: str
    root: Path | None
    beside: Sequence[str] = ()


def write_html(content: Content, sheet: Sheet, out: Path, pictures: Pictures, workers: Workers | None = None) -> Path:
    """Write the report to a folder: ``report.html``, or ``report/index.html`` if that would be too large.

    Parameters
    ----------
    content : Content
    sheet : Sheet
    out : Path
    pictures : Pictures
    workers : Workers, optional
        Where pictures are drawn and large tables are written; default: on this machine.

    Returns
    -------
    Path
        The page to open.
    """
    write_dictionary(out)
    single, folder = out / "report.html", out / "report"
    if len(pictures.script()) + sum(_least_bytes(rows.frame) for rows in content.ledger) <= HEAVIEST:
        pictures.draw(content.sketches, workers)
        page = _page(content, sheet, out, pictures, apart=False)
        if len(page.encode()) <= HEAVIEST:
            replace_text(single, page)
            shutil.rmtree(folder, ignore_errors=True)
            return single
    made = out / "report.part"
    shutil.rmtree(made, ignore_errors=True)
    (made / "ledger").mkdir(parents=True)
    (made / "pictures").mkdir()
    by_size = sorted(content.ledger, key=lambda rows: -rows.frame.height * rows.frame.width)
    for _ in map_unordered(partial(_table_writer, sheet, out, made / "ledger"), by_size, PER_CORE, workers):
        pass
    page = _page(content, sheet, folder, pictures, apart=True)
    pictures.draw(content.sketches, workers)
    for (identity, _), sketch in zip(_drawn_in(content), content.sketches, strict=True):
        (made / "pictures" / f"{identity}.svg").write_text(plain(pictures.svg(sketch)), encoding="utf-8")
    (made / "index.html").write_text(page, encoding="utf-8")
    (made / "charts.js").write_text(pictures.script(), encoding="utf-8")
    old = out / "report.old"
    shutil.rmtree(old, ignore_errors=True)
    if folder.exists():
        folder.rename(old)
    made.rename(folder)
    shutil.rmtree(old, ignore_errors=True)
    replace_text(single, _POINTER)  # links and bookmarks to the page stay valid
    return folder / "index.html"


def _table_writer(sheet: Sheet, out: Path, target: Path) -> Callable[[Rows], None]:
    """Return the function that writes the page of a table, with links as from its final place."""

    def write(rows: Rows) -> None:
        table = table_of(rows, out / "report" / "ledger", sheet.root, out)
        text = render(
            "table.html", title=sheet.title, caution=CAUTION, table=table, edition=sheet.edition,
            packed=packed(table), script=script("tables.js"),
        )  # fmt: skip
        (target / f"{table['anchor']}.html").write_text(text, encoding="utf-8")

    return write


def _least_bytes(frame: pl.DataFrame) -> int:
    """Minimum size of a table in bytes: cell tags, texts, and one character per other value."""
    size = [int(column.str.len_bytes().sum()) if column.dtype == pl.String else column.count() for column in frame]
    return frame.height * frame.width * len("<td></td>") + sum(size)


def _page(content: Content, sheet: Sheet, place: Path, pictures: Pictures, *, apart: bool) -> str:
    """Return the page.

    Parameters
    ----------
    content : Content
    sheet : Sheet
    place : Path
        The folder of the page.
    pictures : Pictures
        Charts as pictures, for readers without a script.
    apart : bool
        Whether the ledger has separate pages.
    """
    out = place.parent if apart else place
    parts: list[dict[str, Any]] = []
    charts: dict[str, dict[str, Any]] = {}
    held: dict[str, int] = {}  # rows, each text once: several charts draw the same ones
    names = _drawn_in(content)
    for part in content.parts:
        shown: list[dict[str, Any]] = []
        for drawn in part.charts:
            if drawn.sketch is not None:
                identity, _ = next(names)
                charts[identity] = _embedded(drawn, held)
                picture = None if apart else Markup(pictures.svg(drawn.sketch))
                shown.append(_figure(drawn, identity) | {"picture": picture})
        tables = [table_of(rows, place, sheet.root, out) for rows in part.tables]
        parts.append(
            {
                "page": part.page, "anchor": part.anchor, "numbers": part.numbers, "brief": part.brief,
                "charts": shown, "tables": tables, "choices": _choices(part), "waits": waits(part), "seen": set(),
            }
        )  # fmt: skip
    ledger = [
        {"title": rows.query.title, "anchor": anchor_of(rows), "count": rows.frame.height}
        | ({} if apart else table_of(rows, place, sheet.root, out))
        for rows in content.ledger
    ]
    cards = next((rows for rows in content.ledger if rows.query.name == "model_cards"), None)
    return render(
        "report.html", title=sheet.title, caution=CAUTION, edition=sheet.edition, headline=content.headline,
        parts=parts, ledger=ledger, apart=apart, opened=_OPENED,
        charts=script_json({"charts": charts, "data": [_as_table(json.loads(text)) for text in held]}),
        script=script("report.js"), tables_script=script("tables.js"),
        bundle=None if apart else Markup(pictures.script().replace("</script", "<\\/script")), notes=method_notes(),
        dictionary="../dictionary.html" if apart else "dictionary.html", records="../audit" if apart else "audit",
        record_kind="html" if any((out / "audit").glob("*/[0-9]*.html")) else "svg",
        queries=sorted(content.used.values(), key=lambda query: query.name), cards=_cards(cards),
        versions=sheet.versions, built_at=sheet.built_at, since=content.since,
        beside=sheet.beside, to_out="../" if apart else "",
    )  # fmt: skip


def _drawn_in(content: Content) -> Iterator[tuple[str, Drawn]]:
    """Yield the charts of a report, each with its name on the page."""
    for number, drawn in enumerate(content.drawn, start=1):
        yield f"chart-{number}", drawn


def _as_table(rows: list[dict[str, Any]]) -> Any:
    """Return rows with their names said once, where all have the same."""
    if not rows or any(row.keys() != rows[0].keys() for row in rows):
        return rows
    return {"names": list(rows[0]), "rows": [list(row.values()) for row in rows]}


def _embedded(drawn: Drawn, held: dict[str, int]) -> dict[str, Any]:
    """Return a chart for the page's script; its rows stand in ``held`` and are named by their place in it."""
    assert drawn.spec is not None
    spec = dict(drawn.spec)
    rows = {name: held.setdefault(json.dumps(each), len(held)) for name, each in spec.pop("datasets").items()}
    return {
        "spec": spec, "datasets": rows, "choices": drawn.choices, "query": drawn.rows.query.name,
        "labels": {name: drawn.rows.label(name) for name in drawn.rows.frame.columns},
        "sampled": drawn.sampled_from is not None,
    }  # fmt: skip


def _figure(drawn: Drawn, identity: str) -> dict[str, Any]:
    query = drawn.rows.query
    sampled = (
        "" if drawn.sampled_from is None else f"A random sample of {MOST_POINTS:,} of {drawn.sampled_from:,} is shown."
    )
    return {
        "id": identity, "title": drawn.title, "was": drawn.was, "words": drawn.chart.words, "query": query.name,
        "title_query": drawn.chart.title, "sampled": sampled,
        "alt": f"{query.title}. {drawn.title}. {drawn.rows.frame.height} rows.",
    }  # fmt: skip


def waits(part: Part) -> list[dict[str, str]]:
    """Return what a part cannot show yet, and the records that each chart needs."""
    return [
        {"title": drawn.rows.query.title, "needs": drawn.chart.needs or drawn.rows.query.grain}
        for drawn in part.charts
        if drawn.sketch is None
    ]


def _choices(part: Part) -> dict[str, list[str]]:
    """Selections available to a reader in a part: the values in its charts."""
    found: dict[str, set[str]] = {}
    for drawn in part.charts:
        rows = drawn.cells if drawn.chart.cells else drawn.rows.frame.select(drawn.choices).unique().to_dicts()
        for name in drawn.choices:
            found.setdefault(name, set()).update(str(row[name]) for row in rows if row[name] not in (None, "limits"))
    return {name: sorted(found[name]) for name in CHOICES if len(found.get(name, ())) > 1}


def _cards(rows: Rows | None) -> list[dict[str, Any]]:
    if rows is None:
        return []
    return [
        {"name": str(row["model"]).replace("_", " "), "verdict": row["verdict"],
         "facts": [(rows.label(name), cell(value)) for name, value in row.items() if name not in ("model", "verdict")]}
        for row in rows.frame.iter_rows(named=True)
    ]  # fmt: skip
