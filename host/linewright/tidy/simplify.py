"""No needless vertex."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np
import shapely

from linewright.drawing.strokes import Drawing, Indices, Points
from linewright.tidy.dedupe import drop_repeats

_AT_ONCE: Final = 20_000
"""Vertices of a stroke that are looked at together. Along spirals and to and fro, the method takes the square of them;
longer strokes keep a vertex more for each so many."""

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
    piece_starts, index = _pieces(some.starts)
    # The third coordinate carries the number of each vertex through.
    numbered = np.column_stack((some.points_mm[index], index))
    lines = shapely.from_ragged_array(shapely.GeometryType.LINESTRING, numbered, (piece_starts,))
    thin = shapely.simplify(lines, tolerance_mm, preserve_topology=False)
    stays = shapely.get_coordinates(thin, include_z=True)[:, 2].astype(np.int64)
    stays = stays[np.append(True, stays[1:] != stays[:-1])]  # where pieces meet, both have it
    of = np.searchsorted(some.starts, stays, side="right") - 1
    kept = _evened(some.points_mm, stays, of, tolerance_mm)
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


def _pieces(starts: Indices) -> tuple[Indices, Indices]:
    """Strokes in pieces that share the vertices where they meet: where pieces begin, and their vertices by number."""
    segments = np.diff(starts) - 1
    count = -(-segments // _AT_ONCE)
    of = np.repeat(np.arange(len(count)), count)
    first = (np.arange(len(of)) - np.repeat(np.cumsum(count) - count, count)) * _AT_ONCE
    lengths = np.minimum(segments[of] - first, _AT_ONCE) + 1
    piece_starts = np.concatenate(([0], np.cumsum(lengths)))
    index = np.arange(piece_starts[-1]) + np.repeat(starts[of] + first - piece_starts[:-1], lengths)
    return piece_starts, index


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
        low, high = kept[at - 1], kept[at + 1]
        middle = (along[low] + along[high]) / 2
        there = np.searchsorted(along, middle)
        there -= (middle - along[there - 1] < along[there] - middle) & (there > low + 1)
        there = np.clip(there, low + 1, high - 1)
        moves = there != kept[at]
        at, low, there, high = at[moves], low[moves], there[moves], high[moves]
        # Only what is neither worse than it was nor beyond the tolerance.
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
    """(m,) how far the vertices from ``begin`` to before ``end`` lie from the chord between these."""
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
