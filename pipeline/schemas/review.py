"""Tables of review: amendments by engineers, and reports by providers."""

from __future__ import annotations

from pipeline.schemas.base import MOST_NUMBER, Landed, Table, flag, instant, integer, quantity, text


class Amendments(Landed):
    """An engineer's correction of a pick, or its withdrawal; the latest amendment of a pick counts."""

    well_id = text("id of the well in the lake", key=True)
    level = text("stage, plug, run or wireline", key=True, one_of=("stage", "plug", "run", "wireline"))
    number = integer("stage, plug or run", key=True, lowest=1, highest=MOST_NUMBER)
    pick = text("name of the pick", key=True, code=True)
    at = instant("time when it was written", key=True)
    value = quantity("ratio", "value set, in the pick's unit", hard=(-1e6, 1e7))
    time = instant("time set")
    by = text("who", required=True, private=True)
    why = text("why", required=True, private=True)
    withdrawn = flag("whether it withdraws the amendment", required=True)


class Reported(Landed):
    """Values from a provider's stage summary, for comparison with measured values."""

    well_id = text("id of the well in the lake", key=True)
    stage = integer("stage, counted from the toe", key=True, lowest=1, highest=MOST_NUMBER)
    isip_psi = quantity("psi", "reported ISIP", hard=(-250.0, 20000.0))
    pressure_5min_psi = quantity("psi", "reported pressure 5 min after shut-in", hard=(-250.0, 20000.0))
    pressure_10min_psi = quantity("psi", "reported pressure 10 min after shut-in", hard=(-250.0, 20000.0))
    pressure_15min_psi = quantity("psi", "reported pressure 15 min after shut-in", hard=(-250.0, 20000.0))
    breakdown_pressure_psi = quantity("psi", "reported breakdown pressure", hard=(-250.0, 20000.0))
    avg_treating_pressure_psi = quantity("psi", "reported mean treating pressure", hard=(-250.0, 20000.0))
    max_treating_pressure_psi = quantity("psi", "reported highest treating pressure", hard=(-250.0, 20000.0))
    avg_slurry_rate_bpm = quantity("bpm", "reported mean rate", hard=(0.0, 200.0))
    max_slurry_rate_bpm = quantity("bpm", "reported highest rate", hard=(0.0, 200.0))
    clean_bbl = quantity("bbl", "reported clean fluid", hard=(0.0, 1e5))
    pad_bbl = quantity("bbl", "reported pad", hard=(0.0, 1e5))
    flush_bbl = quantity("bbl", "reported flush", hard=(0.0, 1e5))
    proppant_lbm = quantity("lbm", "reported proppant", hard=(0.0, 5e6))
    water_bbl = quantity("bbl", "fresh and reused water supplied for the stage", hard=(0.0, 1e5))
    fuel_gal = quantity("gal", "diesel burned, or the equivalent in gas", hard=(0.0, 1e5))


AMENDMENTS = Table("amendments", Amendments, "an engineer's correction of a pick")
REPORTED = Table("reported", Reported, "a stage summary reported by a provider")
