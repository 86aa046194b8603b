"""Strips of the sheet: what is near is looked for in one after the other, as trees of shapely's take 0.4 kB a line."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Indices = NDArray[np.int64]

LINES: Final = 150_000
"""To a strip: its tree takes 60 MB."""


def strips(low: Floats, high: Floats, left: Floats, right: Floats) -> Iterator[tuple[Indices, Indices]]:
    """Numbers of those who look for lines in a strip, and of all lines that they may find.

    Parameters
    ----------
    low, high : (n,) how far along x each of those reaches who look; everyone is named once.
    left, right : (m,) how far each line reaches.
    """
    count = len(left) // LINES
    if count > 1 and len(low):
        parts = [np.sort(part) for part in np.array_split(np.argsort(low, kind="stable"), count) if len(part)]
        reach = [(low[part].min(), high[part].max()) for part in parts]
        # Where lines are so long that most reach into most strips, one tree is the least work.
        if sum(np.count_nonzero((left <= end) & (right >= begin)) for begin, end in reach) <= 2 * len(left):
            for part, (begin, end) in zip(parts, reach, strict=True):
                yield part, np.flatnonzero((left <= end) & (right >= begin))
            return
    yield np.arange(len(low)), np.arange(len(left))
