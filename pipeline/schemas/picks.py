"""The table of picks: one row a pick."""

from __future__ import annotations

import dataframely as dy

from pipeline.schemas.base import Table, instant, integer, quantity, text


class Picks(dy.Schema):
    """What the pipeline picked, and how sure it is."""

    well_id = text("our name of the well", key=True)
    level = text("stage, plug or run", key=True)
    number = integer("stage, plug or run", key=True)
    pick = text("name of the pick", key=True, code=True)
    value = quantity("ratio", "value, in the unit beside it")
    unit = text("unit of the value", code=True)
    time = instant("moment of the pick")
    standard_error = quantity("ratio", "standard error of the value, in its unit")
    method = text("how it was picked", required=True, code=True)
    version = integer("version of the method", required=True)
    confidence = text("high, medium, low, or none where nothing was picked", required=True, code=True)
    reason = text("why that confidence, or why nothing was picked", required=True, amounts=True)
    amended_value = quantity("ratio", "value that an engineer set, which counts instead")
    amended_time = instant("moment that an engineer set, which counts instead")
    amended_reason = text("who amended it and why; empty where nobody did", private=True)
    fingerprint = text("hash of all that the well's picks follow from", required=True, code=True)


PICKS = Table("picks", Picks, "a pick", ("well_id",), ("level", "number", "pick"))
