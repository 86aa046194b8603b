"""Which stroke next, and from which end: nearest first, pen by pen."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from linewright.drawing import Drawing, Indices, Points

_LEAF: Final = 8
"""Entries in a leaf: with fewer the tree grows, with more the scans do; 4 to 16 measured alike."""

_RING_ENTRIES: Final = 256
"""A closed stroke offers at most so many of its vertices to the search, evenly taken; it is then entered at the nearest
of all of them. Keeps memory in bounds for drawings of millions of vertices."""


def travel_mm(drawing: Drawing, *, start_mm: tuple[float, float] = (0.0, 0.0)) -> float:
    """Length of all pen-up moves in the drawing's own order, from ``start_mm`` to the last stroke, mm."""
    if not len(drawing):
        return 0.0
    leave = np.vstack((np.array(start_mm, dtype=np.float64), drawing.points_mm[drawing.starts[1:-1] - 1]))
    enter = drawing.points_mm[drawing.starts[:-1]]
    return float(np.hypot(*(enter - leave).T).sum())


def order(drawing: Drawing, *, start_mm: tuple[float, float] = (0.0, 0.0)) -> Drawing:
    """Put strokes into an order with little travel.

    From where the pen is, the nearest end of a stroke not yet drawn comes next (the nearest-neighbour tour; Johnson and
    McGeoch, "The traveling salesman problem: a case study in local optimization", 1997, find it about 25 % above the
    best for scattered points). A closed stroke is entered at its nearest vertex. Where the strokes of a pen came in a
    better order already, that order stays.

    Parameters
    ----------
    drawing : finite coordinates, mm.
    start_mm : where the pen is before the first stroke.

    Returns
    -------
    Drawing
        The same strokes, some backwards, closed ones begun elsewhere; pens one after the other, lowest index first.
    """
    here = start_mm
    parts: list[Drawing] = []
    for pen in np.unique(drawing.pen):
        given = drawing.select(np.flatnonzero(drawing.pen == pen))
        found = _nearest_first(given, here)
        best = found if travel_mm(found, start_mm=here) < travel_mm(given, start_mm=here) else given
        parts.append(best)
        here = (float(best.points_mm[-1, 0]), float(best.points_mm[-1, 1]))
    return Drawing.one_after_the_other(parts) if parts else drawing


def _nearest_first(drawing: Drawing, start_mm: tuple[float, float]) -> Drawing:
    closed = drawing.closed()
    entries = _entries(drawing, closed)
    tree = _Tree(drawing.points_mm[entries])
    stroke_of = np.searchsorted(drawing.starts, entries, side="right") - 1
    by_stroke = np.searchsorted(stroke_of, np.arange(len(drawing) + 1)).tolist()
    strokes, points = stroke_of.tolist(), drawing.points_mm
    first, last = drawing.starts[:-1].tolist(), (drawing.starts[1:] - 1).tolist()
    is_closed = closed.tolist()

    x, y = start_mm
    turn = np.arange(drawing.vertices)
    chosen: list[int] = []
    backwards: list[bool] = []
    for _ in range(len(drawing)):
        entry = tree.nearest(x, y)
        stroke = strokes[entry]
        tree.remove(range(by_stroke[stroke], by_stroke[stroke + 1]))
        chosen.append(stroke)
        a, z = first[stroke], last[stroke]
        if is_closed[stroke]:
            ring = points[a:z]
            at = int(np.argmin(np.hypot(ring[:, 0] - x, ring[:, 1] - y)))
            turn[a : z + 1] = a + (np.arange(z - a + 1) + at) % (z - a)
            backwards.append(False)
            x, y = ring[at].tolist()
        else:
            back = int(entries[entry]) != a
            backwards.append(back)
            x, y = points[a if back else z].tolist()
    begun = replace(drawing, points_mm=points[turn])
    return begun.select(np.array(chosen, dtype=np.int64), np.array(backwards, dtype=bool))


def _entries(drawing: Drawing, closed: NDArray[np.bool_]) -> Indices:
    """Indices of the points at which strokes may be entered, ascending: both ends, or vertices of a closed stroke."""
    first, last = drawing.starts[:-1], drawing.starts[1:] - 1
    mark = np.zeros(drawing.vertices, dtype=bool)
    mark[first] = True
    mark[last[~closed]] = True
    ring_lengths = np.where(closed, last - first, 0)
    of = np.repeat(np.arange(len(drawing)), ring_lengths)
    within = np.arange(len(of)) - np.repeat(np.cumsum(ring_lengths) - ring_lengths, ring_lengths)
    every = np.maximum(1, -(-ring_lengths // _RING_ENTRIES))
    take = within % every[of] == 0
    mark[first[of[take]] + within[take]] = True
    return np.flatnonzero(mark)


class _Tree:
    """Nearest of a shrinking set of points.

    A binary tree of bounding boxes over the points in Z order (G. M. Morton, 1966), eight to a leaf, laid out as a
    heap: node ``i`` has the children ``2 i`` and ``2 i + 1``. It is as deep as its number of points says, however
    they crowd, and is built anew whenever half of its points are gone, since boxes do not shrink by themselves.
    Plain lists and floats: a numpy call costs more than the few comparisons of a node.
    """

    def __init__(self, points: Points) -> None:
        self._points = points
        self._leaf_of: list[int] = [0] * len(points)
        self._build(_z_order(points))

    def _build(self, by: Indices) -> None:
        """Over the points with these indices, in Z order."""
        points, n = self._points, len(by)
        self._size = self._left = n
        leaves = 1
        while leaves * _LEAF < n:
            leaves *= 2
        low = np.full((2 * leaves, 2), np.inf)
        high = np.full((2 * leaves, 2), -np.inf)
        begins = np.arange(0, n, _LEAF)
        low[leaves : leaves + len(begins)] = np.minimum.reduceat(points[by], begins)
        high[leaves : leaves + len(begins)] = np.maximum.reduceat(points[by], begins)
        size = leaves
        while size > 1:
            half = size // 2
            low[half:size] = np.minimum(low[size : 2 * size : 2], low[size + 1 : 2 * size : 2])
            high[half:size] = np.maximum(high[size : 2 * size : 2], high[size + 1 : 2 * size : 2])
            size = half
        self._boxes = list(zip(*low.T.tolist(), *high.T.tolist(), strict=True))
        self._leaves = leaves
        xs, ys, ids = points[by, 0].tolist(), points[by, 1].tolist(), by.tolist()
        self._held = [list(zip(xs[i : i + _LEAF], ys[i : i + _LEAF], ids[i : i + _LEAF], strict=True)) for i in begins]
        for rank, i in enumerate(ids):
            self._leaf_of[i] = rank // _LEAF
        alive = np.zeros(2 * leaves, dtype=np.int64)
        alive[leaves : leaves + len(begins)] = np.diff(np.append(begins, n))
        for node in range(leaves - 1, 0, -1):
            alive[node] = alive[2 * node] + alive[2 * node + 1]
        self._alive = alive.tolist()

    def remove(self, which: range) -> None:
        """Take these points out."""
        alive = self._alive
        for i in which:
            leaf = self._leaf_of[i]
            self._held[leaf] = [entry for entry in self._held[leaf] if entry[2] != i]
            node = leaf + self._leaves
            while node:
                alive[node] -= 1
                node >>= 1
        self._left -= len(which)
        if 2 * self._left < self._size and self._left:
            self._build(np.array([i for leaf in self._held for _, _, i in leaf], dtype=np.int64))

    def nearest(self, x: float, y: float) -> int:
        """Index of the nearest point still there; there must be one."""
        boxes, alive, leaves, held = self._boxes, self._alive, self._leaves, self._held
        best, found = float("inf"), -1
        stack = [(0.0, 1)]
        while stack:
            near, node = stack.pop()
            # A first point is taken even at an infinite distance, which squares of huge numbers are.
            if near >= best and found >= 0:
                continue
            if node >= leaves:
                for px, py, i in held[node - leaves]:
                    d = (px - x) * (px - x) + (py - y) * (py - y)
                    if d < best or found < 0:
                        best, found = d, i
                continue
            for child in (2 * node, 2 * node + 1):
                if alive[child]:
                    x0, y0, x1, y1 = boxes[child]
                    dx = x0 - x if x < x0 else x - x1 if x > x1 else 0.0
                    dy = y0 - y if y < y0 else y - y1 if y > y1 else 0.0
                    near = dx * dx + dy * dy
                    if near < best or found < 0:
                        stack.append((near, child))
            # The nearer child is searched first, so it goes on the stack last.
            if len(stack) > 1 and stack[-2][1] == 2 * node and stack[-2][0] < stack[-1][0]:
                stack[-2], stack[-1] = stack[-1], stack[-2]
        return found


def _z_order(points: Points) -> Indices:
    """Indices that sort points along the Z curve of their bounding box, 2^31 cells to a side."""
    low = points.min(axis=0)
    side = float(np.max(points.max(axis=0) - low))
    cells = ((points - low) / (side or 1.0) * (2**31 - 1)).astype(np.uint64)
    return np.argsort(_spread(cells[:, 0]) | (_spread(cells[:, 1]) << np.uint64(1)), kind="stable")


def _spread(bits: NDArray[np.uint64]) -> NDArray[np.uint64]:
    """A zero before every bit of 32-bit numbers, by halving the distance each time."""
    for shift, mask in (
        (16, 0x0000FFFF0000FFFF),
        (8, 0x00FF00FF00FF00FF),
        (4, 0x0F0F0F0F0F0F0F0F),
        (2, 0x3333333333333333),
        (1, 0x5555555555555555),
    ):
        bits = (bits | (bits << np.uint64(shift))) & np.uint64(mask)
    return bits
