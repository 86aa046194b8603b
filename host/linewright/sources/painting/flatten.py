"""Flattening of curves to polylines within a tolerance, for a whole picture at once.

The error bounds are proven, not estimated:

* Cubic, cut into ``n`` equal parameter steps: linear interpolation of ``P`` over a step ``h`` errs by at most
  ``h^2/8 * max|P''|`` (de Boor, "A Practical Guide to Splines", chapter III). ``P''`` runs linearly from
  ``6*(p0 - 2*p1 + p2)`` to ``6*(p1 - 2*p2 + p3)``, so its largest length is that of one of these two, ``6*m``, and
  ``n = ceil(sqrt(0.75*m/tolerance))`` suffices.
* Elliptic arc, cut into equal steps ``h`` of its parameter: it is the image of a unit circle under the matrix
  ``[u v]``, whose chords err by ``1 - cos(h/2)``; the matrix stretches that by at most its largest singular value
  ``s``, the longer semi-axis. ``s*(1 - cos(h/2)) = tolerance`` gives ``h = 4*asin(sqrt(tolerance/(2*s)))``.

Both bound the distance between curve and chord at the same parameter, and so in both directions: no point of the curve
is farther from the polyline than the tolerance, and no point of the polyline farther from the curve.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from linewright.sources.painting.segments import ARC, CUBIC, LINE

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# A circle smaller than the tolerance could become a single chord; steps of at most a quarter turn keep it as a square
# of its size.
_LARGEST_STEP = np.pi / 2.0
# Closer points are equal: rounding of doubles at 1 km gives such distances (1e6 mm * 2^-52 = 2e-10 mm), and a motor
# step is 10 million times longer.
SAME_POINT_MM = 1e-9
_BLOCK = 1 << 18  # points evaluated at a time: bounds the temporary arrays to some 30 MB


@dataclass(frozen=True, eq=False)
class Polylines:
    """Strokes before they become a `Drawing`.

    Parameters
    ----------
    points_mm : (n, 2) float64, mm.
    starts : (k + 1,) int64. Stroke ``i`` is ``points_mm[starts[i]:starts[i + 1]]``; never empty.
    owner : (k,) int64: outline of the picture of each stroke.
    """

    points_mm: Floats
    starts: Ints
    owner: Ints

    def __len__(self) -> int:
        return len(self.owner)

    def select(self, chosen: NDArray[np.bool_]) -> Polylines:
        """The strokes selected by a (k,) mask, in order."""
        lengths = np.diff(self.starts)
        starts = np.concatenate(([0], np.cumsum(lengths[chosen]))).astype(np.int64)
        return Polylines(self.points_mm[np.repeat(chosen, lengths)], starts, self.owner[chosen])

    def boxes_mm(self, slack_mm: float = 0.0) -> Floats:
        """(k, 4) bounding boxes ``x0 y0 x1 y1`` of the strokes, extended by ``slack_mm``."""
        if not len(self):
            return np.empty((0, 4))
        low = np.minimum.reduceat(self.points_mm, self.starts[:-1]) - slack_mm
        high = np.maximum.reduceat(self.points_mm, self.starts[:-1]) + slack_mm
        return np.concatenate((low, high), axis=1)


def transform_rows(kinds: NDArray[np.uint8], rows: Floats, matrices: Floats) -> Floats:
    """Transform segment rows, each by its own matrix.

    Parameters
    ----------
    kinds : (m,) uint8.
    rows : (m, 8) float64, as `linewright.sources.painting.segments` describes them.
    matrices : (m, 6) float64, ``a b c d e f`` of each row.

    Returns
    -------
    (m, 8) float64.
    """
    a, b, c, d, e, f = matrices.T
    mapped = np.empty_like(rows)
    for column in (0, 2, 4, 6):
        x, y = rows[:, column], rows[:, column + 1]
        mapped[:, column] = a * x + c * y + e
        mapped[:, column + 1] = b * x + d * y + f
    # The axes of an arc are vectors, which are not translated.
    arc = np.flatnonzero(kinds == ARC)
    for column in (2, 4):
        x, y = rows[arc, column], rows[arc, column + 1]
        mapped[arc, column] = a[arc] * x + c[arc] * y
        mapped[arc, column + 1] = b[arc] * x + d[arc] * y
    mapped[arc, 6:] = rows[arc, 6:]
    return mapped


def extents(kinds: NDArray[np.uint8], rows: Floats) -> Floats:
    """(m,) float64: lower bound of each segment's largest |x| or |y|; NaN or inf if not finite.

    Exact for lines; the control polygon for cubics; for arcs the farthest of nine points, at most a factor of
    ``1/cos(22.5 deg)`` too small. Accurate enough for refusing absurd coordinates.
    """
    reach = np.abs(rows).max(axis=1)
    arc = kinds == ARC
    if arc.any():
        t = rows[arc, 6:7] + rows[arc, 7:8] * np.linspace(0.0, 1.0, 9)
        cosine, sine = np.cos(t), np.sin(t)
        x = rows[arc, 0:1] + rows[arc, 2:3] * cosine + rows[arc, 4:5] * sine
        y = rows[arc, 1:2] + rows[arc, 3:4] * cosine + rows[arc, 5:6] * sine
        reach[arc] = np.maximum(np.abs(x).max(axis=1), np.abs(y).max(axis=1))
    return np.asarray(reach)


def piece_counts(kinds: NDArray[np.uint8], rows: Floats, tolerance_mm: float) -> Ints:
    """(m,) int64: number of chords for each segment; 1 for lines. Rows in mm."""
    counts = np.ones(len(kinds), dtype=np.int64)
    cubic = kinds == CUBIC
    if cubic.any():
        p0, p1, p2, p3 = (rows[cubic, i : i + 2] for i in (0, 2, 4, 6))
        bend = np.maximum(np.hypot(*(p0 - 2.0 * p1 + p2).T), np.hypot(*(p1 - 2.0 * p2 + p3).T))
        pieces = np.ceil(np.sqrt(0.75 * bend / tolerance_mm))
        # A tiny loop must not vanish: its ends coincide, its middle does not.
        loop = (bend > 0.0) & (np.hypot(*(p3 - p0).T) <= tolerance_mm)
        counts[cubic] = np.maximum(pieces, np.where(loop, 2.0, 1.0)).astype(np.int64)
    arc = kinds == ARC
    if arc.any():
        ux, uy, vx, vy, _, dt = rows[arc, 2:].T
        # Largest singular value of [u v]: square root of the larger eigenvalue of its Gram matrix.
        uu, vv, uv = ux * ux + uy * uy, vx * vx + vy * vy, ux * vx + uy * vy
        longer = np.sqrt((uu + vv + np.hypot(uu - vv, 2.0 * uv)) / 2.0)
        share = np.divide(tolerance_mm, 2.0 * longer, out=np.full_like(longer, 0.5), where=longer > tolerance_mm)
        step = np.minimum(4.0 * np.arcsin(np.sqrt(share)), _LARGEST_STEP)
        # 1e-9 of a piece is rounding; without it a quarter circle might get one piece too many.
        counts[arc] = np.maximum(np.ceil(np.abs(dt) / step - 1e-9), 1.0).astype(np.int64)
    return counts


def flatten(kinds: NDArray[np.uint8], rows: Floats, starts: Ints, closed: NDArray[np.bool_], counts: Ints) -> Polylines:
    """Divide every segment into its number of chords, and join them to polylines.

    Parameters
    ----------
    kinds : (m,) uint8.
    rows : (m, 8) float64, mm.
    starts : (k + 1,) int64: outline ``i`` has rows ``starts[i]:starts[i + 1]``, at least one.
    closed : (k,) bool: its last point is set exactly to its first.
    counts : (m,) int64, from `piece_counts`.

    Returns
    -------
    One polyline per outline. Consecutive points closer than `SAME_POINT_MM` are merged, so an outline
        of length 0 has a single point.
    """
    outlines = len(closed)
    if outlines == 0:
        return Polylines(np.empty((0, 2)), np.zeros(1, dtype=np.int64), np.empty(0, dtype=np.int64))
    ends = np.cumsum(counts)
    before = ends - counts
    pieces = np.concatenate((before, ends[-1:]))[starts]  # chords before each outline
    point_starts = pieces + np.arange(outlines + 1)
    points = np.empty((point_starts[-1], 2))
    # An outline has one point more than chords, so indices shift by one with each outline.
    first_of_row = before + np.repeat(np.arange(outlines), np.diff(starts)) + 1
    step = max(1, int(_BLOCK * len(rows) / max(1, int(ends[-1]))))
    for low in range(0, len(rows), step):
        block = slice(low, low + step)
        _sample(kinds[block], rows[block], counts[block], first_of_row[block], points)
    points[point_starts[:-1]] = _at_start(kinds[starts[:-1]], rows[starts[:-1]])
    points[point_starts[1:][closed] - 1] = points[point_starts[:-1][closed]]
    return merge_repeats(Polylines(points, point_starts, np.arange(outlines, dtype=np.int64)), closed)


def merge_repeats(lines: Polylines, closed: NDArray[np.bool_]) -> Polylines:
    """Drop points equal to the one before; ``closed`` (k,) strokes still end exactly at their start."""
    points, starts = lines.points_mm, lines.starts
    keep = np.ones(len(points), dtype=bool)
    if len(points) > 1:
        moves = np.abs(points[1:] - points[:-1]) > SAME_POINT_MM
        keep[1:] = moves[:, 0] | moves[:, 1]
        keep[starts[:-1]] = True
    if keep.all():
        return lines
    kept_before = np.concatenate(([0], np.cumsum(keep)))
    new_starts = kept_before[starts].astype(np.int64)
    new_points = points[keep]
    new_points[new_starts[1:][closed] - 1] = new_points[new_starts[:-1][closed]]
    return Polylines(new_points, new_starts, lines.owner)


def _at_start(kinds: NDArray[np.uint8], rows: Floats) -> Floats:
    points = rows[:, :2].copy()
    arc = kinds == ARC
    t = rows[arc, 6:7]
    points[arc] += rows[arc, 2:4] * np.cos(t) + rows[arc, 4:6] * np.sin(t)
    return points


def _sample(kinds: NDArray[np.uint8], rows: Floats, counts: Ints, first: Ints, points: Floats) -> None:
    """Write the points of some rows, without their start points, to ``points[first:first + counts]``."""
    straight = kinds == LINE
    points[first[straight]] = rows[straight, 6:8]
    for kind in (CUBIC, ARC):
        chosen = np.flatnonzero(kinds == kind)
        if not len(chosen):
            continue
        n, values = counts[chosen], rows[chosen]
        number = np.arange(int(n.sum())) - np.repeat(np.cumsum(n) - n, n)  # 0, 1, ... n-1 for each row
        target = np.repeat(first[chosen], n) + number
        share = (number + 1) / np.repeat(n, n)
        if kind == CUBIC:
            for axis in (0, 1):
                p0, p1, p2, p3 = (values[:, i + axis] for i in (0, 2, 4, 6))
                sampled = np.repeat(p3 - p0 + 3.0 * (p1 - p2), n)
                for coefficient in (3.0 * (p0 - 2.0 * p1 + p2), 3.0 * (p1 - p0), p0):
                    sampled *= share
                    sampled += np.repeat(coefficient, n)
                points[target, axis] = sampled
            points[first[chosen] + n - 1] = values[:, 6:8]  # evaluation reaches the end only up to rounding
        else:
            angle = np.repeat(values[:, 6], n) + np.repeat(values[:, 7], n) * share
            cosine, sine = np.cos(angle), np.sin(angle)
            for axis in (0, 1):
                centre, u, v = (np.repeat(values[:, i + axis], n) for i in (0, 2, 4))
                points[target, axis] = centre + u * cosine + v * sine


def together(parts: Sequence[Polylines]) -> Polylines:
    """The lines of several `Polylines`, concatenated."""
    parts = [part for part in parts if len(part)]
    if not parts:
        return Polylines(np.empty((0, 2)), np.zeros(1, dtype=np.int64), np.empty(0, dtype=np.int64))
    if len(parts) == 1:
        return parts[0]
    sizes = np.concatenate([np.diff(part.starts) for part in parts])
    starts = np.concatenate(([0], np.cumsum(sizes))).astype(np.int64)
    return Polylines(
        np.concatenate([part.points_mm for part in parts]), starts, np.concatenate([part.owner for part in parts])
    )


def polylines_of(strokes: Sequence[Floats], owner: Sequence[int]) -> Polylines:
    """Lines from arrays (m, 2), each with its owner."""
    starts = np.concatenate(([0], np.cumsum([len(stroke) for stroke in strokes]))).astype(np.int64)
    points = np.concatenate(strokes) if strokes else np.empty((0, 2))
    return Polylines(points, starts, np.array(owner, dtype=np.int64))


def rearranged(lines: Polylines, sequence: Ints) -> Polylines:
    """The same lines in the given order."""
    if bool((sequence[1:] > sequence[:-1]).all()):
        return lines
    lengths = np.diff(lines.starts)[sequence]
    starts = np.concatenate(([0], np.cumsum(lengths))).astype(np.int64)
    index = np.arange(starts[-1]) + np.repeat(lines.starts[:-1][sequence] - starts[:-1], lengths)
    return Polylines(lines.points_mm[index], starts, lines.owner[sequence])
