"""A report opened in a real browser."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

CHROMIUM = next(
    (path for name in ("chromium", "chromium-browser", "google-chrome") if (path := shutil.which(name))), None
)
FLAGS = [
    "--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update", "--disable-sync",
    "--no-first-run",
]  # fmt: skip
DRAWN = "window.heelward && window.heelward.drawn + window.heelward.failed >= window.heelward.wanted"


class Opened:
    """A report opened in Chromium: the page, its console messages, its requests."""

    def __init__(self, page: Any, messages: list[str], requests: list[str]) -> None:
        self.page, self.messages, self.requests = page, messages, requests


@pytest.fixture
def opened() -> Iterator[Any]:
    if CHROMIUM is None:
        pytest.skip("no Chromium on this machine (Debian: apt-get install chromium)")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=FLAGS)

        def visit(path: Path, width: int = 1280, scheme: Any = "light", wait: bool = True) -> Opened:
            page = browser.new_page(viewport={"width": width, "height": 900}, color_scheme=scheme)
            messages: list[str] = []
            requests: list[str] = []
            page.on("console", lambda message: messages.append(f"{message.type}: {message.text}"))
            page.on("pageerror", lambda error: messages.append(f"error: {error}"))
            page.on("dialog", lambda dialog: (messages.append("error: dialog"), dialog.dismiss()))
            page.on("request", lambda made: requests.append(made.url))
            page.goto(path.as_uri())
            if wait:
                page.wait_for_function(DRAWN)
            return Opened(page, messages, requests)

        yield visit
        browser.close()
