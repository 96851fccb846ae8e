"""The lake: Delta tables, one writer, consistent readers."""

from pipeline.lake.store import Lake, Where

__all__ = ["Lake", "Where"]
