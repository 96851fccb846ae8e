"""Data-quality findings of the measure step."""

from __future__ import annotations

from typing import Any

from pipeline.errors import short
from pipeline.units import qty

Row = dict[str, Any]
OFFSET_PSI = 200.0
"""A pressure rise of this size or more at a neighbour is a finding (common practice). [psi]"""
REPORTED_SHARE = 0.03
"""Totals that differ from the reported ones by more than this are a finding. [1]"""


def finding(
    well_id: str | None, level: str, number: int | None, kind: str, message: str, pad: str | None = None
) -> Row:
    """Return a finding row for the measure step."""
    return {
        "step": "measure", "source_id": None, "path": None, "pad": pad, "well_id": well_id, "level": level,
        "number": number, "kind": kind, "message": message, "row": None, "rows": None,
    }  # fmt: skip


def reported_findings(well_id: str, stage: int, reported: Row, measured: Row) -> list[Row]:
    """Return the totals that differ from the provider's report by more than 3 %."""
    rows = []
    for name, words, unit in (("clean_bbl", "clean fluid", "bbl"), ("proppant_lbm", "proppant", "lbm")):
        ours, theirs = measured[name], reported.get(name)
        if ours is not None and theirs and abs(ours / theirs - 1.0) > REPORTED_SHARE:
            both = f"measured {qty(ours, unit)}, reported {qty(theirs, unit)}"
            text = f"{words}: {both} ({ours / theirs - 1.0:+.1%})"
            rows.append(finding(well_id, "stage", stage, "reported_differs", text))
    return rows


def offset_findings(well_id: str, offsets: list[Row]) -> list[Row]:
    """Return findings for neighbours with a pressure response to the well's stages."""
    rows = []
    for row in offsets:
        response = row["pressure_response_psi"]
        if response is None or response < OFFSET_PSI:
            continue
        during = f" during stage {row['response_stage']}" if row["response_stage"] is not None else ""
        far = f", {qty(row['spacing_ft'], 'ft')} away" if row["spacing_ft"] is not None else ""
        text = f"{short(row['offset_id'])}{far}, pressure rose by {qty(response, 'psi')}{during}"
        rows.append(finding(well_id, "stage", row["response_stage"], "offset_response", text))
    return rows
