"""Messages of scheduled runs: a line per message, a request to the team's address, never a stop."""

from __future__ import annotations

import json
import logging
import threading
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path

import pytest

from pipeline.messages import ADDRESS, tell
from pipeline.workspace import SETTINGS_FILE, Workspace, open_workspace

GOT: list[dict[str, str]] = []


class Handler(BaseHTTPRequestHandler):
    def do_POST(self) -> None:
        GOT.append(json.loads(self.rfile.read(int(self.headers["Content-Length"]))))
        self.send_response(500 if "refuse" in self.path else 204)
        self.end_headers()

    def log_message(self, *_: object) -> None:
        """Say nothing."""


@pytest.fixture
def address() -> Iterator[str]:
    GOT.clear()
    with HTTPServer(("127.0.0.1", 0), Handler) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        yield f"http://127.0.0.1:{server.server_port}"
        server.shutdown()


@pytest.fixture
def space(tmp_path: Path) -> Workspace:
    (tmp_path / SETTINGS_FILE).write_text('messages = "messages.jsonl"\n', encoding="utf-8")
    return open_workspace(tmp_path)


def test_a_message_goes_to_the_file_and_to_the_address(
    space: Workspace, address: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(ADDRESS, f"{address}/hook?token=pebble")
    tell(space, "set aside", "a.csv: no map matches the file", path="a.csv")
    tell(space, "failure", "the disk is\nfull")
    lines = [json.loads(line) for line in (space.root / "messages.jsonl").read_text(encoding="utf-8").splitlines()]
    assert lines == GOT and [line["kind"] for line in lines] == ["set aside", "failure"]
    assert lines[0]["path"] == "a.csv" and lines[0]["workspace"] == space.root.name
    assert lines[1]["text"] == "the disk is\nfull"


@pytest.mark.parametrize(
    "hook", ["{address}/refuse?token=pebble", "http://127.0.0.1:9/?token=pebble", "no address, token=pebble"]
)
def test_what_cannot_be_sent_is_logged_without_the_address(
    space: Workspace, address: str, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture, hook: str
) -> None:
    monkeypatch.setenv(ADDRESS, hook.format(address=address))
    with caplog.at_level(logging.WARNING, "heelward"):
        tell(space, "results", "3 wells measured")
    assert "could not be sent" in caplog.text and "pebble" not in caplog.text
    assert (space.root / "messages.jsonl").read_text(encoding="utf-8").count("\n") == 1
