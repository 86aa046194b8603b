"""Joins strokes whose ends touch, so that the pen stays down."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np
from numpy.typing import NDArray

from linewright.drawing.strokes import Drawing, Indices, Points
from linewright.tidy.dedupe import drop_repeats

_CROWD: Final = 8
"""Ends of one cell compared in one round. Any two ends of a cell may be joined, so a round pairs all but a few of them;
comparing all ends of a full cell at once would take quadratic time and memory."""

_REACH: Final = 2
"""Search radius in cells of side tolerance/sqrt(2): an end within the tolerance is at most two cells away."""

_FINEST: Final = 2.0**-52
"""Smallest tolerance as a share of the largest coordinate: below it float64 does not resolve positions, and cells
cannot be numbered."""

# The cell itself and half of its neighbours; the other half are covered from their side.
_AROUND: Final = tuple(
    (dx, dy) for dx in range(_REACH + 1) for dy in range(-_REACH, _REACH + 1) if dx > 0 or (dx == 0 and dy >= 0)
)

_NONE: Final = -1


def join(drawing: Drawing, *, tolerance_mm: float = 0.0) -> Drawing:
    """Join strokes of the same pen whose ends touch, in either direction, to chains and closed strokes.

    Equal ends are joined first, then the closest pairs within the tolerance; a gap is closed by a straight line. Dots,
    closed strokes, and strokes shorter than twice the tolerance that could only be closed on themselves are left alone.
    A chain takes the place of its first stroke.

    Parameters
    ----------
    drawing : finite coordinates, mm, without repeated vertices.
    tolerance_mm : largest gap that is closed.

    Examples
    --------
    >>> two = Drawing.from_strokes([[(0, 0), (1, 0)], [(2, 0), (1, 0)]])
    >>> join(two).points_mm.tolist()
    [[0.0, 0.0], [1.0, 0.0], [2.0, 0.0]]
    >>> len(join(Drawing.from_strokes([])))
    0
    """
    ends = _Ends(drawing, tolerance_mm)
    ends.pair_equal()
    if tolerance_mm > _FINEST * max(map(abs, drawing.bounds_mm())):
        ends.pair_near()
    if (ends.partner == _NONE).all():
        return drawing
    return chained(drawing, ends.partner)


class _Ends:
    """Both ends of every stroke: end ``2 i`` is the first point of stroke ``i``, end ``2 i + 1`` its last."""

    def __init__(self, drawing: Drawing, tolerance_mm: float) -> None:
        k = len(drawing)
        first, last = drawing.starts[:-1], drawing.starts[1:] - 1
        self.tolerance_mm = tolerance_mm
        self.at: Points = drawing.points_mm[np.column_stack((first, last)).ravel()]
        self.pen: Indices = np.repeat(drawing.pen, 2)
        self.partner: Indices = np.full(2 * k, _NONE, dtype=np.int64)
        self.open: NDArray[np.bool_] = np.repeat((last > first) & ~drawing.closed(), 2)
        # For each end of a chain: its other end, and the length of the chain.
        self.far = [end ^ 1 for end in range(2 * k)]
        self.length_mm = np.repeat(drawing.stroke_lengths_mm(), 2).tolist()

    def _pair(self, one: int, other: int) -> None:
        """Join two ends, unless one is taken or they would only close a very short stroke on itself."""
        if self.partner[one] != _NONE or self.partner[other] != _NONE:
            return
        if self.far[one] == other:
            if self.length_mm[one] <= 2 * self.tolerance_mm:
                return
        else:
            a, b = self.far[one], self.far[other]
            self.far[a], self.far[b] = b, a
            self.length_mm[a] = self.length_mm[b] = self.length_mm[one] + self.length_mm[other]
        self.partner[one], self.partner[other] = other, one

    def _free(self) -> Indices:
        return np.flatnonzero(self.open & (self.partner == _NONE))

    def pair_equal(self) -> None:
        """Join equal ends, two by two in the order of their strokes."""
        free = self._free()
        at = self.at[free] + 0.0  # turns -0.0 into 0.0
        by = np.lexsort((free, at[:, 1], at[:, 0], self.pen[free]))
        free, at = free[by], at[by]
        same = (np.diff(at, axis=0) == 0).all(axis=1) & (np.diff(self.pen[free]) == 0)
        # Every second of a run of equal ends starts a pair.
        run = np.arange(len(free)) - _run_starts(same, len(free))
        for i in np.flatnonzero(same & (run[:-1] % 2 == 0)).tolist():
            self._pair(int(free[i]), int(free[i + 1]))

    def pair_near(self) -> None:
        """Join the closest pairs within the tolerance, in rounds, until none is found."""
        while True:
            before = len(self._free())
            self._thin_crowds()
            free = self._free()
            gaps, ones, others = self._candidates(free)
            for i in np.lexsort((others, ones, gaps)).tolist():
                self._pair(int(ones[i]), int(others[i]))
            if len(self._free()) == before:
                return

    def _cells(self, free: Indices) -> tuple[Indices, Indices, Indices]:
        """Free ends sorted by pen and cell: the ends, their (m, 3) pen, column and row, and their rank in the cell."""
        side = self.tolerance_mm / np.sqrt(2.0)
        cell = np.floor((self.at[free] - self.at[free].min(axis=0, initial=np.inf)) / side)
        cell = np.column_stack((self.pen[free], cell)).astype(np.int64)
        # Starts before ends: neighbours in this order belong to different strokes if possible.
        by = np.lexsort((free, free & 1, cell[:, 2], cell[:, 1], cell[:, 0]))
        same = (np.diff(cell[by], axis=0) == 0).all(axis=1)
        return free[by], cell[by], np.arange(len(free)) - _run_starts(same, len(free))

    def _thin_crowds(self) -> None:
        """In cells with many ends, any two of which may be joined, pair neighbours in the order until few are left."""
        ends, _, rank = self._cells(self._free())
        for i in np.flatnonzero((rank >= _CROWD) & (rank % 2 == 1)).tolist():
            self._pair(int(ends[i - 1]), int(ends[i]))

    def _candidates(self, free: Indices) -> tuple[Points, Indices, Indices]:
        """Pairs of free ends of one pen within the tolerance: gap in mm, and the two ends."""
        free, cell, rank = self._cells(free)
        free, cell = free[rank < _CROWD], cell[rank < _CROWD]
        # Cells as single numbers, in which neighbours differ by the same amounts everywhere.
        place = np.stack([_close(column, _REACH + 1) for column in cell.T])
        rows = int(place[2].max(initial=0)) + _REACH + 1
        columns = int(place[1].max(initial=0)) + _REACH + 1
        numbered, begin = np.unique((place[0] * columns + place[1]) * rows + place[2], return_index=True)
        begin = np.append(begin, len(free))
        found = [(np.empty(0), np.empty(0, np.int64), np.empty(0, np.int64))]
        for dx, dy in _AROUND:
            wanted = numbered + (dx * rows + dy)
            there = np.minimum(np.searchsorted(numbered, wanted), len(numbered) - 1)
            here = np.flatnonzero(numbered[there] == wanted)
            found.extend(self._between(free, begin, np.column_stack((here, there[here]))))
        gaps, ones, others = (np.concatenate(parts) for parts in zip(*found, strict=True))
        return gaps, ones, others

    def _between(self, free: Indices, begin: Indices, hits: Indices) -> Iterator[tuple[Points, Indices, Indices]]:
        """Pairs between the ends of two cells, for all cell pairs at once: the n-th end here with the m-th there."""
        here, there = hits[:, 0], hits[:, 1]
        counts = np.diff(begin)
        for n in range(_CROWD):
            for m in range(_CROWD):
                use = (counts[here] > n) & (counts[there] > m) & ((here != there) | (n < m))
                if not use.any():
                    continue
                one, other = free[begin[here[use]] + n], free[begin[there[use]] + m]
                gap = np.hypot(*(self.at[one] - self.at[other]).T)
                near = gap <= self.tolerance_mm
                yield gap[near], np.minimum(one, other)[near], np.maximum(one, other)[near]


def _close(values: Indices, most: int) -> Indices:
    """(n,) values from 0 on, in the same order, with gaps of at most ``most``; smaller gaps are kept."""
    distinct, of = np.unique(values, return_inverse=True)
    return np.asarray(np.cumsum(np.minimum(np.diff(distinct, prepend=distinct[:1]), most))[of.ravel()])


def _run_starts(same_as_before: NDArray[np.bool_], n: int) -> Indices:
    """(n,) index of the first of each run of equals; ``same_as_before[i]`` compares i + 1 with i."""
    begins = np.zeros(n, dtype=np.int64)
    begins[1:] = np.where(same_as_before, 0, np.arange(1, n))
    return np.maximum.accumulate(begins) if n else begins


def chained(drawing: Drawing, partner_of: Indices) -> Drawing:
    """Concatenate the strokes of each chain, starting at a free end or, in a ring, anywhere."""
    partner = partner_of.tolist()
    done = [False] * len(drawing)
    strokes: list[int] = []
    backwards: list[bool] = []
    chain_starts: list[int] = []
    rings: list[bool] = []
    for stroke in range(len(drawing)):
        if done[stroke]:
            continue
        # Go back to the start of the chain, or once around a ring.
        enter = 2 * stroke
        while partner[enter] != _NONE and partner[enter] ^ 1 != 2 * stroke:
            enter = partner[enter] ^ 1
        ring = partner[enter] != _NONE
        enter = 2 * stroke if ring else enter
        chain_starts.append(len(strokes))
        rings.append(ring)
        while enter != _NONE and not done[enter // 2]:
            done[enter // 2] = True
            strokes.append(enter // 2)
            backwards.append(enter % 2 == 1)
            enter = partner[enter ^ 1]
    laid = drawing.select(np.array(strokes, dtype=np.int64), np.array(backwards, dtype=bool))
    return _welded(laid, np.array(chain_starts, dtype=np.int64), np.array(rings, dtype=bool))


def _welded(laid: Drawing, chain_starts: Indices, rings: NDArray[np.bool_]) -> Drawing:
    """One stroke per chain: shared vertices once, rings closed by their first point."""
    starts = np.append(laid.starts[chain_starts], laid.vertices)
    first = laid.points_mm[starts[:-1][rings]]
    points = np.insert(laid.points_mm, starts[1:][rings], first, axis=0)
    starts = starts + np.concatenate(([0], np.cumsum(rings)))
    return drop_repeats(Drawing(points, starts.astype(np.int64), laid.pen[chain_starts], laid.pens))
