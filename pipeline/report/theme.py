"""Visual style: colours in light and dark mode, the included font, the theme of the charts."""

from __future__ import annotations

import base64
import json
import re
import tomllib
from functools import cache
from pathlib import Path
from typing import Any

import jinja2
from markupsafe import Markup

from pipeline import __version__, resources
from pipeline.report.glossary import anchor, explained, glossary
from pipeline.units import format_number

FONT = "Source Sans Pro"
WEIGHTS = (400, 600)
_NAMED = re.compile(r"var\(--([a-z]+)\)")


@cache
def colours() -> dict[str, dict[str, str]]:
    """Return the colours by name, for ``light`` and ``dark``."""
    return tomllib.loads((resources.folder("reports") / "theme.toml").read_text(encoding="utf-8"))


@cache
def chart_theme() -> dict[str, Any]:
    """Return the configuration of every chart; its colours are names."""
    loaded: dict[str, Any] = json.loads((resources.folder("reports") / "theme.json").read_text(encoding="utf-8"))
    return loaded


def plain(text: str) -> str:
    """Return a text with named colours replaced by the light ones: for formats without names, such as PDF."""
    light = colours()["light"]
    return _NAMED.sub(lambda found: light[found[1]], text)


def font_folder() -> Path:
    """Folder of the font's files: a separate package (SIL Open Font License)."""
    import font_source_sans_pro

    return Path(font_source_sans_pro.font_directory)


@cache
def templates() -> jinja2.Environment:
    """Return the templates of `reports/`; everything except markup is escaped."""
    made = jinja2.Environment(
        loader=jinja2.FileSystemLoader(resources.folder("reports") / "templates"), autoescape=True,
        undefined=jinja2.StrictUndefined, trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip
    made.filters["number"] = format_number
    made.filters["explained"] = explained
    made.globals["glossary"], made.globals["anchor"] = glossary, anchor
    return made


@cache
def style(*, short: bool = False) -> str:
    """Return the complete style sheet: font, light and dark colours, and ``reports/report.css``.

    The ``short`` one holds only the letters of English text: others are shown in a font of the reader's machine.
    """
    light, dark = (_variables(colours()[mode]) for mode in ("light", "dark"))
    sheet = (resources.folder("reports") / "report.css").read_text(encoding="utf-8")
    return (
        f"{''.join(_face(weight, short=short) for weight in WEIGHTS)}:root {{ color-scheme: light dark; {light} }}\n"
        f"@media screen and (prefers-color-scheme: dark) {{ :root {{ {dark} }} }}\n{sheet}"
    )


def render(template: str, *, short: bool = False, **values: Any) -> str:
    """Return a page from a template of `reports/`, with all values except markup escaped, and the style included."""
    sheet = Markup(style(short=short))
    return templates().get_template(template).render(style=sheet, code_version=__version__, **values)


def script(name: str) -> Markup:
    """Return a script of `reports/`."""
    return Markup((resources.folder("reports") / name).read_text(encoding="utf-8"))


def script_json(value: Any) -> Markup:
    """Return JSON that cannot close its script element."""
    text = json.dumps(value, separators=(",", ":"), ensure_ascii=True, allow_nan=False)
    return Markup(text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026"))


def _variables(named: dict[str, str]) -> str:
    return " ".join(f"--{name}: {value};" for name, value in named.items())


def _face(weight: int, *, short: bool) -> str:
    """Return one weight of the font as a data URL, of the characters in use (`reports/fonts`)."""
    path = resources.folder("reports") / "fonts" / f"{weight}{'-english' if short else ''}.woff"
    data = base64.b64encode(path.read_bytes()).decode()
    return (
        f'@font-face {{ font-family: "{FONT}"; font-weight: {weight}; '
        f"src: url(data:font/woff;base64,{data}) format('woff'); }}\n"
    )
