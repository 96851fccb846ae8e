"""Tables of the time accounting of pads."""

from __future__ import annotations

from pipeline.schemas.base import Schema, Table, day, instant, integer, quantity, text


class PadTimeline(Schema):
    """An interval of a pad's time, merged from records and time log; intervals do not overlap."""

    pad = text("pad (site)", key=True)
    start_time = instant("start", key=True)
    end_time = instant("end", required=True)
    well_id = text("id of the well in the lake, if it belongs to one")
    activity = text("pumping, wireline, swap, coil, standby, NPT or not booked", required=True)
    cause = text("cause of lost time")
    phase = text("toe preparation, fracturing (first to last rate on the pad) or mill-out; not known without a stage")
    basis = text("record or time log; empty if nothing was booked", code=True)
    hours = quantity("h", "length")
    fingerprint = text("hash of all inputs of the pad's rows", required=True, code=True)


class PadDays(Schema):
    """A day of a phase of a pad, in the pad's time zone."""

    pad = text("pad (site)", key=True)
    local_date = day("day in the pad's time zone", key=True)
    phase = text("phase, as in pad_timeline", key=True)
    hours = quantity("h", "hours of the phase on the day, between the pad's first and last interval")
    pumping_hours = quantity("h", "hours with one or more wells being pumped")
    well_pumping_hours = quantity("h", "hours of pumping summed over wells: two wells at once count twice")
    wireline_hours = quantity("h", "hours of wireline")
    swap_hours = quantity("h", "hours of swaps between wells")
    coil_hours = quantity("h", "hours of coiled tubing")
    standby_hours = quantity("h", "hours of standby")
    npt_hours = quantity("h", "hours of lost time, overlapping entries counted once")
    not_booked_hours = quantity("h", "hours without a record or a known activity in the log")
    stages_completed = integer("number of stages shut in on the day")
    fingerprint = text("hash of all inputs of the pad's rows", required=True, code=True)


PAD_TIMELINE = Table("pad_timeline", PadTimeline, "an interval of a pad's time")
PAD_DAYS = Table("pad_day_metrics", PadDays, "a day of a phase of a pad")
