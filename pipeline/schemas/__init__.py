"""Lake tables, one schema each. Columns, units and plausible ranges are declared only here."""

from pipeline.schemas import fitted, ledger, lineage, picks, records, review, time, wells
from pipeline.schemas.base import Table

TABLES: dict[str, Table] = {
    table.name: table
    for module in (wells, records, ledger, review, picks, time, fitted, lineage)
    for table in vars(module).values()
    if isinstance(table, Table)
}
"""Every table declared here; tables of measured rows are generated from the metrics."""

LANDED: dict[str, Table] = {name: table for name, table in TABLES.items() if table.landed}
"""Tables that source maps can fill, in landing order."""
