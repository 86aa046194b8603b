"""Rounds the curves of letters, whose coarse grid shows at large sizes.

The data has a circle as 16 to 20 straight segments. A vertex with a small turning angle belongs to a curve: it gets the
tangent of the circle through it and its neighbours (exact for a circle), and each segment becomes a cubic with the
tangents of its ends (Hermite). Corners are kept, and so are segments long enough to be straight lines.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from linewright.drawing.strokes import Points

CORNER_DEG: Final = 50.0
"""Turning angle of corners: the data turns by at most 45 degrees within curves (its coarsest circle is an octagon), by
53 and more at corners."""

STRAIGHT_UNITS: Final = 5.5
"""Longer segments are straight lines: in letters of 21 units, curves have segments of 1 to 5."""


def rounded(stroke: Points, *, tolerance_units: float) -> Points:
    """The stroke with its curves rounded.

    Parameters
    ----------
    stroke : (n, 2) float64, grid units, without repeated vertices.
    tolerance_units : largest deviation from the rounded curve.
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
    # Tangent of the circle through three points: the two directions, each weighted by the other's length.
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
    """The tangent at the free end of an arc: that of the other end, reflected at the chord's normal; otherwise the
    chord.
    """
    mirrored = 2 * (tangent * chord).sum(axis=1)[:, None] * chord - tangent
    return np.where(known[:, None], mirrored, chord)


def _cubic(a: Points, b: Points, ta: Points, tb: Points, length: float, tolerance: float) -> Points:
    """The cubic from a with tangent ta to b with tangent tb, as a polyline without its end point."""
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
