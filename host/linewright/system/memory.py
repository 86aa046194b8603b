"""How much memory a process may take."""

from __future__ import annotations

from contextlib import suppress


def limit(most_bytes: int) -> None:
    """From now on this process gets no more than so many bytes. Does nothing where systems keep no such limit."""
    with suppress(ImportError, ValueError, OSError):
        import resource

        resource.setrlimit(resource.RLIMIT_AS, (most_bytes, most_bytes))
