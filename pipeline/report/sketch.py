"""A chart as text: as the page's script draws it, and as a picture of it is drawn."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache, partial
from importlib.metadata import version
from typing import Any

import polars as pl

from pipeline.parallel import ahead, finished
from pipeline.report.pages import ChartSpec, Labels

VERSION = 2
"""Increased when pictures are drawn otherwise: all are drawn again."""
WIDTH = 720
"""Width of a chart before it is fitted to its place. [px]"""


@dataclass(frozen=True)
class Sketch:
    """A chart that is ready to be drawn.

    Attributes
    ----------
    spec : dict
        Vega-Lite specification with its data.
    still : str
        The specification of its picture.
    name : str
        Of its picture's file: the same in whatever order its rows came, and were added up.
    """

    spec: dict[str, Any]
    still: str
    name: str

    @classmethod
    def of(cls, spec: dict[str, Any]) -> Sketch:
        """Return the sketch of a specification."""
        digest = hashlib.sha256(f"{VERSION} {drawn_by()} {_in_any_order(spec)}".encode()).hexdigest()
        return cls(spec, _still(spec), f"{digest[:24]}.svg")


def sketch(chart: ChartSpec, frame: pl.DataFrame, labels: Labels, cells: list[dict[str, Any]] | None = None) -> Sketch:
    """Return the sketch of a chart; parameters as of `charts.draw`."""
    from pipeline.report.charts import draw  # takes a third of a second, and most charts are sketched by a helper

    return Sketch.of(draw(chart, frame, labels, cells))


def begin(*given: Any) -> Callable[[], Sketch]:
    """Let a helper that is free begin a sketch; return what waits for it and gives it."""
    return partial(finished, ahead(sketch, *given), sketch, *given, patient=True)


@cache
def drawn_by() -> str:
    """Version of the library that draws."""
    return version("vl-convert-python")


def _still(spec: dict[str, Any]) -> str:
    """Return the text of a chart as a picture: its width is fixed, and it has no tooltips, which take time to make."""

    def without_tips(layer: dict[str, Any]) -> dict[str, Any]:
        seen = {name: channel for name, channel in layer["encoding"].items() if name != "tooltip"}
        return layer | {"encoding": seen}

    still = {**spec, "width": WIDTH, "config": {**spec.get("config", {}), "aria": False}}
    if "layer" in spec:
        return json.dumps(still | {"layer": [without_tips(layer) for layer in spec["layer"]]})
    return json.dumps(without_tips(still))


def _in_any_order(spec: dict[str, Any]) -> str:
    """Return a text of a chart that is the same in whatever order its rows came, and were added up."""
    seen = json.loads(json.dumps(spec), parse_float=lambda text: format(float(text), ".6g"))
    rows = {name: sorted(map(repr, held)) for name, held in seen.get("datasets", {}).items()}
    return json.dumps({**seen, "datasets": rows})
