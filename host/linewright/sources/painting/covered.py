"""The area that a whole painting hides of items below it."""

from __future__ import annotations

import numpy as np
import shapely

from linewright.sources.painting.flatten import Floats
from linewright.sources.painting.hulls import rings_of
from linewright.sources.painting.inks import OPAQUE
from linewright.sources.painting.sight import Sight


def covered(sight: Sight) -> list[Floats]:
    """Rings (m, 2), mm on the sheet; the area is enclosed by an odd number of them."""
    shapes = sight.shapes
    areas = []
    for region in shapes.covers.tolist():
        number = int(shapes.mark_of[region])
        mark = sight.marks[number]
        paint = mark.fill if shapes.fill_of(number) == region else None if mark.line is None else mark.line.paint
        if paint is None or paint.alpha < OPAQUE or sight.has_mask(mark.clip):
            continue
        rings = [ring for one in (region, *sight.regions_of(mark.clip)) for ring in shapes.rings_of(one)]
        lines = shapely.union_all([shapely.linestrings(ring) for ring in rings if len(ring) > 1])
        faces = shapely.get_parts(shapely.polygonize([lines]))
        points = np.array([shapely.get_coordinates(shapely.point_on_surface(face))[0] for face in faces]).reshape(-1, 2)
        inside = sight.regions.inside(np.full(len(points), region), points)
        inside[inside] = sight.inside_clip(mark.clip, points[inside])
        areas += [face for face, hides in zip(faces, inside, strict=True) if hides]
    return rings_of(shapely.union_all(areas)) if areas else []
