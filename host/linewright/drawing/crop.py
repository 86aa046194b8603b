"""Clipping a drawing to a box, and counting what is cut off."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from linewright.drawing.strokes import Drawing, Indices, Points

Box = tuple[float, float, float, float]
"""``(x_min, y_min, x_max, y_max)``, mm; the boundary belongs to the box."""


@dataclass(frozen=True)
class Cut:
    """How much clipping at a box removed.

    ``strokes`` counts strokes that were shortened, ``lost`` those removed whole; ``length_mm`` covers both.
    """

    strokes: int = 0
    lost: int = 0
    length_mm: float = 0.0

    def __bool__(self) -> bool:
        return bool(self.strokes or self.lost)

    def __add__(self, other: Cut) -> Cut:
        return Cut(self.strokes + other.strokes, self.lost + other.lost, self.length_mm + other.length_mm)


@dataclass(frozen=True, eq=False)
class PlacedDrawing(Drawing):
    """A drawing in its final position, and what was clipped there."""

    cut: Cut = Cut()


def clip(drawing: Drawing, box: Box) -> PlacedDrawing:
    """Clip a drawing to a box. A stroke that leaves and re-enters becomes several strokes in the same direction.

    Segments are clipped at the four sides (Liang and Barsky, "A new concept and method for line clipping", ACM Trans.
    Graphics 3(1), 1984), vectorised. Unlike a library's polygon intersection this neither splits strokes at
    self-crossings nor drops dots or lines along the boundary, such as the frame of a picture fitted to the box. A
    stroke that only touches the boundary from outside is removed.

    Parameters
    ----------
    drawing : k strokes, finite, mm.
    box : boundary included; no point of the result lies outside it.

    Returns
    -------
    Placed
    """
    points, low, high = drawing.points_mm, np.array(box[:2]), np.array(box[2:])
    n, k = len(points), len(drawing)
    if not n:
        return PlacedDrawing(points, drawing.starts, drawing.pen, drawing.pens)
    dot = _extents(drawing) == 0.0
    if (points >= low).all() and (points <= high).all() and (np.diff(drawing.starts)[dot] == 1).all():
        return PlacedDrawing(points, drawing.starts, drawing.pen, drawing.pens)
    stroke_of = np.repeat(np.arange(k), np.diff(drawing.starts))

    # One segment from every point to the next. A dot becomes a segment of length 0, so that it is kept.
    first = np.flatnonzero((np.append(stroke_of[1:], -1) == stroke_of) & ~dot[stroke_of])
    singles = drawing.starts[:-1][dot]
    first = np.sort(np.concatenate((first, singles)))
    single = dot[stroke_of[first]]
    second = np.where(single, first, first + 1)
    a, d = points[first], points[second] - points[first]
    enter, leave = _span(a, d, low, high)
    still = ~d.any(axis=1)
    inside = np.where(still, enter <= leave, enter < leave)

    stroke = stroke_of[first]
    length = np.hypot(d[:, 0], d[:, 1])
    gone = np.where(inside, length * (1.0 - np.clip(leave - enter, 0.0, 1.0)), length)
    kept = np.flatnonzero(inside)
    touched = np.bincount(stroke, weights=gone > 0, minlength=k) > 0
    there = np.bincount(stroke[kept], minlength=k) > 0

    # Consecutive segments form one piece while their shared vertex is not clipped.
    linked = np.zeros(len(kept), dtype=bool)
    if len(kept):
        linked[1:] = (
            (np.diff(kept) == 1)
            & (stroke[kept][1:] == stroke[kept][:-1])
            & (leave[kept][:-1] == 1.0)
            & (enter[kept][1:] == 0.0)
        )
    begins = np.flatnonzero(~linked)
    heads = _along(points, first, second, enter, kept[begins])
    tails = _along(points, first, second, leave, kept)
    # The tail of segment j lands after the heads of all pieces begun so far.
    piece = np.cumsum(~linked) - 1
    out = np.empty((len(kept) + len(begins), 2))
    out[np.arange(len(kept)) + piece + 1] = tails
    out[begins + np.arange(len(begins))] = heads
    out = np.clip(out, low, high)
    starts = np.append(begins + np.arange(len(begins)), len(out)).astype(np.int64)
    pieces = Drawing(out, starts, drawing.pen[stroke[kept[begins]]], drawing.pens)
    pieces = _without_doubled_dots(pieces, single[kept[begins]])

    cut = Cut(int(np.sum(touched & there)), int(np.sum(~there)), float(gone.sum()))
    return PlacedDrawing(pieces.points_mm, pieces.starts, pieces.pen, pieces.pens, cut)


def _extents(drawing: Drawing) -> Points:
    """(k,) larger side of each stroke's bounding box, mm; 0 for dots."""
    lows = np.minimum.reduceat(drawing.points_mm, drawing.starts[:-1])
    highs = np.maximum.reduceat(drawing.points_mm, drawing.starts[:-1])
    return np.asarray((highs - lows).max(axis=1))


def _span(a: Points, d: Points, low: Points, high: Points) -> tuple[Points, Points]:
    """Parameters t in 0..1 at which each segment ``a + t*d`` enters and leaves the box; enter > leave means that it
    misses the box.
    """
    enter, leave = np.zeros(len(a)), np.ones(len(a))
    for axis in (0, 1):
        along, at = d[:, axis], a[:, axis]
        moving = along != 0
        safe = np.where(moving, along, 1.0)
        with np.errstate(over="ignore"):  # a tiny d far from the side may overflow to an infinite t, which is correct
            to_low, to_high = (low[axis] - at) / safe, (high[axis] - at) / safe
        near, far = np.minimum(to_low, to_high), np.maximum(to_low, to_high)
        beside = (at < low[axis]) | (at > high[axis])
        enter = np.maximum(enter, np.where(moving, near, np.where(beside, np.inf, 0.0)))
        leave = np.minimum(leave, np.where(moving, far, 1.0))
    return enter, leave


def _along(points: Points, first: Indices, second: Indices, t: Points, which: Indices) -> Points:
    """Points at parameter ``t`` of the chosen segments; exactly the segment's vertices at t = 0 and 1."""
    a, b, at = points[first[which]], points[second[which]], t[which][:, None]
    return np.where(at == 0.0, a, np.where(at == 1.0, b, a + at * (b - a)))


def _without_doubled_dots(pieces: Drawing, single: NDArray[np.bool_]) -> Drawing:
    """Remove the second point of dots, which were clipped as segments of length 0."""
    if not single.any():
        return pieces
    keep = np.ones(len(pieces.points_mm), dtype=bool)
    keep[pieces.starts[:-1][single] + 1] = False
    lengths = np.diff(pieces.starts) - single
    starts = np.concatenate(([0], np.cumsum(lengths))).astype(np.int64)
    return replace(pieces, points_mm=pieces.points_mm[keep], starts=starts)
