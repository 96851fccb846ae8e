"""Loops over samples that the benchmarks show numpy to be too slow for."""

from __future__ import annotations

import functools
from collections.abc import Callable
from typing import Any, TypeVar, cast

import numba

Function = TypeVar("Function", bound=Callable[..., Any])


def compiled(function: Function) -> Function:
    """Compile a function of arrays and numbers at its first call.

    The machine code is kept beside the module, or in the user's cache where that folder cannot be written; where
    neither can, it is made anew in each process. A division by zero gives inf or NaN, as in numpy.
    """
    return cast(Function, _kept(numba.njit, nogil=True, error_model="numpy")(function))


def elementwise(function: Function) -> Function:
    """Compile a function of numbers at its first call, for numbers and arrays (a numpy ufunc); kept likewise."""
    return cast(Function, functools.update_wrapper(_kept(numba.vectorize)(function), function))


def _kept(compiler: Callable[..., Any], **options: Any) -> Callable[[Any], Any]:
    def compile_(function: Any) -> Any:
        try:
            return compiler(cache=True, **options)(function)
        except RuntimeError:  # nowhere to keep it
            return compiler(**options)(function)

    return compile_
