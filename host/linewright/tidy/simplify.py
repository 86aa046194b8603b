"""No needless vertex."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import shapely

from linewright.drawing import Drawing
from linewright.tidy.dedupe import drop_repeats


def simplify(drawing: Drawing, *, tolerance_mm: float) -> Drawing:
    """Drop vertices that lie within the tolerance of the line that stays.

    D. Douglas and T. Peucker, "Algorithms for the reduction of the number of points required to represent a digitized
    line or its caricature", Cartographica 10(2), 1973, as built into GEOS. Ends stay where they are and closed strokes
    stay closed; a closed stroke that fits into the tolerance becomes a dot.

    Parameters
    ----------
    drawing : finite coordinates, mm.
    tolerance_mm : Hausdorff distance between each stroke and what becomes of it is at most this.

    Examples
    --------
    >>> line = Drawing.from_strokes([[(0, 0), (5, 0.01), (10, 0)], [(3, 3)]])
    >>> simplify(line, tolerance_mm=0.02).starts
    array([0, 2, 3])
    """
    lengths = np.diff(drawing.starts)
    longer = lengths > 2
    if not longer.any() or not tolerance_mm > 0:
        return drawing
    some = drawing.select(np.flatnonzero(longer))
    lines = shapely.from_ragged_array(shapely.GeometryType.LINESTRING, some.points_mm, (some.starts,))
    thin = shapely.simplify(lines, tolerance_mm, preserve_topology=False)
    points, of = shapely.get_coordinates(thin, return_index=True)

    # Back among the strokes that had nothing to drop, in the old order.
    new_lengths = lengths.copy()
    new_lengths[longer] = np.bincount(of, minlength=len(some))
    starts = np.concatenate(([0], np.cumsum(new_lengths))).astype(np.int64)
    out = np.empty((starts[-1], 2))
    thinned = np.repeat(longer, new_lengths)
    out[thinned] = points
    out[~thinned] = drawing.points_mm[np.repeat(~longer, lengths)]
    return drop_repeats(replace(drawing, points_mm=out, starts=starts))
