"""Folds: curves that visit every cell of their field once, in one line.

The curve of D. Hilbert ("Ueber die stetige Abbildung einer Linie auf ein Flaechenstueck", Math. Annalen 38, 1891),
several squares of it joined to fill the sheet; that of G. Peano (Math. Annalen 36, 1890); and the flowsnake of B.
Gosper (M. Gardner, Scientific American, December 1976), whose outline is a rough-edged hexagon. All are written by
rewriting (A. Lindenmayer 1968), see `rewriting`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from linewright.drawing.strokes import Points
from linewright.sources import settings
from linewright.sources.patterns.finish import distance_mm, finished
from linewright.sources.patterns.rewriting import Rules, turtle
from linewright.sources.picture import Picture, Wish

HILBERT: Final = Rules("A", {"A": "+BF-AFA-FB+", "B": "-AF+BFB+FA-"}, 90.0)
PEANO: Final = Rules("X", {"X": "XFYFX+F+YFXFY-F-XFYFX", "Y": "YFXFY-F-XFYFX+F+YFXFY"}, 90.0)
GOSPER: Final = Rules("F", {"F": "F-G--G+F++FF+G-", "G": "+F-GG--G-F++F+G"}, 60.0, draws="FG")


@dataclass(frozen=True)
class Folds:
    """Settings of the pattern."""

    seed: int = settings.seed()
    kind: str = settings.choice(
        "of curve; any: hilbert or gosper, the seed's choice", "any", "any", "hilbert", "peano", "gosper"
    )
    spacing_mm: float = settings.number("from line to line; 0: what suits pen and sheet", 0.0, 0.0, 100.0, "mm")
    roundness: float = settings.number("of its corners, 0 to 1", 1.0, 0.0, 1.0)

    def read(self, source: str, wish: Wish) -> Picture:
        """The pattern in its area; ``source`` is not used."""
        del source
        rng = np.random.default_rng(self.seed)
        kind = str(rng.choice(["hilbert", "gosper"])) if self.kind == "any" else self.kind
        least = distance_mm(self.spacing_mm, wish, pens=3.0, least_mm=min(wish.room_mm) / 70)
        field = {"hilbert": _hilbert_field, "peano": _peano_field, "gosper": _gosper_field}[kind](wish, least)
        line = rounded(field, self.roundness)
        low, high = line.min(axis=0), line.max(axis=0)
        room = np.array(wish.room_mm)
        scale = float(((room - wish.pen_width_mm) / np.maximum(high - low, 1e-9)).min())
        return finished([(line - (low + high) / 2) * scale + room / 2], wish, name="folds", joins=False)


def hilbert(order: int) -> Points:
    """(4^order, 2) float64: centres of the cells in order; from the corner (0, 0) to (2^order - 1, 0)."""
    if order == 0:
        return np.zeros((1, 2))
    line = turtle(HILBERT.rewritten(order), HILBERT)[0]
    return np.abs(np.rint(line))


def _hilbert_field(wish: Wish, spacing: float) -> Points:
    """Two rows of squares, there and back, so that the line nearly closes; the number of columns follows the sheet's
    proportion.
    """
    short, long = sorted(wish.room_mm)
    columns = max(1, round(2 * long / short))
    order = max(1, min(7, int(math.log2(max(short / 2 / spacing, 2)))))
    side = 2**order
    square = hilbert(order)
    if columns == 1:
        return square
    upper = [np.column_stack((square[:, 0] + i * side, side - 1 - square[:, 1])) for i in range(columns)]
    lower = [
        np.column_stack((i * side + side - 1 - square[:, 0], side + square[:, 1])) for i in reversed(range(columns))
    ]
    line = np.concatenate((*upper, *lower))
    return line if wish.room_mm[0] >= wish.room_mm[1] else line[:, ::-1]


def _peano_field(wish: Wish, spacing: float) -> Points:
    """Squares in a row along the longer side: each ends at the corner opposite to its start."""
    short, long = sorted(wish.room_mm)
    order = max(1, min(4, int(math.log(max(short / spacing, 3), 3) + 0.35)))
    squares = max(1, round(long / short))
    one = np.rint(turtle(PEANO.rewritten(order), PEANO)[0])
    one = np.abs(one)
    side = 3**order
    parts = [
        np.column_stack((one[:, 0] if i % 2 == 0 else side - 1 - one[:, 0], one[:, 1] + i * side))
        for i in range(squares)
    ]
    line = np.concatenate(parts)
    return line if wish.room_mm[1] >= wish.room_mm[0] else line[:, ::-1]


def _gosper_field(wish: Wish, spacing: float) -> Points:
    """The flowsnake of the fitting order, about 7^(order / 2) steps wide."""
    order = max(1, min(5, int(math.log(max(min(wish.room_mm) / spacing, 3), math.sqrt(7)))))
    return turtle(GOSPER.rewritten(order), GOSPER)[0]


def rounded(line: Points, roundness: float) -> Points:
    """The line with its corners cut by quadratic curves that start and end at most half a step away."""
    if roundness <= 0 or len(line) < 3:
        return line
    before, corner, after = line[:-2], line[1:-1], line[2:]
    bent = (
        np.abs((corner - before)[:, 0] * (after - corner)[:, 1] - (corner - before)[:, 1] * (after - corner)[:, 0])
        > 1e-9
    )
    t = np.linspace(0.0, 1.0, 7)[None, :, None]
    a = (corner + (before - corner) * roundness / 2)[:, None, :]
    b = (corner + (after - corner) * roundness / 2)[:, None, :]
    curve = (1 - t) ** 2 * a + 2 * t * (1 - t) * corner[:, None, :] + t**2 * b
    parts = [line[:1]]
    for i in range(len(corner)):
        parts.append(curve[i] if bent[i] else corner[i : i + 1])
    parts.append(line[-1:])
    return np.concatenate(parts)
