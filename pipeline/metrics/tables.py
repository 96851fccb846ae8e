"""Every table of the lake, with descriptions of its columns and of the marts' columns."""

from __future__ import annotations

from functools import cache

from pipeline import schemas
from pipeline.lake.marts import catalogue
from pipeline.metrics.measure import LEVELS
from pipeline.schemas.base import Table
from pipeline.sql import Catalogue

TABLES: dict[str, Table] = {**schemas.TABLES, **{level.name: level.table for level in LEVELS}}
"""Every table, by name."""


@cache
def columns_known() -> Catalogue:
    """Return the description of every column, by table and mart."""
    return catalogue(list(TABLES.values()))
