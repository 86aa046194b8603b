"""Filling of closed outlines with parallel lines, by exact intersection of each line with the outlines."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from linewright.drawing.strokes import Indices, Points


def hatched(points_mm: Points, starts: Indices, *, pitch_mm: float, angle_deg: float, even_odd: bool) -> Points:
    """Parallel lines inside closed outlines.

    Each line crosses the outlines an even number of times; between crossings the fill rule decides (SVG 2, section
    13.4.2). Lines are at fixed positions in the plane, so that adjacent areas share them.

    Parameters
    ----------
    points_mm, starts : (n, 2) and (k + 1,) as in `Drawing`; every outline is closed to its first point.
    angle_deg : 0 is horizontal, 45 rises to the right.
    even_odd : even-odd rule; False: winding rule.

    Returns
    -------
    (m, 2, 2) float64 : begin and end of each line, every second line reversed.
    """
    turn = np.deg2rad(-angle_deg)  # y points down
    along, across = np.array([np.cos(turn), np.sin(turn)]), np.array([-np.sin(turn), np.cos(turn)])
    following = np.arange(1, len(points_mm) + 1)
    following[starts[1:] - 1] = starts[:-1]
    s, v = points_mm @ along, points_mm @ across / pitch_mm
    s1, v1 = s[following], v[following]
    # An edge covers lines k + 1/2 from its lower end, inclusive, to its upper end, exclusive, so a corner on a line
    # counts once.
    low, high = np.ceil(np.minimum(v, v1) - 0.5), np.ceil(np.maximum(v, v1) - 0.5)
    counts = (high - low).astype(np.int64)
    edge = np.repeat(np.arange(len(v)), counts)
    line = low[edge] + (np.arange(len(edge)) - np.repeat(np.cumsum(counts) - counts, counts))
    share = (line + 0.5 - v[edge]) / (v1[edge] - v[edge])
    at = s[edge] + share * (s1[edge] - s[edge])
    upward = np.where(v1[edge] > v[edge], 1, -1)
    order = np.lexsort((at, line))
    line, at, upward = line[order], at[order], upward[order]
    # Outlines are closed, so the sum is zero at the end of every line, and one running sum serves all lines.
    winding = np.cumsum(np.ones_like(upward) if even_odd else upward)
    inside = _inside(winding, even_odd)
    spans = np.flatnonzero(inside[:-1] & (line[1:] == line[:-1]) & (at[1:] - at[:-1] > 1e-9))
    begin = at[spans, None] * along + ((line[spans, None] + 0.5) * pitch_mm) * across
    end = at[spans + 1, None] * along + ((line[spans, None] + 0.5) * pitch_mm) * across
    lines = np.stack((begin, end), axis=1)
    back = line[spans].astype(np.int64) % 2 == 1
    lines[back] = lines[back, ::-1]
    return lines


def _inside(winding: NDArray[np.int64], even_odd: bool) -> NDArray[np.bool_]:
    return np.asarray(winding % 2 == 1 if even_odd else winding != 0)
