"""Functions that numba compiles where it is installed (extra ``fast``), and that run as they stand where it is not."""

from __future__ import annotations

import importlib.util
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

from linewright.folders import cache_folder

F = TypeVar("F", bound=Callable[..., Any])


def available() -> bool:
    """Whether there is a compiler; looking does not import it."""
    try:
        return importlib.util.find_spec("numba") is not None
    except ValueError:  # how an import that was switched off answers (``sys.modules["numba"] = None``)
        return False


def is_compiled(source: str | Path) -> bool:
    """Whether code compiled from this source file lies in the cache, newer than the file."""
    source = Path(source)
    try:
        age = source.stat().st_mtime
        return any(index.stat().st_mtime >= age for index in cache_folder().rglob(f"{source.stem}.*.nbi"))
    except OSError:
        return False


def compiled(function: F) -> F:
    """Decorate a function of numbers and flat arrays; compiled when first called, and kept for the next start.

    Plain IEEE arithmetic: no reordering of sums, so that the result is that of the function as it stands. It is kept
    in the user's cache, because the folder of an installed package may not be writable. While it runs, other threads of
    Python's do, too, so nobody else may write to its arrays.
    """
    if not available():
        return function
    import numba

    if not os.environ.get("NUMBA_CACHE_DIR"):
        numba.config.CACHE_DIR = str(cache_folder())  # type: ignore[attr-defined]  # made when numba starts
    keeping: Callable[[Any], Any] = numba.njit(cache=True, nogil=True)
    anew: Callable[[Any], Any] = numba.njit(nogil=True)
    try:
        result: F = keeping(function)
    except RuntimeError:  # there is no folder that can be written to: compiled anew at every start
        result = anew(function)
    return result
