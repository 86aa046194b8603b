"""Local density of lines, by which a pattern rejects random choices that are too dense."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from linewright.drawing.strokes import Points

CELL_PENS: Final = 4.0
"""Side of the squares in which ink is measured, in pen widths: a line and a gap."""

FULL: Final = 0.85
"""Ink by length, as a share of the square's area, above which paper counts as full: random lines that cover 0.85 on
average leave exp(-0.85), less than half, white."""


def overfull(lines: Sequence[Points], pen_width_mm: float) -> float:
    """Share of the ink in squares that are already full.

    Parameters
    ----------
    lines : each (n, 2) float64, mm, with segments of at most a few pen widths.
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
