"""`Screen`: the one plain value that every window shows, and who looks at it."""

from __future__ import annotations

import asyncio
from threading import Lock
from typing import Any


class Screen:
    """Top-level keys, each replaced whole. A window is told which keys are new; what it is told is always the newest,
    so a window that reads slowly misses what lay between and costs nothing.

    `put` and `get` may be called from any thread.
    """

    def __init__(self) -> None:
        self._lock = Lock()
        self._values: dict[str, Any] = {}
        self._windows: set[Window] = set()

    def put(self, key: str, value: Any) -> None:
        """Show a value; nothing happens if it is shown already. It must not be changed afterwards."""
        with self._lock:
            if key in self._values and self._values[key] == value:
                return
            self._values[key] = value
            for window in self._windows:
                window.mark(key)

    def get(self, key: str) -> Any:
        """What is shown; None: nothing yet."""
        with self._lock:
            return self._values.get(key)

    def opened(self, name: str) -> Window:
        """A window that looks on from now on; everything is new to it."""
        window = Window(name, asyncio.get_running_loop())
        with self._lock:
            window.dirty.update(self._values)
            self._windows.add(window)
        window.wake()
        return window

    def closed(self, window: Window) -> None:
        """It has gone."""
        with self._lock:
            self._windows.discard(window)

    def names(self) -> set[str]:
        """Of the windows that look on."""
        with self._lock:
            return {window.name for window in self._windows}

    def taken(self, window: Window) -> dict[str, Any]:
        """What is new for a window."""
        with self._lock:
            new = {key: self._values[key] for key in window.dirty}
            window.dirty.clear()
            return new


class Window:
    """One page that looks on.

    Parameters
    ----------
    name : identifies it as long as its page is open, also over a reload.
    loop : where it is served.
    """

    def __init__(self, name: str, loop: asyncio.AbstractEventLoop) -> None:
        self.name = name
        self.dirty: set[str] = set()
        self._loop = loop
        self._woken = asyncio.Event()

    def mark(self, key: str) -> None:
        """A key is new for it; the screen's lock is held."""
        if not self.dirty:
            self.wake()
        self.dirty.add(key)

    def wake(self) -> None:
        """Let `news` return."""
        if not self._loop.is_closed():
            self._loop.call_soon_threadsafe(self._woken.set)

    async def news(self) -> None:
        """Wait until something is new."""
        await self._woken.wait()
        self._woken.clear()
