"""Residuals of a fit by place: arrows on the sheet, enlarged."""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from linewright.drawing.strokes import Points
from linewright.pictures.scene import BORDER_MM, Ink, Label, Scene, Table
from linewright.sheet.sizes import Sheet

ARROW_MM: Final = 12.0
"""Length of the longest arrow: below the distance of the crosses, so that arrows do not overlap."""
COLOUR: Final = "#b4552d"
HEAD: Final = 0.3
"""Length of an arrow's head, in arrow lengths."""


def residual_map(sheet: Sheet, places_mm: Points, off_mm: Points) -> Scene:
    """Deviations of the marks that a fit does not explain.

    Parameters
    ----------
    sheet : the sheet they were drawn on.
    places_mm : (m, 2) float64, sheet mm, m >= 1: the marks.
    off_mm : (m, 2) float64, mm: deviation of each.
    """
    table = Table(sheet)
    longest_mm = float(np.hypot(*off_mm.T).max())
    times = _round_below(ARROW_MM / longest_mm) if longest_mm > 0.0 else 1.0
    tails = table.on_canvas(places_mm)
    arrow = off_mm * times
    sides = [
        arrow @ np.array([[c, s], [-s, c]])
        for c, s in ((-math.cos(0.4), math.sin(0.4)), (-math.cos(0.4), -math.sin(0.4)))
    ]
    tips = tails + arrow
    # One stroke per mark: tail, tip, and the two ends of the head around the tip.
    strokes = np.stack([tails, tips, tips + HEAD * sides[0], tips, tips + HEAD * sides[1]], axis=1).reshape(-1, 2)
    arrows = Ink("arrows", COLOUR, 0.35, strokes, np.arange(0, len(strokes) + 1, 5))
    marks = Ink("marks", COLOUR, 1.0, tails, np.arange(len(tails) + 1))
    words = f"arrows {times:g} times as long as what is left; the longest stands for {longest_mm:.3f} mm"
    label = Label(words, BORDER_MM, table.footer_top_mm - BORDER_MM + 4.4)
    return Scene(table.width_mm, table.height_mm, (*table.ground(), marks, arrows, label), "what is left")


def _round_below(value: float) -> float:
    """The next of 1, 2, 5, 10, 20 .. at or below a positive value."""
    power = 10.0 ** math.floor(math.log10(value))
    return max(step * power for step in (1.0, 2.0, 5.0) if step * power <= value)
