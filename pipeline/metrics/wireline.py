"""Wireline metrics: one row a pump-down run, from the pump record where it covers the run, else from the run record."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from pipeline.metrics.declare import Level, Unseen
from pipeline.metrics.findings import finding
from pipeline.metrics.well import WellInput, WellRows
from pipeline.picks.pump_down import PumpDown

WIRELINE_RUN = Level["WirelineView"](
    "wireline_metrics", "a measured pump-down run", {"run": "run, by the stage it prepared"}
)
DIFFERS = 0.1
"""Run record and pump record that differ by more are a finding. [1]"""


@dataclass
class WirelineView:
    """What wireline metrics are computed from.

    Attributes
    ----------
    row : dict
        The run's row of the wireline table; empty where there is none.
    plug : dict
        The plug set on the run; empty where there is none.
    seen : PumpDown, optional
        What the pump record of the stage before shows of it.
    origin : datetime, optional
        First moment of that record.
    """

    row: dict[str, Any]
    plug: dict[str, Any]
    seen: PumpDown | None
    origin: datetime | None


def _either(w: WirelineView, seen: str, column: str) -> float | Unseen:
    """What the pump record shows, else what the run record says."""
    value = w.row.get(column) if w.seen is None else getattr(w.seen, seen)
    return Unseen("neither pump record nor run record says") if value is None else float(value)


def _recorded(w: WirelineView, column: str) -> Any:
    value = w.row.get(column)
    return Unseen("not recorded") if value is None else value


@WIRELINE_RUN.metric("", "where the numbers come from: pump record or run record", kind="text")
def basis(w: WirelineView) -> str:
    return "run record" if w.seen is None else "pump record"


@WIRELINE_RUN.metric("", "when pumping down began, where the pump record shows it", kind="time")
def pump_down_start(w: WirelineView) -> datetime | Unseen:
    if w.seen is None or w.origin is None:
        return Unseen("no pump record covers it")
    return w.origin + timedelta(seconds=w.seen.start_s)


@WIRELINE_RUN.metric("h", "lubricator made up until guns at surface")
def run_hours(w: WirelineView) -> float | Unseen:
    start, end = w.row.get("start_time"), w.row.get("end_time")
    if start is None or end is None or end <= start:
        return Unseen("start or end of the run not recorded")
    return float((end - start).total_seconds() / 3600.0)


@WIRELINE_RUN.metric("min", "minutes of pump-down")
def pump_down_min(w: WirelineView) -> float | Unseen:
    return _either(w, "minutes", "pump_down_min")


@WIRELINE_RUN.metric("bbl", "fluid pumped down")
def pump_down_bbl(w: WirelineView) -> float | Unseen:
    return _either(w, "volume_bbl", "pump_down_bbl")


@WIRELINE_RUN.metric("bpm", "highest pump-down rate")
def peak_rate_bpm(w: WirelineView) -> float | Unseen:
    return _either(w, "peak_bpm", "peak_rate_bpm")


@WIRELINE_RUN.metric("psi", "highest pump-down pressure")
def peak_pressure_psi(w: WirelineView) -> float | Unseen:
    return _either(w, "peak_psi", "peak_pressure_psi")


@WIRELINE_RUN.metric("ft", "length pumped down: set depth less where pumping began")
def pumped_ft(w: WirelineView) -> float | Unseen:
    depth, start = w.plug.get("set_depth_ft"), w.row.get("pump_down_from_ft")
    if depth is None or start is None:
        return Unseen("no set depth, or where pumping began is not recorded")
    return float(depth - start) if depth > start else Unseen("the plug was set above where pumping began")


@WIRELINE_RUN.metric("ft/min", "mean line speed of the pump-down")
def line_speed_ft_min(w: WirelineView) -> float | Unseen:
    length, minutes = pumped_ft(w), pump_down_min(w)
    if isinstance(length, Unseen) or isinstance(minutes, Unseen):
        return length if isinstance(length, Unseen) else Unseen("minutes of pump-down unknown")
    return length / minutes if minutes > 0.0 else Unseen("no minutes of pump-down")


@WIRELINE_RUN.metric("ratio", "barrels for each hundred feet pumped down")
def bbl_per_100_ft(w: WirelineView) -> float | Unseen:
    length, volume = pumped_ft(w), pump_down_bbl(w)
    if isinstance(length, Unseen) or isinstance(volume, Unseen):
        return length if isinstance(length, Unseen) else Unseen("volume of the pump-down unknown")
    return float(100.0 * volume / length)


@WIRELINE_RUN.metric("", "whether the plug was set", kind="flag")
def plug_set(w: WirelineView) -> bool | Unseen:
    if w.row.get("plug_set") is None and w.plug.get("set_time") is not None:
        return True
    return _recorded(w, "plug_set")  # type: ignore[no-any-return]


@WIRELINE_RUN.metric("", "whether the plug set before its depth", kind="flag")
def preset(w: WirelineView) -> bool | Unseen:
    return _recorded(w, "preset")  # type: ignore[no-any-return]


@WIRELINE_RUN.metric("", "guns fired", kind="count")
def guns_fired(w: WirelineView) -> int | Unseen:
    return _recorded(w, "guns_fired")  # type: ignore[no-any-return]


@WIRELINE_RUN.metric("", "guns that did not fire", kind="count")
def misfires(w: WirelineView) -> int | Unseen:
    return _recorded(w, "misfires")  # type: ignore[no-any-return]


def measure_wireline(well: WellInput, seen: dict[int, tuple[datetime, PumpDown]], rows: WellRows) -> None:
    """Add the rows of a well's pump-down runs.

    Parameters
    ----------
    well : WellInput
    seen : dict of int to (datetime, PumpDown)
        Pump-downs on record, by the stage they prepare, with the first moment of the record.
    rows : WellRows
    """
    described = {row["run"]: row for row in well.tables["wireline"]}
    plugs = {row["plug"]: row for row in well.tables["plugs"]}
    for run in sorted(described.keys() | seen.keys()):
        row = described.get(run, {})
        origin, found = seen.get(run, (None, None))
        view = WirelineView(row, plugs.get(run, {}), found, origin)
        rows.wireline.append(WIRELINE_RUN.measure({"well_id": well.well_id, "run": run}, view))
        rows.findings += _findings(well.well_id, run, view)


def _findings(well_id: str, run: int, view: WirelineView) -> list[dict[str, Any]]:
    found = []
    if view.row.get("misfires"):
        found.append(("wireline_misfire", f"{view.row['misfires']} gun(s) did not fire"))
    if view.row.get("preset"):
        found.append(("plug_preset", "the plug set before its depth"))
    stated = view.row.get("pump_down_min")
    if view.seen is not None and view.seen.whole and stated and abs(view.seen.minutes / stated - 1.0) > DIFFERS:
        text = f"the run record says {stated:.1f} min of pump-down, the pump record {view.seen.minutes:.1f}"
        found.append(("pump_down_differs", text))
    return [finding(well_id, "wireline", run, kind, message) for kind, message in found]
