"""Audit pages: every stage's record with its picks marked and named, and all stages of a well on one page."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import jinja2
import numpy as np
import polars as pl
from markupsafe import Markup
from numpy.typing import NDArray

from pipeline import resources
from pipeline.lake import Lake
from pipeline.report.mask import Mask
from pipeline.report.text import inert, inert_text
from pipeline.report.theme import style
from pipeline.schemas import PICKS, TREATMENT, WELLS
from pipeline.workspace import replace_text

WIDTH, HEIGHT = 1000, 500
LEFT, RIGHT, TOP, BOTTOM = 62, 940, 158, 456
COLUMNS = 600
"""The record is drawn in this many upright lines, each from the lowest to the highest sample it stands for."""
CHANNELS = (
    ("treating_pressure_psi", "pressure [psi]", "#1b4965"),
    ("slurry_rate_bpm", "slurry rate [bpm]", "#4f9d9a"),
    ("proppant_conc_ppa", "proppant [ppa x 10]", "#d1742f"),
)
UNMARKED = ("hammer_", "step_down", "drag_")
"""Picks whose moment is another's."""
PICK, AMENDED = "#a23b72", "#5b3a8c"
Array = NDArray[np.float64]


@dataclass(frozen=True)
class Audited:
    """Wells whose pages were drawn anew, and those left as they were."""

    drawn: list[str]
    unchanged: int


def draw_audit(
    lake: Lake,
    out: Path,
    caution: str,
    *,
    well: str | None = None,
    mask: Mask | None = None,
    progress: Callable[[int, int, str], None] | None = None,
) -> Audited:
    """Draw the audit pages of the wells whose picks changed.

    Parameters
    ----------
    lake : Lake
    out : Path
        Folder; a well's pages go to a folder of its id below it.
    caution : str
        Shown on each well's page.
    well : str, optional
        Only this well's pages; all wells' without it.
    mask : Mask, optional
        Replaces names.
    progress : callable, optional
        Told (wells done, wells to do, well).
    """
    mask = mask or Mask()
    picks = lake.scan(PICKS).filter(pl.lit(True) if well is None else pl.col("well_id") == well, level="stage")
    prints = dict(picks.select("well_id", "fingerprint").unique().collect().iter_rows())
    names = dict(lake.scan(WELLS).select("well_id", "well_name").collect().iter_rows())
    stale = [one for one in sorted(prints) if _mark(out, mask.text(one)) != prints[one]]
    for done, one in enumerate(stale, start=1):
        folder = out / mask.text(one)
        _draw_well(lake, folder, one, inert_text(mask.text(names.get(one) or one)), caution, mask)
        replace_text(folder / "fingerprint", prints[one])
        if progress is not None:
            progress(done, len(stale), one)
    return Audited(stale, len(prints) - len(stale))


def _mark(out: Path, well: str) -> str | None:
    path = out / well / "fingerprint"
    return path.read_text(encoding="utf-8") if path.exists() else None


def _draw_well(lake: Lake, folder: Path, well: str, name: str, caution: str, mask: Mask) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    picks = inert(mask.seen(PICKS, lake.scan(PICKS).filter(well_id=well, level="stage")).collect())
    samples = lake.scan(TREATMENT).filter(pl.col("well_id") == well).sort("stage", "time").collect()
    stages = []
    for (number,), frame in samples.partition_by("stage", as_dict=True, maintain_order=True).items():
        mine = picks.filter(pl.col("number") == number).sort("time")
        replace_text(folder / f"{number}.svg", stage_svg(f"{name}, stage {number}", frame, mine))
        doubtful = mine.filter(pl.col("confidence").is_in(["low", "medium"]) & pl.col("amended_reason").is_null())
        doubts = "; ".join(f"{row['pick']} {row['confidence']}" for row in doubtful.iter_rows(named=True))
        stages.append({"number": number, "doubts": doubts.replace("_", " ")})
    page = (
        _templates().get_template("well.html").render(well=name, stages=stages, style=Markup(style()), caution=caution)
    )
    replace_text(folder / "index.html", page)


@cache
def _templates() -> jinja2.Environment:
    folder = resources.folder("reports") / "templates"
    return jinja2.Environment(
        loader=jinja2.FileSystemLoader(folder), autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True
    )


def stage_svg(title: str, frame: pl.DataFrame, picks: pl.DataFrame) -> str:
    """Draw one stage's record.

    Parameters
    ----------
    title : str
    frame : polars.DataFrame
        The stage's treatment rows, in order of time.
    picks : polars.DataFrame
        Its rows of the picks table.

    Returns
    -------
    str
        An SVG document of about 20 kB.
    """
    origin = frame["time"][0]
    micro = frame["time"].to_physical().to_numpy()
    minutes = (micro - micro[0]) / 6e7
    span = max(float(minutes[-1]), 1e-6)
    pressure = frame["treating_pressure_psi"].to_numpy()
    top_psi = _round_up(float(np.nanmax(pressure, initial=100.0)), 1000.0)
    rate, conc = frame["slurry_rate_bpm"], frame["proppant_conc_ppa"]
    highest = max(float(rate.max() or 0.0), 10.0 * float(conc.max() or 0.0), 10.0)  # type: ignore[arg-type]
    other = _round_up(highest, 20.0)
    scales = {"treating_pressure_psi": top_psi, "slurry_rate_bpm": other, "proppant_conc_ppa": other / 10.0}
    lines = [
        {
            "name": name,
            "colour": colour,
            "path": min_max_path(minutes / span, frame[column].to_numpy() / scales[column]),
        }
        for column, name, colour in CHANNELS
        if frame[column].null_count() < frame.height
    ]
    values = {
        "title": title, "subtitle": f"from {origin:%Y-%m-%d %H:%M:%S} UTC; {frame.height:,} samples",
        "width": WIDTH, "height": HEIGHT, "left": LEFT, "right": RIGHT, "top": TOP, "bottom": BOTTOM, "lines": lines,
        "y_ticks": [
            {"y": round(_y(i / 5)), "label": f"{top_psi * i / 5:,.0f}", "other": f"{other * i / 5:.0f}"}
            for i in range(6)
        ],
        "x_ticks": [{"x": round(_x(i / 6)), "label": f"{span * i / 6:.0f}"} for i in range(7)],
        "marks": _marks(picks, origin, span, top_psi),
    }  # fmt: skip
    return _templates().get_template("audit.svg").render(**values)


def min_max_path(x: Array, y: Array, columns: int = COLUMNS) -> str:
    """Return an SVG path of upright lines from the lowest to the highest sample of each column: no peak is lost.

    Parameters
    ----------
    x, y : array, shape (n,)
        Within 0 to 1; ``x`` rising. NaN in ``y`` is left out.
    columns : int
    """
    seen = ~np.isnan(y)
    x, y = x[seen], y[seen]
    if not x.size:
        return ""
    column = np.minimum((x * columns).astype(int), columns - 1)
    starts = np.flatnonzero(np.concatenate(([True], np.diff(column) > 0)))
    low, high = np.minimum.reduceat(y, starts), np.maximum.reduceat(y, starts)
    across = np.round(_x((column[starts] + 0.5) / columns)).astype(int)
    lower, upper = np.round(_y(low)).astype(int), np.round(_y(high)).astype(int)
    parts = [f"{a} {b}V{c}" if b != c else f"{a} {b}" for a, b, c in zip(across, lower, upper, strict=True)]
    return "M" + "L".join(parts)


def _x(share: Any) -> Any:
    return LEFT + (RIGHT - LEFT) * share


def _y(share: Any) -> Any:
    return BOTTOM - (BOTTOM - TOP) * np.clip(share, 0.0, 1.0)


def _round_up(value: float, step: float) -> float:
    return float(np.ceil(value / step) * step)


def _marks(picks: pl.DataFrame, origin: Any, span: float, top_psi: float) -> list[dict[str, Any]]:
    """Place the picks that have a moment, their names staggered so that neighbours do not overlap."""
    marks: list[dict[str, Any]] = []
    rows = [row for row in picks.iter_rows(named=True) if (row["amended_time"] or row["time"]) is not None]
    rows.sort(key=lambda row: row["amended_time"] or row["time"])
    for row in rows:
        share = ((row["amended_time"] or row["time"]) - origin).total_seconds() / 60.0 / span
        if not 0.0 <= share <= 1.0 or row["pick"].startswith(UNMARKED):
            continue
        value = row["value"] if row["amended_value"] is None else row["amended_value"]
        measured = value is not None and row["unit"]
        amended = row["amended_reason"] is not None
        label = row["pick"].replace("_", " ") + (f" {value:,.0f} {row['unit']}" if measured else "")
        left = share > 0.82
        x = round(_x(share))
        marks.append(
            {
                "x": x, "y": round(_y(value / top_psi)) if measured and row["unit"] == "psi" else None,
                "colour": AMENDED if amended else PICK, "dash": "none" if row["confidence"] == "high" else "4 3",
                "label": f"{label} (amended)" if amended else label, "text_x": x - 4 if left else x + 4,
                "anchor": "end" if left else "start", "text_y": 52 + 12 * (len(marks) % 9),
                "why": row["amended_reason"] or f"{row['confidence']}: {row['reason']}",
            }
        )  # fmt: skip
    return marks
