"""Tables of where rows came from and what was odd about them."""

from __future__ import annotations

import dataframely as dy

from pipeline.schemas.base import Table, flag, instant, integer, text


class Sources(dy.Schema):
    """A file and what became of it."""

    path = text("file, below the workspace", key=True, private=True)
    map = text("source map, empty where none fits", key=True, private=True)
    source_id = text("hash of content, map and reader version", required=True, code=True)
    state = text("landed, copy, superseded or set aside", required=True, code=True)
    lands = text("lake table that the map fills", code=True)
    well_id = text("our name of the well, where it belongs to one")
    number = integer("stage or run, where the file belongs to one")
    content_hash = text("SHA-256 of the content", required=True, code=True)
    map_hash = text("hash of the map", required=True, code=True)
    reader_version = integer("version of the reader", required=True)
    size_bytes = dy.Int64(nullable=True, description="size")
    modified_us = dy.Int64(nullable=True, description="time stamp of the file, microseconds since 1970")
    rows_in = integer("rows read")
    rows_landed = integer("rows landed")
    findings = integer("findings of its landing")
    time_from = instant("first moment")
    time_to = instant("last moment")
    reason = text("why it was set aside", private=True)
    line = integer("line of the file that shows it, counted from 1")
    expected = text("what was expected there", private=True)
    found = text("what stood there", private=True)
    fix = text("what to do", private=True)
    tried_with = text("hash of the wells known when it was last tried", code=True)
    landed_at = instant("when", required=True)


class Findings(dy.Schema):
    """Something odd that did not stop the work."""

    step = text("ingest or measure", required=True, code=True)
    source_id = text("the landed file, where it concerns one", code=True)
    path = text("file, below the workspace", private=True)
    pad = text("the site, where it concerns a whole pad")
    well_id = text("our name of the well")
    level = text("stage, plug, run, well or pad")
    number = integer("stage, plug or run")
    kind = text("short name of the finding", required=True, code=True)
    message = text("what was found", required=True, private=True, amounts=True)
    row = integer("line of the file, counted from 1")
    rows = integer("how many rows it concerns")


class Snapshots(dy.Schema):
    """The versions of all tables after a step."""

    snapshot = text("name of the snapshot: moment and step", key=True, code=True)
    at = instant("when", required=True)
    step = text("ingest, measure or fit", required=True, code=True)
    versions = text("JSON: table to version", required=True, code=True)
    code_version = text("version of heelward", required=True, code=True)
    settings_hash = text("hash of the workspace's settings", required=True, code=True)
    changed = flag("whether the step changed anything", required=True)


SOURCES = Table("sources", Sources, "a file")
FINDINGS = Table("findings", Findings, "a finding")
SNAPSHOTS = Table("snapshots", Snapshots, "the state of the lake after a step")
