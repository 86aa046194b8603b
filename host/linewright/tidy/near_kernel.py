"""Searches among line segments in a tree of boxes (`boxes.box_tree`), compiled; for drawings of many segments.

Without numba the callers search with shapely's trees, and find the same.
"""

from __future__ import annotations

from math import sqrt
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from linewright.compiled import compiled

if TYPE_CHECKING:
    from linewright.tidy.boxes import BoxTree, Searched

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]
Flags = NDArray[np.bool_]

LEAF: Final = 8
"""Segments per leaf of the tree."""

_DEPTH: Final = 64
"""Stack size of a search: one entry waits on each level, at most 31 levels."""


@compiled
def _next_leaf(tree: BoxTree, x0: float, y0: float, x1: float, y1: float, stack: Whole, top: int) -> tuple[int, int]:
    """Where the next leaf that meets a box begins in ``tree.by``, -1 after the last; and the entries left on the stack.

    Parameters
    ----------
    stack : nodes still to be visited, of which the first ``top`` count; the root alone at the beginning.
    """
    boxes = tree.boxes
    while top > 0:
        top -= 1
        node = stack[top]
        if boxes[node, 0] > x1 or boxes[node, 2] < x0 or boxes[node, 1] > y1 or boxes[node, 3] < y0:
            continue
        if node >= tree.leaves:
            return (node - tree.leaves) * LEAF, top
        stack[top], stack[top + 1] = 2 * node, 2 * node + 1
        top += 2
    return -1, 0


@compiled
def near_level(
    lines: Searched, wanted: Whole, level_mm: float, crossing: float, tree: BoxTree, ones: Whole, others: Whole
) -> tuple[int, int]:
    """Pairs of a segment and one of lower rank that reaches into its box and does not cross it, until the output is
    full.

    Parameters
    ----------
    wanted : segments whose neighbours are searched.
    level_mm, crossing : two segments do not cross if the ends of the searcher lie apart, across the other, by at most
        the larger of ``level_mm`` and ``crossing`` times its length.
    ones, others : (m,) int64, output: searchers and what they found.

    Returns
    -------
    Number of segments of ``wanted`` that are done, and number of pairs.
    """
    a, b, size, rank, pen = lines.a, lines.b, lines.size, lines.rank, lines.pen
    by = tree.by
    n, room, count = len(by), len(ones), 0
    stack = np.empty(_DEPTH, np.int64)
    for number in range(len(wanted)):
        j = wanted[number]
        before = count
        x0, y0, x1, y1 = lines.low[j, 0], lines.low[j, 1], lines.high[j, 0], lines.high[j, 1]
        ux, uy = b[j, 0] - a[j, 0], b[j, 1] - a[j, 1]
        limit = max(level_mm, crossing * size[j]) * (1.0 + 1e-9)
        stack[0] = 1
        first, top = _next_leaf(tree, x0, y0, x1, y1, stack, 1)
        while first >= 0:
            for at in range(first, min(first + LEAF, n)):
                i = by[at]
                if rank[i] >= rank[j] or pen[i] != pen[j]:
                    continue
                if min(a[i, 0], b[i, 0]) > x1 or max(a[i, 0], b[i, 0]) < x0:
                    continue
                if min(a[i, 1], b[i, 1]) > y1 or max(a[i, 1], b[i, 1]) < y0:
                    continue
                if abs((b[i, 0] - a[i, 0]) * uy - (b[i, 1] - a[i, 1]) * ux) / size[i] > limit:
                    continue
                if count == room:
                    return number, before
                ones[count], others[count] = j, i
                count += 1
            first, top = _next_leaf(tree, x0, y0, x1, y1, stack, top)
    return len(wanted), count


@compiled
def within_reach(places: Floats, begin: Floats, end: Floats, reach_mm: float, tree: BoxTree, found: Flags) -> None:
    """Whether a segment passes within reach of each place.

    Parameters
    ----------
    places : (k, 2) float64, mm.
    begin, end : (n, 2) float64, mm, ends of the segments; equal for a dot.
    found : (k,) bool, output.
    """
    by = tree.by
    n = len(by)
    stack = np.empty(_DEPTH, np.int64)
    for number in range(len(places)):
        x, y = places[number, 0], places[number, 1]
        x0, y0, x1, y1 = x - reach_mm, y - reach_mm, x + reach_mm, y + reach_mm
        stack[0] = 1
        first, top = _next_leaf(tree, x0, y0, x1, y1, stack, 1)
        while first >= 0 and not found[number]:
            for at in range(first, min(first + LEAF, n)):
                i = by[at]
                ax, ay = begin[i, 0], begin[i, 1]
                ux, uy = end[i, 0] - ax, end[i, 1] - ay
                square = ux * ux + uy * uy
                share = ((x - ax) * ux + (y - ay) * uy) / square if square > 0.0 else 0.0
                if share <= 0.0:
                    away = sqrt((x - ax) * (x - ax) + (y - ay) * (y - ay))
                elif share >= 1.0:
                    away = sqrt((x - end[i, 0]) * (x - end[i, 0]) + (y - end[i, 1]) * (y - end[i, 1]))
                else:
                    away = abs(((ay - y) * ux - (ax - x) * uy) / square) * sqrt(square)
                if away <= reach_mm:
                    found[number] = True
                    break
            first, top = _next_leaf(tree, x0, y0, x1, y1, stack, top)
