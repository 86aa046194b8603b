"""A tree of bounding boxes in Z order, for neighbour searches."""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from linewright.drawing.strokes import Indices, Points

Floats = NDArray[np.float64]

COMPILED_FROM: Final = 20_000
"""Segments above which loading the compiled searches of `near_kernel` pays."""


class BoxTree(NamedTuple):
    """A binary tree over boxes, stored as a heap: node ``i`` has the children ``2 i`` and ``2 i + 1``.

    Parameters
    ----------
    by : (n,) indices of the boxes in Z order; leaf ``l`` holds ``by[l * leaf : (l + 1) * leaf]``.
    boxes : (2 leaves, 4) float64: x0, y0, x1, y1 of each node; x0 > x1 for an empty node.
    leaves : number of leaves, a power of two; leaf ``l`` is node ``leaves + l``.
    """

    by: Indices
    boxes: Floats
    leaves: int


class Searched(NamedTuple):
    """Segments that are searched and search, (n, 2) or (n,) each.

    Parameters
    ----------
    a, b : their ends, mm.
    size : their lengths, mm, above 0.
    low, high : boxes in which each searches, mm.
    rank, pen : of the stroke of each.
    """

    a: Floats
    b: Floats
    size: Floats
    low: Floats
    high: Floats
    rank: Indices
    pen: Indices


def box_tree(low_mm: Points, high_mm: Points, leaf: int) -> BoxTree:
    """The tree over boxes in the Z order of their middles (G. M. Morton, 1966). Its depth depends on their number only.

    Parameters
    ----------
    low_mm, high_mm : (n, 2), n >= 1, corners of the boxes; for points the same array.
    leaf : boxes per leaf.
    """
    by = z_order(low_mm + high_mm)
    n, leaves = len(by), 1
    while leaves * leaf < n:
        leaves *= 2
    boxes = np.tile(np.array([np.inf, np.inf, -np.inf, -np.inf]), (2 * leaves, 1))
    begins = np.arange(0, n, leaf)
    here = slice(leaves, leaves + len(begins))
    boxes[here, :2] = np.minimum.reduceat(low_mm[by], begins)
    boxes[here, 2:] = np.maximum.reduceat(high_mm[by], begins)
    size = leaves
    while size > 1:
        half = size // 2
        boxes[half:size, :2] = np.minimum(boxes[size : 2 * size : 2, :2], boxes[size + 1 : 2 * size : 2, :2])
        boxes[half:size, 2:] = np.maximum(boxes[size : 2 * size : 2, 2:], boxes[size + 1 : 2 * size : 2, 2:])
        size = half
    return BoxTree(by, boxes, leaves)


def z_order(points_mm: Points) -> Indices:
    """Indices that sort points along the Z curve of their bounding box, 2^31 cells to a side."""
    low = points_mm.min(axis=0)
    side = float(np.max(points_mm.max(axis=0) - low))
    cells = ((points_mm - low) / (side or 1.0) * (2**31 - 1)).astype(np.uint64)
    return np.argsort(_spread(cells[:, 0]) | (_spread(cells[:, 1]) << np.uint64(1)), kind="stable")


def _spread(bits: NDArray[np.uint64]) -> NDArray[np.uint64]:
    """Insert a zero before every bit of 32-bit numbers."""
    for shift, mask in (
        (16, 0x0000FFFF0000FFFF),
        (8, 0x00FF00FF00FF00FF),
        (4, 0x0F0F0F0F0F0F0F0F),
        (2, 0x3333333333333333),
        (1, 0x5555555555555555),
    ):
        bits = (bits | (bits << np.uint64(shift))) & np.uint64(mask)
    return bits
