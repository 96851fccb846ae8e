"""Lake tables, one schema each: the only place where columns, units and plausible ranges are declared."""

from pipeline.schemas.base import Table, meta
from pipeline.schemas.fitted import (
    CHANGES,
    COMPARISONS,
    EFFECTS,
    EXCLUSIONS,
    MODEL_CARDS,
    MODEL_PARAMETERS,
    PLANNED,
    PREDICTIONS,
    PROPORTIONS,
    QUARTER_MEANS,
    TRIALS,
)
from pipeline.schemas.ledger import ACTIVITY, COST, INCIDENTS, PRODUCTION
from pipeline.schemas.lineage import FINDINGS, SNAPSHOTS, SOURCES
from pipeline.schemas.picks import PICKS
from pipeline.schemas.records import COIL, TREATMENT
from pipeline.schemas.review import AMENDMENTS, REPORTED
from pipeline.schemas.time import PAD_DAYS, PAD_TIMELINE
from pipeline.schemas.wells import COIL_RUNS, OFFSETS, PLUGS, STAGES, STRINGS, TOE_TESTS, WELLS, WIRELINE

LANDED: dict[str, Table] = {
    table.name: table
    for table in (
        WELLS, STRINGS, STAGES, PLUGS, COIL_RUNS, WIRELINE, TREATMENT, COIL, ACTIVITY, COST, PRODUCTION,
        REPORTED, AMENDMENTS, TOE_TESTS, OFFSETS, INCIDENTS,
    )
}  # fmt: skip
"""Tables that source maps can fill, in the order they are landed."""

__all__ = [
    "ACTIVITY",
    "AMENDMENTS",
    "CHANGES",
    "COIL",
    "COIL_RUNS",
    "COMPARISONS",
    "COST",
    "EFFECTS",
    "EXCLUSIONS",
    "FINDINGS",
    "INCIDENTS",
    "LANDED",
    "MODEL_CARDS",
    "MODEL_PARAMETERS",
    "OFFSETS",
    "PAD_DAYS",
    "PAD_TIMELINE",
    "PICKS",
    "PLANNED",
    "PLUGS",
    "PREDICTIONS",
    "PRODUCTION",
    "PROPORTIONS",
    "QUARTER_MEANS",
    "REPORTED",
    "SNAPSHOTS",
    "SOURCES",
    "STAGES",
    "STRINGS",
    "TOE_TESTS",
    "TREATMENT",
    "TRIALS",
    "WELLS",
    "WIRELINE",
    "Table",
    "meta",
]
