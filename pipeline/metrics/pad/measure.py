"""Account for the time of the pads whose time log or records changed."""

from __future__ import annotations

import polars as pl

from pipeline.lake import Lake, connect
from pipeline.metrics.coil.view import RUN
from pipeline.metrics.declare import fingerprint, texts_by
from pipeline.metrics.pad.account import PadRows, Worked, account
from pipeline.metrics.stage.view import STAGE
from pipeline.resources import source_digest
from pipeline.schemas.base import Table
from pipeline.schemas.ledger import ACTIVITY
from pipeline.schemas.lineage import FINDINGS
from pipeline.schemas.time import PAD_DAYS, PAD_TIMELINE
from pipeline.schemas.wells import WELLS


def measure_pads(lake: Lake, default_zone: str) -> tuple[int, int]:
    """Account for the time of every stale pad.

    Parameters
    ----------
    lake : Lake
    default_zone : str
        Time zone for pads without one.

    Returns
    -------
    pads, findings : int
        Number of pads accounted for, and number of findings.
    """
    log = lake.scan(ACTIVITY).drop("source_id", "source_row").sort("pad", "start_time", "activity").collect()
    worked = _worked(lake)
    with connect(lake, [WELLS], zone=default_zone) as connection:
        zones = dict(connection.sql("SELECT pad, zone FROM pad").fetchall())
    texts = texts_by(log, "pad"), texts_by(worked, "pad")
    pads = sorted(texts[0].keys() | texts[1].keys())
    hashes = {
        pad: fingerprint([source_digest("metrics"), zones.get(pad, default_zone), *(text.get(pad) for text in texts)])
        for pad in pads
    }
    before = dict(lake.scan(PAD_DAYS).select("pad", "fingerprint").unique().collect().iter_rows())
    stale = [pad for pad in pads if before.get(pad) != hashes[pad]]
    gone = [pad for pad in before if pad not in hashes]
    if not stale and not gone:
        return 0, 0
    found = {
        pad: account(
            pad, log.filter(pl.col("pad") == pad).to_dicts(),
            [Worked(*row) for row in worked.filter(pl.col("pad") == pad).drop("pad").iter_rows()],
            zones.get(pad, default_zone),
        )
        for pad in stale
    }  # fmt: skip
    where = {"pad": [*stale, *gone]}
    findings = [row for rows in found.values() for row in rows.findings]
    lake.replace(PAD_TIMELINE, _frame(PAD_TIMELINE, found, "timeline", hashes), where)
    lake.replace(FINDINGS, pl.DataFrame(findings, schema=FINDINGS.dtypes), {"step": "measure", **where})
    # write the days last: their fingerprint marks all rows of the pad as current
    lake.replace(PAD_DAYS, _frame(PAD_DAYS, found, "days", hashes), where)
    return len(stale), len(findings)


def _frame(table: Table, found: dict[str, PadRows], name: str, hashes: dict[str, str]) -> pl.DataFrame:
    rows = [{**row, "fingerprint": hashes[pad]} for pad, rows in found.items() for row in getattr(rows, name)]
    return pl.DataFrame(rows, schema=table.dtypes)


def _worked(lake: Lake) -> pl.DataFrame:
    """Work on each pad according to the records, stages pumped and coil runs in the hole: `Worked`, with its pad."""
    pads = lake.scan(WELLS).select("well_id", "pad").drop_nulls()
    parts = [
        lake.scan(level.table)
        .select("well_id", pl.col(number).alias("number"), "start_time", "end_time", activity=pl.lit(activity))
        .drop_nulls()
        .filter(pl.col("end_time") > pl.col("start_time"))
        .join(pads, on="well_id")
        for level, number, activity in ((STAGE, "stage", "pumping"), (RUN, "run", "coil"))
    ]
    rows = pl.concat(parts).sort("pad", "activity", "well_id", "number", descending=[False, True, False, False])
    return rows.select("pad", "start_time", "end_time", "activity", "well_id", "number").collect()
