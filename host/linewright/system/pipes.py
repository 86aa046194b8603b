"""Pipes that ``select`` accepts beside sockets. Windows selects sockets only, so a thread forwards the bytes to one
there.
"""

from __future__ import annotations

import contextlib
import os
import socket
import threading


def pipes_can_be_selected() -> bool:
    """Whether ``select`` accepts pipes: True on POSIX."""
    try:
        import fcntl
    except ImportError:
        return False
    return fcntl is not None


class WatchedPipe:
    """The reading end of a pipe, for ``select``.

    Parameters
    ----------
    descriptor : open for reading; the caller closes it.
    """

    def __init__(self, descriptor: int) -> None:
        self._descriptor = descriptor
        self._socket: socket.socket | None = None
        if not pipes_can_be_selected():
            self._socket, theirs = socket.socketpair()
            threading.Thread(target=_hand_on, args=(descriptor, theirs), daemon=True).start()

    def fileno(self) -> int:
        """File descriptor for ``select``."""
        return self._descriptor if self._socket is None else self._socket.fileno()

    def read(self, most: int) -> bytes:
        """Read the available bytes, at most ``most``; empty at end of file. Blocks until there is one."""
        if self._socket is None:
            return os.read(self._descriptor, most)
        return self._socket.recv(most)

    def close(self) -> None:
        """Stop watching the pipe."""
        if self._socket is not None:
            self._socket.close()


def _hand_on(descriptor: int, to: socket.socket) -> None:
    with contextlib.suppress(OSError), to:
        while piece := os.read(descriptor, 4096):
            to.sendall(piece)
