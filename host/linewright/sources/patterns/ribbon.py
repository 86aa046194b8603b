"""Ribbon: one closed line around a random tree, which visits every cell of its field once.

The tree spans a grid of squares, each tree equally likely (D. B. Wilson, "Generating random spanning trees more quickly
than the cover time", STOC 1996); the line follows its left side. On a grid of twice the resolution that is a closed
tour of all cells, without a pen lift.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from linewright.drawing.strokes import Points
from linewright.sources import settings
from linewright.sources.patterns.finish import distance_mm, finished
from linewright.sources.patterns.folds import rounded
from linewright.sources.picture import Picture, Wish

_STEPS = ((1, 0), (0, 1), (-1, 0), (0, -1))


@dataclass(frozen=True)
class Ribbon:
    """Settings of the pattern."""

    seed: int = settings.seed()
    spacing_mm: float = settings.number("from line to line; 0: what suits pen and sheet", 0.0, 0.0, 100.0, "mm")
    roundness: float = settings.number("of its corners, 0 to 1", 1.0, 0.0, 1.0)

    def read(self, source: str, wish: Wish) -> Picture:
        """The pattern in its area; ``source`` is not used."""
        del source
        spacing = distance_mm(self.spacing_mm, wish, pens=3.0, least_mm=min(wish.room_mm) / 64)
        width, height = (max(2, int(side / (2 * spacing))) for side in wish.room_mm)
        line = tour(width, height, np.random.default_rng(self.seed)).astype(np.float64)
        closed = np.vstack((line, line[:2]))
        curve = rounded(closed, self.roundness)[1:-1]
        room = np.array(wish.room_mm)
        scale = float(((room - wish.pen_width_mm) / (2 * np.array([width, height]) - 1)).min())
        curve = np.vstack((curve, curve[:1]))
        middle = np.array([width, height]) - 0.5
        return finished([(curve - middle) * scale + room / 2], wish, name="ribbon", joins=False)


def tour(width: int, height: int, rng: np.random.Generator) -> Points:
    """(4 width height, 2) int64: the cells of a grid of twice the resolution, in the order of the tour; it closes."""
    doors = tree(width, height, rng)
    cell, facing = (0, 0), 0
    found = [cell]
    for _ in range(4 * width * height - 1):
        # Keep the tree on the left: turn left if that does not cross it, else straight, else right.
        for turn in (3, 0, 1):
            step = _STEPS[(facing + turn) % 4]
            new = (cell[0] + step[0], cell[1] + step[1])
            if _free(cell, new, width, height, doors):
                cell, facing = new, (facing + turn) % 4
                break
        found.append(cell)
    return np.array(found)


def _free(a: tuple[int, int], b: tuple[int, int], width: int, height: int, doors: set[tuple[int, int, int]]) -> bool:
    """Whether the tour may step from one fine cell to the next: within a square beside the tree, or along it."""
    if not (0 <= b[0] < 2 * width and 0 <= b[1] < 2 * height):
        return False
    square, other = (a[0] // 2, a[1] // 2), (b[0] // 2, b[1] // 2)
    upright = a[0] == b[0]
    if square != other:  # into the next square: only along the tree
        low = min(square, other)
        return (low[0], low[1], int(upright)) in doors
    # Across the middle of a square: not where the tree leaves it on that side.
    side = (a[1] % 2) if not upright else (a[0] % 2)
    if upright:
        door = (square[0] - 1 + side, square[1], 0)
    else:
        door = (square[0], square[1] - 1 + side, 1)
    return door not in doors


def tree(width: int, height: int, rng: np.random.Generator) -> set[tuple[int, int, int]]:
    """A spanning tree of the grid by loop-erased random walks; ``(x, y, 0)`` joins (x, y) to the right, ``(x, y, 1)``
    downward.
    """
    grown = np.zeros((width, height), dtype=bool)
    grown[width // 2, height // 2] = True
    doors = set()
    for start in rng.permutation(width * height).tolist():
        x, y = divmod(start, height)
        way: dict[tuple[int, int], tuple[int, int]] = {}
        at = (x, y)
        while not grown[at]:
            while True:
                dx, dy = _STEPS[int(rng.integers(4))]
                new = (at[0] + dx, at[1] + dy)
                if 0 <= new[0] < width and 0 <= new[1] < height:
                    break
            way[at] = new  # a later visit overwrites: that erases the loop
            at = new
        at = (x, y)
        while not grown[at]:
            grown[at] = True
            new = way[at]
            low = min(at, new)
            doors.add((low[0], low[1], int(at[0] == new[0])))
            at = new
    return doors
