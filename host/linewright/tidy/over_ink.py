"""Strokes that follow each other become one where the straight way between them leads over ink of the same pen.

There the pen need not be lifted: what it draws on that way is drawn already. A lift takes some tenths of a second, and
the way a few hundredths more with the pen down than with it up, so every such way is worth it; how long one may be is a
question of wet paper alone.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from linewright.drawing.strokes import Drawing, Indices, Points
from linewright.tidy.strips import strips

Flags = NDArray[np.bool_]

_LANES: Final = (0.0, -0.35, 0.35)
"""In widths of the pen beside the way. Where all three lie under ink, at most a seventh of a width of either side does
not, and that only in the hollow between two round ends."""

_PLACES_TO_A_WIDTH: Final = 2
"""Places looked at along the way: a round pen covers what lies between two places that its middle covers half a width
apart."""

_AT_ONCE: Final = 50_000
"""Places looked at together; bounds the memory of the lines beside them."""


def joined_over_ink(drawing: Drawing, longest_mm: NDArray[np.float64], width_mm: NDArray[np.float64]) -> Drawing:
    """Join strokes to the ones before them where the way there is inked already.

    Parameters
    ----------
    drawing : strokes in the order in which they are drawn; finite coordinates, mm.
    longest_mm : for each of its pens, the longest way that is drawn over ink; 0 joins nothing.
    width_mm : of the line of each of its pens.

    Examples
    --------
    Two rungs end on a side of a ladder, which leads from the one to the other.

    >>> ladder = Drawing.from_strokes([[(9, 0), (0, 0)], [(0, 3), (9, 3)], [(0, 9), (0, -9)]])
    >>> len(joined_over_ink(ladder, np.array([5.0]), np.array([0.5])))
    2
    """
    if len(drawing) < 2:
        return drawing
    leave, enter = drawing.points_mm[drawing.starts[1:-1] - 1], drawing.points_mm[drawing.starts[1:-1]]
    of_pen = drawing.pen[1:]
    length = np.hypot(*(enter - leave).T)
    near = (length <= longest_mm[of_pen]) & (drawing.pen[:-1] == of_pen) & (longest_mm[of_pen] > 0.0)
    over = np.zeros(len(near), dtype=np.bool_)
    for pen in np.unique(of_pen[near]).tolist():
        way = np.flatnonzero(near & (of_pen == pen))
        reach_mm = float(width_mm[pen])  # of what covers the outermost lane: 0.85 widths from the way
        lines = _lines(drawing, pen)
        low = np.minimum(leave[way, 0], enter[way, 0]) - reach_mm
        high = np.maximum(leave[way, 0], enter[way, 0]) + reach_mm
        for here, there in strips(low, high, lines[:, :, 0].min(axis=1), lines[:, :, 0].max(axis=1)):
            some, tree = way[here], shapely.STRtree(shapely.linestrings(lines[there]))
            over[some] = _inked(tree, leave[some], enter[some], length[some], float(width_mm[pen]))
    return _joined(drawing, np.flatnonzero(over) + 1)


def _lines(drawing: Drawing, pen: int) -> NDArray[np.float64]:
    """(m, 2, 2) ends of the segments of a pen, mm; a dot is one without length."""
    last = np.zeros(drawing.vertices, dtype=np.bool_)
    last[drawing.starts[1:] - 1] = True
    last[drawing.starts[:-1][np.diff(drawing.starts) == 1]] = False
    begin = np.flatnonzero(~last & np.repeat(drawing.pen == pen, np.diff(drawing.starts)))
    dot = np.repeat(np.diff(drawing.starts) == 1, np.diff(drawing.starts))[begin]
    end = np.where(dot, begin, begin + 1)
    return np.stack((drawing.points_mm[begin], drawing.points_mm[end]), axis=1)


def _inked(lines: shapely.STRtree, leave: Points, enter: Points, length: NDArray[np.float64], width_mm: float) -> Flags:
    """(n,) bool: whether ways (n, 2) to (n, 2) lie under ink, all along."""
    way = enter - leave
    side = np.stack((-way[:, 1], way[:, 0]), axis=1) / np.maximum(length, 1e-12)[:, None] * width_mm
    # The middle first: most ways that are bare are bare there.
    inked = _under(lines, leave + 0.5 * way, width_mm / 2.0)
    left = np.flatnonzero(inked)
    # At both ends of the way, all lanes lie under the ends of the strokes that it joins.
    steps = np.maximum(np.ceil(length[left] / width_mm * _PLACES_TO_A_WIDTH).astype(np.int64), 1)
    of = np.repeat(left, steps - 1)
    share = np.arange(len(of)) - np.repeat(np.cumsum(steps - 1) - steps, steps - 1)
    share = share / np.repeat(steps, steps - 1)
    at = leave[of] + share[:, None] * way[of]
    for lane in _LANES:
        bare = of[~_under(lines, at + lane * side[of], width_mm / 2.0)]
        inked[bare] = False
        still = inked[of]
        of, at = of[still], at[still]
    return inked


def _under(lines: shapely.STRtree, at: Points, reach_mm: float) -> Flags:
    """(n,) bool: whether a line passes within reach of places (n, 2)."""
    found = np.zeros(len(at), dtype=np.bool_)
    for begin in range(0, len(at), _AT_ONCE):
        places = shapely.points(at[begin : begin + _AT_ONCE])
        found[begin + lines.query(places, predicate="dwithin", distance=reach_mm)[0]] = True
    return found


def _joined(drawing: Drawing, following: Indices) -> Drawing:
    """These strokes joined to the ones before them; a vertex at the very same place is not said twice."""
    if not len(following):
        return drawing
    at = drawing.starts[following]
    twice = at[(drawing.points_mm[at] == drawing.points_mm[at - 1]).all(axis=1)]
    starts = np.delete(drawing.starts, following)
    gone = np.zeros(drawing.vertices + 1, dtype=np.int64)
    gone[twice + 1] = 1
    starts = starts - np.cumsum(gone)[starts]
    points_mm = np.delete(drawing.points_mm, twice, axis=0)
    return replace(drawing, points_mm=points_mm, starts=starts, pen=np.delete(drawing.pen, following))
