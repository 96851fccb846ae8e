"""A new workspace: commented settings and a first source map."""

from __future__ import annotations

from pathlib import Path

from pipeline.errors import HeelwardError
from pipeline.workspace import SETTINGS_FILE

SETTINGS = """\
# Settings of a heelward workspace. Lines that are commented out show what is taken without them.

title = "Completions report"

# Folders that records are put into, below this one.
landing = ["landing"]

# Where the lake lies: a folder, or an object-store URL such as "s3://bucket/lake".
lake = "lake"
# [storage]                      # what the object store needs, as its client names it
# AWS_REGION = "..."

out = "out"                      # reports, and copies of files set aside
time_zone = "UTC"                # of pads that state none, and of the schedules
# display_units = "field"        # or "metric"
# plan = "next_pad.toml"         # candidate designs that the report's part "Next pad" shows
# beside = ["pdf", "xlsx"]       # what each refresh writes beside the page: a PDF of each part, the tables
# wait_s = 600                   # how long a run waits for another one of this workspace, in seconds
# follow_links_outside = false   # true: follow links that lead out of the landing folders

[schedules]
refresh = "0 5 * * *"            # minute hour day month weekday; "" for never
"""

FIRST_MAP = """\
# How to read one kind of file. Copy this file for every kind you receive; `heelward inspect FILE` shows what a map
# makes of a file, and suggests one where none fits.

name = "first_map"               # lower-case letters, digits and underscores
lands = "treatment"              # the lake table that it fills
files = "*.csv"                  # below the landing folder; ** spans folders

# What the file's name tells: groups named well, and stage (or run for coil records).
name_pattern = '^(?P<well>.+?)[ _-]+stage[ _-]*(?P<stage>\\\\d+)'

delimiter = ","
decimal = "."
# encoding = "utf-8"
header_row = 1                   # line of the headings
# units_row = 2                  # line of the units; they are checked against the units below
void_values = ["-999.25"]        # numbers that mean nothing was measured
# ragged_rows = "void"           # rows of another width: "void" (up to 1 % or three) or "set aside" (the file)

# revision_pattern = ' rev(?P<rev>\\\\d+)'   # 'stage 3 rev2.csv' replaces 'stage 3.csv'
unknown_wells = "create"         # or "set aside": what to do with a well that no wells table names
# stages_numbered_from = "toe"   # or "heel"
# depth_reference = "rotary table"   # or "ground"

# Lake column = heading of the file and its unit. Channels that the file lacks are left out.
[columns]
time = { column = "Time", format = "%Y-%m-%d %H:%M:%S", zone = "UTC" }   # zone "pad" takes the well's own
treating_pressure_psi = { column = "Treating pressure", unit = "psi" }
slurry_rate_bpm = { column = "Slurry rate", unit = "bpm" }
# clean_rate_bpm = { column = "Clean rate", unit = "bpm" }
proppant_conc_ppa = { column = "Proppant concentration", unit = "ppa" }

# A provider's words for a closed list of ours, such as the activities of a time log:
# activity = { column = "Operation", words = { "Frac" = "pumping", "Rig up" = "standby" } }

# Records with a start time in the header and elapsed seconds:
# [columns.time]
# column = "Elapsed"
# unit = "s"
# start = { pattern = 'Start: (?P<start>.+)', format = "%d/%m/%Y %H:%M:%S", zone = "America/Denver" }
"""


def make_workspace(folder: Path) -> None:
    """Write a new workspace.

    Raises
    ------
    HeelwardError
        If the folder is a workspace already.
    """
    if (folder / SETTINGS_FILE).exists():
        raise HeelwardError(f"{folder} is a workspace already: it holds {SETTINGS_FILE}")
    for name in ("maps", "landing"):
        (folder / name).mkdir(parents=True, exist_ok=True)
    (folder / "maps" / "first_map.toml").write_text(FIRST_MAP.replace("\\\\", "\\"), encoding="utf-8")
    (folder / SETTINGS_FILE).write_text(SETTINGS, encoding="utf-8")
