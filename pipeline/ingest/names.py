"""Which well a name means, however a provider spells it."""

from __future__ import annotations

import difflib
import hashlib
import re
import unicodedata
from dataclasses import dataclass, field

import polars as pl


def folded(name: str) -> str:
    """Return a name without case, punctuation, accents and spaces."""
    plain = unicodedata.normalize("NFKD", name).casefold()
    return "".join(char for char in plain if char.isalnum())


def new_id(name: str) -> str:
    """Return an id for a well: letters, digits and hyphens, safe in any path; unlike names never share one."""
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    slug = re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:48]
    if slug and folded(name) == slug.replace("-", ""):
        return slug
    mark = hashlib.sha256(folded(name).encode()).hexdigest()[:8]
    return f"{slug or 'well'}-{mark}"


@dataclass
class Names:
    """The wells that are known, by every folded spelling."""

    by_folded: dict[str, str] = field(default_factory=dict)
    shown: dict[str, str] = field(default_factory=dict)
    zones: dict[str, str] = field(default_factory=dict)
    stage_counts: dict[str, int] = field(default_factory=dict)
    rotary_table_ft: dict[str, float] = field(default_factory=dict)

    def find(self, name: str) -> str | None:
        """Return the well's id, or None where the name is not known."""
        return self.by_folded.get(folded(name))

    def nearest(self, name: str) -> list[str]:
        """Return the known names that are most like it."""
        near = difflib.get_close_matches(folded(name), list(self.by_folded), n=3, cutoff=0.4)
        return list(dict.fromkeys(self.shown[self.by_folded[item]] for item in near))

    def fingerprint(self) -> str:
        """Return a hash of what is known, so that files set aside are tried again when it changes."""
        text = repr(
            (sorted(self.by_folded.items()), sorted(self.zones.items()), sorted(self.stage_counts.items()),
             sorted(self.rotary_table_ft.items()))
        )  # fmt: skip
        return hashlib.sha256(text.encode()).hexdigest()[:16]

    def learn(self, wells: pl.DataFrame) -> None:
        """Add the wells of a wells frame."""
        for row in wells.iter_rows(named=True):
            well = row["well_id"]
            self.shown[well] = row["well_name"]
            for name in (well, row["well_name"], *(row["aliases"] or "").split("|")):
                if folded(name):
                    self.by_folded.setdefault(folded(name), well)
            if row["time_zone"] is not None:
                self.zones[well] = row["time_zone"]
            if row["stage_count"] is not None:
                self.stage_counts[well] = row["stage_count"]
            if row["rotary_table_ft"] is not None:
                self.rotary_table_ft[well] = row["rotary_table_ft"]
