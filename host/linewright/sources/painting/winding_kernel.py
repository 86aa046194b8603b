"""Inner loop of `Regions.inside`, for millions of pairs of point and edge; compiled if possible."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from linewright.compiled import compiled

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@compiled
def windings(
    points: Floats, slab: Ints, starts: Ints, edges: Ints, begin: Floats, end: Floats, winding: Ints, crossings: Ints
) -> None:
    """Winding numbers and crossings of rays to the right.

    Parameters
    ----------
    points : (k, 2) float64, mm.
    slab : (k,) slab of each point, with edges ``edges[starts[s]:starts[s + 1]]``.
    begin, end : (m, 2) float64, mm, of the edges.
    winding, crossings : (k,) int64, output.
    """
    for i in range(len(points)):
        x, y = points[i, 0], points[i, 1]
        turns, crossed = 0, 0
        for at in range(starts[slab[i]], starts[slab[i] + 1]):
            edge = edges[at]
            y0, y1 = begin[edge, 1], end[edge, 1]
            # An edge includes its lower end and excludes its upper one, so that a corner counts once.
            if (y0 <= y) == (y1 <= y):
                continue
            x0 = begin[edge, 0]
            side = (end[edge, 0] - x0) * (y - y0) - (x - x0) * (y1 - y0)
            if y0 <= y:
                if side > 0.0:
                    turns += 1
                    crossed += 1
            elif side < 0.0:
                turns -= 1
                crossed += 1
        winding[i], crossings[i] = turns, crossed
