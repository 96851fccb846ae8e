"""Wireline metrics: one row per pump-down run, from the pump record if it covers the run, else from the run record."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from pipeline.metrics.declare import Level, Missing, known
from pipeline.picks.pump_down import PumpDown

WIRELINE_RUN = Level["WirelineView"](
    "wireline_metrics", "a measured pump-down run", {"run": "run, numbered by the stage it prepared"}
)


@dataclass
class WirelineView:
    """Inputs of the wireline metrics.

    Attributes
    ----------
    row : dict
        The run's row of the wireline table; empty if there is none.
    plug : dict
        The plug set on the run; empty if there is none.
    seen : PumpDown, optional
        The pump-down as shown by the pump record of the previous stage.
    origin : datetime, optional
        Start time of that record.
    """

    row: dict[str, Any]
    plug: dict[str, Any]
    seen: PumpDown | None
    origin: datetime | None


def _either(w: WirelineView, seen: str, column: str) -> float:
    """Value from the pump record, otherwise from the run record."""
    return float(
        known(w.row.get(column) if w.seen is None else getattr(w.seen, seen), "neither pump record nor run record says")
    )


def _recorded(w: WirelineView, column: str) -> Any:
    return known(w.row.get(column), "not recorded")


@WIRELINE_RUN.metric("", "source of the numbers: pump record or run record", kind="text")
def basis(w: WirelineView) -> str:
    return "run record" if w.seen is None else "pump record"


@WIRELINE_RUN.metric("", "start of pump-down, if the pump record shows it", kind="time")
def pump_down_start(w: WirelineView) -> datetime:
    if w.seen is None or w.origin is None:
        raise Missing("no pump record covers it")
    return w.origin + timedelta(seconds=w.seen.start_s)


@WIRELINE_RUN.metric("h", "hours from lubricator made up to guns at surface")
def run_hours(w: WirelineView) -> float:
    start, end = w.row.get("start_time"), w.row.get("end_time")
    if start is None or end is None or end <= start:
        raise Missing("start or end of the run not recorded")
    return float((end - start).total_seconds() / 3600.0)


@WIRELINE_RUN.metric("min", "minutes of pump-down")
def pump_down_min(w: WirelineView) -> float:
    return _either(w, "minutes", "pump_down_min")


@WIRELINE_RUN.metric("bbl", "fluid pumped down")
def pump_down_bbl(w: WirelineView) -> float:
    return _either(w, "volume_bbl", "pump_down_bbl")


@WIRELINE_RUN.metric("bpm", "highest pump-down rate")
def peak_rate_bpm(w: WirelineView) -> float:
    return _either(w, "peak_bpm", "peak_rate_bpm")


@WIRELINE_RUN.metric("psi", "highest pump-down pressure")
def peak_pressure_psi(w: WirelineView) -> float:
    return _either(w, "peak_psi", "peak_pressure_psi")


@WIRELINE_RUN.metric("ft", "length pumped down: set depth minus the depth where pumping began")
def pumped_ft(w: WirelineView) -> float:
    depth, start = w.plug.get("set_depth_ft"), w.row.get("pump_down_from_ft")
    if depth is None or start is None:
        raise Missing("no set depth, or where pumping began is not recorded")
    if not depth > start:
        raise Missing("the plug was set above where pumping began")
    return float(depth - start)


@WIRELINE_RUN.metric("ft/min", "mean line speed of the pump-down")
def line_speed_ft_min(w: WirelineView) -> float:
    length, minutes = pumped_ft(w), pump_down_min(w)
    if not minutes > 0.0:
        raise Missing("no minutes of pump-down")
    return length / minutes


@WIRELINE_RUN.metric("ratio", "barrels per hundred feet pumped down")
def bbl_per_100_ft(w: WirelineView) -> float:
    return float(100.0 * pump_down_bbl(w) / pumped_ft(w))


@WIRELINE_RUN.metric("", "whether the plug was set", kind="flag")
def plug_set(w: WirelineView) -> bool:
    if w.row.get("plug_set") is None and w.plug.get("set_time") is not None:
        return True
    return _recorded(w, "plug_set")  # type: ignore[no-any-return]


@WIRELINE_RUN.metric("", "whether the plug set prematurely, above its planned depth", kind="flag")
def preset(w: WirelineView) -> bool:
    return _recorded(w, "preset")  # type: ignore[no-any-return]


@WIRELINE_RUN.metric("", "guns fired", kind="count")
def guns_fired(w: WirelineView) -> int:
    return _recorded(w, "guns_fired")  # type: ignore[no-any-return]


@WIRELINE_RUN.metric("", "guns that did not fire", kind="count")
def misfires(w: WirelineView) -> int:
    return _recorded(w, "misfires")  # type: ignore[no-any-return]
