"""How much memory and processor time a process may take."""

from __future__ import annotations

from contextlib import suppress
from typing import Final

MANY_POINTS: Final = 200_000
"""Points of a drawing from which on what was freed is worth going over the heap."""


def limit(most_bytes: int, most_cpu_s: int | None = None) -> None:
    """From now on this process gets no more than so many bytes, and ends after so much processor time.

    Does nothing where systems keep no such limits.
    """
    with suppress(ImportError, ValueError, OSError):
        import resource

        resource.setrlimit(resource.RLIMIT_AS, (most_bytes, most_bytes))
        if most_cpu_s is not None:
            resource.setrlimit(resource.RLIMIT_CPU, (most_cpu_s, most_cpu_s))


def give_back(points: int) -> None:
    """Give what was freed back to the system after work on many points, where the C library keeps it (glibc does).

    Work on a million points frees far more than the next step takes, in pieces that fit nothing else. Fewer than
    `MANY_POINTS` free little, and going over a torn heap takes a tenth of a second.
    """
    if points < MANY_POINTS:
        return
    with suppress(ImportError, OSError, AttributeError, TypeError):
        import ctypes

        ctypes.CDLL(None).malloc_trim(0)
