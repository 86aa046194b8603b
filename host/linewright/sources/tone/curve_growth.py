"""Closed curves that grow, repel each other, and never cross: the compiled steps of `labyrinth`.

A node moves less than half the distance to any line that it is not an end of, and the ends of a line less than half the
distance to any node beside it. So no node ever reaches a line, and curves without crossings stay so.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from linewright.compiled import compiled
from linewright.drawing.strokes import Points

Whole = NDArray[np.int64]
Flags = NDArray[np.bool_]

EDGE: Final = 0.35
"""Rest length between nodes, in wanted distances: half a circle then has 4.5 of them."""

SPLIT: Final = 0.55
MERGE: Final = 0.08
"""In the same unit: longer edges are split, and the end of shorter ones is removed."""

SEES: Final = 1.5
"""In the same unit: range in which a node interacts with others."""

KIN: Final = 3
"""Nodes this few edges apart along the curve do not repel."""

NEARER: Final = 0.3
"""Largest move per step as a share of the distance to what must not be touched. When both have moved, at least 0.4 of
it is left."""

STRIDE: Final = 0.12
"""Largest move per step as a share of the wanted distance."""


@compiled
def step(
    points: Points, before: Whole, after: Whole, apart: Points, allowed: Flags, pixel: Points,
    noise: Points, fairing: float, crowd: Points, clear: Points,
) -> None:  # fmt: skip  # pragma: no cover
    """Move every node by one step: noise, fairing, springs along the curve, attraction and repulsion.

    Parameters
    ----------
    points : (n, 2) mm, moved in place.
    before, after : (n,) the neighbours of each node along its curve.
    apart : (h, w) mm, wanted distance of lines.
    allowed : (h, w) where curves may be.
    pixel : (2,) mm, width and height of a pixel of both grids.
    noise : (n, 2) added to the force, in distances.
    crowd : (n,) output: line length near each node relative to the wanted one.
    clear : (n,) output: distance, mm, from each node and its two edges to what they must not touch.
    """
    n = len(points)
    rows, columns = apart.shape
    width, height = columns * pixel[0], rows * pixel[1]
    wanted = np.empty(n)
    for i in range(n):
        column = min(columns - 1, max(0, int(points[i, 0] / pixel[0])))
        row = min(rows - 1, max(0, int(points[i, 1] / pixel[1])))
        wanted[i] = apart[row, column]
    # A grid of cells, each with a chain of its nodes.
    side = max(SEES * np.median(wanted), np.sqrt(width * height / 1e6))
    across, down = int(width / side) + 1, int(height / side) + 1
    head = np.full(across * down, -1, np.int64)
    chain = np.empty(n, np.int64)
    for i in range(n):
        cell = min(down - 1, max(0, int(points[i, 1] / side))) * across + min(
            across - 1, max(0, int(points[i, 0] / side))
        )
        chain[i] = head[cell]
        head[cell] = i
    force = np.zeros((n, 2))
    clear[:] = 1e9
    for i in range(n):
        x, y, d = points[i, 0], points[i, 1], wanted[i]
        reach = SEES * d
        left, right = max(0, int((x - reach) / side)), min(across - 1, int((x + reach) / side))
        top, bottom = max(0, int((y - reach) / side)), min(down - 1, int((y + reach) / side))
        k1, k2, k3 = after[i], after[after[i]], after[after[after[i]]]
        m1, m2, m3 = before[i], before[before[i]], before[before[before[i]]]
        m4 = before[m3]
        fx = fy = near = 0.0
        for v in range(top, bottom + 1):
            for u in range(left, right + 1):
                a = head[v * across + u]
                while a >= 0:
                    ax, ay = points[a, 0], points[a, 1]
                    if (ax - x) ** 2 + (ay - y) ** 2 < reach * reach:
                        b = after[a]
                        ex, ey = points[b, 0] - ax, points[b, 1] - ay
                        square = ex * ex + ey * ey
                        length = np.sqrt(square)
                        near += length
                        if a != i and b != i:
                            t = min(1.0, max(0.0, ((x - ax) * ex + (y - ay) * ey) / square)) if square > 0 else 0.0
                            gx, gy = x - ax - t * ex, y - ay - t * ey
                            gap = np.sqrt(gx * gx + gy * gy)
                            clear[i] = min(clear[i], gap)
                            clear[a] = min(clear[a], gap)
                            clear[b] = min(clear[b], gap)
                            kin = a in (k1, k2, k3, m1, m2, m3, m4)
                            if not kin and gap > 0.0:
                                r = gap / d
                                if r < 1.0:
                                    push = (1.0 - r) / max(r, 0.3)
                                else:
                                    push = -0.03 * np.sin(np.pi * (r - 1.0) / (SEES - 1.0)) if r < SEES else 0.0
                                push *= length / d / gap
                                fx += push * gx
                                fy += push * gy
                    a = chain[a]
        # Share of the neighbourhood where curves may be, sampled at nine points.
        free = 1.0
        for k in range(8):
            row = int((y + 0.7 * reach * np.sin(k * np.pi / 4)) / pixel[1])
            column = int((x + 0.7 * reach * np.cos(k * np.pi / 4)) / pixel[0])
            if 0 <= row < rows and 0 <= column < columns and allowed[row, column]:
                free += 1.0
        crowd[i] = near * d / (np.pi * reach * reach * free / 9.0)
        fx *= 0.8
        fy *= 0.8
        # Fourth-order fairing, like a bent spring; second order would only shorten the curve.
        fx += fairing * ((points[k1, 0] + points[m1, 0]) / 1.5 - (points[k2, 0] + points[m2, 0]) / 6 - x) / d
        fy += fairing * ((points[k1, 1] + points[m1, 1]) / 1.5 - (points[k2, 1] + points[m2, 1]) / 6 - y) / d
        for other in (k1, m1):
            ex, ey = points[other, 0] - x, points[other, 1] - y
            length = np.sqrt(ex * ex + ey * ey)
            if length > 0:
                pull = 0.8 * (length / d - EDGE) / length
                fx += pull * ex
                fy += pull * ey
        force[i, 0], force[i, 1] = fx + noise[i, 0], fy + noise[i, 1]
    for i in range(n):
        size = np.sqrt(force[i, 0] ** 2 + force[i, 1] ** 2) * wanted[i]
        if size == 0.0:
            continue
        # The nearest thing to a node may be an edge whose ends move by their own share.
        most = min(STRIDE * wanted[i], NEARER * clear[i])
        share = min(1.0, most / size) * wanted[i]
        x, y = points[i, 0] + share * force[i, 0], points[i, 1] + share * force[i, 1]
        row, column = int(y / pixel[1]), int(x / pixel[0])
        if x >= 0 and y >= 0 and row < rows and column < columns and allowed[row, column]:
            points[i, 0], points[i, 1] = x, y


@compiled
def renewed(
    points: Points, first: Whole, apart: Points, pixel: Points, chance: Points, growth: float,
    crowd: Points, clear: Points,
) -> tuple[Points, Whole]:  # fmt: skip  # pragma: no cover
    """The curves with nodes inserted in long edges, or at random where there is space, and removed from short edges, or
    at random where it is crowded.

    A node is removed only if the triangle that this cuts off is empty.

    Parameters
    ----------
    first : (k + 1,) start of each curve in ``points``.
    chance : (n,) random numbers, 0..1.
    growth : probability of a new node on an edge with nothing near it.
    """
    n = len(points)
    rows, columns = apart.shape
    new = np.empty((2 * n, 2))
    begins = np.zeros(len(first), np.int64)
    m = 0
    for c in range(len(first) - 1):
        start, stop = first[c], first[c + 1]
        left_out = False
        for i in range(start, stop):
            j = i + 1 if i + 1 < stop else start
            h = i - 1 if i > start else stop - 1
            x, y = points[i, 0], points[i, 1]
            column = min(columns - 1, max(0, int(x / pixel[0])))
            row = min(rows - 1, max(0, int(y / pixel[1])))
            d = apart[row, column]
            ex, ey = points[j, 0] - x, points[j, 1] - y
            length = np.sqrt(ex * ex + ey * ey)
            wish = 2.0 * (1.0 - crowd[i])
            thin = length < MERGE * d or (crowd[i] > 1.05 and chance[i] < growth * (crowd[i] - 1.05))
            if thin and not left_out and i > start and stop - start > 8:
                cx, cy = points[j, 0] - points[h, 0], points[j, 1] - points[h, 1]
                base = np.sqrt(cx * cx + cy * cy)
                high = abs(cx * (y - points[h, 1]) - cy * (x - points[h, 0])) / base if base > 0 else 1e9
                # All nodes except its corners are farther from both edges than the triangle's height, so it is empty.
                if high < (1.0 - 2.0 * NEARER) * clear[i] and base < SPLIT * d:
                    left_out = True
                    continue
            left_out = False
            new[m, 0], new[m, 1] = x, y
            m += 1
            if length > SPLIT * d or (length > 2.2 * MERGE * d and chance[i] < growth * min(1.0, wish)):
                new[m, 0], new[m, 1] = x + 0.5 * ex, y + 0.5 * ey
                m += 1
        begins[c + 1] = m
    return new[:m].copy(), begins
