"""Machine code that is kept belongs to the present sources: a changed constant of another file compiles anew."""

from __future__ import annotations

import shutil
from pathlib import Path

import numba

from pipeline import jit
from pipeline.jit import cache_folder
from pipeline.resources import PACKAGE, source_digest


def test_a_change_of_any_source_changes_where_code_is_kept(tmp_path: Path) -> None:
    copy = tmp_path / "pipeline"
    for name in ("picks", "physics", "ingest"):
        shutil.copytree(PACKAGE / name, copy / name, ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copy(PACKAGE / "jit.py", copy)
    before = cache_folder(copy)
    assert before.name == cache_folder(PACKAGE).name
    path = copy / "physics" / "constants.py"
    path.write_text(path.read_text(encoding="utf-8") + "# changed\n", encoding="utf-8")
    source_digest.cache_clear()
    assert cache_folder(copy) != before


def test_only_our_functions_are_kept_there() -> None:
    @jit.compiled
    def twice(value: float) -> float:
        return 2.0 * value

    assert twice(1.5) == 3.0
    assert str(cache_folder()) in twice._cache.cache_path  # type: ignore[attr-defined]
    assert "compiled-" not in str(numba.config.CACHE_DIR or "")
