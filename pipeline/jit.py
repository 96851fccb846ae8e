"""Loops over samples that the benchmarks show numpy to be too slow for."""

from __future__ import annotations

import functools
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar, cast

import numba

from pipeline.resources import PACKAGE, source_digest

Function = TypeVar("Function", bound=Callable[..., Any])


def compiled(function: Function) -> Function:
    """Compile a function of arrays and numbers at its first call.

    The machine code is kept under a name made from the sources of all such functions and of what they call, so that
    none outlives a change. It lies beside the package, or in a folder of the user where that cannot be written. A
    division by zero gives inf or NaN, as in numpy.
    """
    return cast(Function, _kept(numba.njit, nogil=True, error_model="numpy")(function))


def elementwise(function: Function) -> Function:
    """Compile a function of numbers at its first call, for numbers and arrays (a numpy ufunc); kept likewise."""
    return cast(Function, functools.update_wrapper(_kept(numba.vectorize)(function), function))


def _kept(compiler: Callable[..., Any], **options: Any) -> Callable[[Any], Any]:
    def compile_(function: Any) -> Any:
        before = numba.config.CACHE_DIR
        numba.config.CACHE_DIR = str(cache_folder())
        try:
            return compiler(cache=True, **options)(function)
        except RuntimeError:  # nowhere to keep it
            return compiler(**options)(function)
        finally:
            numba.config.CACHE_DIR = before

    return compile_


def cache_folder(package: Path = PACKAGE) -> Path:
    """Return where machine code of the present sources is kept."""
    name = f"compiled-{source_digest('picks', 'physics', 'ingest/lines.py', package=package)}"
    beside = package / "__pycache__"
    if os.access(beside if beside.exists() else package, os.W_OK):
        return beside / name
    return Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache") / "heelward" / name
