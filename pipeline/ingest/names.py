"""Find the well for a name in any spelling of a provider."""

from __future__ import annotations

import difflib
import hashlib
import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

import polars as pl


@lru_cache(4096)
def folded(name: str) -> str:
    """Return a name without case, punctuation, accents and spaces."""
    plain = unicodedata.normalize("NFKD", name).casefold()
    return "".join(char for char in plain if char.isalnum())


def new_id(name: str) -> str:
    """Return an id for a well: letters, digits and hyphens, safe in any path; different names never share one."""
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    slug = re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:48]
    if slug and folded(name) == slug.replace("-", ""):
        return slug
    mark = hashlib.sha256(folded(name).encode()).hexdigest()[:8]
    return f"{slug or 'well'}-{mark}"


@dataclass
class WellRegistry:
    """The known wells, by every folded spelling."""

    by_folded: dict[str, str] = field(default_factory=dict)
    shown: dict[str, str] = field(default_factory=dict)
    zones: dict[str, str] = field(default_factory=dict)
    stage_counts: dict[str, int] = field(default_factory=dict)
    rotary_table_ft: dict[str, float] = field(default_factory=dict)
    made: set[str] = field(default_factory=set)
    _facts: dict[str | None, str] = field(default_factory=dict)

    def find(self, name: str) -> str | None:
        """Return the well's id, or None if the name is unknown."""
        return self.by_folded.get(folded(name))

    def nearest(self, name: str, cutoff: float = 0.4) -> list[str]:
        """Return the most similar known names."""
        near = difflib.get_close_matches(folded(name), list(self.by_folded), n=3, cutoff=cutoff)
        return list(dict.fromkeys(self.shown[self.by_folded[item]] for item in near))

    def fingerprint(self, *, made: bool) -> str:
        """Return a hash of the known wells; with or without wells created by landing."""
        named = sorted(item for item in self.by_folded.items() if made or item[1] not in self.made)
        facts = (self.zones, self.stage_counts, self.rotary_table_ft)
        text = repr((named, *(sorted(held.items()) for held in facts)))
        return hashlib.sha256(text.encode()).hexdigest()[:16]

    def facts(self, well: str | None) -> str:
        """Return a hash of all facts of a well that reading a record takes from the wells table."""
        if well not in self._facts:
            known = (well, *(held.get(well or "") for held in (self.zones, self.stage_counts, self.rotary_table_ft)))
            self._facts[well] = hashlib.sha256(repr(known).encode()).hexdigest()[:16]
        return self._facts[well]

    def learn(self, wells: pl.DataFrame) -> None:
        """Add the wells of a wells frame; a spelling claimed by two wells belongs to the first."""
        self._facts.clear()
        for row in wells.iter_rows(named=True):
            well = row["well_id"]
            self.shown[well] = row["well_name"]
            if row["stub"]:
                self.made.add(well)
            for name in spellings(row):
                self.by_folded.setdefault(folded(name), well)
            if row["time_zone"] is not None:
                self.zones[well] = row["time_zone"]
            if row["stage_count"] is not None:
                self.stage_counts[well] = row["stage_count"]
            if row["rotary_table_ft"] is not None:
                self.rotary_table_ft[well] = row["rotary_table_ft"]

    def relearn(self, wells: pl.DataFrame) -> None:
        """Clear all wells and load the current ones; wells described in a table come first."""
        for held in (self.by_folded, self.shown, self.zones, self.stage_counts, self.rotary_table_ft):
            held.clear()
        self.made.clear()
        self.learn(wells.sort("stub", "well_id"))


def spellings(row: Mapping[str, Any]) -> list[str]:
    """Return all spellings of the well in a row of the wells table."""
    ways = (row["well_id"], row["well_name"] or "", *(row["aliases"] or "").split("|"))
    return [way.strip() for way in ways if folded(way)]


def claimed_twice(wells: pl.DataFrame) -> list[tuple[str, str, str]]:
    """Return the spellings claimed by two wells of a frame: spelling, first well, second well."""
    first: dict[str, str] = {}
    twice = []
    for row in wells.iter_rows(named=True):
        for way in spellings(row):
            owner = first.setdefault(folded(way), row["well_id"])
            if owner != row["well_id"]:
                twice.append((way, owner, str(row["well_id"])))
    return list(dict.fromkeys(twice))
