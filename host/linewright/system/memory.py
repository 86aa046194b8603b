"""How much memory and processor time a process may take."""

from __future__ import annotations

from contextlib import suppress


def limit(most_bytes: int, most_cpu_s: int | None = None) -> None:
    """From now on this process gets no more than so many bytes, and ends after so much processor time.

    Does nothing where systems keep no such limits.
    """
    with suppress(ImportError, ValueError, OSError):
        import resource

        resource.setrlimit(resource.RLIMIT_AS, (most_bytes, most_bytes))
        if most_cpu_s is not None:
            resource.setrlimit(resource.RLIMIT_CPU, (most_cpu_s, most_cpu_s))


def give_back() -> None:
    """Give what was freed back to the system, where the C library keeps it for later (glibc does).

    Work on a million points frees far more than the next step takes, in pieces that fit nothing else.
    """
    with suppress(ImportError, OSError, AttributeError, TypeError):
        import ctypes

        ctypes.CDLL(None).malloc_trim(0)
