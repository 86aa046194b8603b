"""Clipping of strokes to convex regions: the viewports of a picture, wherever transforms have put them."""

from __future__ import annotations

import numpy as np

from linewright.sources.svg.affine import Matrix, apply
from linewright.sources.svg.flatten import Floats, Polylines

# A line drawn exactly on the frame is inside; a micrometre covers what rounding in the file's decimals does to it.
_SLACK_MM = 1e-3
# Less than any point's 0*x + 0*y: a half-plane without points. Finite, so that differences of slacks stay numbers.
_NOTHING = -1e300


def half_planes(matrix: Matrix, x: float, y: float, width: float, height: float) -> Floats:
    """The four sides of a rectangle seen through ``matrix``.

    Returns
    -------
    (4, 3) float64 ``nx, ny, c``: a point ``p`` in mm is inside where ``nx*px + ny*py <= c``, with unit normals; one row
    that admits no point where the rectangle has no sides that floats could tell.
    """
    corners = np.array(
        [
            apply(matrix, x, y),
            apply(matrix, x + width, y),
            apply(matrix, x + width, y + height),
            apply(matrix, x, y + height),
        ]
    )
    with np.errstate(over="ignore", invalid="ignore"):
        sides = np.roll(corners, -1, axis=0) - corners
        lengths = np.hypot(*sides.T)
    if not (np.isfinite(lengths) & (lengths > 0.0)).all():
        # Out of this world, or too small for it: what it shows is refused, or cannot be seen.
        return np.array([[0.0, 0.0, _NOTHING]])
    normals = np.column_stack((sides[:, 1], -sides[:, 0])) / lengths[:, None]
    if matrix[0] * matrix[3] < matrix[1] * matrix[2]:  # a mirror turns the corners the other way round
        normals = -normals
    return np.column_stack((normals, (normals * corners).sum(axis=1)))


def clip(lines: Polylines, planes: Floats) -> tuple[Polylines, int]:
    """Keep what lies inside all half-planes.

    Parametric clipping of every segment against every side (Cyrus and Beck, "Generalized two- and three-dimensional
    clipping", Computers and Graphics 3, 1978). Order, direction and dots are kept; a stroke that leaves and comes
    back becomes several.

    Parameters
    ----------
    lines : the strokes, mm.
    planes : (p, 3) float64, from `half_planes`.

    Returns
    -------
    The clipped strokes, and how many of the given strokes lost something.
    """
    points, starts = lines.points_mm, lines.starts
    strokes = len(lines)
    if strokes == 0:
        return lines, 0
    # Most pictures lie within their frame: when the corners of their bounding box do, so does everything.
    low, high = points.min(axis=0), points.max(axis=0)
    corners = np.array((low, (high[0], low[1]), high, (low[0], high[1])))
    if bool((corners @ planes[:, :2].T <= planes[:, 2] + _SLACK_MM).all()):
        return lines, 0
    slack = planes[:, 2] + _SLACK_MM - points @ planes[:, :2].T  # (n, p), negative outside
    lengths = np.diff(starts)
    single = lengths == 1
    # Segments of each stroke, in order; a dot is a segment from its point to itself.
    segments_of = np.where(single, 1, lengths - 1)
    stroke = np.repeat(np.arange(strokes), segments_of)
    first_segment = np.cumsum(segments_of) - segments_of
    at = np.arange(len(stroke)) - first_segment[stroke] + starts[stroke]
    to = np.where(single[stroke], at, at + 1)

    enter, leave = np.zeros(len(at)), np.ones(len(at))
    for side in slack.T:
        from_slack, to_slack = side[at], side[to]
        crosses = (from_slack < 0.0) != (to_slack < 0.0)
        share = np.divide(from_slack, from_slack - to_slack, out=np.zeros(len(at)), where=crosses)
        enter = np.where(crosses & (from_slack < 0.0), np.maximum(enter, share), enter)
        leave = np.where(crosses & (to_slack < 0.0), np.minimum(leave, share), leave)
        leave[(from_slack < 0.0) & (to_slack < 0.0)] = -1.0
    seen = (enter < leave) | (single[stroke] & (leave == 1.0))

    index = np.flatnonzero(seen)
    of = stroke[index]
    joined = np.zeros(len(index), dtype=bool)
    joined[1:] = (index[1:] == index[:-1] + 1) & (of[1:] == of[:-1]) & (enter[index[1:]] == 0.0)
    joined[1:] &= leave[index[:-1]] == 1.0
    begins = ~joined
    ends_drawn = ~single[of]
    # Every visible segment brings its end, the first of a piece brings its start as well; a dot is a start alone.
    emitted = begins.astype(np.int64) + ends_drawn
    position = np.cumsum(emitted) - emitted
    clipped = np.empty((int(emitted.sum()), 2))
    delta = points[to[index]] - points[at[index]]
    start_points = points[at[index]] + enter[index, None] * delta
    end_points = np.where(leave[index, None] == 1.0, points[to[index]], points[at[index]] + leave[index, None] * delta)
    clipped[position[begins]] = start_points[begins]
    clipped[(position + begins)[ends_drawn]] = end_points[ends_drawn]
    new_starts = np.concatenate((position[begins], [len(clipped)])).astype(np.int64)
    whole = np.bincount(of, minlength=strokes) == segments_of
    pieces = np.bincount(of[begins], minlength=strokes)
    cut_ends = np.zeros(strokes, dtype=bool)
    cut_ends[of[(enter[index] > 0.0) | (leave[index] < 1.0)]] = True
    lost = int((~whole | (pieces != 1) | cut_ends).sum())
    return Polylines(clipped, new_starts, lines.owner[of[begins]]), lost
