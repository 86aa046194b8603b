"""`Screen`: the one plain value that all windows show, and the list of windows."""

from __future__ import annotations

import asyncio
from threading import Lock
from typing import Any


class Screen:
    """Top-level keys, each replaced as a whole. A window is notified which keys are new and always gets the latest
    values, so a slow window skips intermediate values without queuing.

    `put` and `get` may be called from any thread.
    """

    def __init__(self) -> None:
        self._lock = Lock()
        self._values: dict[str, Any] = {}
        self._windows: set[Window] = set()

    def put(self, key: str, value: Any) -> None:
        """Set a value; no effect if it is equal to the present one. It must not be modified afterwards."""
        with self._lock:
            if key in self._values and self._values[key] == value:
                return
            self._values[key] = value
            for window in self._windows:
                window.mark(key)

    def get(self, key: str) -> Any:
        """The present value; None: not set."""
        with self._lock:
            return self._values.get(key)

    def opened(self, name: str) -> Window:
        """Add a window; everything is new to it."""
        window = Window(name, asyncio.get_running_loop())
        with self._lock:
            window.dirty.update(self._values)
            self._windows.add(window)
        window.wake()
        return window

    def closed(self, window: Window) -> None:
        """Remove a window."""
        with self._lock:
            self._windows.discard(window)

    def names(self) -> set[str]:
        """Names of the open windows."""
        with self._lock:
            return {window.name for window in self._windows}

    def taken(self, window: Window) -> dict[str, Any]:
        """Take a window's news."""
        with self._lock:
            new = {key: self._values[key] for key in window.dirty}
            window.dirty.clear()
            return new


class Window:
    """One open page.

    Parameters
    ----------
    name : identifies the page while it is open, also across a reload.
    loop : event loop that serves it.
    """

    def __init__(self, name: str, loop: asyncio.AbstractEventLoop) -> None:
        self.name = name
        self.dirty: set[str] = set()
        self._loop = loop
        self._woken = asyncio.Event()

    def mark(self, key: str) -> None:
        """Mark a key as new; the caller holds the screen's lock."""
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
