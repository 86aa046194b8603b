"""No needless vertex."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np
import shapely

from linewright.drawing.strokes import Drawing, Indices, Points
from linewright.tidy.dedupe import drop_repeats

_EVENING_ROUNDS: Final = 4
"""Each brings neighbouring chords half as far apart; halving leaves them at most two to one."""


def simplify(drawing: Drawing, *, tolerance_mm: float) -> Drawing:
    """Drop vertices that lie within the tolerance of the line that stays.

    D. Douglas and T. Peucker, "Algorithms for the reduction of the number of points required to represent a digitized
    line or its caricature", Cartographica 10(2), 1973, as built into GEOS. Ends stay where they are and closed strokes
    stay closed; a closed stroke that fits into the tolerance becomes a dot. Halving, as the method does, leaves arcs
    with chords of uneven length, which the pen would have to slow down for (`motion.corners`); where another vertex
    divides the way between its neighbours more evenly and the tolerance allows, that one stays instead.

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
    # The third coordinate carries the number of each vertex through.
    numbered = np.column_stack((some.points_mm, np.arange(some.vertices)))
    lines = shapely.from_ragged_array(shapely.GeometryType.LINESTRING, numbered, (some.starts,))
    thin = shapely.simplify(lines, tolerance_mm, preserve_topology=False)
    coordinates, of = shapely.get_coordinates(thin, include_z=True, return_index=True)
    kept = _evened(some.points_mm, coordinates[:, 2].astype(np.int64), of, tolerance_mm)
    points = some.points_mm[kept]

    # Back among the strokes that had nothing to drop, in the old order.
    new_lengths = lengths.copy()
    new_lengths[longer] = np.bincount(of, minlength=len(some))
    starts = np.concatenate(([0], np.cumsum(new_lengths))).astype(np.int64)
    out = np.empty((starts[-1], 2))
    thinned = np.repeat(longer, new_lengths)
    out[thinned] = points
    out[~thinned] = drawing.points_mm[np.repeat(~longer, lengths)]
    return drop_repeats(replace(drawing, points_mm=out, starts=starts))


def _evened(points: Points, kept: Indices, of: Indices, tolerance_mm: float) -> Indices:
    """Other vertices to keep, as many, so that chords come out more even.

    Parameters
    ----------
    points : (n, 2), of all strokes.
    kept, of : (m,) ascending vertices that stay, and the stroke of each.
    """
    along = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))))
    inner = np.zeros(len(kept), dtype=bool)
    inner[1:-1] = (of[:-2] == of[1:-1]) & (of[1:-1] == of[2:])
    for turn in range(2 * _EVENING_ROUNDS):
        # Every other vertex, so that each chord has one end that stays.
        at = np.flatnonzero(inner & (np.arange(len(kept)) % 2 == turn % 2))
        if not len(at):
            continue
        low, high = kept[at - 1], kept[at + 1]
        middle = (along[low] + along[high]) / 2
        there = np.searchsorted(along, middle)
        there -= (middle - along[there - 1] < along[there] - middle) & (there > low + 1)
        there = np.clip(there, low + 1, high - 1)
        tried = kept.copy()
        tried[at] = there
        chord = _chords(points, kept)
        new, new_off = _chords(points, tried), _deviations(points, tried)
        # Only what is neither worse than it was nor beyond the tolerance.
        better = np.minimum(new[at - 1], new[at]) > np.minimum(chord[at - 1], chord[at])
        allowed = np.maximum(new_off[at - 1], new_off[at]) <= tolerance_mm
        take = at[better & allowed & (there != kept[at])]
        kept[take] = tried[take]
    return kept


def _chords(points: Points, kept: Indices) -> Points:
    """(m - 1,) distance from each vertex that stays to the next."""
    return np.asarray(np.hypot(*np.diff(points[kept], axis=0).T))


def _deviations(points: Points, kept: Indices) -> Points:
    """(m - 1,) how far the vertices between two that stay lie from the chord; between strokes it means nothing."""
    owner = np.repeat(np.arange(len(kept) - 1), np.diff(kept))
    inside = points[kept[0] : kept[-1]]
    a, b = points[kept[:-1]][owner], points[kept[1:]][owner]
    way = b - a
    square = (way**2).sum(axis=1)
    share = np.clip(((inside - a) * way).sum(axis=1) / np.where(square > 0, square, 1.0), 0.0, 1.0)
    away = np.hypot(*(inside - a - share[:, None] * way).T)
    return np.asarray(np.maximum.reduceat(away, kept[:-1] - kept[0]))
