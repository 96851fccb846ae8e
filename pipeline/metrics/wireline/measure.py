"""Measure the pump-down runs of one well."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from pipeline.metrics.findings import finding
from pipeline.metrics.well import WellInput, WellRows
from pipeline.metrics.wireline.metrics import WIRELINE_RUN, WirelineView
from pipeline.picks.pump_down import PumpDown

DIFFERS = 0.1
"""Run record and pump record that differ by more than this are a finding. [1]"""


def measure_wireline(well: WellInput, seen: dict[int, tuple[datetime, PumpDown]], rows: WellRows) -> None:
    """Add the rows of a well's pump-down runs.

    Parameters
    ----------
    well : WellInput
    seen : dict of int to (datetime, PumpDown)
        Recorded pump-downs, keyed by the stage they prepare, with the record's start time.
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
        found.append(("plug_preset", "the plug set prematurely, above its planned depth"))
    stated = view.row.get("pump_down_min")
    if view.seen is not None and view.seen.whole and stated and abs(view.seen.minutes / stated - 1.0) > DIFFERS:
        text = f"the run record states {stated:.1f} min of pump-down, the pump record {view.seen.minutes:.1f}"
        found.append(("pump_down_differs", text))
    return [finding(well_id, "wireline", run, kind, message) for kind, message in found]
