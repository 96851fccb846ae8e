"""Messages about what a scheduled run did: to a file, and to a web address of the team."""

from __future__ import annotations

import json
import logging
import os
import urllib.error
import urllib.request
from datetime import UTC, datetime
from typing import Any

from pipeline.workspace import Workspace

log = logging.getLogger("heelward")
ADDRESS = "HEELWARD_WEBHOOK"
"""Environment variable with the address: it can hold a token, so it stands in no file."""
TIMEOUT_S = 10.0
"""How long the address may take to answer. [s]"""


def tell(workspace: Workspace, kind: str, text: str, **facts: Any) -> None:
    """Send a message; what cannot be sent is logged, and never stops the run.

    Parameters
    ----------
    workspace : Workspace
        Its setting `messages` names a file in it, to which a line of JSON is added.
    kind : str
        ``set aside``, ``failure`` or ``results``.
    text : str
    **facts
        What a program can use: names, numbers.
    """
    at = f"{datetime.now(UTC):%Y-%m-%dT%H:%M:%SZ}"
    message = {"at": at, "workspace": workspace.root.name, "kind": kind, "text": text}
    line = json.dumps({**message, **facts}, ensure_ascii=False, default=str)
    if workspace.settings.messages:
        try:
            with (workspace.root / workspace.settings.messages).open("a", encoding="utf-8") as file:
                file.write(f"{line}\n")
        except OSError as error:
            log.warning("a message could not be written: %s", error.strerror or error)
    if address := os.environ.get(ADDRESS):
        try:
            request = urllib.request.Request(
                address, line.encode(), {"Content-Type": "application/json; charset=utf-8"}, method="POST"
            )
            with urllib.request.urlopen(request, timeout=TIMEOUT_S):
                pass
        except (OSError, ValueError) as error:  # without the address: it can hold a token
            log.warning("a message could not be sent to the address in %s: %s", ADDRESS, _why(error))


def _why(error: OSError | ValueError) -> str:
    if isinstance(error, urllib.error.HTTPError):
        return f"HTTP status {error.code}"
    return str(getattr(error, "reason", None) or type(error).__name__)
