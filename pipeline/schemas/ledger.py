"""Tables of time, money and production."""

from __future__ import annotations

from pipeline.schemas.base import Landed, Table, day, instant, integer, quantity, text


class Activity(Landed):
    """An interval of pad time, booked to one activity."""

    pad = text("pad (site)", key=True)
    start_time = instant("start", key=True)
    end_time = instant("end", required=True)
    well_id = text("id of the well in the lake, if it belongs to one")
    activity = text(
        "pumping, wireline, swap, coil, standby or NPT", key=True,
        one_of=("pumping", "wireline", "swap", "coil", "standby", "NPT"),
    )  # fmt: skip
    cause = text("cause of lost time")


class Cost(Landed):
    """A cost line."""

    well_id = text("id of the well in the lake", key=True)
    line = integer("line number in the well's cost sheet", key=True, lowest=1, highest=1_000_000)
    service_date = day("day of the service, or the day planned for it", ahead=True)
    category = text("cost category", code=True)
    state = text("budget, accrued or invoiced", one_of=("budget", "accrued", "invoiced"))
    amount = quantity("ratio", "amount in the currency", hard=(-1e10, 1e10))
    currency = text("currency", code=True)
    price_basis = text("price basis")


class Incidents(Landed):
    """A safety event."""

    pad = text("pad (site)", key=True)
    occurred_at = instant("when", key=True)
    well_id = text("id of the well in the lake, if it belongs to one")
    severity = text(
        "near miss, first aid, recordable or lost time", one_of=("near miss", "first aid", "recordable", "lost time")
    )
    category = text("category of the event", code=True)
    operation = text("activity during which it happened", code=True)


class Production(Landed):
    """A month of production."""

    well_id = text("id of the well in the lake", key=True)
    month = day("first day of the month", key=True)
    days_on = quantity("d", "days on production", hard=(0.0, 31.0))
    oil_bbl = quantity("bbl", "oil", hard=(0.0, 1e6))
    gas_mcf = quantity("mcf", "gas", hard=(0.0, 1e8))
    water_bbl = quantity("bbl", "water", hard=(0.0, 1e7))
    choke_64ths = quantity("ratio", "choke, sixty-fourths of an inch", hard=(0.0, 256.0))
    flowing_pressure_psi = quantity("psi", "flowing wellhead pressure", hard=(-50.0, 20000.0))


ACTIVITY = Table("activity", Activity, "an interval of pad time")
INCIDENTS = Table("incidents", Incidents, "a safety event")
COST = Table("cost", Cost, "a cost line")
PRODUCTION = Table("production", Production, "a month of a well's production")
