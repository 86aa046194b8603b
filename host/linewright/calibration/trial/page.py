"""Marks of trial sheets as strokes: lines, crosses, combs, labels."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from linewright.drawing.strokes import Drawing
from linewright.sources.lettering.faces import alphabet

Floats = NDArray[np.float64]

LABEL_MM: Final = 3.0
"""Height of capitals: the smallest that a 0.5 mm pen writes clearly (ISO 3098 requires ten line widths, so 5 mm, for
drawings to be copied; labels here are only read)."""

CROSS_MM: Final = 3.0
"""Length of a cross' arm: enough to align a ruler's line with it."""

RUN_UP_MM: Final = 6.0
"""Distance of a run-up dash before the first mark of a row, so that the row is approached in one direction: twice the
largest backlash of a rig file."""

CAPITAL_UNITS: Final = 21.0
"""Height of capitals in the font's data."""


class Page:
    """Collects strokes in sheet coordinates, in drawing order."""

    def __init__(self) -> None:
        self.strokes: list[Floats] = []

    def line(self, *points: tuple[float, float]) -> None:
        """A stroke through points, mm."""
        self.strokes.append(np.array(points, dtype=np.float64))

    def upright(self, x: float, y: float, half: float = CROSS_MM) -> None:
        """A vertical line through a place, drawn downward."""
        self.line((x, y - half), (x, y + half))

    def level(self, x: float, y: float, half: float = CROSS_MM) -> None:
        """A horizontal line through a place, drawn to the right."""
        self.line((x - half, y), (x + half, y))

    def crosses(self, x: Floats, y: Floats, half: float = CROSS_MM) -> None:
        """A grid of crosses, every line of which is approached from the left or from above.

        Backlash then shifts all of them equally: vertical lines are drawn row by row from the left, horizontal ones
        column by column from above, each row and column with a run-up before it.
        """
        for at_y in y:
            self.upright(float(x[0]) - RUN_UP_MM, float(at_y), 1.0)
            for at_x in x:
                self.upright(float(at_x), float(at_y), half)
        for at_x in x:
            self.level(float(at_x), float(y[0]) - RUN_UP_MM, 1.0)
            for at_y in y:
                self.level(float(at_x), float(at_y), half)

    def text(self, words: str, x: float, y: float, height: float = LABEL_MM) -> float:
        """Words from (x, y), the left end of their baseline; returns the x of their end."""
        scale = height / CAPITAL_UNITS
        letters = alphabet("futural")
        for sign in words:
            letter = letters[sign]
            self.strokes.extend(stroke * scale + (x, y) for stroke in letter.strokes)
            x += letter.advance * scale
        return x

    def drawing(self) -> Drawing:
        """The collected drawing."""
        return Drawing.from_strokes(self.strokes)
