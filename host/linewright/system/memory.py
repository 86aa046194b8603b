"""Limits of memory and processor time, and returning free memory to the system."""

from __future__ import annotations

from contextlib import suppress
from typing import Final

MANY_POINTS: Final = 200_000
"""Number of points above which trimming the heap is worth its time."""


def limit(most_bytes: int, most_cpu_s: int | None = None) -> None:
    """Limit this process to so many bytes of memory and so many seconds of processor time. Exceeding the time ends it.

    Does nothing on systems without such limits.
    """
    with suppress(ImportError, ValueError, OSError):
        import resource

        resource.setrlimit(resource.RLIMIT_AS, (most_bytes, most_bytes))
        if most_cpu_s is not None:
            resource.setrlimit(resource.RLIMIT_CPU, (most_cpu_s, most_cpu_s))


def give_back(points: int) -> None:
    """Return free memory to the system after work on many points (with glibc; other C libraries are left alone).

    Work on a million points leaves far more free memory than the next step needs, in fragments that fit nothing else.
    Below `MANY_POINTS` little is freed, and trimming a fragmented heap takes 0.1 s.
    """
    if points < MANY_POINTS:
        return
    with suppress(ImportError, OSError, AttributeError, TypeError):
        import ctypes

        ctypes.CDLL(None).malloc_trim(0)
