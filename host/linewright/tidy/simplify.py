"""Removes needless vertices."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np
import shapely

from linewright.drawing.strokes import Drawing, Indices, Points
from linewright.tidy.dedupe import drop_repeats

_AT_ONCE: Final = 20_000
"""Vertices of a stroke processed at a time, because the method is quadratic for spirals and zigzags. Longer strokes
keep one more vertex for each such piece."""

_EVENING_ROUNDS: Final = 4
"""Each round halves the difference of neighbouring chords; halving leaves a ratio of two at most."""


def simplify(drawing: Drawing, *, tolerance_mm: float) -> Drawing:
    """Drop vertices that lie within the tolerance of the remaining line.

    D. Douglas and T. Peucker, "Algorithms for the reduction of the number of points required to represent a digitized
    line or its caricature", Cartographica 10(2), 1973, as built into GEOS. Ends stay where they are and closed strokes
    stay closed; a closed stroke smaller than the tolerance becomes a dot. The method leaves arcs with chords of uneven
    length, at which the pen would have to slow down (`motion.corners`). Where another vertex divides the line between
    its neighbours more evenly within the tolerance, it is kept instead.

    Parameters
    ----------
    drawing : finite coordinates, mm.
    tolerance_mm : largest Hausdorff distance between each stroke and the result.

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
    piece_starts, index = _pieces(some.starts)
    # The third coordinate carries each vertex number through.
    numbered = np.column_stack((some.points_mm[index], index))
    lines = shapely.from_ragged_array(shapely.GeometryType.LINESTRING, numbered, (piece_starts,))
    thin = shapely.simplify(lines, tolerance_mm, preserve_topology=False)
    stays = shapely.get_coordinates(thin, include_z=True)[:, 2].astype(np.int64)
    stays = stays[np.append(True, stays[1:] != stays[:-1])]  # neighbouring pieces share a vertex
    of = np.searchsorted(some.starts, stays, side="right") - 1
    kept = _evened(some.points_mm, stays, of, tolerance_mm)
    points = some.points_mm[kept]

    # Merge with the strokes that were not processed, in the old order.
    new_lengths = lengths.copy()
    new_lengths[longer] = np.bincount(of, minlength=len(some))
    starts = np.concatenate(([0], np.cumsum(new_lengths))).astype(np.int64)
    out = np.empty((starts[-1], 2))
    thinned = np.repeat(longer, new_lengths)
    out[thinned] = points
    out[~thinned] = drawing.points_mm[np.repeat(~longer, lengths)]
    return drop_repeats(replace(drawing, points_mm=out, starts=starts))


def _pieces(starts: Indices) -> tuple[Indices, Indices]:
    """Strokes divided into pieces that share end vertices: starts of the pieces, and their vertex numbers."""
    segments = np.diff(starts) - 1
    count = -(-segments // _AT_ONCE)
    of = np.repeat(np.arange(len(count)), count)
    first = (np.arange(len(of)) - np.repeat(np.cumsum(count) - count, count)) * _AT_ONCE
    lengths = np.minimum(segments[of] - first, _AT_ONCE) + 1
    piece_starts = np.concatenate(([0], np.cumsum(lengths)))
    index = np.arange(piece_starts[-1]) + np.repeat(starts[of] + first - piece_starts[:-1], lengths)
    return piece_starts, index


def _evened(points: Points, kept: Indices, of: Indices, tolerance_mm: float) -> Indices:
    """The same number of vertices, chosen so that chords are more even.

    Parameters
    ----------
    points : (n, 2), of all strokes.
    kept, of : (m,) ascending kept vertices, and the stroke of each.
    """
    along = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))))
    inner = np.zeros(len(kept), dtype=bool)
    inner[1:-1] = (of[:-2] == of[1:-1]) & (of[1:-1] == of[2:])
    for turn in range(2 * _EVENING_ROUNDS):
        # Every other vertex, so that each chord keeps one end.
        at = np.flatnonzero(inner & (np.arange(len(kept)) % 2 == turn % 2))
        low, high = kept[at - 1], kept[at + 1]
        middle = (along[low] + along[high]) / 2
        there = np.searchsorted(along, middle)
        there -= (middle - along[there - 1] < along[there] - middle) & (there > low + 1)
        there = np.clip(there, low + 1, high - 1)
        moves = there != kept[at]
        at, low, there, high = at[moves], low[moves], there[moves], high[moves]
        # Accept only changes that are no worse and within the tolerance.
        shorter = np.minimum(_chords(points, low, there), _chords(points, there, high))
        better = shorter > np.minimum(_chords(points, low, kept[at]), _chords(points, kept[at], high))
        at, low, there, high = at[better], low[better], there[better], high[better]
        allowed = np.maximum(_deviations(points, low, there), _deviations(points, there, high)) <= tolerance_mm
        kept[at[allowed]] = there[allowed]
    return kept


def _chords(points: Points, begin: Indices, end: Indices) -> Points:
    """(m,) length of chords between vertices."""
    return np.asarray(np.hypot(*(points[end] - points[begin]).T))


def _deviations(points: Points, begin: Indices, end: Indices) -> Points:
    """(m,) largest distance of the vertices between ``begin`` and ``end`` from the chord between these."""
    counts = end - begin
    first = np.cumsum(counts) - counts
    owner = np.repeat(np.arange(len(begin)), counts)
    inside = points[np.arange(len(owner)) + np.repeat(begin - first, counts)]
    a = points[begin]
    way = points[end] - a
    square = (way**2).sum(axis=1)
    square = np.where(square > 0, square, 1.0)
    a, way = a[owner], way[owner]
    share = np.clip(((inside - a) * way).sum(axis=1) / square[owner], 0.0, 1.0)
    away = np.hypot(*(inside - a - share[:, None] * way).T)
    return np.maximum.reduceat(away, first) if len(first) else away
