"""Cuts strokes where an end of another stroke touches them, so that a hatching and its outline become one network."""

from __future__ import annotations

from typing import Final

import numpy as np
import shapely

from linewright.drawing.strokes import Drawing
from linewright.tidy.dedupe import drop_repeats

_AT_ONCE: Final = 20_000
"""Ends processed at a time; bounds the memory of their hits."""


def cut_at_touches(drawing: Drawing, *, tolerance_mm: float) -> Drawing:
    """Cut strokes of the same pen where an end of another stroke lies on them, and move that end to the cut.

    Parameters
    ----------
    drawing : finite coordinates, mm, without repeated vertices.
    tolerance_mm : largest distance of an end from the line it touches.
    """
    first, last = drawing.starts[:-1], drawing.starts[1:] - 1
    open_strokes = np.flatnonzero((last > first) & ~drawing.closed())
    ends = np.concatenate((first[open_strokes], last[open_strokes]))
    of_end = np.concatenate((open_strokes, open_strokes))
    # Segment v leads from vertex v to the next; the last vertex of a stroke has none.
    leads_on = np.ones(drawing.vertices, dtype=bool)
    leads_on[last] = False
    segment = np.flatnonzero(leads_on)
    if not len(ends) or not len(segment):
        return drawing
    points = drawing.points_mm
    stroke_of = np.repeat(np.arange(len(drawing)), np.diff(drawing.starts))
    tree = shapely.STRtree(shapely.linestrings(np.stack((points[segment], points[segment + 1]), axis=1)))
    hits = [
        np.array([[at], [0]])
        + tree.query(shapely.points(points[ends[at : at + _AT_ONCE]]), predicate="dwithin", distance=tolerance_mm)
        for at in range(0, len(ends), _AT_ONCE)
    ]
    end, on = np.concatenate(hits, axis=1)
    on = segment[on]
    other = (stroke_of[on] != of_end[end]) & (drawing.pen[stroke_of[on]] == drawing.pen[of_end[end]])
    end, on = end[other], on[other]
    place = points[ends[end]]
    # Ends of strokes are not cut; touching ends are joined in `trails`.
    stroke = stroke_of[on]
    clear = np.hypot(*(place - points[first[stroke]]).T) > tolerance_mm
    clear &= np.hypot(*(place - points[last[stroke]]).T) > tolerance_mm
    end, on, place, stroke = end[clear], on[clear], place[clear], stroke[clear]
    if not len(end):
        return drawing
    way = points[on + 1] - points[on]
    along = np.clip(((place - points[on]) * way).sum(axis=1) / (way**2).sum(axis=1), 0.0, 1.0)
    foot = points[on] + along[:, None] * way
    away = np.hypot(*(foot - place).T)
    # One cut per end, on the nearest stroke; ordered by place along the strokes.
    by = np.lexsort((on + along, away, end))
    by = by[np.concatenate(([True], np.diff(end[by]) != 0))]
    by = by[np.lexsort((along[by], on[by]))]
    end, on, place = end[by], on[by], foot[by]
    apart = np.ones(len(on), dtype=bool)  # far enough from the cut before; else a tiny piece would result
    apart[1:] = (np.hypot(*np.diff(place, axis=0).T) > tolerance_mm) | (np.diff(stroke_of[on]) != 0)
    end, on, place = end[apart], on[apart], place[apart]
    points = points.copy()
    points[ends[end]] = place

    # Each cut adds two points: the end of one piece and the start of the next.
    out = np.insert(points, np.repeat(on + 1, 2), np.repeat(place, 2, axis=0), axis=0)
    begins = on + 1 + 2 * np.arange(len(on)) + 1
    whole = drawing.starts + 2 * np.searchsorted(on, drawing.starts)
    starts = np.union1d(whole, begins).astype(np.int64)
    pen = drawing.pen[np.searchsorted(whole, starts[:-1], side="right") - 1]
    return drop_repeats(Drawing(out, starts, pen, drawing.pens))
