"""Data-quality findings of a measured stage."""

from __future__ import annotations

import numpy as np

from pipeline.metrics.findings import Row, finding
from pipeline.metrics.stage.view import StageView
from pipeline.units import qty

GRADIENT_PSI_FT = (0.6, 1.1)
"""Usual range of the ISIP gradient (common practice). [psi/ft]"""

ABOVE, ABOVE_S = 1.05, 30.0
"""A clean rate above this multiple of the slurry rate for longer than this is wrong. [1], [s]"""
PAUSE_S = 12 * 3600.0
"""A longer time without samples within a stage is a doubt of its number. [s]"""


MANY_EMPTY = 0.2
"""Share of empty rates that is worth a word. [1]"""
LEAST_UNSEEN = 0.01
"""Share of the proppant that may be missing without a word. [1]"""


def stage_findings(well_id: str, stage: int, view: StageView, measured: Row) -> list[Row]:
    """Return the findings about a measured stage."""
    found: list[tuple[str, str]] = []
    if not view.row:
        found.append(("no_design", "the stages table does not describe this stage: no design, crew or limits"))
    if view.injection is None:
        text = f"no sustained rate of {qty(view.picks.timeline.main_bpm, 'bpm')} or more in the record"
        empty = float(np.isnan(view.picks.timeline.record.rate_bpm).mean())
        found.append(("no_treatment", f"{text}; {empty:.0%} of its rates are empty" if empty > MANY_EMPTY else text))
    void = view.picks.timeline.void_rate_s
    if void > 0.0:
        found.append(("void_rate", f"the rate read zero for {void:.0f} s with no other change: unmeasured volume"))
    if count := view.picks.faulty_pressures:
        text = f"{count} samples of the treating pressure are left out: the gauge jumped, failed or stood still"
        found.append(("gauge_fault", text))
    if measured["zero_offset_psi"]:
        found.append(
            (
                "zero_offset",
                f"zero offset of {qty(measured['zero_offset_psi'], 'psi', plus=True)}, removed from the record",
            )
        )
    gap = (measured["unmeasured_s"] or 0.0) - void
    if gap > 2.0:
        found.append(("unmeasured", f"{gap:.0f} s of the injection has no usable rate (gaps, void samples)"))
    most, placed = measured["unmeasured_proppant_lbm"] or 0.0, measured["proppant_lbm"] or 0.0
    if most > LEAST_UNSEEN * (most + placed):
        text = f"up to {qty(most, 'lbm')} of proppant ran while rate or concentration were not recorded: not counted"
        found.append(("unmeasured_proppant", text))
    found += _record_findings(view)
    margin = measured["pressure_margin_psi"]
    if margin is not None and margin < 0.0:
        found.append(("over_limit", f"pressure exceeded the programme's limit by {qty(-margin, 'psi')}"))
    found += _wave_findings(view, measured)
    differential, rest = measured["plug_differential_psi"], measured["plug_margin_psi"]
    if rest is not None and rest < 0.0:
        found.append(("plug_over_rating", f"{qty(differential, 'psi')} modelled across the plug, exceeds its rating"))
    if measured["misfired"]:
        found.append(("misfire", f"{view.row['holes_shot']} of {view.row['holes_designed']} holes fired"))
    gradient, (low, high) = measured["isip_gradient_psi_ft"], GRADIENT_PSI_FT
    if gradient is not None and not low <= gradient <= high:
        usual = f"the usual {qty(low, 'psi/ft')} to {qty(high, 'psi/ft')}"
        found.append(
            (
                "isip_gradient",
                f"ISIP gradient of {qty(gradient, 'psi/ft')} is outside {usual}",
            )
        )
    if measured["screenout"]:
        found.append(("screenout", measured["screenout_reason"]))
    elif measured["cut_short"]:
        found.append(
            ("cut_short", f"{measured['placed_share']:.0%} of the designed proppant placed, without a screen-out")
        )
    return [finding(well_id, "stage", stage, kind, message) for kind, message in found]


def _record_findings(view: StageView) -> list[tuple[str, str]]:
    """Findings for channels that contradict each other, and for two jobs under one number."""
    record, found = view.picks.timeline.record, []
    if record.clean_bpm is not None and view.injection is not None:
        part = view.injection
        clean, slurry = record.clean_bpm[part], record.rate_bpm[part]
        above = (clean > ABOVE * np.maximum(slurry, view.picks.timeline.main_bpm * 0.1)) & (clean > 1.0)
        seconds = float(view.seconds[above].sum())
        if seconds > ABOVE_S:
            text = f"the clean rate is above the slurry rate for {seconds:.0f} s, which cannot be: one of them is wrong"
            found.append(("clean_above_slurry", text))
    pause = float(np.diff(record.time_s).max(initial=0.0))
    if pause > PAUSE_S:
        hours = pause / 3600.0
        text = f"nothing is on record for {hours:.0f} h between two parts of it: are two jobs under one number?"
        found.append(("two_jobs", text))
    return found


def _wave_findings(view: StageView, measured: Row) -> list[tuple[str, str]]:
    """Finding for a water hammer reflected from well below the plug: it may leak or have moved."""
    depth, error, plug = measured["reflector_depth_ft"], measured["reflector_error_ft"], view.around.plug_depth_ft
    length = view.row.get("stage_length_ft")
    if depth is None or error is None or plug is None or not length:
        return []
    beyond = depth - plug
    if beyond <= 2.0 * error + length:
        return []
    text = f"the water hammer reflects from {qty(depth, 'ft')} ± {qty(error, 'ft')}; the plug is at {qty(plug, 'ft')}"
    return [("deep_reflector", text)]
