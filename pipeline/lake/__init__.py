"""The lake: Delta tables, one writer, consistent readers."""

from pipeline.lake.lease import Lease
from pipeline.lake.store import Lake, Where

__all__ = ["Lake", "Lease", "Where"]
