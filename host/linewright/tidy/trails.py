"""Draws networks of lines in as few strokes as possible: hatchings, tilings, traced pictures.

Points where ends meet are vertices, strokes are edges. A connected network with ``2 m`` odd vertices needs exactly
``max(1, m)`` trails (L. Euler 1736). Drawing some edges twice pairs odd vertices and saves a trail for each pair: the
Chinese postman problem (J. Edmonds and E. L. Johnson, "Matching, Euler tours and the Chinese postman", Mathematical
Programming 5, 1973).

At every vertex the edges are paired so that the pen turns as little as possible. Rings are then spliced into trails
that they meet, until every network has its least number of trails (C. Hierholzer 1873).
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from linewright.drawing.strokes import Drawing, Indices
from linewright.tidy.dedupe import OFF_GRID
from linewright.tidy.join import chained
from linewright.tidy.postman import doubled_edges

_NONE: Final = -1

_DIRECTION_TOLERANCES: Final = 4.0
"""Length, in tolerances, over which the direction of an end is measured."""

_CROWD: Final = 24
"""Up to this many edges at a vertex, all pairs are compared; of more, those opposite in angular order are paired."""


def trails(drawing: Drawing, *, tolerance_mm: float = 0.0, redraw_mm: float = 0.0) -> Drawing:
    """Draw networks of strokes in the fewest trails.

    Ends in the same grid cell meet: they are at most the tolerance apart and joined by a straight line; with 0 they
    must be equal. Dots are kept. A trail takes the place of its first stroke.

    Parameters
    ----------
    drawing : finite coordinates, mm, without repeated vertices.
    tolerance_mm : largest gap that is closed.
    redraw_mm : longest path that may be drawn a second time to save one pen lift; 0 draws nothing twice.

    Examples
    --------
    A square with a diagonal has two odd corners, so one trail draws it.

    >>> square = [[(0, 0), (9, 0)], [(9, 0), (9, 9)], [(9, 9), (0, 9)], [(0, 9), (0, 0)], [(0, 0), (9, 9)]]
    >>> len(trails(Drawing.from_strokes(square)))
    1
    """
    if not len(drawing):
        return drawing
    vertex = _vertices(drawing, tolerance_mm)
    if redraw_mm > 0.0:
        again = doubled_edges(vertex.reshape(-1, 2), drawing.stroke_lengths_mm(), redraw_mm)
        if len(again):
            # At a free end, an edge drawn twice is joined to itself.
            alone = np.array([2 * edge + side for edge in again for side in (0, 1) if vertex[2 * edge + side] == _NONE])
            vertex[alone.astype(np.int64)] = vertex.max() + 1 + np.arange(len(alone))
            drawing = drawing.select(np.concatenate((np.arange(len(drawing)), again)))
            vertex = np.concatenate((vertex, vertex.reshape(-1, 2)[again].ravel()))
    network = _Network(vertex, directions_inward(drawing, _DIRECTION_TOLERANCES * tolerance_mm))
    network.pair_straight()
    network.splice_rings()
    return chained(drawing, network.partner)


def _vertices(drawing: Drawing, tolerance_mm: float) -> Indices:
    """(2 k,) number of the vertex of each end, -1 for free ends."""
    first, last = drawing.starts[:-1], drawing.starts[1:] - 1
    at = drawing.points_mm[np.column_stack((first, last)).ravel()]
    cell_mm = tolerance_mm / np.sqrt(2.0)
    # + 0.0 turns -0.0 into 0.0.
    with np.errstate(over="ignore"):
        cells = np.floor(at / cell_mm + OFF_GRID) + 0.0 if cell_mm > 0 else at + 0.0
    rows = np.column_stack((np.repeat(drawing.pen, 2), cells))
    _, of, counts = np.unique(rows, axis=0, return_inverse=True, return_counts=True)
    of = of.ravel().astype(np.int64)
    # A dot is no edge. Nor is a short stroke that starts and ends in one cell, which would turn the pen on the spot.
    lengths = drawing.stroke_lengths_mm()
    inert = (last == first) | ((of[::2] == of[1::2]) & (lengths <= 2.0 * tolerance_mm))
    of[np.repeat(inert, 2)] = _NONE
    counts = np.bincount(of[of >= 0], minlength=len(counts))
    return np.where((of >= 0) & (counts[of] > 1), of, _NONE)


def directions_inward(drawing: Drawing, reach_mm: float) -> NDArray[np.float64]:
    """(2 k, 2) unit vectors from each end into its stroke, over at least ``reach_mm`` if the stroke is that long.

    Over shorter distances the direction is rounding noise.
    """
    k = len(drawing)
    out = np.zeros((2 * k, 2))
    first, last = drawing.starts[:-1], drawing.starts[1:] - 1
    for side, ends, step in ((0, first, 1), (1, last, -1)):
        stop = last if side == 0 else first
        at = ends + np.where(ends == stop, 0, step)
        here = drawing.points_mm[ends]
        while True:
            way = drawing.points_mm[at] - here
            near = (np.hypot(way[:, 0], way[:, 1]) < reach_mm) & (at != stop)
            if not near.any():
                break
            at = at + step * near
        length = np.hypot(way[:, 0], way[:, 1])
        out[side::2] = way / np.where(length > 0, length, 1.0)[:, None]
    return out


class _Network:
    """Pairing of ends. End ``2 i`` is the first point of stroke ``i``, end ``2 i + 1`` its last."""

    def __init__(self, vertex: Indices, direction: NDArray[np.float64]) -> None:
        self.partner: Indices = np.full(len(vertex), _NONE, dtype=np.int64)
        self.direction = direction
        by = np.argsort(vertex, kind="stable")
        by = by[np.searchsorted(vertex[by], 0) :]
        marks = np.flatnonzero(np.diff(vertex[by])) + 1
        self.meetings = [group.tolist() for group in np.split(by, marks)] if len(by) else []

    def _turn(self, one: int, other: int) -> float:
        """Turn between two ends: -1 straight on, 1 reversal."""
        return float(self.direction[one] @ self.direction[other])

    def _join(self, one: int, other: int) -> None:
        self.partner[one], self.partner[other] = other, one

    def pair_straight(self) -> None:
        """Pair the ends at each vertex, straightest first; at an odd vertex one is left."""
        for ends in self.meetings:
            if len(ends) == 2:
                self._join(*ends)
                continue
            if len(ends) > _CROWD:
                pairs = self._across(ends)
            else:
                of = self.direction[ends]
                one, other = np.triu_indices(len(ends), 1)
                by = np.argsort((of @ of.T)[one, other], kind="stable")
                pairs = [(ends[i], ends[j]) for i, j in zip(one[by].tolist(), other[by].tolist(), strict=True)]
            for a, b in pairs:
                if self.partner[a] == _NONE and self.partner[b] == _NONE:
                    self._join(a, b)

    def _across(self, ends: list[int]) -> list[tuple[int, int]]:
        """Pairs of ends that are opposite in angular order."""
        x, y = self.direction[ends].T
        around = [ends[i] for i in np.argsort(np.arctan2(y, x), kind="stable")]
        half = len(around) // 2
        return [(around[i], around[i + half]) for i in range(half)]

    def splice_rings(self) -> None:
        """Splice rings into trails and other rings at a common vertex, where the turn is least."""
        trail = _Sets(len(self.partner))
        for end in range(0, len(self.partner), 2):
            trail.unite(end, end + 1)
        for end, other in enumerate(self.partner.tolist()):
            if other != _NONE:
                trail.unite(end, other)
        is_open = {trail.of(end) for end in np.flatnonzero(self.partner == _NONE).tolist()}
        for ends in self.meetings:
            if len(ends) == 2:
                continue
            for a in ends:
                mine = trail.of(a)
                if mine in is_open:
                    continue
                b = int(self.partner[a])
                best: tuple[float, int, int] | None = None
                for c in ends:
                    if trail.of(c) == mine:
                        continue
                    d = int(self.partner[c])
                    # The ring is cut between a and b, the other between c and d; a continues to c, b to d. If the other
                    # ends here, b becomes its new end.
                    turn = self._turn(a, c) + (0.0 if d == _NONE else self._turn(b, d))
                    if best is None or turn < best[0]:
                        best = (turn, c, d)
                if best is None:
                    continue
                _, c, d = best
                was_open = trail.of(c) in is_open
                self._join(a, c)
                if d == _NONE:
                    self.partner[b] = _NONE
                else:
                    self._join(b, d)
                trail.unite(a, c)
                if was_open:
                    is_open.add(trail.of(a))


class _Sets:
    """Disjoint sets with path halving (Tarjan and van Leeuwen 1984)."""

    def __init__(self, n: int) -> None:
        self._up = list(range(n))

    def of(self, i: int) -> int:
        """Representative member of the set with ``i``."""
        up = self._up
        while up[i] != i:
            up[i] = up[up[i]]
            i = up[i]
        return i

    def unite(self, i: int, j: int) -> None:
        """Merge the sets of ``i`` and ``j``."""
        self._up[self.of(i)] = self.of(j)
