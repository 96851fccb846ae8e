"""The lake: Delta tables, one writer, consistent readers."""

from pipeline.lake.lease import Lease
from pipeline.lake.store import Condition, Lake, Where, damage, open_anew

__all__ = ["Condition", "Lake", "Lease", "Where", "damage", "open_anew"]
