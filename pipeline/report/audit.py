"""Audit pages: each record with its picks and the places to look at, a picture of each, and all records of a well."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import Any

import polars as pl

from pipeline.files import replace_text
from pipeline.lake import Lake
from pipeline.metrics.coil.measure import measure_runs
from pipeline.metrics.coil.view import RUN
from pipeline.metrics.declare import Level
from pipeline.metrics.measure import read_wells
from pipeline.metrics.stage.measure import pick_stages
from pipeline.metrics.stage.view import STAGE as STAGE_LEVEL
from pipeline.metrics.well import PLANNING, Planning, Rows, WellInput, WellRows
from pipeline.metrics.wireline.metrics import WIRELINE_RUN
from pipeline.parallel import Workers, ahead, finished, map_unordered
from pipeline.queries import sentences_shown
from pipeline.report.mask import Mask
from pipeline.report.pump_down_page import pump_down_record
from pipeline.report.record_facts import Facts, design_against_record, differs, history, measures, pick_rows, verdict
from pipeline.report.record_page import Place, Record, render_record
from pipeline.report.record_svg import COIL_RUN, STAGE, Kind, record_svg
from pipeline.report.run_page import run_record
from pipeline.report.stage_page import stage_record
from pipeline.report.text import CAUTION, inert
from pipeline.report.theme import render
from pipeline.schemas.base import Table
from pipeline.schemas.lineage import FINDINGS, SOURCES
from pipeline.schemas.picks import CALLED, PICKS
from pipeline.schemas.records import COIL, TREATMENT
from pipeline.schemas.review import AMENDMENTS
from pipeline.schemas.wells import WELLS
from pipeline.text import inert_text

VERSION = 7
"""Increased when the layout of pages changes: all are drawn again."""
FILES = {"stage": "{}", "run": "run-{}", "wireline": "pump-down-{}"}
"""Name of the page (.html) and of the picture (.svg) of a record, by its level."""
MEASURED: dict[str, Level[Any]] = {"stage": STAGE_LEVEL, "run": RUN, "wireline": WIRELINE_RUN}
KEYS = {"stage": "stage", "run": "run", "wireline": "run"}
"""Column of the number, by level."""
WELLS_PER_CORE = 4
"""Wells that pay for starting one more process. [1]"""
MOST_PAGES = 1500
"""Records of a lake up to which every one has its page at once; of a larger lake pages are drawn on request."""

Task = tuple[str, str, str]
"""A well to draw: its id, its name as shown, its fingerprint."""


@dataclass(frozen=True)
class Audited:
    """Wells whose pages were drawn again, and the number of unchanged wells."""

    drawn: list[str]
    unchanged: int


def file_of(level: str, number: int, kind: str) -> str:
    """Return the file of a record's page (``html``) or picture (``svg``) within its well's folder."""
    return f"{FILES[level].format(number)}.{kind}"


def draw_audit(lake: Lake, out: Path, **given: Any) -> Audited:
    """Draw the audit pages of the wells whose picks changed, and wait for the end; parameters as in `begin_audit`."""
    return begin_audit(lake, out, **given)()


def begin_audit(
    lake: Lake,
    out: Path,
    *,
    well: str | None = None,
    mask: Mask | None = None,
    system: str = "field",
    planning: Planning = PLANNING,
    progress: Callable[[int, int, str], None] | None = None,
    workers: Workers | None = None,
) -> Callable[[], Audited]:
    """Begin to draw the audit pages of the wells whose picks changed.

    Parameters
    ----------
    lake : Lake
    out : Path
        Folder; a well's pages go to a subfolder named by its id.
    well : str, optional
        Only this well's pages, with a page of each record however large the lake is; default: all wells.
    mask : Mask, optional
        Replaces names.
    system : str
        Display units: ``field`` or ``metric``.
    planning : Planning
        Values that the team plans with; the wells were measured with them.
    progress : callable, optional
        Called with (wells done, wells to do, well).
    workers : Workers, optional
        Where pages are drawn; default: on this machine.

    Returns
    -------
    callable
        Returns what was drawn, when all is. The pages of a few wells are drawn by a kept helper in the meantime, if
        there is one.
    """
    mask = mask or Mask()
    picks = lake.scan(PICKS).filter(pl.lit(True) if well is None else pl.col("well_id") == well)
    kept = picks.select("well_id", "level", "number", "fingerprint").unique().collect()
    found = kept.select("well_id", "fingerprint").unique().sort("well_id", "fingerprint")
    hashes = {
        one: f"{VERSION} {system} {' '.join(marks)}"
        for one, marks in found.group_by("well_id", maintain_order=True).agg("fingerprint").iter_rows()
    }
    names = dict(lake.scan(WELLS).select("well_id", "well_name").collect().iter_rows())
    paged = well is not None or kept.select("well_id", "level", "number").n_unique() <= MOST_PAGES
    stale = [one for one in sorted(hashes) if not _current(out / mask.text(one), hashes[one], paged=paged)]
    drawer = partial(_drawer, lake.reader(), out, stale, mask, system, planning, paged=paged)
    tasks = [(one, inert_text(mask.text(names.get(one) or one)), hashes[one]) for one in stale]
    few = len(tasks) <= WELLS_PER_CORE and workers is None
    begun = ahead(_draw_few, drawer, tasks) if few and tasks else None

    def end() -> Audited:
        if begun is not None:
            finished(begun, _draw_few, drawer, tasks)
        elif tasks:
            for done, one in enumerate(map_unordered(drawer, tasks, WELLS_PER_CORE, workers), start=1):
                if progress is not None:
                    progress(done, len(stale), one)
        return Audited(stale, len(hashes) - len(stale))

    return end


def _draw_few(drawer: Callable[[], Callable[[Task], str]], tasks: list[Task]) -> None:
    draw = drawer()
    for task in tasks:
        draw(task)


def _drawer(
    lake: Lake, out: Path, wells: list[str], mask: Mask, system: str, planning: Planning, *, paged: bool
) -> Callable[[Task], str]:
    """Return the function that draws the pages of one of the wells: its id, its name as shown, its fingerprint."""
    rows = _Rows(lake, wells, mask, system, planning)

    def draw(task: Task) -> str:
        well, name, mark = task
        folder = out / mask.text(well)
        _Well(rows, well, name, paged).draw(folder)
        replace_text(folder / "fingerprint", f"{mark}\n{'pages' if paged else 'pictures'}")
        return well

    return draw


def _current(folder: Path, mark: str, *, paged: bool) -> bool:
    """Whether a well's folder holds what is needed: pages are never replaced by pictures alone."""
    path = folder / "fingerprint"
    before = path.read_text(encoding="utf-8") if path.exists() else ""
    return before == f"{mark}\npages" or (not paged and before == f"{mark}\npictures")


class _Rows:
    """What the pages of several wells are drawn from, read at once; rows as the mask shows them, by well."""

    def __init__(self, lake: Lake, wells: list[str], mask: Mask, system: str, planning: Planning) -> None:
        self.mask, self.system = mask, system
        self.read = read_wells(lake, wells, planning)
        mine = pl.col("well_id").is_in(wells)

        def seen(table: Table) -> pl.DataFrame:
            return mask.seen(table, lake.scan(table).filter(mine)).collect()

        picks = inert(sentences_shown(PICKS, seen(PICKS), system)).sort("time", "pick", nulls_last=True)
        self.picks = _by_well(picks)
        self.measured = {level: _by_well(seen(kind.table)) for level, kind in MEASURED.items()}
        told = seen(FINDINGS).filter(pl.col("level").is_not_null())
        self.findings = _by_well(inert(sentences_shown(FINDINGS, told, system)))
        self.amendments = _by_well(inert(seen(AMENDMENTS)))
        sources = inert(seen(SOURCES)).select("source_id", "path", "landed_at")
        found = []
        for table, level, key in ((TREATMENT, "stage", "stage"), (COIL, "run", "run")):
            parts = lake.scan_raw(table).filter(mine).group_by("well_id", pl.col(key).alias("number"), "source_id")
            found.append(parts.agg(
                first=pl.col("source_row").min(), last=pl.col("source_row").max(), samples=pl.len(),
                begin=pl.col("time").min(),
            ).with_columns(level=pl.lit(level)).collect())  # fmt: skip
        files = pl.concat(found).join(sources, on="source_id").sort("begin")
        self.files = _by_well(files.with_columns(pl.col("well_id").map_elements(mask.text, return_dtype=pl.String)))


def _by_well(frame: pl.DataFrame) -> dict[str, pl.DataFrame]:
    return {str(well): rows for (well,), rows in frame.partition_by("well_id", as_dict=True).items()}


@dataclass
class _Well:
    """One well's pages while they are drawn."""

    rows: _Rows
    well: str
    name: str
    paged: bool
    made: list[tuple[str, int]] = field(default_factory=list)

    @property
    def system(self) -> str:
        return self.rows.system

    def draw(self, folder: Path) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        given = self.rows.read(self.well)
        picks = self._of_mine(self.rows.picks, PICKS)
        frames = {
            "stage": given.treatment.sort("stage", "time").partition_by("stage", as_dict=True, maintain_order=True),
            "run": given.coil.sort("run", "time").partition_by("run", as_dict=True, maintain_order=True),
        }
        overview = []
        for level, kind in (("stage", STAGE), ("run", COIL_RUN)):
            records = [self._picture(folder, level, int(key[0]), frame, kind, picks)
                       for key, frame in frames[level].items()]  # fmt: skip
            overview.append((f"{CALLED[level].capitalize()}s", records))
        if self.paged:
            for level, number, page in self._pages(given, picks):
                replace_text(folder / file_of(level, number, "html"), page)
            overview.append(("Pump-downs", [self._entry("wireline", number, "") for level, number in self.made
                                            if level == "wireline"]))  # fmt: skip
        replace_text(folder / "index.html", render("well.html", well=self.name, groups=overview, caution=CAUTION))

    def _of_mine(self, rows: dict[str, pl.DataFrame], table: Table) -> pl.DataFrame:
        found = rows.get(self.rows.mask.text(self.well))
        return table.empty() if found is None else found

    def _picture(
        self, folder: Path, level: str, number: int, frame: pl.DataFrame, kind: Kind, picks: pl.DataFrame
    ) -> dict[str, Any]:
        mine = _of(picks, level, number) if kind is STAGE else _tags(picks, frame)
        title = f"{self.name}, {CALLED[level]} {number}"
        replace_text(folder / file_of(level, number, "svg"), record_svg(title, frame, mine, kind, self.system))
        return self._entry(level, number, _doubts(mine))

    def _entry(self, level: str, number: int, doubts: str) -> dict[str, Any]:
        name = f"{CALLED[level]} {number}"
        picture = None if level == "wireline" else file_of(level, number, "svg")
        page = file_of(level, number, "html") if self.paged else picture
        return {"file": page, "picture": picture, "anchor": name.replace(" ", "-"), "name": name, "doubts": doubts}

    def _pages(self, given: WellInput, picks: pl.DataFrame) -> Iterable[tuple[str, int, str]]:
        """Yield level, number and text of each page of the well."""
        of: dict[tuple[str, int], Rows] = {}
        for row in picks.iter_rows(named=True):
            of.setdefault((row["level"], row["number"]), []).append(row)
        stages = pick_stages(given)
        views = measure_runs(given, WellRows())
        plugs = {row["plug"]: row for row in given.tables["plugs"]}
        designs = {row["stage"]: row for row in given.tables["stages"]}
        reported = {row["stage"]: row for row in given.tables["reported"]}
        measured = {level: self._measured(level) for level in MEASURED}
        amendments = self._of_mine(self.rows.amendments, AMENDMENTS).sort("at", descending=True).to_dicts()
        files = self._files()
        words: dict[int, str] = {}
        found: list[tuple[str, int, tuple[Record, list[tuple[float, float]]], Rows, list[Facts]]] = []
        for one in stages:
            mine = of.get(("stage", one.number), [])
            design, row, report = (rows.get(one.number, {}) for rows in (designs, measured["stage"], reported))
            changed = {pick["pick"] for pick in mine if differs(pick)}
            table = design_against_record(design, row, report, self.system, changed)
            facts = [table, measures(row, STAGE_LEVEL, self.system)]
            found.append(("stage", one.number, stage_record(one, mine, self.system), mine, facts))
            words[one.number] = verdict(design, row, self.rows.mask.text)
        for one in stages:
            mine = of.get(("wireline", one.number + 1), [])
            drawn = pump_down_record(one, mine, self.system)
            if drawn is not None:
                table = measures(measured["wireline"].get(one.number + 1, {}), WIRELINE_RUN, self.system)
                found.append(("wireline", one.number + 1, drawn, mine, [table]))
        for run, view in views.items():
            mine = of.get(("run", run), []) + [row for plug in sorted(view.plugs) for row in of.get(("plug", plug), [])]
            table = measures(measured["run"].get(run, {}), RUN, self.system)
            found.append(("run", run, run_record(view, plugs, mine, self.system), mine, [table]))
        notes: dict[tuple[str, int], list[str]] = {}
        for row in self._of_mine(self.rows.findings, FINDINGS).iter_rows(named=True):
            notes.setdefault((row["level"], row["number"]), []).append(row["message"])
        self.made = [(level, number) for level, number, *_ in found]
        for level, number, (record, around), mine, tables in found:
            source = ("stage", number - 1) if level == "wireline" else (level, number)
            facts = [*tables, history(amendments, mine), files.get(source, Facts("Files", [], []))]
            named = None if self.rows.mask.whole else self.name
            rows = pick_rows(mine, record.origin, self.system)
            picture = None if level == "wireline" else file_of(level, number, "svg")
            title = f"{self.name}, {CALLED[level]} {number}"
            place = Place(
                level, number, title, self._links(level, number), picture,
                words.get(number, "") if level == "stage" else "", notes.get((level, number), ()),
            )  # fmt: skip
            text = render_record(place, record, around, rows, [one for one in facts if one.rows], self.system, named)
            yield level, number, text

    def _measured(self, level: str) -> dict[int, dict[str, Any]]:
        """Return the measured rows of a level by number."""
        rows = self._of_mine(self.rows.measured[level], MEASURED[level].table)
        return {row[KEYS[level]]: row for row in rows.iter_rows(named=True)}

    def _links(self, level: str, number: int) -> list[tuple[str, str]]:
        """Return the links of a page: the records before and after it of its kind, and those that belong to it."""
        same = [one for kind, one in self.made if kind == level]
        at = same.index(number)
        links = []
        for word, place in (("Previous", at - 1), ("Next", at + 1)):
            if 0 <= place < len(same):
                links.append((f"{word}: {CALLED[level]} {same[place]}", file_of(level, same[place], "html")))
        if level == "stage" and ("wireline", number + 1) in self.made:
            links.append((f"Pump-down {number + 1}, in this record", file_of("wireline", number + 1, "html")))
        if level == "wireline":
            links.append((f"Stage {number - 1}, whose record holds it", file_of("stage", number - 1, "html")))
        return links

    def _files(self) -> dict[tuple[str, int], Facts]:
        """Return the files and lines of each record."""
        heads = [("file", False), ("from line", True), ("to line", True), ("samples", True), ("landed", False)]
        found: dict[tuple[str, int], Facts] = {}
        rows = self.rows.files.get(self.rows.mask.text(self.well))
        for row in () if rows is None else rows.iter_rows(named=True):
            facts = found.setdefault((row["level"], row["number"]), Facts("Files and lines", heads, []))
            facts.rows.append([
                row["path"], *(f"{row[name]:,}" for name in ("first", "last", "samples")),
                f"{row['landed_at']:%Y-%m-%d %H:%M}",
            ])  # fmt: skip
        return found


def _of(picks: pl.DataFrame, level: str, number: int) -> pl.DataFrame:
    return picks.filter(pl.col("level") == level, pl.col("number") == number)


def _tags(picks: pl.DataFrame, frame: pl.DataFrame) -> pl.DataFrame:
    """Return the tags of the plugs reached in a run, named by their plug."""
    tags = picks.filter(pl.col("level") == "plug", pl.col("pick") == "tag", pl.col("time").is_not_null())
    tags = tags.filter(pl.col("time").is_between(frame["time"].min(), frame["time"].max()))
    return tags.with_columns(pick=pl.format("plug {}", pl.col("number"))).sort("time")


def _doubts(picks: pl.DataFrame) -> str:
    doubtful = picks.filter(pl.col("confidence").is_in(["low", "medium"]) & pl.col("amended_reason").is_null())
    return "; ".join(f"{row['pick']} {row['confidence']}" for row in doubtful.iter_rows(named=True)).replace("_", " ")
