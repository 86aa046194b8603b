"""`Regions`: point-in-shape tests for many closed shapes at once.

A point is inside by the winding number of the shape's edges, or by the parity of ray crossings (SVG 2, section 13.4.2).
Edges of each shape are sorted into horizontal slabs, so that a point is tested against the edges of one slab only.
Shapes may be self-crossing or touching.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import shapely
from numpy.typing import NDArray

from linewright.compiled import available
from linewright.sources.painting.flatten import Polylines

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

_PER_SLAB = 4.0  # edges per slab, without those that cross it completely
_MOST_SLABS = 4096
_COMPILED_FROM = 1 << 23  # pairs above which compiling pays
_BLOCK = 1 << 20  # pairs of point and edge at a time: bounds the temporary arrays to some 50 MB


class Regions:
    """Closed shapes.

    Parameters
    ----------
    rings : closed polylines, mm; ``owner`` is the number of the shape, 0 to ``count``, ascending. The last point
        of a ring need not repeat its first.
    even_odd : (count,) bool: even-odd fill rule; False: winding.

    Attributes
    ----------
    begin, end : (m, 2) float64, mm: edges, with those that close rings.
    shape : (m,) int64: shape of each edge.
    length_mm : (count,) float64: total edge length of each shape.
    boxes_mm : (count, 4) float64: ``x0 y0 x1 y1``; empty for shapes without edges.
    """

    def __init__(self, rings: Polylines, even_odd: Bools) -> None:
        points, starts = rings.points_mm, rings.starts
        following = np.arange(1, len(points) + 1)
        if len(rings):
            following[starts[1:] - 1] = starts[:-1]
        begin, end = points, points[following] if len(points) else points
        shape = np.repeat(rings.owner, np.diff(starts))
        long = (begin != end).any(axis=1)
        self.begin = np.ascontiguousarray(begin[long])
        self.end, self.shape = np.ascontiguousarray(end[long]), shape[long]
        self._ring = np.repeat(np.arange(len(rings)), np.diff(starts))[long]
        self._shape_of_ring = rings.owner
        steps = np.hypot(*(self.end - self.begin).T)
        self.length_mm = np.bincount(self.shape, weights=steps, minlength=len(even_odd))
        self.even_odd = even_odd
        count = len(even_odd)
        self.boxes_mm = np.full((count, 4), np.nan)
        self.first = np.searchsorted(self.shape, np.arange(count + 1))
        there = np.flatnonzero(np.diff(self.first))
        if len(there):
            low = np.minimum.reduceat(self.begin, self.first[there])
            high = np.maximum.reduceat(self.begin, self.first[there])
            self.boxes_mm[there] = np.column_stack((low, high))
        self._slabs(there)

    def _slabs(self, there: Ints) -> None:
        count = len(self.even_odd)
        height = np.where(np.isfinite(self.boxes_mm[:, 3]), self.boxes_mm[:, 3] - self.boxes_mm[:, 1], 0.0)
        rise = np.zeros(count)
        if len(there):
            rise[there] = np.add.reduceat(np.abs(self.end[:, 1] - self.begin[:, 1]), self.first[there])
        edges = np.diff(self.first)
        # An edge is in (its rise / slab height) slabs; choose the number of slabs so that the sum is near the number of
        # edges.
        crossed = np.divide(rise, height, out=np.ones(count), where=height > 0.0)
        slabs = np.clip(edges / np.maximum(crossed, 1.0) / _PER_SLAB * 2.0, 1, _MOST_SLABS).astype(np.int64)
        self._number = slabs
        self._base = np.concatenate(([0], np.cumsum(slabs)))
        self._low = np.nan_to_num(self.boxes_mm[:, 1])
        self._per_mm = np.divide(slabs, height, out=np.zeros(count), where=height > 0.0)
        lower = np.minimum(self.begin[:, 1], self.end[:, 1])
        upper = np.maximum(self.begin[:, 1], self.end[:, 1])
        first, last = self._slab(self.shape, lower), self._slab(self.shape, upper)
        spans = last - first + 1
        edge = np.repeat(np.arange(len(spans)), spans)
        slab = np.repeat(first, spans) + np.arange(len(edge)) - np.repeat(np.cumsum(spans) - spans, spans)
        order = np.argsort(slab, kind="stable")
        self._edges = edge[order]
        self._starts = np.searchsorted(slab[order], np.arange(self._base[-1] + 1))

    def _slab(self, shape: Ints, y: Floats) -> Ints:
        at = np.floor((y - self._low[shape]) * self._per_mm[shape]).astype(np.int64)
        return np.asarray(self._base[shape] + np.clip(at, 0, self._number[shape] - 1))

    def __len__(self) -> int:
        """Number of shapes."""
        return len(self.even_odd)

    def thickness_mm(self, *, net: bool = False) -> Floats:
        """(count,) float64: enclosed area of each shape divided by the length of its edges, mm.

        ``net`` : rings in the opposite direction, such as holes, are subtracted.
        """
        x0, y0 = self.begin.T
        x1, y1 = self.end.T
        # Relative to each shape's own corner, for accuracy far from the origin.
        corner = np.nan_to_num(self.boxes_mm[self.shape, :2])
        x0, x1, y0, y1 = x0 - corner[:, 0], x1 - corner[:, 0], y0 - corner[:, 1], y1 - corner[:, 1]
        rings = np.bincount(self._ring, weights=x0 * y1 - x1 * y0, minlength=len(self._shape_of_ring))
        count = len(self)
        each = rings if net else np.abs(rings)
        area = np.abs(np.bincount(self._shape_of_ring, weights=each / 2.0, minlength=count))
        return np.asarray(np.divide(area, self.length_mm, out=np.zeros(count), where=self.length_mm > 0.0))

    def inside(self, shape: Ints, points_mm: Floats) -> Bools:
        """(k,) bool: whether each of (k, 2) points is inside the shape of the same index in ``shape`` (k,)."""
        found = np.zeros(len(shape), dtype=bool)
        box = self.boxes_mm[shape]
        with np.errstate(invalid="ignore"):
            near = (points_mm >= box[:, :2]).all(axis=1) & (points_mm <= box[:, 2:]).all(axis=1)
        chosen = np.flatnonzero(near)
        if not len(chosen):
            return found
        slab = self._slab(shape[chosen], points_mm[chosen, 1])
        counts = self._starts[slab + 1] - self._starts[slab]
        limits = np.cumsum(counts)
        if limits[-1] > _COMPILED_FROM and available():
            winding, crossings = self._around_compiled(points_mm[chosen], slab)
            found[chosen] = np.where(self.even_odd[shape[chosen]], crossings % 2 == 1, winding != 0)
            return found
        low = 0
        while low < len(chosen):
            before = limits[low - 1] if low else 0
            high = max(low + 1, int(np.searchsorted(limits, before + _BLOCK, side="right")))
            block = slice(low, high)
            winding, crossings = self._around(points_mm[chosen[block]], slab[block], counts[block])
            by_parity = self.even_odd[shape[chosen[block]]]
            found[chosen[block]] = np.where(by_parity, crossings % 2 == 1, winding != 0)
            low = high
        return found

    def _around_compiled(self, points: Floats, slab: Ints) -> tuple[Ints, Ints]:
        from linewright.sources.painting.winding_kernel import windings

        winding, crossings = np.empty(len(points), dtype=np.int64), np.empty(len(points), dtype=np.int64)
        points = np.ascontiguousarray(points)
        windings(points, slab, self._starts, self._edges, self.begin, self.end, winding, crossings)
        return winding, crossings

    def _around(self, points: Floats, slab: Ints, counts: Ints) -> tuple[Ints, Ints]:
        """Winding numbers, and crossings of rays to the right."""
        point = np.repeat(np.arange(len(points)), counts)
        at = np.arange(len(point)) - np.repeat(np.cumsum(counts) - counts, counts)
        edge = self._edges[np.repeat(self._starts[slab], counts) + at]
        x, y = points[point, 0], points[point, 1]
        begin, end = self.begin[edge], self.end[edge]
        # An edge includes its lower end and excludes its upper one, so that a corner counts once.
        below, above = begin[:, 1] <= y, end[:, 1] <= y
        crosses = below != above
        point, x, y, begin, end, up = (v[crosses] for v in (point, x, y, begin, end, below))
        side = (end[:, 0] - begin[:, 0]) * (y - begin[:, 1]) - (x - begin[:, 0]) * (end[:, 1] - begin[:, 1])
        right = np.where(up, side > 0.0, side < 0.0)
        sign = np.where(up[right], 1, -1)
        winding = np.bincount(point[right], weights=sign, minlength=len(points)).astype(np.int64)
        return winding, np.bincount(point[right], minlength=len(points))


def within(rings: Polylines, *, even_odd: bool, slack_mm: float) -> Callable[[Floats], Bools]:
    """A function that tells whether points (k, 2), mm, are inside closed polylines, or outside by at most
    ``slack_mm``.
    """
    edges = Regions(replace(rings, owner=np.zeros(len(rings), dtype=np.int64)), np.array([even_odd]))
    near = shapely.STRtree(shapely.linestrings(np.stack((edges.begin, edges.end), axis=1)))

    def inside(points_mm: Floats) -> Bools:
        found = edges.inside(np.zeros(len(points_mm), dtype=np.int64), points_mm)
        out = np.flatnonzero(~found)
        found[out[near.query(shapely.points(points_mm[out]), predicate="dwithin", distance=slack_mm)[0]]] = True
        return found

    return inside


def pairs_of_boxes(these: Floats, those: Floats) -> tuple[Ints, Ints]:
    """Indices of all intersecting pairs of (n, 4) and (m, 4) boxes ``x0 y0 x1 y1``."""
    tree = shapely.STRtree(shapely.box(*those.T))
    first, second = tree.query(shapely.box(*these.T))
    return first, second


def boxes_of(begin: Floats, end: Floats, slack: float = 0.0) -> Floats:
    """(n, 4) bounding boxes of segments, extended by ``slack``."""
    return np.concatenate((np.minimum(begin, end) - slack, np.maximum(begin, end) + slack), axis=1)
