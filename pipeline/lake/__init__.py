"""The lake: Delta tables, one writer, consistent readers."""

from pipeline.lake.connection import connect, kept_connections
from pipeline.lake.lease import Lease
from pipeline.lake.store import Condition, Lake, Where, at_once, damage, open_anew

__all__ = [
    "Condition",
    "Lake",
    "Lease",
    "Where",
    "at_once",
    "connect",
    "damage",
    "kept_connections",
    "open_anew",
]
