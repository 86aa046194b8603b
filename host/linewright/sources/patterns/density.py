"""How densely lines lie: what a pattern asks before it lets the seed's choice stand."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from linewright.drawing.strokes import Points

CELL_PENS: Final = 4.0
"""Side of the squares in which ink is counted, in pen widths: a line and the gap to the next."""

FULL: Final = 0.85
"""Ink by length, in areas of the square, from which on paper is called full: random lines that cover a share of 0.85 on
average leave exp(-0.85), less than half of it, white."""


def overfull(lines: Sequence[Points], pen_width_mm: float) -> float:
    """Share of the ink that lies where paper is full already.

    Parameters
    ----------
    lines : each (n, 2) float64, mm, with pieces no longer than a few pens.
    """
    begin = np.concatenate([line[:-1] for line in lines])
    end = np.concatenate([line[1:] for line in lines])
    length = np.hypot(*(end - begin).T)
    middle = (begin + end) / 2
    cell = CELL_PENS * pen_width_mm
    place = np.floor((middle - middle.min(axis=0)) / cell).astype(np.int64)
    number = place[:, 0] * (int(place[:, 1].max()) + 1) + place[:, 1]
    ink = np.bincount(number, weights=length * pen_width_mm) / cell**2
    full = ink[number] > FULL
    return float(length[full].sum() / max(float(length.sum()), 1e-12))
