"""Audit pages: every record with its picks marked and labelled, and all records of a well on one page."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import polars as pl
from markupsafe import Markup

from pipeline.lake import Lake
from pipeline.queries import sentences_shown
from pipeline.report.mask import Mask
from pipeline.report.record_svg import COIL_RUN, STAGE, Kind, record_svg
from pipeline.report.text import inert
from pipeline.report.theme import style, templates
from pipeline.schemas.picks import PICKS
from pipeline.schemas.records import COIL, TREATMENT
from pipeline.schemas.wells import WELLS
from pipeline.text import inert_text
from pipeline.workspace import replace_text

VERSION = 2
"""Increased when the layout of pages changes: all are drawn again."""
RUN = "run-"
"""Prefix of a coil run's picture, before its number; a stage's picture has only its number."""


@dataclass(frozen=True)
class Audited:
    """Wells whose pages were drawn again, and the number of unchanged wells."""

    drawn: list[str]
    unchanged: int


def draw_audit(
    lake: Lake,
    out: Path,
    caution: str,
    *,
    well: str | None = None,
    mask: Mask | None = None,
    system: str = "field",
    progress: Callable[[int, int, str], None] | None = None,
) -> Audited:
    """Draw the audit pages of the wells whose picks changed.

    Parameters
    ----------
    lake : Lake
    out : Path
        Folder; a well's pages go to a subfolder named by its id.
    caution : str
        Shown on each well's page.
    well : str, optional
        Only this well's pages; default: all wells.
    mask : Mask, optional
        Replaces names.
    system : str
        Display units: ``field`` or ``metric``.
    progress : callable, optional
        Called with (wells done, wells to do, well).
    """
    mask = mask or Mask()
    picks = lake.scan(PICKS).filter(pl.lit(True) if well is None else pl.col("well_id") == well)
    found = picks.select("well_id", "fingerprint").unique().sort("well_id", "fingerprint").collect()
    hashes = {
        one: f"{VERSION} {system} {' '.join(marks)}"
        for one, marks in found.group_by("well_id", maintain_order=True).agg("fingerprint").iter_rows()
    }
    names = dict(lake.scan(WELLS).select("well_id", "well_name").collect().iter_rows())
    stale = [one for one in sorted(hashes) if _mark(out, mask.text(one)) != hashes[one]]
    for done, one in enumerate(stale, start=1):
        folder = out / mask.text(one)
        _draw_well(lake, folder, one, inert_text(mask.text(names.get(one) or one)), caution, mask, system)
        replace_text(folder / "fingerprint", hashes[one])
        if progress is not None:
            progress(done, len(stale), one)
    return Audited(stale, len(hashes) - len(stale))


def _mark(out: Path, well: str) -> str | None:
    path = out / well / "fingerprint"
    return path.read_text(encoding="utf-8") if path.exists() else None


def _draw_well(lake: Lake, folder: Path, well: str, name: str, caution: str, mask: Mask, system: str) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    seen = mask.seen(PICKS, lake.scan(PICKS).filter(well_id=well)).collect()
    picks = inert(sentences_shown(PICKS, seen, system))

    def records(samples: pl.DataFrame, number: str, kind: Kind, called: str, prefix: str) -> list[dict[str, Any]]:
        made = []
        for (one,), frame in samples.partition_by(number, as_dict=True, maintain_order=True).items():
            mine = _of_stage(picks, one) if kind is STAGE else _of_run(picks, frame)
            file = f"{prefix}{one}.svg"
            replace_text(folder / file, record_svg(f"{name}, {called} {one}", frame, mine, kind, system))
            made.append({"file": file, "anchor": f"{called}-{one}".replace(" ", "-"), "name": f"{called} {one}",
                         "doubts": _doubts(mine)})  # fmt: skip
        return made

    treatment = lake.scan(TREATMENT).filter(pl.col("well_id") == well).sort("stage", "time").collect()
    coil = lake.scan(COIL).filter(pl.col("well_id") == well).sort("run", "time").collect()
    stages = records(treatment, "stage", STAGE, "stage", "")
    runs = records(coil, "run", COIL_RUN, "coil run", RUN)
    page = (
        templates()
        .get_template("well.html")
        .render(well=name, groups=[("Stages", stages), ("Coil runs", runs)], style=Markup(style()), caution=caution)
    )
    replace_text(folder / "index.html", page)


def _of_stage(picks: pl.DataFrame, stage: int) -> pl.DataFrame:
    return picks.filter(pl.col("level") == "stage", pl.col("number") == stage).sort("time")


def _of_run(picks: pl.DataFrame, frame: pl.DataFrame) -> pl.DataFrame:
    """Return the tags of the plugs reached in a run, named by their plug."""
    tags = picks.filter(pl.col("level") == "plug", pl.col("pick") == "tag", pl.col("time").is_not_null())
    tags = tags.filter(pl.col("time").is_between(frame["time"].min(), frame["time"].max()))
    return tags.with_columns(pick=pl.format("plug {}", pl.col("number"))).sort("time")


def _doubts(picks: pl.DataFrame) -> str:
    doubtful = picks.filter(pl.col("confidence").is_in(["low", "medium"]) & pl.col("amended_reason").is_null())
    return "; ".join(f"{row['pick']} {row['confidence']}" for row in doubtful.iter_rows(named=True)).replace("_", " ")
