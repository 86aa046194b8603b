"""Islands: a chart of an imaginary archipelago, with contours on land and shore lines in the water."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from linewright.drawing.strokes import Points
from linewright.sources import settings
from linewright.sources.isolines import isolines
from linewright.sources.patterns.finish import finished
from linewright.sources.patterns.noise import Noise
from linewright.sources.picture import Picture, Wish


@dataclass(frozen=True)
class Islands:
    """Settings of the pattern."""

    seed: int = settings.seed()
    levels: int = settings.number("contours from coast to peak", 12, 1, 60)
    sea: float = settings.number("share of the sheet that is water", 0.55, 0.0, 0.95)
    shore_lines: int = settings.number("lines in the water along the coasts", 5, 0, 30)

    def read(self, source: str, wish: Wish) -> Picture:
        """The pattern in its area; ``source`` is not used."""
        del source
        rng = np.random.default_rng(self.seed)
        size = min(wish.room_mm)
        pen = wish.pen_width_mm
        noise = Noise.of(rng, size * 0.62, octaves=4, roughness=0.42)
        step = max(size / 260, 0.4)
        nx, ny = (int(np.ceil(side / step)) + 1 for side in wish.room_mm)
        x, y = np.meshgrid(np.linspace(0, wish.room_mm[0], nx), np.linspace(0, wish.room_mm[1], ny))
        height = noise.at(np.stack((x, y), axis=-1))
        # The land sinks toward the edge, so that most islands are complete.
        rim = np.minimum(np.minimum(x, wish.room_mm[0] - x), np.minimum(y, wish.room_mm[1] - y)) / size
        height = height - 3.0 * np.clip(1 - rim / 0.2, 0, 1) ** 2
        coast = float(np.quantile(height, self.sea))
        peak = float(height.max())
        coast_lines = isolines(height, coast, x[0], y[:, 0])
        strokes = _long(coast_lines, pen)
        below = [strokes]
        for i in range(1, self.levels):
            wish.report("tracing contours", i / (self.levels + 1))
            level = coast + (peak - coast) * i / self.levels
            lines = _long(isolines(height, level, x[0], y[:, 0]), pen)
            # On a steep slope a contour is interrupted where it would touch the one below, as in hand-drawn maps.
            kept = _feathered(lines, [line for level_below in below[-3:] for line in level_below], pen)
            strokes = strokes + kept
            below.append(kept)
        strokes = strokes + _shore(coast_lines, wish, self.shore_lines)
        return finished(strokes, wish, name="islands", joins=False)


def _long(lines: list[Points], pen_width_mm: float) -> list[Points]:
    """Lines above the minimum length."""
    return [line for line in lines if _length(line) > 12 * pen_width_mm]


def _feathered(lines: list[Points], below: list[Points], pen_width_mm: float) -> list[Points]:
    """The parts of contours at least two pens away from the lines below them."""
    if not lines or not below:
        return lines
    taken = shapely.buffer(shapely.union_all([shapely.LineString(line) for line in below]), 1.8 * pen_width_mm)
    kept = shapely.difference([shapely.LineString(line) for line in lines], taken)
    parts = shapely.get_parts(shapely.line_merge(kept))
    return _long([shapely.get_coordinates(part) for part in parts], pen_width_mm)


def _shore(coast_lines: list[Points], wish: Wish, count: int) -> list[Points]:
    """Lines in the water around closed coasts, at increasing distances."""
    rings = [shapely.Polygon(line).buffer(0) for line in coast_lines if len(line) > 3 and (line[0] == line[-1]).all()]
    land = shapely.union_all(rings)
    pen = wish.pen_width_mm
    sheet = shapely.box(0, 0, *wish.room_mm).buffer(-pen / 2)
    strokes: list[Points] = []
    away = 0.0
    for i in range(count):
        away += pen * (2.2 + 0.9 * i)
        cut = shapely.intersection(shapely.boundary(land.buffer(away, quad_segs=12)), sheet)
        for part in shapely.get_parts(shapely.line_merge(cut)):
            if part.geom_type == "LineString" and part.length > 8 * pen:
                strokes.append(shapely.get_coordinates(part))
    return strokes


def _length(line: Points) -> float:
    return float(np.hypot(*np.diff(line, axis=0).T).sum())
