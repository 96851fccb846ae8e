"""Charts as pictures: for the PDF, and in the page for readers without a script; and the script that draws them."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Callable, Iterable
from concurrent.futures import Future
from dataclasses import dataclass, field
from functools import cache, lru_cache
from importlib.metadata import version
from pathlib import Path
from typing import Any

import vl_convert

from pipeline.parallel import Workers, ahead, finished, map_unordered
from pipeline.report.theme import font_folder
from pipeline.workspace import replace_text

VERSION = 2
"""Increased when pictures are drawn otherwise: all are drawn again."""
WIDTH = 720
"""Width of a chart before it is fitted to its place. [px]"""
PER_CORE = 8
"""Pictures that pay for starting a process."""
_UNSEEN = re.compile(r' (?:aria-[a-z]+|role|pointer-events|class)="[^"]*"')
"""What only a script or a tooltip uses: most of a picture's bytes."""
_PLACE = re.compile(r' (?:d|transform|x[12]?|y[12]?|width|height)="[^"]*"')
_FINE = re.compile(r"(\d+\.\d)\d+")
"""Digits of a position that are too small to see. Only positions are shortened: numbers in texts stay as they are."""


@cache
def _drawn_by() -> str:
    """Version of the library that draws."""
    return version("vl-convert-python")


def _drawer() -> Callable[[tuple[Path, dict[str, Any]]], tuple[Path, str]]:
    """Return the function that draws a picture for a path."""
    return lambda task: (task[0], _drawn(_still(task[1])))


def _still(spec: dict[str, Any]) -> str:
    """Return the text of a chart as a picture: its width is fixed, and it has no tooltips, which take time to make."""

    def without_tips(layer: dict[str, Any]) -> dict[str, Any]:
        seen = {name: channel for name, channel in layer["encoding"].items() if name != "tooltip"}
        return layer | {"encoding": seen}

    still = {**spec, "width": WIDTH, "config": {**spec.get("config", {}), "aria": False}}
    if "layer" in spec:
        return json.dumps(still | {"layer": [without_tips(layer) for layer in spec["layer"]]})
    return json.dumps(without_tips(still))


@lru_cache(maxsize=200)  # the editions that one process builds have most charts in common
def _drawn(spec: str) -> str:
    vl_convert.register_font_directory(str(font_folder()))
    drawn = _UNSEEN.sub("", str(vl_convert.vegalite_to_svg(json.loads(spec))))
    return _PLACE.sub(lambda place: _FINE.sub(r"\1", place[0]), drawn)


def _in_any_order(spec: dict[str, Any]) -> str:
    """Return a text of a chart that is the same in whatever order its rows came, and were added up."""
    seen = json.loads(json.dumps(spec), parse_float=lambda text: format(float(text), ".6g"))
    rows = {name: sorted(map(repr, held)) for name, held in seen.get("datasets", {}).items()}
    return json.dumps({**seen, "datasets": rows})


@dataclass
class Pictures:
    """SVG of charts, kept in a folder by what they draw: a chart that did not change is not drawn again.

    Colours keep their names, so that a picture follows the page's light and dark colours. The script of the charts,
    the same for every report, is kept in `common`; default: the same folder.
    """

    folder: Path
    common: Path | None = None
    used: set[str] = field(default_factory=set)
    _paths: dict[int, tuple[dict[str, Any], Path]] = field(default_factory=dict)
    _begun: dict[Path, Future[str]] = field(default_factory=dict)

    def begin(self, spec: dict[str, Any]) -> None:
        """Let a helper that is free begin to draw a picture, if it is missing."""
        path = self._path(spec)
        if not path.exists() and (begun := ahead(_drawn, _still(spec))) is not None:
            self._begun[path] = begun

    def draw(self, specs: Iterable[dict[str, Any]], workers: Workers | None = None) -> None:
        """Draw the pictures that are missing, on all cores."""
        missing = {path: spec for spec in specs if not (path := self._path(spec)).exists()}
        begun = {path: self._begun.pop(path) for path in missing if path in self._begun}
        for path, one in reversed(begun.items()):  # the helper goes forwards
            self._keep(path, finished(one, _drawn, _still(missing[path])))
        left = [(path, spec) for path, spec in missing.items() if path not in begun]
        for path, picture in map_unordered(_drawer, left, PER_CORE, workers) if left else ():
            self._keep(path, picture)

    def _keep(self, path: Path, picture: str) -> None:
        self.folder.mkdir(parents=True, exist_ok=True)
        # names of parts are those of this picture only: a page has several
        replace_text(path, re.sub(r'(\bid="|url\(#)', rf"\g<1>{path.stem}-", picture))

    def svg(self, spec: dict[str, Any]) -> str:
        """Return the picture of a chart."""
        path = self._path(spec)
        if not path.exists():
            self.draw([spec])
        self.used.add(path.name)
        return path.read_text(encoding="utf-8")

    def script(self) -> str:
        """Return the chart library as a script that needs no network; it is kept, because making it takes a second."""
        folder = self.common or self.folder
        path = folder / f"charts-{_drawn_by()}.js"
        if not path.exists():
            folder.mkdir(parents=True, exist_ok=True)
            for other in folder.glob("charts-*.js"):
                other.unlink(missing_ok=True)
            replace_text(path, str(vl_convert.javascript_bundle("window.vegaEmbed = vegaEmbed;")))
        return path.read_text(encoding="utf-8")

    def _path(self, spec: dict[str, Any]) -> Path:
        known = self._paths.get(id(spec))
        if known is not None and known[0] is spec:
            return known[1]
        of = f"{VERSION} {_drawn_by()} {_in_any_order(spec)}"
        path = self.folder / f"{hashlib.sha256(of.encode()).hexdigest()[:24]}.svg"
        self._paths[id(spec)] = spec, path
        return path

    def sweep(self) -> None:
        """Remove the pictures of charts that are not drawn any more."""
        for path in self.folder.glob("*.svg"):
            if path.name not in self.used:
                path.unlink()
