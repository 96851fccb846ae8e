"""Loops over samples for which numpy is too slow, according to the benchmarks."""

from __future__ import annotations

import functools
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar, cast

import numba

from pipeline.resources import PACKAGE, kept_at, source_digest

Function = TypeVar("Function", bound=Callable[..., Any])


def compiled(function: Function) -> Function:
    """Compile a function of arrays and numbers on its first call.

    The machine code is cached under a name made from the sources of all such functions and of what they call, so that
    a source change invalidates it. The cache is next to the package, or in a user folder if that is not writable. A
    division by zero gives inf or NaN, as in numpy.
    """
    return cast(Function, _kept(numba.njit, nogil=True, error_model="numpy")(function))


def compiled_sum(function: Function) -> Function:
    """Compile a function as above that adds up in any order, several at a time: its last digits depend on the CPU."""
    return cast(Function, _kept(numba.njit, nogil=True, error_model="numpy", fastmath={"reassoc"})(function))


def elementwise(function: Function) -> Function:
    """Compile a function of numbers on its first call, for numbers and arrays (a numpy ufunc); cached as above."""
    return cast(Function, functools.update_wrapper(_kept(numba.vectorize)(function), function))


def _kept(compiler: Callable[..., Any], **options: Any) -> Callable[[Any], Any]:
    def compile_(function: Any) -> Any:
        before = numba.config.CACHE_DIR
        numba.config.CACHE_DIR = str(cache_folder())
        try:
            return compiler(cache=True, **options)(function)
        except RuntimeError:  # no writable cache folder
            return compiler(**options)(function)
        finally:
            numba.config.CACHE_DIR = before

    return compile_


def cache_folder(package: Path = PACKAGE) -> Path:
    """Return the cache folder for machine code of the current sources."""
    return kept_at(
        f"compiled-{source_digest('jit.py', 'picks', 'physics', 'ingest/lines.py', package=package)}", package
    )
