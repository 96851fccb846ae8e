"""Charts as pictures: for the PDF, and in the page for readers without a script; and the script that draws them."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterable
from concurrent.futures import Future
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path

import vl_convert

from pipeline.files import replace_text
from pipeline.parallel import Workers, ahead, finished, map_unordered
from pipeline.report.sketch import Sketch, drawn_by
from pipeline.report.theme import font_folder

PER_CORE = 8
"""Pictures that pay for starting a process."""
_UNSEEN = re.compile(r' (?:aria-[a-z]+|role|pointer-events|class)="[^"]*"')
"""What only a script or a tooltip uses: most of a picture's bytes."""
_PLACE = re.compile(r' (?:d|transform|x[12]?|y[12]?|width|height)="[^"]*"')
_FINE = re.compile(r"(\d+\.\d)\d+")
"""Digits of a position that are too small to see. Only positions are shortened: numbers in texts stay as they are."""


def _drawer() -> Callable[[Sketch], tuple[Sketch, str]]:
    """Return the function that draws a picture of a sketch."""
    return lambda made: (made, _drawn(made.still))


def ready() -> None:
    """Draw a chart without marks, after which others take half a second less."""
    _drawn('{"mark": "point", "data": {"values": []}}')


@lru_cache(maxsize=200)  # the editions that one process builds have most charts in common
def _drawn(spec: str) -> str:
    vl_convert.register_font_directory(str(font_folder()))
    drawn = _UNSEEN.sub("", str(vl_convert.vegalite_to_svg(json.loads(spec))))
    return _PLACE.sub(lambda place: _FINE.sub(r"\1", place[0]), drawn)


@dataclass
class Pictures:
    """SVG of charts, kept in a folder by what they draw: a chart that did not change is not drawn again.

    Colours keep their names, so that a picture follows the page's light and dark colours. The script of the charts,
    the same for every report, is kept in `common`; default: the same folder.
    """

    folder: Path
    common: Path | None = None
    used: set[str] = field(default_factory=set)
    _begun: dict[str, Future[str]] = field(default_factory=dict)

    def begin(self, sketches: Iterable[Sketch]) -> None:
        """Let a helper that is free begin to draw the pictures that are missing."""
        for made in sketches:
            if not (self.folder / made.name).exists() and (begun := ahead(_drawn, made.still)) is not None:
                self._begun[made.name] = begun

    def draw(self, sketches: Iterable[Sketch], workers: Workers | None = None) -> None:
        """Draw the pictures that are missing, on all cores."""
        missing = {made.name: made for made in sketches if not (self.folder / made.name).exists()}
        begun = {name: self._begun.pop(name) for name in missing if name in self._begun}
        for name, one in reversed(begun.items()):  # the helper goes forwards
            self._keep(name, finished(one, _drawn, missing[name].still))
        left = [made for name, made in missing.items() if name not in begun]
        for made, picture in map_unordered(_drawer, left, PER_CORE, workers) if left else ():
            self._keep(made.name, picture)

    def _keep(self, name: str, picture: str) -> None:
        self.folder.mkdir(parents=True, exist_ok=True)
        path = self.folder / name
        # names of parts are those of this picture only: a page has several
        replace_text(path, re.sub(r'(\bid="|url\(#)', rf"\g<1>{path.stem}-", picture))

    def svg(self, made: Sketch) -> str:
        """Return the picture of a chart."""
        path = self.folder / made.name
        if not path.exists():
            self.draw([made])
        self.used.add(path.name)
        return path.read_text(encoding="utf-8")

    def script(self) -> str:
        """Return the chart library as a script that needs no network; it is kept, because making it takes a second."""
        folder = self.common or self.folder
        path = folder / f"charts-{drawn_by()}.js"
        if not path.exists():
            folder.mkdir(parents=True, exist_ok=True)
            for other in folder.glob("charts-*.js"):
                other.unlink(missing_ok=True)
            replace_text(path, str(vl_convert.javascript_bundle("window.vegaEmbed = vegaEmbed;")))
        return path.read_text(encoding="utf-8")

    def sweep(self) -> None:
        """Remove the pictures of charts that are not drawn any more."""
        for path in self.folder.glob("*.svg"):
            if path.name not in self.used:
                path.unlink()
