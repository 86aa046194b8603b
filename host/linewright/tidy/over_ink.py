"""Joins consecutive strokes where the straight move between them lies on ink of the same pen.

The pen need not be lifted there, because the move adds no new ink. A lift takes some tenths of a second, while the move
with the pen down takes only some hundredths longer. The allowed length is limited only because the paper gets wet.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from linewright.compiled import available
from linewright.drawing.strokes import Drawing, Indices, Points
from linewright.tidy.boxes import COMPILED_FROM, box_tree
from linewright.tidy.strips import strips

Flags = NDArray[np.bool_]
Ink = Callable[[Points], Flags]

_LANES: Final = (0.0, -0.35, 0.35)
"""Offsets beside the move at which ink is checked, in line widths. Where all three lie on ink, at most a seventh of the
line's width on either side is uncovered, and only between two round ends."""

_PLACES_TO_A_WIDTH: Final = 2
"""Places checked per line width: a round pen covers the gap between two covered places half a width apart."""

_AT_ONCE: Final = 50_000
"""Places checked at a time; bounds the memory."""


def joined_over_ink(drawing: Drawing, longest_mm: NDArray[np.float64], width_mm: NDArray[np.float64]) -> Drawing:
    """Join each stroke to the one before where the move between them lies on ink.

    Parameters
    ----------
    drawing : strokes in the order in which they are drawn; finite coordinates, mm.
    longest_mm : for each pen, the longest move drawn over ink; 0 joins nothing.
    width_mm : line width of each pen.

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
        line_mm = float(width_mm[pen])
        lines = _lines(drawing, pen)
        if len(lines) > COMPILED_FROM and available():
            over[way] = _inked(_compiled_ink(lines, line_mm / 2.0), leave[way], enter[way], length[way], line_mm)
            continue
        # A line width covers the outermost offset, which is 0.85 widths from the move.
        low, high = (
            np.minimum(leave[way, 0], enter[way, 0]) - line_mm,
            np.maximum(leave[way, 0], enter[way, 0]) + line_mm,
        )
        for here, there in strips(low, high, lines[:, :, 0].min(axis=1), lines[:, :, 0].max(axis=1)):
            some, ink = way[here], _ink(lines[there], line_mm / 2.0)
            over[some] = _inked(ink, leave[some], enter[some], length[some], line_mm)
    return _joined(drawing, np.flatnonzero(over) + 1)


def _lines(drawing: Drawing, pen: int) -> NDArray[np.float64]:
    """(m, 2, 2) ends of the segments of a pen, mm; a dot is a segment of length zero."""
    last = np.zeros(drawing.vertices, dtype=np.bool_)
    last[drawing.starts[1:] - 1] = True
    last[drawing.starts[:-1][np.diff(drawing.starts) == 1]] = False
    begin = np.flatnonzero(~last & np.repeat(drawing.pen == pen, np.diff(drawing.starts)))
    dot = np.repeat(np.diff(drawing.starts) == 1, np.diff(drawing.starts))[begin]
    end = np.where(dot, begin, begin + 1)
    return np.stack((drawing.points_mm[begin], drawing.points_mm[end]), axis=1)


def _inked(under: Ink, leave: Points, enter: Points, length: NDArray[np.float64], width_mm: float) -> Flags:
    """(n,) bool: whether moves from (n, 2) to (n, 2) lie on ink along their whole length.

    Parameters
    ----------
    under : tells which places (m, 2) lie on ink.
    """
    way = enter - leave
    side = np.stack((-way[:, 1], way[:, 0]), axis=1) / np.maximum(length, 1e-12)[:, None] * width_mm
    # Check the middle first, where most uncovered moves are uncovered.
    inked = under(leave + 0.5 * way)
    left = np.flatnonzero(inked)
    # At both ends of the move, all offsets lie under the ends of the joined strokes.
    steps = np.maximum(np.ceil(length[left] / width_mm * _PLACES_TO_A_WIDTH).astype(np.int64), 1)
    of = np.repeat(left, steps - 1)
    share = np.arange(len(of)) - np.repeat(np.cumsum(steps - 1) - steps, steps - 1)
    share = share / np.repeat(steps, steps - 1)
    at = leave[of] + share[:, None] * way[of]
    for lane in _LANES:
        bare = of[~under(at + lane * side[of])]
        inked[bare] = False
        still = inked[of]
        of, at = of[still], at[still]
    return inked


def _ink(lines: NDArray[np.float64], reach_mm: float) -> Ink:
    """A function that tells whether one of these lines (n, 2, 2) passes within reach of places (m, 2)."""
    tree = shapely.STRtree(shapely.linestrings(lines))

    def under(at: Points) -> Flags:
        found = np.zeros(len(at), dtype=np.bool_)
        for begin in range(0, len(at), _AT_ONCE):
            places = shapely.points(at[begin : begin + _AT_ONCE])
            found[begin + tree.query(places, predicate="dwithin", distance=reach_mm)[0]] = True
        return found

    return under


def _compiled_ink(lines: NDArray[np.float64], reach_mm: float) -> Ink:
    """The same, faster."""
    from linewright.tidy.near_kernel import LEAF, within_reach

    tree = box_tree(lines.min(axis=1), lines.max(axis=1), LEAF)
    begin, end = np.ascontiguousarray(lines[:, 0]), np.ascontiguousarray(lines[:, 1])

    def under(at: Points) -> Flags:
        found = np.zeros(len(at), dtype=np.bool_)
        within_reach(at, begin, end, reach_mm, tree, found)
        return found

    return under


def _joined(drawing: Drawing, following: Indices) -> Drawing:
    """These strokes joined to the ones before them; equal vertices are not repeated."""
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
