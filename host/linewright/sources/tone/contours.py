"""Tone contours: lines of equal tone, like those of equal height on a map.

W. Lorensen and H. Cline, "Marching cubes", 1987, in two dimensions (by scikit-image): where the picture, straight
between pixel centres, passes through a level.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely

from linewright.drawing import Points
from linewright.sources import settings
from linewright.sources.tone.method import Layer, ToneMethod

TOLERANCE: Final = 0.06
"""In pens: how far vertices may be left out."""


@dataclass(frozen=True)
class Contours(ToneMethod):
    """Lines of equal tone."""

    levels: int = settings.number("how many tones", 10, 1, 60)
    spread: str = settings.choice(
        "equal: as many pixels between any two tones; even: tones at even distances", "equal", "equal", "even"
    )
    blur: float = settings.number("smoothing before, in pen widths", 2.0, 0.0, 40.0, "pens")
    least: float = settings.number("shorter lines are left out, in pen widths", 16.0, 0.0, 400.0, "pens")

    def strokes(self, layer: Layer) -> Sequence[Points]:
        """Level by level, from pale to dark."""
        from skimage.measure import find_contours

        field = layer.field.smoothed(self.blur * layer.field.pen_mm)
        pen = field.pen_mm
        shares = (np.arange(self.levels) + 0.5) / self.levels
        low, high = float(field.coverage.min()), float(field.coverage.max())
        if high - low < 1 / 255:
            return []
        levels = np.quantile(field.coverage, shares) if self.spread == "equal" else low + shares * (high - low)
        strokes: list[Points] = []
        for number, level in enumerate(np.unique(levels)):
            layer.report("contours", number / self.levels)
            if not low < level < high:
                continue
            for line in find_contours(field.coverage, level):
                points = (line[:, ::-1] + 0.5) * field.pixel_mm
                shape = shapely.linestrings(points)
                if shape.length > max(self.least * pen, 1e-6):
                    strokes.append(shapely.get_coordinates(shapely.simplify(shape, TOLERANCE * pen)))
        return strokes
