"""Ordering of strokes, and choice of their start points, for little travel, pen by pen."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from linewright.drawing.strokes import Drawing, Indices, Points
from linewright.tidy.cost import BY_LENGTH, Cost
from linewright.tidy.watcher import Watcher

if TYPE_CHECKING:
    from linewright.tidy.tour import Effort, Tour


def travel(
    drawing: Drawing,
    *,
    start_mm: tuple[float, float] = (0.0, 0.0),
    end_mm: tuple[float, float] | None = None,
    cost: Cost = BY_LENGTH,
) -> float:
    """Cost of all pen-up moves in the drawing's own order, with each pen's strokes from ``start_mm`` to ``end_mm``.

    If ``end_mm`` is None, the last move of a pen is the one to its last stroke.
    """
    total = 0.0
    for first, end in _groups(drawing.pen):
        leave = drawing.points_mm[drawing.starts[first + 1 : end + 1] - 1]
        enter = drawing.points_mm[drawing.starts[first:end]]
        if end_mm is None:
            leave = leave[:-1]
        else:
            enter = np.vstack((enter, np.array([end_mm], dtype=np.float64)))
        leave = np.vstack((np.array([start_mm], dtype=np.float64), leave))
        total += float(cost.of(enter - leave).sum())
    return total


def travel_mm(
    drawing: Drawing, *, start_mm: tuple[float, float] = (0.0, 0.0), end_mm: tuple[float, float] | None = None
) -> float:
    """Length of all pen-up moves, mm; see `travel`."""
    return travel(drawing, start_mm=start_mm, end_mm=end_mm)


def _groups(pen: Indices) -> list[tuple[int, int]]:
    """First and end index of each run of strokes of one pen."""
    marks = [0, *(np.flatnonzero(np.diff(pen)) + 1).tolist(), len(pen)] if len(pen) else []
    return list(itertools.pairwise(marks))


def order(
    drawing: Drawing,
    *,
    start_mm: tuple[float, float] = (0.0, 0.0),
    end_mm: tuple[float, float] | None = None,
    cost: Cost = BY_LENGTH,
    effort: Effort = "normal",
    watcher: Watcher | None = None,
) -> Drawing:
    """Put strokes into an order with little travel.

    A greedy tour, improved by changes of two and three links and then by random kicks (see `tour`). Strokes may be
    drawn from either end, closed ones from any vertex. The given order of a pen is kept if it is better. The same input
    gives the same order on any machine.

    Parameters
    ----------
    drawing : finite coordinates, mm.
    start_mm, end_mm : position before the first stroke of each pen and after the last; None: it
        may end anywhere.
    cost : of a move, `cost.Cost`.
    effort : ``"quick"`` makes no kicks, ``"best"`` takes ten times as many.
    watcher : receives progress, and may stop the search early.

    Returns
    -------
    Drawing
        The same strokes, some reversed, closed ones possibly rotated; pens one after the other, lowest index first.
    """
    parts: list[Drawing] = []
    for pen in np.unique(drawing.pen):
        given = drawing.select(np.flatnonzero(drawing.pen == pen))
        if len(given) == 1 and not given.closed()[0]:
            tour, found = None, given.select(np.zeros(1, dtype=np.int64), np.ones(1, dtype=bool))
        else:
            tour, found = _toured(given, start_mm, end_mm, cost, effort, watcher)
        better = travel(found, start_mm=start_mm, end_mm=end_mm, cost=cost) < travel(
            given, start_mm=start_mm, end_mm=end_mm, cost=cost
        )
        parts.append(found if better else given)
        if watcher is not None and tour is not None:
            _tell(watcher.note, tour.cut_short, tour.kicks)
    return Drawing.one_after_the_other(parts) if parts else drawing


def _toured(
    given: Drawing,
    start_mm: tuple[float, float],
    end_mm: tuple[float, float] | None,
    cost: Cost,
    effort: Effort,
    watcher: Watcher | None,
) -> tuple[Tour, Drawing]:
    """A short tour of the strokes of one pen, and the strokes in its order."""
    from linewright.tidy.tour import find_tour

    ends, ring_starts, ring_mm = _nodes(given)
    tour = find_tour(ends, ring_starts, ring_mm, start_mm, end_mm, cost, effort=effort, watcher=watcher)
    return tour, _begun_at(given, tour.entry).select(tour.nodes >> 1, (tour.nodes & 1).astype(bool))


def _tell(note: Callable[[str], object], cut_short: bool, kicks: tuple[int, int]) -> None:
    if cut_short:
        note("ordering the strokes was ended early; another run may give another order")
    elif kicks[0] < kicks[1]:
        note(
            f"strokes were ordered with {kicks[0] / kicks[1]:.0%} of the usual effort, because numba is not "
            "installed; pip install 'linewright[fast]' gives less travel in less time"
        )


def _nodes(drawing: Drawing) -> tuple[Points, Indices, Points]:
    """Both ends of every stroke (2 k, 2), and the vertices of closed ones: starts (k + 1,) and points."""
    first, last = drawing.starts[:-1], drawing.starts[1:] - 1
    closed = drawing.closed()
    ends = drawing.points_mm[np.column_stack((first, last)).ravel()]
    ring_starts = np.concatenate(([0], np.cumsum(np.where(closed, last - first, 0)))).astype(np.int64)
    of_ring = np.repeat(closed, last - first + 1)
    of_ring[last] = False
    return ends, ring_starts, drawing.points_mm[of_ring]


def _begun_at(drawing: Drawing, entry: Indices) -> Drawing:
    """Rotate closed strokes to start at these vertices (k,); 0 leaves a stroke as it is."""
    lengths = np.diff(drawing.starts)
    within = np.arange(drawing.vertices) - np.repeat(drawing.starts[:-1], lengths)
    around = np.repeat(np.maximum(lengths - 1, 1), lengths)
    shift = np.repeat(entry, lengths)
    turned = np.where(shift > 0, (within + shift) % around, within)
    return replace(drawing, points_mm=drawing.points_mm[np.repeat(drawing.starts[:-1], lengths) + turned])
