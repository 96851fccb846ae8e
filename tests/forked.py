"""Runs pytest in processes that are forked from one which has already imported what the product is built from.

For `tests.mutate`: each mutant needs a fresh import of the product, but not of polars, scipy and the others, which takes
longer than most of its tests.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import sys
from collections.abc import Mapping
from pathlib import Path

OURS = ("pipeline", "tests")
READY = "HEELWARD_TEST_CAMPAIGN"
"""Names a folder with the campaign after some steps, which the mutation run prepares; the others are run on it."""
_CONTEXT = multiprocessing.get_context("forkserver")
_CONTEXT.set_forkserver_preload(
    [
        "altair", "dataframely", "deltalake", "duckdb", "fluids", "hypothesis.extra.numpy", "jinja2", "lasio", "numba",
        "openpyxl", "polars", "pydantic", "pytest", "scipy.sparse.csgraph", "scipy.stats", "sklearn.ensemble",
        "sklearn.linear_model", "sklearn.model_selection", "statsmodels.api", "statsmodels.stats.meta_analysis",
        "statsmodels.stats.multitest", "typer.testing", "xlsxwriter",
    ]
)  # fmt: skip


def _run(folder: str, asked: list[str], environment: dict[str, str]) -> None:
    os.setsid()  # so that what the tests start can be stopped with them
    nothing = os.open(os.devnull, os.O_RDWR)
    for stream in (0, 1, 2):
        os.dup2(nothing, stream)
    os.environ.clear()
    os.environ.update(environment)
    os.chdir(folder)
    sys.dont_write_bytecode = False
    sys.path[:] = [folder, *(place for place in sys.path if place and (Path(place) / "pipeline").is_dir() is False)]
    for name in [name for name in sys.modules if name.split(".")[0] in OURS]:
        del sys.modules[name]
    import pytest

    # what is imported already cannot be rewritten, and is not ours
    os._exit(int(pytest.main([*asked, "-W", "ignore::pytest.PytestAssertRewriteWarning"])))


def exit_code(folder: Path, asked: list[str], environment: Mapping[str, str], limit_s: float) -> int | None:
    """Run pytest in a folder and return its exit code; None if it took longer than the limit."""
    process = _CONTEXT.Process(target=_run, args=(str(folder), asked, dict(environment)))
    process.start()
    process.join(limit_s)
    if process.exitcode is None and process.pid is not None:
        os.killpg(process.pid, signal.SIGKILL)
        process.join()
        return None
    return process.exitcode
