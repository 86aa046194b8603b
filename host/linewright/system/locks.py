"""Exclusive locks on open files."""

from __future__ import annotations

from importlib import import_module


def hold(descriptor: int) -> bool:
    """Lock an open file until it is closed. False if another process holds it; True where the system has no locks."""
    try:
        import fcntl
    except ImportError:
        try:
            console = import_module("msvcrt")
        except ImportError:
            return True
        try:
            # Lock one byte far behind the end, so that other processes can read the file.
            console.locking(descriptor, console.LK_NBLCK, 1)
        except OSError:
            return False
        return True
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True
