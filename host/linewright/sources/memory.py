"""`PhotographMemory`: photographs that were read and prepared last: the next drawing of one of them begins there."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable
from threading import Lock
from typing import Any, Final, TypeVar

import numpy as np

T = TypeVar("T")

KEPT_BYTES: Final = 200_000_000
"""The largest photograph that is read, once as read and once as prepared; or a dozen of usual ones."""

ENTRY_BYTES: Final = 1000
"""Size assumed for an entry without an array, key included."""


class PhotographMemory:
    """What was worked out, by all that decides it; what was used longest ago is forgotten first.

    Every method may be called from any thread.

    Parameters
    ----------
    kept_bytes : of arrays, at most; the newest is kept, however large.
    """

    def __init__(self, kept_bytes: int = KEPT_BYTES) -> None:
        self._kept_bytes = kept_bytes
        self._lock = Lock()
        self._held: OrderedDict[Hashable, tuple[Any, int]] = OrderedDict()

    def recall(
        self, key: Hashable, make: Callable[[], T], pixels: Callable[[T], np.ndarray[Any, Any]] | None = None
    ) -> T:
        """What was made for a key before, or what is made now.

        Parameters
        ----------
        pixels : the array in it, if there is one. It cannot be written to any more: the next one gets the same.
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
"""The memory of this process."""
