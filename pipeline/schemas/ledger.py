"""Tables of time, money and production."""

from __future__ import annotations

from pipeline.schemas.base import MOST_NUMBER, Landed, Table, day, instant, integer, quantity, text


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
    spill_bbl = quantity("bbl", "volume spilled; empty if nothing was", hard=(0.0, 1e5))


class ExposureHours(Landed):
    """Hours worked on a pad by all people in a period, for rates of incidents."""

    pad = text("pad (site)", key=True)
    period_start = day("first day of the period", key=True)
    period_end = day("last day of the period")
    hours = quantity("h", "hours worked by all people on the pad", hard=(0.0, 1e7))


class Additives(Landed):
    """An additive of a stage: designed and used."""

    well_id = text("id of the well in the lake", key=True)
    stage = integer("stage, counted from the toe", key=True, lowest=1, highest=MOST_NUMBER)
    additive = text(
        "friction reducer, surfactant, biocide, scale inhibitor … as the team calls it", key=True, code=True
    )
    designed_gal = quantity("gal", "designed volume", hard=(0.0, 1e6))
    used_gal = quantity("gal", "volume used", hard=(0.0, 1e6))


class Flowback(Landed):
    """A day of flowback of a well."""

    well_id = text("id of the well in the lake", key=True)
    day = day("day", key=True)
    hours_on = quantity("h", "hours of flow", hard=(0.0, 25.0))
    water_bbl = quantity("bbl", "water", hard=(0.0, 1e6))
    oil_bbl = quantity("bbl", "oil", hard=(0.0, 1e6))
    gas_mcf = quantity("mcf", "gas", hard=(0.0, 1e7))
    choke_64ths = quantity("ratio", "choke, sixty-fourths of an inch", hard=(0.0, 256.0))
    wellhead_pressure_psi = quantity("psi", "flowing wellhead pressure", hard=(-50.0, 20000.0))
    bottomhole_pressure_psi = quantity("psi", "flowing bottomhole pressure", hard=(0.0, 30000.0))
    reservoir_pressure_psi = quantity("psi", "reservoir pressure", hard=(0.0, 30000.0))


class Production(Landed):
    """A month of production."""

    well_id = text("id of the well in the lake", key=True)
    month = day("first day of the month", key=True, month=True)
    days_on = quantity("d", "days on production", hard=(0.0, 31.0))
    oil_bbl = quantity("bbl", "oil", hard=(0.0, 1e6))
    gas_mcf = quantity("mcf", "gas", hard=(0.0, 1e8))
    water_bbl = quantity("bbl", "water", hard=(0.0, 1e7))
    choke_64ths = quantity("ratio", "choke, sixty-fourths of an inch", hard=(0.0, 256.0))
    flowing_pressure_psi = quantity("psi", "flowing wellhead pressure", hard=(-50.0, 20000.0))


ACTIVITY = Table("activity", Activity, "an interval of pad time")
INCIDENTS = Table("incidents", Incidents, "a safety event")
EXPOSURE_HOURS = Table("exposure_hours", ExposureHours, "a period of hours worked on a pad")
ADDITIVES = Table("additives", Additives, "an additive of a stage")
FLOWBACK = Table("flowback", Flowback, "a day of a well's flowback")
COST = Table("cost", Cost, "a cost line")
PRODUCTION = Table("production", Production, "a month of a well's production")
