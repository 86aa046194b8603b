"""Removes repeated vertices and repeated strokes; dots are kept."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from linewright.drawing.strokes import Drawing

OFF_GRID: Final = 0.381966
"""Offset of cell borders, the golden section (1 - 1/phi), where round numbers are rare: copies that differ by float
rounding then usually fall into the same cell."""


def drop_repeats(drawing: Drawing) -> Drawing:
    """Remove vertices equal to the one before; a stroke of equal points becomes a dot."""
    if not drawing.vertices:
        return drawing
    keep = np.ones(drawing.vertices, dtype=bool)
    keep[1:] = (np.diff(drawing.points_mm, axis=0) != 0).any(axis=1)
    keep[drawing.starts[:-1]] = True
    return drawing.keep_points(keep)


def dedupe(drawing: Drawing, *, tolerance_mm: float = 0.0) -> Drawing:
    """Remove repeated vertices, and strokes that repeat another stroke of the same pen.

    A copy has the same vertices, in either direction; closed strokes may start at any vertex. Vertices are compared by
    grid cell, so every vertex of a dropped copy is within the tolerance of the original, but not every such copy is
    found; with tolerance 0 they must be equal. The first of several copies is kept.

    Parameters
    ----------
    drawing : finite coordinates, mm.
    tolerance_mm : largest distance of a copy from the original.
    """
    drawing = drop_repeats(drawing)
    # Two points of one cell of side q are at most q * sqrt(2) apart.
    cell_mm = tolerance_mm / np.sqrt(2.0)
    # + 0.0 turns -0.0 into 0.0, which has other bytes.
    cells = np.floor(drawing.points_mm / cell_mm + OFF_GRID) if cell_mm > 0 else drawing.points_mm + 0.0
    closed = drawing.closed()
    seen: set[tuple[int, bytes]] = set()
    keep = np.zeros(len(drawing), dtype=bool)
    for i in range(len(drawing)):
        key = (int(drawing.pen[i]), _key(cells[drawing.starts[i] : drawing.starts[i + 1]], bool(closed[i])))
        keep[i] = key not in seen
        seen.add(key)
    return drawing.select(np.flatnonzero(keep)) if not keep.all() else drawing


def _key(cells: NDArray[np.float64], closed: bool) -> bytes:
    """A key that is equal for a stroke, its reverse, and its rotations if closed."""
    if closed:
        ways = [_from_least(cells[:-1]), _from_least(cells[:0:-1])]
        return b"o" + min(way.tobytes() for way in ways)
    return b"-" + min(cells.tobytes(), cells[::-1].tobytes())


def _from_least(ring: NDArray[np.float64]) -> NDArray[np.float64]:
    """The ring rotated to its lexicographically smallest form."""
    least = ring[np.lexsort((ring[:, 1], ring[:, 0]))[0]]
    places = np.flatnonzero((ring == least).all(axis=1))
    at = int(places[0])
    if len(places) > 1:  # the stroke passes its smallest vertex several times
        at = _least_rotation([tuple(row) for row in ring.tolist()])
    return np.roll(ring, -at, axis=0)


def _least_rotation(ring: list[tuple[float, ...]]) -> int:
    """Start of the smallest rotation, in linear time.

    Two starts compete; the one that loses after k equal entries is excluded with the k entries after it. Y. Shiloach,
    "Fast canonization of circular strings", Journal of Algorithms 2, 1981.
    """
    n = len(ring)
    one, other, equal = 0, 1, 0
    while one < n and other < n and equal < n:
        a, b = ring[(one + equal) % n], ring[(other + equal) % n]
        if a == b:
            equal += 1
            continue
        if a > b:
            one += equal + 1
        else:
            other += equal + 1
        other += one == other
        equal = 0
    return min(one, other)
