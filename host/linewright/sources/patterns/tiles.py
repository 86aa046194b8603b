"""Tiles: squares with bundles of quarter circles, each laid one way or the other (after S. Truchet, 1704, with the
arcs of C. S. Smith, "The tiling patterns of Sebastien Truchet and the topology of structural hierarchy", Leonardo 20,
1987).

Arcs of neighbouring tiles meet, so bundles continue across the sheet; where two bundles of a tile cross, the lower one
is interrupted.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from linewright.drawing.strokes import Points
from linewright.sources import settings
from linewright.sources.patterns.finish import finished
from linewright.sources.picture import Picture, Wish


@dataclass(frozen=True)
class Tiles:
    """Settings of the pattern."""

    seed: int = settings.seed()
    across: int = settings.number("tiles along the shorter side; 0: the seed's choice", 0, 0, 60)
    strands: int = settings.number("lines in a bundle; 0: what suits the pen", 0, 0, 15)
    bridges: float = settings.number("share of tiles whose bundles cross", 0.15, 0.0, 1.0)

    def read(self, source: str, wish: Wish) -> Picture:
        """The pattern in its area; ``source`` is not used."""
        del source
        rng = np.random.default_rng(self.seed)
        across = self.across or int(rng.integers(6, 11))
        side = min(wish.room_mm) / max(1, min(across, int(min(wish.room_mm) / (6 * wish.pen_width_mm))))
        columns, rows = (max(1, math.floor(length / side + 1e-9)) for length in wish.room_mm)
        # A bundle fills the middle 60 % of an edge; its lines are at least 2.2 pens apart.
        strands = self.strands or max(1, min(7, int(0.6 * side / (2.2 * wish.pen_width_mm)) + 1))
        offsets = np.linspace(0.2, 0.8, strands) if strands > 1 else np.array([0.5])
        corner = (np.array(wish.room_mm) - side * np.array([columns, rows])) / 2
        strokes = []
        for row in range(rows):
            for column in range(columns):
                kind = 2 if rng.random() < self.bridges else int(rng.integers(2))
                for line in _tile(kind, offsets, bool(rng.integers(2))):
                    strokes.append((line + (column, row)) * side + corner)
        return finished(strokes, wish, name="tiles")


def _tile(kind: int, offsets: Points, other: bool) -> list[Points]:
    """Lines of the unit square; every edge is met at the same offsets, symmetric about its middle.

    Parameters
    ----------
    kind : 0 or 1: two bundles of arcs, around one pair of corners or the other; 2: two straight bundles that cross.
    """
    turn = np.linspace(0.0, math.pi / 2, 25)
    arc = np.column_stack((np.cos(turn), np.sin(turn)))
    arc[0], arc[-1] = (1.0, 0.0), (0.0, 1.0)
    if kind < 2:
        # Outer arcs of the first corner would cross those of the second: they pass beneath and end at its outermost
        # arc.
        lines = []
        for corner in (0, 1):
            for r in offsets.tolist():
                line = arc * r
                if corner == 1:
                    line = 1.0 - line
                    reach = float(offsets[-1])
                    outside = np.hypot(line[:, 0], line[:, 1]) > reach + 1e-9
                    lines += _runs(line, outside, reach)
                else:
                    lines.append(line)
        return [np.column_stack((1 - line[:, 0], line[:, 1])) for line in lines] if kind else lines
    lines = []
    low, high = float(offsets[0]), float(offsets[-1])
    gap = (high - low) / max(2 * (len(offsets) - 1), 4)
    for r in offsets.tolist():
        lines.append(np.array([(0.0, r), (1.0, r)]))
        lines.append(np.array([(r, 0.0), (r, low - gap)]))
        lines.append(np.array([(r, high + gap), (r, 1.0)]))
    return [line[:, ::-1] for line in lines] if other else lines


def _runs(line: Points, outside: np.ndarray[tuple[int], np.dtype[np.bool_]], reach: float) -> list[Points]:
    """The parts of an arc outside the circle around the origin, ending exactly on it."""
    if outside.all():
        return [line]
    parts: list[list[Points]] = [[]]
    for i in range(len(line)):
        if i and outside[i] != outside[i - 1]:
            a, b = line[i - 1], line[i]
            d = b - a
            # |a + t d| = reach
            p, q, r = float(d @ d), float(a @ d), float(a @ a) - reach**2
            root = math.sqrt(max(q * q - p * r, 0.0))
            t = (-q - root) / p if outside[i - 1] else (-q + root) / p
            crossing = a + min(max(t, 0.0), 1.0) * d
            parts[-1].append(crossing)
            if outside[i - 1]:
                parts.append([])
        if outside[i]:
            parts[-1].append(line[i])
    return [np.array(part) for part in parts if len(part) > 1]
