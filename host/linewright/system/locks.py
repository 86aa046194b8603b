"""Holding a file for one process alone."""

from __future__ import annotations

from importlib import import_module


def hold(descriptor: int) -> bool:
    """Lock an open file until it is closed; False if another process holds it, True where no system call can tell."""
    try:
        import fcntl
    except ImportError:
        try:
            console = import_module("msvcrt")
        except ImportError:
            return True
        try:
            # One byte far behind the end, so that others can still read the file.
            console.locking(descriptor, console.LK_NBLCK, 1)
        except OSError:
            return False
        return True
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True
