"""The table of picks: one row per pick."""

from __future__ import annotations

from pipeline.schemas.base import Schema, Table, instant, integer, quantity, text

CALLED = {"stage": "stage", "plug": "plug", "run": "coil run", "wireline": "pump-down"}
"""What the levels of picks are called in sentences."""


class Picks(Schema):
    """Picks made by the pipeline, with their confidence."""

    well_id = text("id of the well in the lake", key=True)
    level = text("stage, plug, run (coil) or wireline (pump-down)", key=True)
    number = integer("stage, plug or run", key=True)
    pick = text("name of the pick", key=True, code=True)
    value = quantity("ratio", "value, in the unit of the unit column")
    unit = text("unit of the value", code=True)
    time = instant("time of the pick")
    standard_error = quantity("ratio", "standard error of the value, in its unit")
    method = text("method of the pick", required=True, code=True)
    version = integer("version of the method", required=True)
    confidence = text("high, medium, low, or none if nothing was picked", required=True, code=True)
    reason = text("reason for the confidence, or for the missing pick", required=True, amounts=True)
    amended_value = quantity("ratio", "value set by an engineer, used instead")
    amended_time = instant("time set by an engineer, used instead")
    amended_reason = text("who amended it and why; empty if not amended", private=True)
    fingerprint = text("hash of all inputs of the well's picks", required=True, code=True)


PICKS = Table("picks", Picks, "a pick", ("well_id",), ("level", "number", "pick"))
