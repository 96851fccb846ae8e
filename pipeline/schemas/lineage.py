"""Tables of row sources and findings."""

from __future__ import annotations

from pipeline.schemas.base import Schema, Table, flag, instant, integer, large, text


class Sources(Schema):
    """A file and its landing result."""

    path = text("path of the file, relative to the workspace", key=True, private=True)
    map = text("source map; empty if none matches", key=True, private=True)
    source_id = text("hash of content, map and reader version", required=True, code=True)
    state = text("landed, copy, superseded or set aside", required=True, code=True)
    lands = text("lake table that the map fills", code=True)
    well_id = text("id of the well in the lake, if it belongs to one")
    number = integer("stage or run, if the file belongs to one")
    content_hash = text("SHA-256 of the content", required=True, code=True)
    map_hash = text("hash of the map", required=True, code=True)
    reader_version = integer("version of the reader", required=True)
    size_bytes = large("size")
    modified_us = large("time stamp of the file, microseconds since 1970")
    rows_in = integer("rows read")
    rows_landed = integer("rows landed")
    findings = integer("findings of its landing")
    time_from = instant("first time stamp in the file")
    time_to = instant("last time stamp in the file")
    reason = text("reason why it was set aside", private=True)
    line = integer("line of the file with the problem, from 1")
    expected = text("content expected there", private=True)
    found = text("content found there", private=True)
    fix = text("how to fix it", private=True)
    tried_with = text("hash of the wells known at the last attempt", code=True)
    landed_at = instant("when", required=True)


class Findings(Schema):
    """A problem that did not stop the work."""

    step = text("ingest or measure", required=True, code=True)
    source_id = text("the landed file, if it concerns one", code=True)
    path = text("path of the file, relative to the workspace", private=True)
    pad = text("pad (site), if it concerns a whole pad")
    well_id = text("id of the well in the lake")
    level = text("stage, plug, run, well or pad")
    number = integer("stage, plug or run")
    kind = text("short name of the finding", required=True, code=True)
    message = text("description of the finding", required=True, private=True, amounts=True)
    row = integer("line of the file, from 1")
    rows = integer("number of rows it concerns")


class Snapshots(Schema):
    """The versions of all tables after a step."""

    snapshot = text("name of the snapshot: time and step", key=True, code=True)
    at = instant("when", required=True)
    step = text("ingest, measure or fit", required=True, code=True)
    versions = text("JSON: table to version", required=True, code=True)
    code_version = text("version of heelward", required=True, code=True)
    settings_hash = text("hash of the workspace's settings", required=True, code=True)
    changed = flag("whether the step changed anything", required=True)


SOURCES = Table("sources", Sources, "a file")
FINDINGS = Table("findings", Findings, "a finding")
SNAPSHOTS = Table("snapshots", Snapshots, "a snapshot of the lake after a step")
