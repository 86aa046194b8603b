"""A short closed way through points: from a space-filling curve, then shortened move by move.

The start is the order along Hilbert's curve, about a quarter longer than the best (Platzman and Bartholdi 1989). Then
two exchanges (2-opt, Croes 1958) and moves of up to three points to another place (Or-opt, Or 1976) are made while they
shorten it, each tried only towards the nearest neighbours and only where something has changed (Bentley 1992).
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from linewright.compiled import compiled
from linewright.drawing import Points
from linewright.sources.picture import Report

NEIGHBOURS: Final = 8
"""Looked at from each point: with 5 the way is half a per cent longer, with 12 no shorter (measured on stipples)."""

SLICE: Final = 20_000
"""Points looked at between two reports: a fraction of a second."""

ROUNDS_HIGH: Final = 60
"""Times that all points are looked at. Ten are usual; this only bounds what cannot be foreseen."""

HILBERT_BITS: Final = 12
"""4096 cells along a side: finer than any stipples."""


def tour(points_mm: Points, report: Report, state: str) -> NDArray[np.int64]:
    """(n,) order in which a closed way visits (n, 2) points."""
    from scipy.spatial import cKDTree

    count = len(points_mm)
    order = _along_hilbert(points_mm)
    if count < 5:
        return order
    points = np.ascontiguousarray(points_mm[order])
    _, near = cKDTree(points).query(points, k=min(NEIGHBOURS + 1, count))
    near = np.ascontiguousarray(near[:, 1:].astype(np.int64))
    way, place = np.arange(count), np.arange(count)
    awake = np.ones(count, dtype=np.bool_)
    for number in range(ROUNDS_HIGH):
        for first in range(0, count, SLICE):
            report(state, 1 - 0.7 ** (number + first / count))
            _shorten(points, near, way, place, awake, first, min(count, first + SLICE))
        if not awake.any():
            break
    return np.asarray(order[way])


def _along_hilbert(points: Points) -> NDArray[np.int64]:
    """Order along Hilbert's curve over the square that holds the points."""
    low = points.min(axis=0)
    side = max(float(np.ptp(points, axis=0).max()), 1e-9)
    x, y = (np.minimum((points - low) / side * (1 << HILBERT_BITS), (1 << HILBERT_BITS) - 1).astype(np.int64)).T
    number = np.zeros(len(points), dtype=np.int64)
    for bit in range(HILBERT_BITS - 1, -1, -1):
        half = 1 << bit
        right, low_half = (x & half) > 0, (y & half) > 0
        number += half * half * ((3 * right) ^ low_half)
        # The quarter's curve is that of the whole, turned so that its ends meet those of the next quarter.
        flip = ~low_half & right
        x, y = (
            np.where(flip, half - 1 - (x & (half - 1)), x & (half - 1)),
            np.where(flip, half - 1 - (y & (half - 1)), y & (half - 1)),
        )
        x, y = np.where(low_half, x, y), np.where(low_half, y, x)
    return np.argsort(number, kind="stable")


@compiled
def _shorten(
    points: Points,
    near: NDArray[np.int64],
    way: NDArray[np.int64],
    place: NDArray[np.int64],
    awake: NDArray[np.bool_],
    first: int,
    end: int,
) -> None:  # pragma: no cover
    """Make improving moves from the awake points ``first..end``; ``place`` is the inverse of ``way``; all in place."""
    n = len(way)
    for a in range(first, end):
        if not awake[a]:
            continue
        moved = True
        while moved:
            moved = False
            for side in (1, -1):
                i = place[a]
                b = way[(i + side) % n]
                ab = np.sqrt((points[a, 0] - points[b, 0]) ** 2 + (points[a, 1] - points[b, 1]) ** 2)
                for c in near[a]:
                    ac = np.sqrt((points[a, 0] - points[c, 0]) ** 2 + (points[a, 1] - points[c, 1]) ** 2)
                    if ac >= ab:
                        break
                    j = place[c]
                    d = way[(j + side) % n]
                    if c == b or d == a:
                        continue
                    cd = np.sqrt((points[c, 0] - points[d, 0]) ** 2 + (points[c, 1] - points[d, 1]) ** 2)
                    bd = np.sqrt((points[b, 0] - points[d, 0]) ** 2 + (points[b, 1] - points[d, 1]) ** 2)
                    if ac + bd < ab + cd - 1e-9:
                        # a-b and c-d become a-c and b-d: what lies between turns round, the shorter part of it.
                        low, high = (i + 1, j) if side == 1 else (j, i - 1)
                        if side == -1:
                            low, high = j, i - 1
                            # a = way[i], b = way[i-1], c = way[j], d = way[j-1]: turn way[j..i-1]
                        span = (high - low) % n + 1
                        if span * 2 > n:
                            low, high = high + 1, low - 1
                            span = n - span
                        for _ in range(span // 2):
                            p, q = low % n, high % n
                            u, v = way[p], way[q]
                            way[p], way[q] = v, u
                            place[v], place[u] = p, q
                            low += 1
                            high -= 1
                        awake[a] = awake[b] = awake[c] = awake[d] = True
                        moved = True
                        break
                if moved:
                    break
            if moved:
                continue
            # Move a and up to two points behind it between c and a neighbour of c.
            i = place[a]
            for side in (1, -1):
                for long in (1, 2, 3):
                    # The piece runs from a to z, away from ``side``; p and q are what it hangs between.
                    z = way[(i - side * (long - 1)) % n]
                    p = way[(i + side) % n]
                    q = way[(i - side * long) % n]
                    if p == q or n < long + 3:
                        continue
                    ap = np.sqrt((points[a, 0] - points[p, 0]) ** 2 + (points[a, 1] - points[p, 1]) ** 2)
                    zq = np.sqrt((points[z, 0] - points[q, 0]) ** 2 + (points[z, 1] - points[q, 1]) ** 2)
                    pq = np.sqrt((points[p, 0] - points[q, 0]) ** 2 + (points[p, 1] - points[q, 1]) ** 2)
                    gain = ap + zq - pq
                    for c in near[a]:
                        ac = np.sqrt((points[a, 0] - points[c, 0]) ** 2 + (points[a, 1] - points[c, 1]) ** 2)
                        if ac >= gain:
                            break
                        j = place[c]
                        if (i - j) * side % n < long:  # c is of the piece itself
                            continue
                        for turn in (1, -1):
                            d = way[(j + turn) % n]
                            if (i - place[d]) * side % n < long:
                                continue
                            zd = np.sqrt((points[z, 0] - points[d, 0]) ** 2 + (points[z, 1] - points[d, 1]) ** 2)
                            cd = np.sqrt((points[c, 0] - points[d, 0]) ** 2 + (points[c, 1] - points[d, 1]) ** 2)
                            if ac + zd - cd < gain - 1e-9:
                                _carry(way, place, i, side, long, place[c], place[d])
                                awake[a] = awake[z] = awake[p] = awake[q] = awake[c] = awake[d] = True
                                moved = True
                                break
                        if moved:
                            break
                    if moved:
                        break
                if moved:
                    break
        awake[a] = False


@compiled
def _carry(
    way: NDArray[np.int64], place: NDArray[np.int64], i: int, side: int, long: int, at_c: int, at_d: int
) -> None:  # pragma: no cover
    """Take ``long`` points, the first at ``i`` and the others against ``side``, and put them between c and d, a to c.

    Everything between the old and the new gap moves over by ``long``, on the shorter side of the way round.
    """
    n = len(way)
    piece = np.empty(3, np.int64)
    for k in range(long):
        piece[k] = way[(i - side * k) % n]
    low = i if side == -1 else i - long + 1  # the piece fills low..low+long-1, ascending
    later = at_d if (at_c + 1) % n == at_d else at_c  # the upper one of the two in ascending order
    c_is_lower = later == at_d
    ahead = (later - (low + long)) % n  # points between the piece and the new gap, going up
    behind = n - long - ahead
    if ahead <= behind:
        for k in range(ahead):
            v = way[(low + long + k) % n]
            way[(low + k) % n] = v
            place[v] = (low + k) % n
        start = low + ahead
    else:
        for k in range(behind):
            v = way[(low - 1 - k) % n]
            way[(low - 1 - k + long) % n] = v
            place[v] = (low - 1 - k + long) % n
        start = low - behind
    for k in range(long):
        v = piece[k] if c_is_lower else piece[long - 1 - k]
        way[(start + k) % n] = v
        place[v] = (start + k) % n
