"""Take the pictures of the README from a report of the sample campaign: `python -m tests.pictures REPORT`."""

from __future__ import annotations

import sys
from pathlib import Path

from pipeline import resources
from tests.report.conftest import CHROMIUM, DRAWN, FLAGS

PICTURES = {"quarter": ("#quarter", 1150), "crews": ("#crews-and-designs", 1150), "next_pad": ("#next-pad", 1150)}
"""Picture: the part that it starts from, and its height."""


def main() -> None:
    """Write a picture of each part."""
    from playwright.sync_api import sync_playwright

    report = Path(sys.argv[1]).resolve()
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        page = browser.new_page(viewport={"width": 1280, "height": 900}, color_scheme="light")
        page.goto(report.as_uri())
        page.wait_for_function(DRAWN)
        for name, (part, height) in PICTURES.items():
            box = page.locator(part).bounding_box()
            assert box is not None
            clip = {"x": 0.0, "y": box["y"] + page.evaluate("scrollY"), "width": 1280.0, "height": float(height)}
            path = resources.folder("reports") / "pictures" / f"{name}.png"
            page.screenshot(path=path, clip=clip, full_page=True)  # type: ignore[arg-type]
            print(path)
        browser.close()


if __name__ == "__main__":
    main()
