"""Letters that are large show the corners of their coarse grid; this rounds them where a curve is meant.

The data gives a circle as 16 to 20 straight pieces. A vertex where the line turns little belongs to a curve: it gets
the tangent of the circle through it and its neighbours (exact for a circle), and each piece becomes a cubic with the
tangents of its ends (Hermite). Corners stay, and so do pieces long enough to be meant straight.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from linewright.drawing.strokes import Points

CORNER_DEG: Final = 50.0
"""The data turns by at most 45 degrees within its curves (an octagon is its coarsest circle), by 53 and more at
corners."""

STRAIGHT_UNITS: Final = 5.5
"""A piece longer than this is meant straight: in letters of 21 units, curves are given in pieces of 1 to 5."""


def rounded(stroke: Points, *, tolerance_units: float) -> Points:
    """The stroke with its curves rounded.

    Parameters
    ----------
    stroke : (n, 2) float64, grid units, no vertex twice in a row.
    tolerance_units : how far the result may stray from the rounded curve.
    """
    if len(stroke) < 3:
        return stroke
    closed = bool((stroke[0] == stroke[-1]).all()) and len(stroke) > 3
    pieces = np.diff(stroke, axis=0)
    lengths = np.hypot(pieces[:, 0], pieces[:, 1])
    into = np.vstack((pieces[-1:] if closed else pieces[:1], pieces))
    out = np.vstack((pieces, pieces[:1] if closed else pieces[-1:]))
    into_length = np.hypot(into[:, 0], into[:, 1])
    out_length = np.hypot(out[:, 0], out[:, 1])
    turn = np.abs(np.arctan2(into[:, 0] * out[:, 1] - into[:, 1] * out[:, 0], (into * out).sum(axis=1)))
    smooth = turn < np.radians(CORNER_DEG)
    if not closed:
        smooth[[0, -1]] = False
    # Tangent of the circle through three points: their two directions, each weighed by the other's length.
    tangent = into / into_length[:, None] ** 2 + out / out_length[:, None] ** 2
    size = np.hypot(tangent[:, 0], tangent[:, 1])
    tangent /= np.where(size > 0, size, 1.0)[:, None]
    for straight, direction in ((into_length > STRAIGHT_UNITS, into), (out_length > STRAIGHT_UNITS, out)):
        unit = direction / np.hypot(direction[:, 0], direction[:, 1])[:, None]
        tangent = np.where(straight[:, None], unit, tangent)
    unit_pieces = pieces / lengths[:, None]
    out_tangent = np.where(smooth[:-1, None], tangent[:-1], _reflected(tangent[1:], unit_pieces, smooth[1:]))
    in_tangent = np.where(smooth[1:, None], tangent[1:], _reflected(tangent[:-1], unit_pieces, smooth[:-1]))
    parts = []
    for i in range(len(pieces)):
        if lengths[i] > STRAIGHT_UNITS or not (smooth[i] or smooth[i + 1]):
            parts.append(stroke[i : i + 1])
            continue
        parts.append(_cubic(stroke[i], stroke[i + 1], out_tangent[i], in_tangent[i], lengths[i], tolerance_units))
    return np.vstack((*parts, stroke[-1:]))


def _reflected(tangent: Points, chord: Points, known: np.ndarray[tuple[int], np.dtype[np.bool_]]) -> Points:
    """The tangent at the free end of an arc: that of the other end, mirrored at the chord's normal; else the chord."""
    mirrored = 2 * (tangent * chord).sum(axis=1)[:, None] * chord - tangent
    return np.where(known[:, None], mirrored, chord)


def _cubic(a: Points, b: Points, ta: Points, tb: Points, length: float, tolerance: float) -> Points:
    """The cubic from a with tangent ta to b with tangent tb, without its end, in as many pieces as it takes."""
    bend = float(np.abs(np.arctan2(ta[0] * tb[1] - ta[1] * tb[0], (ta * tb).sum())))
    # Sagitta of an arc of that length and bend, in n pieces: length * bend / (8 n^2).
    n = max(1, int(np.ceil(np.sqrt(length * bend / (8 * tolerance)))))
    t = np.arange(n)[:, None] / n
    return np.asarray(
        (2 * t**3 - 3 * t**2 + 1) * a
        + (t**3 - 2 * t**2 + t) * length * ta
        + (3 * t**2 - 2 * t**3) * b
        + (t**3 - t**2) * length * tb
    )
