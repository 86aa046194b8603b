"""`compiled`: inner loops run as machine code where numba is installed, and as plain Python where it is not."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar, cast

_Function = TypeVar("_Function", bound=Callable[..., Any])


def compiled(function: _Function) -> _Function:
    """The function, compiled at its first call and kept on disk for the next start; unchanged without numba.

    What is compiled cannot be interrupted, so callers give it work in pieces of a fraction of a second.
    """
    try:
        import numba
    except ImportError:
        return function
    try:
        return cast("_Function", numba.njit(cache=True)(function))
    except RuntimeError:  # no place on disk where it could be kept
        return cast("_Function", numba.njit(function))


def is_fast() -> bool:
    """Whether `compiled` compiles."""
    try:
        import numba  # noqa: F401  only whether it is there
    except ImportError:
        return False
    return True
