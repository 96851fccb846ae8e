"""What runs do, as one line per event: for people, or as JSON for machines."""

from __future__ import annotations

import json
import logging
from datetime import UTC, datetime
from typing import Any

from pipeline.text import inert_lines, inert_text

log = logging.getLogger("heelward")


def event(what: str, **facts: Any) -> None:
    """Log something that a run did, at the level INFO.

    Parameters
    ----------
    what : str
        ``landed``, ``set aside``, ``measured``, ``fitted``, ``report``.
    **facts
        File, well, stage, counts; what is None is left out.
    """
    if log.isEnabledFor(logging.INFO):
        log.info(what, extra={"facts": {name: fact for name, fact in facts.items() if fact is not None}})


class Lines(logging.Formatter):
    """A line of text per event, made inert like all output."""

    def format(self, record: logging.LogRecord) -> str:
        """Return the line."""
        if (facts := getattr(record, "facts", None)) is None:
            return inert_lines(super().format(record))
        told = " ".join(f"{name}={json.dumps(fact, ensure_ascii=False, default=str)}" for name, fact in facts.items())
        return inert_text(f"{_moment(record):%H:%M:%S} {record.getMessage()}: {told}")


class Json(logging.Formatter):
    """An object of JSON per event, on one line."""

    def format(self, record: logging.LogRecord) -> str:
        """Return the line."""
        facts = getattr(record, "facts", {})
        said = {
            "at": f"{_moment(record):%Y-%m-%dT%H:%M:%S.%fZ}",
            "level": record.levelname,
            "event": record.getMessage(),
        }
        return json.dumps({**said, **facts}, default=str)


def _moment(record: logging.LogRecord) -> datetime:
    return datetime.fromtimestamp(record.created, UTC)


def log_to_terminal(level: int = logging.WARNING, *, as_json: bool = False) -> None:
    """Write events from a level on to the standard error stream, in place of what was set before."""
    handler = logging.StreamHandler()
    handler.setFormatter(Json() if as_json else Lines("%(message)s"))
    for before in [one for one in log.handlers if isinstance(one.formatter, Lines | Json)]:
        log.removeHandler(before)
    log.addHandler(handler)
    log.setLevel(level)
