"""Chooses edges of a network to draw twice, so that fewer trails cover it.

Drawing an edge twice changes the parity of both its ends. Drawing a path from one odd vertex to another twice makes
both even, which saves one trail, until a single one is left.
"""

from __future__ import annotations

import heapq
from collections import defaultdict, deque
from functools import cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from linewright.drawing.strokes import Indices

_EXACT: Final = 12
"""Networks with up to this many odd vertices are solved exactly: 2^12 subsets."""

_NEAREST: Final = 24
"""Odd vertices to which paths are searched from each odd vertex: the best partner is among the nearest few, and
searching all would take quadratic time."""

_ROUNDING_MM: Final = 1e-9
"""Smaller differences between sums of a few hundred mm are rounding errors."""

_Way = tuple[float, tuple[int, ...]]
"""Path: length in mm, and edges."""


def doubled_edges(edges: Indices, length_mm: NDArray[np.float64], redraw_mm: float) -> Indices:
    """Edges to draw twice, so that as many odd vertices as possible become even, with little added length.

    Parameters
    ----------
    edges : (k, 2) int64, the vertices that each edge joins; -1 for a free end.
    length_mm : (k,).
    redraw_mm : longest path between two odd vertices that may be drawn twice.

    Returns
    -------
    (m,) int64
        Indices of edges, ascending.
    """
    # A free end becomes a vertex.
    edges = edges.copy()
    alone = np.flatnonzero(edges.ravel() < 0)
    edges.ravel()[alone] = edges.max(initial=-1) + 1 + np.arange(len(alone))
    at: dict[int, list[tuple[int, int, float]]] = defaultdict(list)
    for edge, ((a, b), length) in enumerate(zip(edges.tolist(), length_mm.tolist(), strict=True)):
        at[a].append((b, edge, length))
        at[b].append((a, edge, length))
    odd = sorted(vertex for vertex, out in at.items() if len(out) % 2)
    is_odd = set(odd)
    network = _networks(at)

    ways: dict[int, dict[int, dict[int, _Way]]] = defaultdict(lambda: defaultdict(dict))
    of_network: dict[int, list[int]] = defaultdict(list)
    for vertex in odd:
        of_network[network[vertex]].append(vertex)
        ways[network[vertex]][vertex] = _ways_from(vertex, at, is_odd, redraw_mm)
    for of in ways.values():
        # Nearness is not symmetric, but a pair needs both directions.
        for a in tuple(of):
            for b, way in tuple(of[a].items()):
                of[b].setdefault(a, way)

    often: dict[int, int] = defaultdict(int)
    for name, vertices in of_network.items():
        # Leave two odd vertices: one trail is needed in any case, and it need not be closed.
        for a, b in pairing(vertices, ways[name], len(vertices) // 2 - 1):
            for edge in ways[name][a][b][1]:
                often[edge] += 1
    # An edge needed three times is drawn once.
    return np.array(sorted(edge for edge, times in often.items() if times % 2), dtype=np.int64)


def _networks(at: dict[int, list[tuple[int, int, float]]]) -> dict[int, int]:
    """Maps each vertex to the lowest vertex of its connected component."""
    found: dict[int, int] = {}
    for root in sorted(at):
        if root in found:
            continue
        found[root] = root
        todo = [root]
        while todo:
            for there, _, _ in at[todo.pop()]:
                if there not in found:
                    found[there] = root
                    todo.append(there)
    return found


def _ways_from(
    start: int, at: dict[int, list[tuple[int, int, float]]], goals: set[int], most_mm: float
) -> dict[int, _Way]:
    """Shortest paths to the odd vertices within reach (E. W. Dijkstra 1959)."""
    found: dict[int, _Way] = {}
    done: set[int] = set()
    came: dict[int, tuple[int, int]] = {}
    least = {start: 0.0}
    heap = [(0.0, start)]
    while heap:
        far, here = heapq.heappop(heap)
        if here in done:
            continue
        done.add(here)
        if here in goals and here != start:
            way, back = [], here
            while back != start:
                back, edge = came[back]
                way.append(edge)
            found[here] = (far, tuple(way))
            if len(found) == _NEAREST:
                break
        for there, edge, length in at[here]:
            there_mm = far + length
            if there_mm <= most_mm and there_mm < least.get(there, np.inf):
                least[there] = there_mm
                came[there] = (here, edge)
                heapq.heappush(heap, (there_mm, there))
    return found


def pairing(vertices: list[int], ways: dict[int, dict[int, _Way]], most: int) -> list[tuple[int, int]]:
    """Up to ``most`` pairs of vertices joined by paths: the largest number of pairs, with little total length.

    Exact for up to 12 vertices. Beyond, pairs are taken shortest first and then improved, for more pairs and for
    shorter ones, until nothing changes.
    """
    if most < 1:
        return []
    if len(vertices) <= _EXACT:
        return _exact(vertices, ways, most)
    return _good(vertices, ways, most)


def _exact(vertices: list[int], ways: dict[int, dict[int, _Way]], most: int) -> list[tuple[int, int]]:
    n = len(vertices)

    @cache
    def best(left: int, pairs: int) -> tuple[int, float, tuple[tuple[int, int], ...]]:
        """The minimum of (minus the number of pairs, length, pairs) over the vertices of the set ``left``."""
        if not left or not pairs:
            return (0, 0.0, ())
        i = (left & -left).bit_length() - 1
        rest = left & ~(1 << i)
        found = best(rest, pairs)
        for j in range(i + 1, n):
            if rest >> j & 1 and vertices[j] in ways[vertices[i]]:
                count, length, others = best(rest & ~(1 << j), pairs - 1)
                tried = (count - 1, length + ways[vertices[i]][vertices[j]][0], ((vertices[i], vertices[j]), *others))
                found = min(found, tried)
        return found

    return list(best((1 << n) - 1, most)[2])


def _good(vertices: list[int], ways: dict[int, dict[int, _Way]], most: int) -> list[tuple[int, int]]:
    mate: dict[int, int] = {}
    for _, a, b in sorted((way[0], v, u) for v in vertices for u, way in ways[v].items() if v < u):
        if a not in mate and b not in mate:
            mate[a], mate[b] = b, a
    changed = True
    while changed:
        changed = False
        for a in vertices:
            changed |= _shorten(a, mate, ways) if a in mate else _extend(a, mate, ways)
    pairs = sorted((ways[a][b][0], a, b) for a, b in mate.items() if a < b)
    return [(a, b) for _, a, b in pairs[:most]]


def _shorten(a: int, mate: dict[int, int], ways: dict[int, dict[int, _Way]]) -> bool:
    """Replace pairs (a, b) and (c, d) by (a, c) and (b, d) if that is shorter."""
    b = mate[a]
    for c, (direct_mm, _) in ways[a].items():
        if c == b or c not in mate or (d := mate[c]) not in ways[b]:
            continue
        if direct_mm + ways[b][d][0] < ways[a][b][0] + ways[c][d][0] - _ROUNDING_MM:
            mate[a], mate[c], mate[b], mate[d] = c, a, d, b
            return True
    return False


def _extend(a: int, mate: dict[int, int], ways: dict[int, dict[int, _Way]]) -> bool:
    """Add one pair by an augmenting path from ``a`` to another unpaired vertex (C. Berge 1957).

    Odd cycles are not contracted, so a path is missed now and then.
    """
    came: dict[int, tuple[int, int]] = {}  # vertex -> (its mate, the vertex before)
    todo = deque([a])
    while todo:
        here = todo.popleft()
        behind = {a}
        at = here
        while at != a:
            behind |= {at, came[at][0]}
            at = came[at][1]
        for y in ways[here]:
            if y in behind:
                continue
            if y in mate:
                if mate[y] not in came:
                    came[mate[y]] = (y, here)
                    todo.append(mate[y])
                continue
            while True:
                mate[y], mate[here] = here, y
                if here == a:
                    return True
                y, here = came[here]
    return False
