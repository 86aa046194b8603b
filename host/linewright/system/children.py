"""Child processes that the terminal's Ctrl-C does not reach and that are killed with all their descendants."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
from collections.abc import Callable
from typing import Any, Final

_NEW_GROUP: Final = 0x200
"""CREATE_NEW_PROCESS_GROUP of Windows: the child does not get Ctrl-C."""


def apart(system: str = os.name) -> dict[str, Any]:
    """Arguments of `subprocess.Popen` for a child that does not get the terminal's Ctrl-C."""
    return {"start_new_session": True} if system == "posix" else {"creationflags": _NEW_GROUP}


def end(process: subprocess.Popen[bytes], system: str = os.name, run: Callable[..., object] = subprocess.run) -> None:
    """Kill a child that was started `apart`, with all its descendants, and wait until it has ended."""
    if system == "posix":
        with contextlib.suppress(ProcessLookupError, PermissionError):
            os.killpg(process.pid, signal.SIGKILL)
    elif process.poll() is None:
        # Windows has no process groups that can be killed; its taskkill walks the tree.
        with contextlib.suppress(OSError, subprocess.SubprocessError):
            run(["taskkill", "/PID", str(process.pid), "/T", "/F"], capture_output=True, timeout=10.0, check=False)
        process.kill()
    process.wait()
