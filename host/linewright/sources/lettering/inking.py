"""From a letter on its grid to strokes in mm: rounded curves, filled dots."""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from linewright.drawing.strokes import Points
from linewright.sources.lettering.faces import Glyph
from linewright.sources.lettering.rounding import rounded

TOLERANCE_MM: Final = 0.02
"""Deviation of a letter from its rounded curves; a tenth of the finest pen line."""

DOT_UNITS: Final = 3.1
"""Closed strokes up to this size are dots: the data has full stops as diamonds two units wide, up to three nested ones
in its heavier alphabets."""


def inked(letter: Glyph, scale: float, pen_width_mm: float) -> list[Points]:
    """Strokes of a letter in mm, at its own origin.

    Parameters
    ----------
    scale : mm per grid unit.
    """
    if letter.final:
        return [stroke * scale for stroke in letter.strokes]
    strokes = []
    dots: list[tuple[float, float, float]] = []
    for stroke in letter.strokes:
        size = np.ptp(stroke, axis=0)
        if (stroke[0] == stroke[-1]).all() and size.max() <= DOT_UNITS and size.min() >= 0.6 * size.max():
            x, y = (stroke.min(axis=0) + stroke.max(axis=0)) / 2
            dots.append((float(size.max()) / 2, float(x), float(y)))
        else:
            strokes.append(rounded(stroke, tolerance_units=TOLERANCE_MM / scale) * scale)
    for i, (radius, x, y) in enumerate(sorted(dots, reverse=True)):
        # Of several nested ones, only the largest.
        if not any(math.hypot(x - ox, y - oy) < outer for outer, ox, oy in sorted(dots, reverse=True)[:i]):
            strokes.append(_dot(x * scale, y * scale, radius * scale, pen_width_mm))
    return strokes


def _dot(x: float, y: float, radius: float, pen_width_mm: float) -> Points:
    """A filled disc as one stroke: a spiral with turns a pen width apart, then its edge."""
    edge = max(radius, 0.05)
    turns = max(math.ceil((edge - pen_width_mm / 2) / pen_width_mm), 0)
    per_turn = max(8, math.ceil(math.pi / math.acos(1 - min(TOLERANCE_MM / edge, 0.5))))
    turn = np.arange((turns + 1) * per_turn + 1) / per_turn
    reach = edge * (np.minimum(turn / turns, 1.0) if turns else np.ones_like(turn))
    return np.column_stack((x + reach * np.cos(turn * math.tau), y + reach * np.sin(turn * math.tau)))
