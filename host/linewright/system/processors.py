"""How many processors there are to work on."""

from __future__ import annotations

import os


def usable() -> int:
    """Those that this process may use: fewer than the machine has where it is bound to some of them."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1
