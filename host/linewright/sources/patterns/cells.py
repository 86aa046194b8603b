"""Cells: the regions nearest to scattered seeds, each filled with rounded rings, like a dragonfly's wing or a dry
lake bed.

The seeds are evened out by S. P. Lloyd's rule ("Least squares quantization in PCM", IEEE Trans. Inf. Theory 28, 1982):
each moves to the centroid of its region, a few times. Regions are Voronoi's (1908), computed by GEOS.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from linewright.drawing.strokes import Points
from linewright.sources import settings
from linewright.sources.patterns.finish import finished
from linewright.sources.picture import Picture, Wish


@dataclass(frozen=True)
class Cells:
    """Settings of the pattern."""

    seed: int = settings.seed()
    cells: int = settings.number("how many; 0: the seed's choice", 0, 0, 3000)
    even: int = settings.number("how often they are evened out", 2, 0, 50)
    rings: int = settings.number("lines in the largest cell; 0: the seed's choice", 0, 0, 100)

    def read(self, source: str, wish: Wish) -> Picture:
        """The pattern in its area; ``source`` is not used."""
        del source
        rng = np.random.default_rng(self.seed)
        count = self.cells or int(rng.integers(40, 140))
        width, height = wish.room_mm
        seeds = _scattered(rng, count, wish.room_mm)
        for _ in range(self.even):
            regions = voronoi(seeds, wish.room_mm)
            seeds = shapely.get_coordinates(shapely.centroid(regions))
        regions = voronoi(seeds, wish.room_mm)
        pen = wish.pen_width_mm
        radius = float(np.sqrt(width * height / count / np.pi))
        rings = self.rings or int(rng.integers(3, 9))
        step = max(2.2 * pen, radius / (rings + 1))
        strokes = []
        for i, region in enumerate(regions):
            wish.report("filling cells", i / len(regions))
            strokes += _filled(region, first=max(1.2 * pen, step / 2), step=step, rounding=radius * 0.35)
        return finished(strokes, wish, name="cells", joins=False)


def voronoi(seeds_mm: Points, room_mm: tuple[float, float]) -> list[shapely.Polygon]:
    """The Voronoi region of each seed within the area, in the order of the seeds.

    Parameters
    ----------
    seeds_mm : (n, 2) float64, within the area, all different.
    """
    room = shapely.box(0.0, 0.0, *room_mm)
    if len(seeds_mm) == 1:
        return [room]
    points = shapely.MultiPoint(seeds_mm)
    regions = shapely.voronoi_polygons(points, extend_to=room, ordered=True)
    return [shapely.intersection(region, room) for region in regions.geoms]


def _scattered(rng: np.random.Generator, count: int, room_mm: tuple[float, float]) -> Points:
    """Random seeds, denser around one place, so that cells have different sizes."""
    focus = rng.uniform(0.2, 0.8, 2) * room_mm
    found = rng.uniform(0.0, 1.0, (count, 2)) * room_mm
    pull = rng.uniform(0.15, 0.5)
    away = found - focus
    return np.asarray(focus + away * (np.hypot(*(away / max(room_mm)).T)[:, None] ** pull))


def _filled(region: shapely.Polygon, *, first: float, step: float, rounding: float) -> list[Points]:
    """Rings inside a region, each a step further in, with rounded corners."""
    strokes: list[Points] = []
    inset = first
    while True:
        ring = region.buffer(-inset, join_style="mitre")
        if ring.is_empty:
            return strokes
        round_by = min(rounding, float(np.sqrt(ring.area / np.pi)) * 0.6)
        soft = ring.buffer(-round_by).buffer(round_by, quad_segs=24)
        for part in getattr(soft, "geoms", [soft]):
            if not part.is_empty and part.length > 4 * step:
                strokes.append(shapely.get_coordinates(part.exterior))
        inset += step
