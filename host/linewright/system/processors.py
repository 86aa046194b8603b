"""Number of usable processors."""

from __future__ import annotations

import os


def usable() -> int:
    """Processors that this process may use; fewer than the machine has if its affinity is restricted."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1
