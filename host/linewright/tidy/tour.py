"""Search for a short tour: greedy start, changes by two and three links, then random kicks that are kept if they gain.

Effort is counted in kicks, not in seconds, so the same input gives the same tour on any machine. The watcher may end
the search earlier; the result says so.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, Final, Literal

import numpy as np
from numpy.typing import NDArray

from linewright.compiled import available, is_compiled
from linewright.drawing.strokes import Indices, Points
from linewright.tidy import tour_kernel as kernel
from linewright.tidy.boxes import box_tree, z_order
from linewright.tidy.cost import Cost
from linewright.tidy.watcher import Watcher

Effort = Literal["quick", "normal", "best"]

COMPILED: Final = available()

KICKS: Final[dict[Effort, tuple[int, int]]] = {"quick": (0, 0), "normal": (50, 1_000_000), "best": (500, 20_000_000)}
"""Kicks per stroke, and most in all. About 200 000 a second (bench/order.py)."""

_UNTIL: Final = 10_000
"""Strokes up to which a tour gets all its kicks at normal effort; with ``n`` times as many it gets ``n^-1.5`` times as
many. A kick reverses arcs whose length grows with the tour, and gains less and less: with 50 000 short strokes on A4,
of 1568 s of travel on the default rig the first 45 000 kicks save 13 s in about 1.3 s, the next 55 000 another 5 s."""

PLAIN_KICKS: Final = 50_000
"""Largest number of kicks without numba, about five seconds of work, because plain Python is about twenty times
slower. Orders of up to 1000 strokes are the same either way."""

_NEAR: Final = 8
"""Near neighbours of each end: with 10 no shorter tours were found, with 6 they were longer (bench/order.py)."""

_NEAR_POINTS: Final = 16
"""The same for strokes whose two ends coincide, which take two entries each."""

_BREADTH: Final = 4
"""Neighbours tried for the third link (Johnson and McGeoch 1997 take 5 on deeper levels)."""

_LONGEST_ARC: Final = 50
"""Longest arc, in strokes, that a kick moves; see bench/order.py."""

_CHUNK: Final = 5_000
_CHUNK_PLAIN: Final = 2_000
"""Kicks between two calls of the watcher: about a tenth of a second."""

_RING_ROUNDS: Final = 8
_RING_GAIN: Final = 0.02
"""Closed strokes are re-entered up to this often, while a round gains at least this share of what the first one did."""

_SEED: Final = 0x1D872B41


@dataclass(frozen=True, eq=False)
class Tour:
    """A tour and its search.

    Parameters
    ----------
    nodes : (k,) int64, end at which each stroke is entered, in order: ``2 s`` the first, ``2 s + 1`` the last.
    entry : (strokes,) int64, vertex at which a closed stroke is entered.
    cut_short : True if `Watcher.enough` ended the search.
    kicks : kicks done, and kicks planned.
    """

    nodes: Indices
    entry: Indices
    cut_short: bool
    kicks: tuple[int, int]


def find_tour(
    ends_mm: Points,
    ring_starts: Indices,
    ring_mm: Points,
    start_mm: tuple[float, float],
    end_mm: tuple[float, float] | None,
    cost: Cost,
    *,
    effort: Effort = "normal",
    watcher: Watcher | None = None,
) -> Tour:
    """A short path through all strokes from ``start_mm`` to ``end_mm``.

    Parameters
    ----------
    ends_mm : (2 k, 2) float64, both ends of each of k >= 1 strokes, in order; equal for a dot.
    ring_starts : (k + 1,) int64, start of each stroke's vertices in ``ring_mm``; open strokes have none. The
        ends of a closed stroke are its first vertex.
    end_mm : None lets the pen end anywhere.
    """
    # Order memory by position: three times as fast for 100 000 strokes.
    by = z_order(ends_mm[::2] + ends_mm[1::2])
    ring_lengths = np.diff(ring_starts)
    sorted_starts = np.concatenate(([0], np.cumsum(ring_lengths[by]))).astype(np.int64)
    take = np.repeat(ring_starts[:-1][by] - sorted_starts[:-1], ring_lengths[by]) + np.arange(ring_starts[-1])
    both = np.column_stack((2 * by, 2 * by + 1)).ravel()
    found = _Search(ends_mm[both], sorted_starts, ring_mm[take], start_mm, end_mm, cost, watcher or Watcher()).run(
        effort
    )
    entry = np.empty(len(by), dtype=np.int64)
    entry[by] = found.entry
    return replace(found, nodes=both[found.nodes], entry=entry)


class _Search:
    """One search; on arrays if the kernels are compiled, on lists if not.

    The tour is closed by a virtual stroke, the last one, from ``end_mm`` to ``start_mm``. If the pen may end anywhere,
    all moves to its first end cost nothing.
    """

    def __init__(
        self,
        ends_mm: Points,
        ring_starts: Indices,
        ring_mm: Points,
        start_mm: tuple[float, float],
        end_mm: tuple[float, float] | None,
        cost: Cost,
        watcher: Watcher,
    ) -> None:
        self.watcher = watcher
        closing = np.array([end_mm or start_mm, start_mm], dtype=np.float64)
        nodes_mm = np.vstack((ends_mm, closing))
        self.size = n = len(nodes_mm)
        self.free = n - 2 if end_mm is None else -1
        self.has_rings = bool(ring_starts[-1])
        single = int(np.count_nonzero((nodes_mm[::2] == nodes_mm[1::2]).all(axis=1)))
        self.count = _NEAR_POINTS if 4 * single > n else _NEAR
        self.state = kernel.TourState(
            tour=_kept(np.zeros(n, dtype=np.int64)),
            pos=_kept(np.zeros(n, dtype=np.int64)),
            xs=_kept(nodes_mm[:, 0]),
            ys=_kept(nodes_mm[:, 1]),
            c=_kept(cost.figures),
            free=self.free,
            near=_kept(np.full(n * self.count, -1, dtype=np.int64)),
            near_cost=_kept(np.zeros(n * self.count)),
            near_count=self.count,
        )
        self.work = kernel.Workspace(
            breadth=_BREADTH,
            queue=_kept(np.zeros(n, dtype=np.int64)),
            queued=_kept(np.zeros(n, dtype=np.int64)),
            log=_kept(np.zeros(kernel.LOG, dtype=np.int64)),
            ends=_kept(np.zeros(8, dtype=np.int64)),
        )
        self.closed = kernel.ClosedStrokes(
            starts=_kept(np.append(ring_starts, ring_starts[-1])),
            x=_kept(ring_mm[:, 0]),
            y=_kept(ring_mm[:, 1]),
            entry=_kept(np.zeros(n // 2, dtype=np.int64)),
        )
        self.chance = _kept(np.array([_SEED, 0], dtype=np.int64))

    def run(self, effort: Effort) -> Tour:
        if COMPILED and not is_compiled(kernel.__file__):
            self.watcher.report("compiling the search for short tours (only once)", 0.0)
        strokes = self.size // 2
        each, most = KICKS[effort]
        due = min(each * strokes, most) if strokes >= 4 else 0
        if effort == "normal":
            due = min(due, int(each * _UNTIL * (_UNTIL / strokes) ** 1.5))
        todo = due if COMPILED else min(due, PLAIN_KICKS)
        self.watcher.report("ordering strokes", 0.0)
        self._start()
        self._settle_all()
        self._settle_rings(_RING_ROUNDS)
        done, longest = 0, min(_LONGEST_ARC, (strokes - 1) // 2)
        chunk = _CHUNK if COMPILED else _CHUNK_PLAIN
        again = todo // 4  # closed strokes are re-entered after each quarter
        late = False
        while done < todo and not late:
            kicks = min(chunk, todo - done)
            kernel.kick_and_settle(kicks, longest, self.chance, self.state, self.work)
            done += kicks
            self.watcher.report("ordering strokes", done / todo)
            if self.has_rings and done >= again:
                again += todo // 4
                self._settle_rings(1)
            late = self.watcher.enough()
        if self.has_rings:
            kernel.reenter(self.closed, self.state)
        nodes, entry = np.asarray(self.state.tour), np.asarray(self.closed.entry)
        at = int(np.asarray(self.state.pos)[self.size - 1])
        nodes = np.roll(nodes, -at - 1) if at & 1 else np.roll(nodes[::-1], at)
        nodes = nodes[:-2]
        x, y = np.asarray(self.state.xs), np.asarray(self.state.ys)
        if x[-1] == x[-2] and y[-1] == y[-2] and self.free < 0:
            # A closed tour may be run in either direction: start with the nearer stroke, as one would by hand.
            first, last = np.hypot(x[nodes[[0, -1]]] - x[-1], y[nodes[[0, -1]]] - y[-1])
            nodes = nodes[::-1] if last < first else nodes
        return Tour(nodes[::2].copy(), entry[:-1].copy(), late, (done, due))

    def _settle_all(self) -> float:
        return float(kernel.settle_all(self.state, self.work))

    def _settle_rings(self, rounds: int) -> None:
        """Choose new start vertices of closed strokes and improve the tour again, as long as it becomes shorter."""
        if not self.has_rings:
            return
        first = 0.0
        for _ in range(rounds):
            gain = kernel.reenter(self.closed, self.state)
            if gain > 0.0:
                # The costs of near links have changed.
                self._find_near(np.arange(self.size), np.arange(self.size) ^ 1)
                self._settle_all()
            first = first or gain
            if gain <= _RING_GAIN * first:
                return

    def _find_near(self, nodes: Indices, other: NDArray[np.int64]) -> Indices:
        """Near neighbours of these nodes among themselves; returns the nodes in tree order."""
        nodes = nodes[nodes != self.free]
        at = np.column_stack((np.asarray(self.state.xs)[nodes], np.asarray(self.state.ys)[nodes]))
        by, boxes, leaves = box_tree(at, at, kernel.LEAF)
        nodes = nodes[by]
        kernel.nearest(_kept(nodes), _kept(other), _kept(boxes.ravel()), leaves, self.state)
        return nodes

    def _start(self) -> None:
        """The greedy tour: cheapest links first (Bentley 1992: about 16 % above the optimum).

        Links are taken from near neighbours. Near neighbours of the resulting chains' ends are then searched again,
        until one chain is left.
        """
        links = np.full(self.size, -1, dtype=np.int64)
        far = np.arange(self.size) ^ 1
        while True:
            open_ends = np.flatnonzero(links < 0)
            open_ends = open_ends[open_ends != self.free]
            if len(open_ends) <= 2:
                break
            nodes = np.sort(self._find_near(open_ends, far))
            near = np.asarray(self.state.near).reshape(-1, self.count)[nodes]
            costs = np.asarray(self.state.near_cost).reshape(-1, self.count)[nodes]
            there = near >= 0
            ones = np.repeat(nodes, there.sum(axis=1))
            others, costs = near[there], costs[there]
            by = np.argsort(costs, kind="stable")
            given, chains = _kept(links), _kept(far)
            kernel.link_cheapest(_kept(ones[by]), _kept(others[by]), given, chains)
            links, far = np.asarray(given), np.asarray(chains)
        left = np.flatnonzero(links < 0)
        links[left] = left[::-1]
        kernel.walk(_kept(links), self.state.tour, self.state.pos)
        self._find_near(np.arange(self.size), np.arange(self.size) ^ 1)


def _kept(array: NDArray[Any]) -> Any:
    """A contiguous array if the kernels are compiled, else a list, because plain Python is slow on arrays."""
    return np.ascontiguousarray(array) if COMPILED else array.tolist()
