"""`PhotographMemory`: cache of photographs as read and as prepared."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable
from threading import Lock
from typing import Any, Final, TypeVar

import numpy as np

T = TypeVar("T")

KEPT_BYTES: Final = 200_000_000
"""Size of the cache: the largest photograph, as read and as prepared, or a dozen of common ones."""

ENTRY_BYTES: Final = 1000
"""Assumed size of an entry without an array, with its key."""


class PhotographMemory:
    """Least-recently-used cache.

    Methods may be called from any thread.

    Parameters
    ----------
    kept_bytes : most bytes of arrays; the newest entry is always kept.
    """

    def __init__(self, kept_bytes: int = KEPT_BYTES) -> None:
        self._kept_bytes = kept_bytes
        self._lock = Lock()
        self._held: OrderedDict[Hashable, tuple[Any, int]] = OrderedDict()

    def recall(
        self, key: Hashable, make: Callable[[], T], pixels: Callable[[T], np.ndarray[Any, Any]] | None = None
    ) -> T:
        """The cached value of a key; made by ``make`` if missing.

        Parameters
        ----------
        pixels : returns the array in a value, if any; it becomes read-only, because it is shared.
        """
        with self._lock:
            if key in self._held:
                self._held.move_to_end(key)
                found: T = self._held[key][0]
                return found
        made = make()
        size = ENTRY_BYTES
        if pixels is not None:
            pixels(made).setflags(write=False)
            size += pixels(made).nbytes
        with self._lock:
            self._held[key] = (made, size)
            while sum(size for _, size in self._held.values()) > self._kept_bytes and len(self._held) > 1:
                self._held.popitem(last=False)
        return made


PHOTOGRAPHS: Final = PhotographMemory()
"""The cache of this process."""
