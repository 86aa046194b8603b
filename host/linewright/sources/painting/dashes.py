"""``stroke-dasharray``: dashes as separate strokes."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from linewright.sources.painting.flatten import Floats
from linewright.sources.painting.matrices import Matrix


def user_lengths(points_mm: Floats, matrix: Matrix) -> Floats:
    """(n,) float64: running length along a polyline in the user units of its element, as dashes are measured.

    Parameters
    ----------
    points_mm : (n, 2) float64, mm.
    matrix : user units to mm; must be invertible.
    """
    a, b, c, d, _, _ = matrix
    inverse = np.linalg.inv(np.array(((a, c), (b, d))))
    steps = np.diff(points_mm, axis=0) @ inverse.T
    return np.concatenate(([0.0], np.cumsum(np.hypot(*steps.T))))


def dash_intervals(length: float, pattern: Sequence[float], offset: float) -> Floats:
    """The dashes on a line of this length.

    Parameters
    ----------
    length : length of the line, user units.
    pattern : dash, gap, dash, gap, ..., an even number of lengths with a positive sum.
    offset : offset into the pattern at the line's start; may be negative.

    Returns
    -------
    (k, 2) float64: start and end of each dash, within ``0..length``. A dash of length 0 has both equal.
    """
    period = float(sum(pattern))
    edges = np.concatenate(([0.0], np.cumsum(pattern)))
    first = offset % period
    periods = np.arange(int(np.ceil((length + first) / period)) + 1) * period - first
    with np.errstate(over="ignore"):  # the second of two endless gaps ends at infinity, beyond the line in any case
        begin = (periods[:, None] + edges[None, 0:-1:2]).ravel()
        end = (periods[:, None] + edges[None, 1::2]).ravel()
    shown = (end >= 0.0) & (begin <= length)
    # A dash that only touches an end of the line is dropped, unless the pattern itself has dots.
    shown &= (np.minimum(end, length) > np.maximum(begin, 0.0)) | (begin == end)
    return np.column_stack((np.maximum(begin[shown], 0.0), np.minimum(end[shown], length)))


def cut_dashes(points_mm: Floats, along: Floats, intervals: Floats, *, dots: bool) -> list[Floats]:
    """The dashes of one polyline.

    Parameters
    ----------
    points_mm : (n, 2) float64, mm.
    along : (n,) float64, running length of each point, from `user_lengths`.
    intervals : (k, 2) float64, from `dash_intervals`.
    dots : keep dashes of length 0 as single points (round or square caps make them visible).

    Returns
    -------
    One (m, 2) array per dash, mm.
    """
    begin_points = np.column_stack([np.interp(intervals[:, 0], along, points_mm[:, i]) for i in (0, 1)])
    end_points = np.column_stack([np.interp(intervals[:, 1], along, points_mm[:, i]) for i in (0, 1)])
    low = np.searchsorted(along, intervals[:, 0], side="right")
    high = np.searchsorted(along, intervals[:, 1], side="left")
    dashes: list[Floats] = []
    for i, (begin, end) in enumerate(intervals):
        if begin == end:
            if dots:
                dashes.append(begin_points[i : i + 1])
            continue
        dashes.append(np.concatenate((begin_points[i : i + 1], points_mm[low[i] : high[i]], end_points[i : i + 1])))
    return dashes
