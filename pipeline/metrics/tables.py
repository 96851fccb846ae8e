"""Every table of the lake, with descriptions of its columns and of the marts' columns."""

from __future__ import annotations

from functools import cache

from pipeline import schemas
from pipeline.lake.marts import catalogue
from pipeline.metrics.measure import LEVELS
from pipeline.resources import keep, kept, kept_at, product_digest
from pipeline.schemas.base import Table
from pipeline.sql import Catalogue, Described

TABLES: dict[str, Table] = {**schemas.TABLES, **{level.name: level.table for level in LEVELS}}
"""Every table, by name."""


@cache
def columns_known() -> Catalogue:
    """Return the description of every column, by table and mart.

    To ask DuckDB for the columns of every mart takes a fifth of a second, so they are kept until a source changes.
    """
    path = kept_at(f"columns-{product_digest()}.json")
    made = kept(path, _described)
    if made is None:
        made = catalogue(list(TABLES.values()))
        keep(path, {
            table: [[one.name, one.unit, one.meaning] for one in columns.values()] for table, columns in made.items()
        })  # fmt: skip
    return made


def _described(held: dict[str, list[list[str]]]) -> Catalogue:
    return {table: {one[0]: Described(*one) for one in columns} for table, columns in held.items()}
