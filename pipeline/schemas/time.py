"""Tables of where the hours of a pad went."""

from __future__ import annotations

import dataframely as dy

from pipeline.schemas.base import Table, day, instant, integer, quantity, text


class PadTimeline(dy.Schema):
    """An interval of a pad's time, from records and time log together; no two overlap."""

    pad = text("the site", key=True)
    start_time = instant("start", key=True)
    end_time = instant("end", required=True)
    well_id = text("our name of the well, where it belongs to one")
    activity = text("pumping, wireline, swap, coil, standby, NPT or not booked", required=True)
    cause = text("cause of lost time")
    basis = text("record or time log; neither where nothing was booked", code=True)
    hours = quantity("h", "length")
    fingerprint = text("hash of all that the pad's rows follow from", required=True, code=True)


class PadDays(dy.Schema):
    """A day of a pad on its own clock."""

    pad = text("the site", key=True)
    local_date = day("day on the pad's clock", key=True)
    hours = quantity("h", "hours of the day between the pad's first and last interval")
    pumping_hours = quantity("h", "hours with one well or more being pumped")
    well_pumping_hours = quantity("h", "the same, a well at a time: two wells at once count twice")
    wireline_hours = quantity("h", "hours of wireline")
    swap_hours = quantity("h", "hours of swapping between wells")
    coil_hours = quantity("h", "hours of coiled tubing")
    standby_hours = quantity("h", "hours of standing by")
    npt_hours = quantity("h", "hours lost, overlapping entries counted once")
    not_booked_hours = quantity("h", "hours that neither a record nor a known activity of the log accounts for")
    stages_completed = integer("stages shut in on the day")
    fingerprint = text("hash of all that the pad's rows follow from", required=True, code=True)


PAD_TIMELINE = Table("pad_timeline", PadTimeline, "an interval of a pad's time")
PAD_DAYS = Table("pad_day_metrics", PadDays, "a day of a pad")
