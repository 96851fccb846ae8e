"""Lake tables, one schema each: the only place where columns, units and plausible ranges are declared."""

from pipeline.schemas.base import Table, meta
from pipeline.schemas.fitted import COMPARISONS, EFFECTS, MODEL_CARDS, PREDICTIONS
from pipeline.schemas.ledger import ACTIVITY, COST, PRODUCTION
from pipeline.schemas.lineage import FINDINGS, SNAPSHOTS, SOURCES
from pipeline.schemas.picks import PICKS
from pipeline.schemas.records import COIL, TREATMENT
from pipeline.schemas.review import AMENDMENTS, REPORTED
from pipeline.schemas.wells import COIL_RUNS, PLUGS, STAGES, STRINGS, WELLS, WIRELINE

LANDED: dict[str, Table] = {
    table.name: table
    for table in (
        WELLS, STRINGS, STAGES, PLUGS, COIL_RUNS, WIRELINE, TREATMENT, COIL, ACTIVITY, COST, PRODUCTION,
        REPORTED, AMENDMENTS,
    )
}  # fmt: skip
"""Tables that source maps can fill, in the order they are landed."""

__all__ = [
    "ACTIVITY",
    "AMENDMENTS",
    "COIL",
    "COIL_RUNS",
    "COMPARISONS",
    "COST",
    "EFFECTS",
    "FINDINGS",
    "LANDED",
    "MODEL_CARDS",
    "PICKS",
    "PLUGS",
    "PREDICTIONS",
    "PRODUCTION",
    "REPORTED",
    "SNAPSHOTS",
    "SOURCES",
    "STAGES",
    "STRINGS",
    "TREATMENT",
    "WELLS",
    "WIRELINE",
    "Table",
    "meta",
]
