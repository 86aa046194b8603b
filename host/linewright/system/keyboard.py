"""Single keys from the terminal, without waiting and without echo."""

from __future__ import annotations

import contextlib
import os
import select
import sys
import time
from importlib import import_module
from typing import Any, Final, Self

ARROWS: Final = {"H": "\x1b[A", "P": "\x1b[B", "M": "\x1b[C", "K": "\x1b[D"}
"""Codes that follow NUL or 0xE0 for an arrow key on Windows, and the same keys as ECMA-48 sequences (CUU, CUD, CUF,
CUB)."""

LOOK_S: Final = 0.02
"""Polling interval of Windows' console, on which no wait is possible."""


class Keyboard:
    """Keys of the terminal in whose foreground this process runs. Context manager.

    Attributes
    ----------
    active : keys are read; False without a terminal or in the background.
    """

    def __init__(self, *, wanted: bool = True) -> None:
        self._wanted = wanted
        self._terminal = -1
        self._before: list[Any] | None = None
        self._console: Any = None  # msvcrt

    @property
    def active(self) -> bool:
        """Whether keys are read."""
        return self._before is not None or self._console is not None

    def __enter__(self) -> Self:
        if not self._wanted or not sys.stdin.isatty() or not sys.stderr.isatty():
            return self
        try:
            import termios
            import tty
        except ImportError:
            with contextlib.suppress(ImportError):
                self._console = import_module("msvcrt")
            return self
        with contextlib.suppress(OSError, termios.error):  # no terminal after all
            terminal = sys.stdin.fileno()
            if not _in_front(terminal):
                return self
            before = termios.tcgetattr(terminal)
            tty.setcbreak(terminal)  # single keys, unseen; Ctrl-C and Ctrl-Z still mean what they do
            self._terminal, self._before = terminal, before
        return self

    def __exit__(self, *_: object) -> None:
        self._console = None
        if self._before is None:
            return
        import termios

        with contextlib.suppress(OSError, termios.error):
            termios.tcsetattr(self._terminal, termios.TCSADRAIN, self._before)
        self._before = None

    def pressed(self, wait_s: float = 0.0) -> str:
        """Keys pressed since the last call; empty if none. Waits up to ``wait_s`` for the first."""
        if self._console is not None:
            until_s = time.monotonic() + wait_s
            while not (typed := self._of_console()) and time.monotonic() < until_s:
                time.sleep(LOOK_S)
            return typed
        if self._before is None or not _in_front(self._terminal):
            return ""
        pieces = b""
        with contextlib.suppress(OSError):  # the terminal has gone: a hangup follows
            while select.select([self._terminal], [], [], 0.0 if pieces else wait_s)[0]:
                piece = os.read(self._terminal, 64)
                if not piece:
                    break
                pieces += piece
        return pieces.decode("latin-1")

    def _of_console(self) -> str:
        typed = ""
        while self._console.kbhit():
            key = self._console.getwch()
            if key == "\x03":
                raise KeyboardInterrupt
            typed += ARROWS.get(self._console.getwch(), "") if key in "\x00\xe0" else key
        return typed


def _in_front(terminal: int) -> bool:
    """Whether this process is in the terminal's foreground (False if started with ``&``)."""
    try:
        return os.tcgetpgrp(terminal) == os.getpgrp()
    except OSError:
        return False
