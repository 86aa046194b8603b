"""Islands: a chart of an archipelago that is nowhere, with heights on land and the engraver's lines around its coasts.

Contours are traced by marching squares with linear interpolation (W. E. Lorensen and H. E. Cline 1987, in two
dimensions).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from linewright.drawing.strokes import Indices, Points
from linewright.sources import settings
from linewright.sources.patterns.finish import finished
from linewright.sources.patterns.noise import Noise
from linewright.sources.picture import Picture, Wish


@dataclass(frozen=True)
class Islands:
    """Settings."""

    seed: int = settings.seed()
    levels: int = settings.number("contours from coast to peak", 12, 1, 60)
    sea: float = settings.number("share of the sheet that is water", 0.55, 0.0, 0.95)
    shore_lines: int = settings.number("lines in the water along the coasts", 5, 0, 30)

    def read(self, source: str, wish: Wish) -> Picture:
        """The pattern in its room; there is no source."""
        del source
        rng = np.random.default_rng(self.seed)
        size = min(wish.room_mm)
        pen = wish.pen_width_mm
        noise = Noise.of(rng, size * 0.62, octaves=4, roughness=0.42)
        step = max(size / 260, 0.4)
        nx, ny = (int(np.ceil(side / step)) + 1 for side in wish.room_mm)
        x, y = np.meshgrid(np.linspace(0, wish.room_mm[0], nx), np.linspace(0, wish.room_mm[1], ny))
        height = noise.at(np.stack((x, y), axis=-1))
        # Toward the rim the land sinks, so that most islands lie whole on the sheet.
        rim = np.minimum(np.minimum(x, wish.room_mm[0] - x), np.minimum(y, wish.room_mm[1] - y)) / size
        height = height - 3.0 * np.clip(1 - rim / 0.2, 0, 1) ** 2
        coast = float(np.quantile(height, self.sea))
        peak = float(height.max())
        coast_lines = contours(height, coast, x[0], y[:, 0])
        strokes = _long(coast_lines, pen)
        below = [strokes]
        for i in range(1, self.levels):
            wish.report("tracing contours", i / (self.levels + 1))
            level = coast + (peak - coast) * i / self.levels
            lines = _long(contours(height, level, x[0], y[:, 0]), pen)
            # On a steep slope a contour is broken off where it would run into the one below, as draughtsmen do.
            kept = _feathered(lines, [line for level_below in below[-3:] for line in level_below], pen)
            strokes = strokes + kept
            below.append(kept)
        strokes = strokes + _shore(coast_lines, wish, self.shore_lines)
        return finished(strokes, wish, name="islands", joins=False)


def _long(lines: list[Points], pen_width_mm: float) -> list[Points]:
    """Those that are longer than a crumb."""
    return [line for line in lines if _length(line) > 12 * pen_width_mm]


def _feathered(lines: list[Points], below: list[Points], pen_width_mm: float) -> list[Points]:
    """The parts of contours that stay two pens clear of the lines below them."""
    if not lines or not below:
        return lines
    taken = shapely.buffer(shapely.union_all([shapely.LineString(line) for line in below]), 1.8 * pen_width_mm)
    kept = shapely.difference([shapely.LineString(line) for line in lines], taken)
    parts = shapely.get_parts(shapely.line_merge(kept))
    return _long([shapely.get_coordinates(part) for part in parts], pen_width_mm)


def _shore(coast_lines: list[Points], wish: Wish, count: int) -> list[Points]:
    """Lines in the water around closed coasts, further apart from each to the next."""
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


def contours(height: Points, level: float, x: Points, y: Points) -> list[Points]:
    """Lines along which a grid of heights has this level; closed ones end where they begin.

    Parameters
    ----------
    height : (ny, nx) float64 at the places ``x`` (nx,) and ``y`` (ny,).
    """
    above = height > level
    kind = above[:-1, :-1] * 1 + above[:-1, 1:] * 2 + above[1:, 1:] * 4 + above[1:, :-1] * 8
    # Every edge of the grid has a number: the level ones first, then the upright ones; a contour meets it at one place.
    flat, upright = _crossings(height, level, x, y)
    rows_high, columns_high = height.shape
    upright_from = rows_high * (columns_high - 1)
    places = np.concatenate((flat.reshape(-1, 2), upright.reshape(-1, 2)))

    def number(side: str, rows: Indices, columns: Indices) -> Indices:
        if side in ("top", "foot"):
            return np.asarray((rows + (side == "foot")) * (columns_high - 1) + columns)
        return np.asarray(upright_from + rows * columns_high + columns + (side == "right"))

    begins, ends = [], []
    for code, pairs in _PAIRS.items():
        rows, columns = np.nonzero(kind == code)
        for a, b in pairs:
            begins.append(number(a, rows, columns))
            ends.append(number(b, rows, columns))
    return [places[chain] for chain in _chains(np.concatenate(begins).tolist(), np.concatenate(ends).tolist())]


def _chains(begins: list[int], ends: list[int]) -> list[list[int]]:
    """Edges strung together: each pair is a step from one to the next, and each edge has at most two steps."""
    steps: dict[int, list[int]] = {}
    for a, b in zip(begins, ends, strict=True):
        steps.setdefault(a, []).append(b)
        steps.setdefault(b, []).append(a)
    chains = []
    loose = [edge for edge, to in steps.items() if len(to) == 1]
    for start in (*loose, *steps):  # those that end at the rim first; what is left then are rings
        if not steps[start]:
            continue
        chain = [start]
        while steps[chain[-1]]:
            now = chain[-1]
            after = steps[now].pop()
            steps[after].remove(now)
            chain.append(after)
        chains.append(chain)
    return chains


_PAIRS = {
    1: (("left", "top"),), 2: (("top", "right"),), 3: (("left", "right"),), 4: (("right", "foot"),),
    5: (("left", "foot"), ("top", "right")), 6: (("top", "foot"),), 7: (("left", "foot"),), 8: (("foot", "left"),),
    9: (("foot", "top"),), 10: (("left", "top"), ("right", "foot")), 11: (("foot", "right"),), 12: (("right", "left"),),
    13: (("right", "top"),), 14: (("top", "left"),),
}  # fmt: skip
"""Which sides of a square a contour joins, by the corners above it: 1 top left, 2 top right, 4 foot right, 8 foot
left."""


def _crossings(height: Points, level: float, x: Points, y: Points) -> tuple[Points, Points]:
    """Where the level lies on each level edge of the grid, (ny, nx - 1, 2), and each upright one, (ny - 1, nx, 2);
    nonsense where it does not cross the edge.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        across = np.clip((level - height[:, :-1]) / (height[:, 1:] - height[:, :-1]), 0, 1)
        down = np.clip((level - height[:-1, :]) / (height[1:, :] - height[:-1, :]), 0, 1)
    flat = np.stack((x[:-1] + across * np.diff(x), np.broadcast_to(y[:, None], across.shape)), axis=-1)
    upright = np.stack((np.broadcast_to(x, down.shape), y[:-1, None] + down * np.diff(y)[:, None]), axis=-1)
    return flat, upright


def _length(line: Points) -> float:
    return float(np.hypot(*np.diff(line, axis=0).T).sum())
