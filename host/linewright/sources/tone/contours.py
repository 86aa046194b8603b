"""Tone contours: lines of equal tone, like contour lines on a map.

A contour passes where the picture, interpolated linearly between pixel centres, crosses a level.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely

from linewright.drawing.strokes import Points
from linewright.sources import settings
from linewright.sources.isolines import isolines
from linewright.sources.tone.field import Field
from linewright.sources.tone.hatching import ranks
from linewright.sources.tone.method import TOLERANCE, Layer, ToneMethod
from linewright.sources.tone.wave import runs

CLEAR: Final = 2
"""Distance of two lines' centres, in cells of half a pen, which leaves half a pen of paper between them."""


@dataclass(frozen=True)
class Contours(ToneMethod):
    """Lines of equal tone."""

    contrast: str = settings.choice(  # the tiles of adaptive contrast would show in even skies
        "adaptive: local contrast evened out, edges lifted; stretch: black to white; none: as it is",
        "stretch",
        "adaptive",
        "stretch",
        "none",
    )
    levels: int = settings.number("how many tones", 10, 1, 60)
    spread: str = settings.choice(
        "equal: the same number of pixels between contours; even: contours at even tone steps", "equal", "equal", "even"
    )
    blur: float = settings.number("smoothing before, in pen widths", 2.0, 0.0, 40.0, "pens")
    least: float = settings.number("shorter lines are left out, in pen widths", 16.0, 0.0, 400.0, "pens")

    def strokes(self, layer: Layer) -> Sequence[Points]:
        """Level by level, coarse divisions of the tones first."""
        field = layer.field.smoothed(self.blur * layer.field.pen_mm)
        pen = field.pen_mm
        shares = (np.arange(self.levels) + 0.5) / self.levels
        low, high = float(field.coverage.min()), float(field.coverage.max())
        if high - low < 1 / 255:
            return []
        levels = np.quantile(field.coverage, shares) if self.spread == "equal" else low + shares * (high - low)
        strokes: list[Points] = []
        ground = _Ground(field)
        pixels = [np.arange(float(count)) for count in reversed(field.coverage.shape)]
        # The palest level, the middle one, the quarters and so on, so that coarse steps remain where space is short.
        order = np.argsort(ranks(1 << max(1, self.levels - 1).bit_length())[: self.levels], kind="stable")
        for number, level in enumerate(np.unique(levels)[order[order < len(np.unique(levels))]]):
            layer.report("contours", number / self.levels)
            if not low < level < high:
                continue
            for line in isolines(field.coverage, level, *pixels):
                for points in ground.free((line + 0.5) * field.pixel_mm):
                    shape = shapely.linestrings(points)
                    if shape.length > max(self.least * pen, 1e-6):
                        strokes.append(shapely.get_coordinates(shapely.simplify(shape, TOLERANCE * pen)))
        return strokes


class _Ground:
    """Occupied cells of half a pen: at edges lines of all levels converge and would merge."""

    def __init__(self, field: Field) -> None:
        self.cell = field.pen_mm / 2
        self.taken = np.full((int(field.height_mm / self.cell) + 3, int(field.width_mm / self.cell) + 3), -1)
        self.lines = 0

    def free(self, points_mm: Points) -> list[Points]:
        """The parts of a line that are clear of earlier lines; they are marked as occupied."""
        dense = shapely.get_coordinates(shapely.segmentize(shapely.linestrings(points_mm), self.cell))
        column, row = (dense / self.cell).astype(np.int64).T + 1
        clear = self.taken[row, column] < 0
        parts = [dense[a:b] for a, b in runs(clear, 2)]
        if clear.all():
            parts = [points_mm]
        for dy in range(-CLEAR, CLEAR + 1):
            for dx in range(-CLEAR, CLEAR + 1):
                y, x = np.clip(row + dy, 0, self.taken.shape[0] - 1), np.clip(column + dx, 0, self.taken.shape[1] - 1)
                self.taken[y[clear], x[clear]] = self.lines
        self.lines += 1
        return parts
