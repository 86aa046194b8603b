"""Strips of the sheet for neighbour searches, processed one by one, because shapely's trees take 0.4 kB per line."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Indices = NDArray[np.int64]

LINES: Final = 150_000
"""Lines per strip: its tree takes 60 MB."""


def strips(low: Floats, high: Floats, left: Floats, right: Floats) -> Iterator[tuple[Indices, Indices]]:
    """Numbers of the searchers in each strip, and of all lines that they may find.

    Parameters
    ----------
    low, high : (n,) x range of each searcher; each is in one strip only.
    left, right : (m,) x range of each line.
    """
    count = len(left) // LINES
    if count > 1 and len(low):
        parts = [np.sort(part) for part in np.array_split(np.argsort(low, kind="stable"), count) if len(part)]
        reach = [(low[part].min(), high[part].max()) for part in parts]
        # Where most lines extend over most strips, a single tree is the least work.
        if sum(np.count_nonzero((left <= end) & (right >= begin)) for begin, end in reach) <= 2 * len(left):
            for part, (begin, end) in zip(parts, reach, strict=True):
                yield part, np.flatnonzero((left <= end) & (right >= begin))
            return
    yield np.arange(len(low)), np.arange(len(left))
