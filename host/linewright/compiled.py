"""Decorator for functions that numba compiles where it is installed (extra ``fast``); without numba they run as plain
Python.
"""

from __future__ import annotations

import importlib.util
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

from linewright.folders import cache_folder

F = TypeVar("F", bound=Callable[..., Any])


def available() -> bool:
    """Whether numba is installed. Does not import it."""
    try:
        return importlib.util.find_spec("numba") is not None
    except ValueError:  # an import was disabled (``sys.modules["numba"] = None``)
        return False


def is_compiled(source: str | Path) -> bool:
    """Whether the cache holds code compiled from this source file and newer than it."""
    source = Path(source)
    try:
        age = source.stat().st_mtime
        return any(index.stat().st_mtime >= age for index in cache_folder().rglob(f"{source.stem}.*.nbi"))
    except OSError:
        return False


def compiled(function: F) -> F:
    """Decorate a function of numbers and flat arrays: numba compiles it at the first call and caches the result.

    Sums are not reordered, so compiled and plain Python give the same result (IEEE arithmetic). The cache is in the
    user's folder, because the folder of an installed package may not be writable. The GIL is released while the
    function runs, so no other thread may write to its arrays.
    """
    if not available():
        return function
    import numba

    if not os.environ.get("NUMBA_CACHE_DIR"):
        numba.config.CACHE_DIR = str(cache_folder())  # type: ignore[attr-defined]  # set by numba
    keeping: Callable[[Any], Any] = numba.njit(cache=True, nogil=True)
    anew: Callable[[Any], Any] = numba.njit(nogil=True)
    try:
        result: F = keeping(function)
    except RuntimeError:  # no writable folder: compiled again at every start
        result = anew(function)
    return result
