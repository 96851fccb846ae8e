"""A new workspace: commented settings and a first source map."""

from __future__ import annotations

import json
from pathlib import Path

from pipeline.errors import HeelwardError
from pipeline.workspace import SETTINGS_FILE, Workspace

SETTINGS = """\
# Settings of a heelward workspace. Lines that are commented out show the default values.

title = "Completions report"

# Folders for records, inside this folder.
landing = ["landing"]

# Location of the lake: a folder, or an object-store URL such as "s3://bucket/lake".
lake = "lake"
# [storage]                      # options of the object store; credentials belong in the environment
# AWS_REGION = "..."

out = "out"                      # reports, and copies of files set aside
time_zone = "UTC"                # for pads without a time zone, and for the schedules
# display_units = "field"        # or "metric"
# plan = "next_pad.toml"         # candidate designs shown in the report's part "Next pad"
# beside = ["pdf", "xlsx", "brief"]   # what each refresh also writes: a PDF of each part, the tables, the brief
# wait_s = 600                   # how long a run waits for another run of this workspace, in seconds
# follow_links_outside = false   # true: follow links that point outside the landing folders
# cluster = "tcp://10.0.0.5:8786"   # a Dask cluster that reads, measures, fits and draws; it needs this same folder

# settle_s = 30                  # a scheduled run lands a file that has not changed for so long, in seconds
# messages = "messages.jsonl"    # a scheduled run adds a line per message, and sends it to the address in the
#                                environment variable HEELWARD_WEBHOOK

# For `heelward serve`, in the time zone above: minute hour day month weekday; "" for never
[schedules]
land = "*/10 * * * *"            # land, measure and fit what is new; a number is seconds
report = ["0 6 * * 1", "0 7 1 1,4,7,10 *"]   # draw the report: every Monday, and after each quarter
"""

FIRST_MAP = """\
# How to read one kind of file. Copy this file for every kind you receive; `heelward inspect FILE` shows how a map
# reads a file, and proposes a map if none matches.

name = "first_map"               # lower-case letters, digits and underscores
lands = "treatment"              # the lake table for its rows
files = "*.csv"                  # relative to the landing folder; ** matches across folders

# What the file's name contains: groups named well, and stage (or run for coil records).
name_pattern = '^(?P<well>.+?)[ _-]+stage[ _-]*(?P<stage>\\\\d+)'

delimiter = ","
decimal = "."
# encoding = "utf-8"
header_row = 1                   # line of the headings
# units_row = 2                  # line of the units; they are compared with the units below
void_values = ["-999.25"]        # numbers that mean "no measurement"
# ragged_rows = "void"           # rows with a wrong field count: "void" (up to 1 % or three) or "set aside" (the file)

# revision_pattern = ' rev(?P<rev>\\\\d+)'   # 'stage 3 rev2.csv' replaces 'stage 3.csv'
unknown_wells = "create"         # or "set aside": what to do with a well that is in no wells table
# stages_numbered_from = "toe"   # or "heel"
# depth_reference = "rotary table"   # or "ground"

# Lake column = heading of the file and its unit. Leave out channels that the file does not have.
[columns]
time = { column = "Time", format = "%Y-%m-%d %H:%M:%S", zone = "UTC" }   # zone "pad" uses the well's time zone
treating_pressure_psi = { column = "Treating pressure", unit = "psi" }
slurry_rate_bpm = { column = "Slurry rate", unit = "bpm" }
# clean_rate_bpm = { column = "Clean rate", unit = "bpm" }
proppant_conc_ppa = { column = "Proppant concentration", unit = "ppa" }

# A provider's words for a fixed list of heelward, such as the activities of a time log:
# activity = { column = "Operation", words = { "Frac" = "pumping", "Rig up" = "standby" } }

# Records with a start time in the header and elapsed seconds:
# [columns.time]
# column = "Elapsed"
# unit = "s"
# start = { pattern = 'Start: (?P<start>.+)', format = "%d/%m/%Y %H:%M:%S", zone = "America/Denver" }
"""


FIRST_MAP_TEXT = FIRST_MAP.replace("\\\\", "\\")


def make_workspace(folder: Path, landing: Path | None = None) -> None:
    """Write a new workspace.

    Parameters
    ----------
    folder : Path
    landing : Path, optional
        A folder of files, read where they are, beside the workspace's own `landing`; there is no first map then.

    Raises
    ------
    HeelwardError
        If the folder is already a workspace.
    """
    if (folder / SETTINGS_FILE).exists():
        raise HeelwardError(f"{folder} is already a workspace: it contains {SETTINGS_FILE}")
    for name in ("maps", "landing"):
        (folder / name).mkdir(parents=True, exist_ok=True)
    settings = SETTINGS
    if landing is None:
        (folder / "maps" / "first_map.toml").write_text(FIRST_MAP_TEXT, encoding="utf-8")
    else:
        where = json.dumps(str(landing.resolve()), ensure_ascii=False)
        settings = settings.replace('landing = ["landing"]', f'landing = ["landing", {where}]')
    (folder / SETTINGS_FILE).write_text(settings, encoding="utf-8")


_GAINS = (
    ("treatment", "a record of each stage (time, pressure, rate)", "pressures, breakdown, ISIP, pump time per stage"),
    (
        "wells",
        "a table of wells with their pads, time zone and depths",
        "pads, and with three of them models and comparisons",
    ),
    ("stages", "a table of stages (design, crew, perforations, TVD)", "crews and designs compared, gradients, margins"),
    ("strings", "casing sizes", "friction, the volume to the perforations, bottomhole pressure"),
    ("coil", "coil records", "mill-out: mill time, stalls, trips, annular velocity"),
    ("plugs", "a table of plugs with their set depths", "tags matched to plugs, mill time per plug"),
    ("reported", "the providers' stage summaries", "a comparison of their values with ours"),
    ("activity", "a time log", "lost time by cause, swap time net of it"),
    ("cost", "cost lines", "cost per stage, per foot and per pound"),
    ("production", "monthly production", "early oil per foot by design"),
)
"""What each table brings: its name, what it is, and the results that need it."""


def missing(workspace: Workspace) -> list[str]:
    """Return what the lake does not hold yet, and which results each would give."""
    from pipeline.lake import Lake
    from pipeline.schemas import LANDED

    lake = Lake(workspace.lake, workspace.storage)
    lines = []
    for name, what, gives in _GAINS:
        rows = lake.scan(LANDED[name])
        if name == "wells":  # wells that landing made know nothing of their pads
            rows = rows.filter(stub=False)
        if rows.limit(1).collect().is_empty():
            lines.append(f"with {what} you get {gives}")
    return lines
