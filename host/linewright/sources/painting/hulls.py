"""Hulls: the area covered by a stroked line, as closed rings."""

from __future__ import annotations

import math

import numpy as np
import shapely

from linewright.sources.painting.flatten import Floats, Polylines
from linewright.sources.painting.marks import Line
from linewright.sources.painting.matrices import Matrix, inverse, mean_scale

_CAPS = {"butt": "flat", "round": "round", "square": "square"}
_JOINS = {"miter": "mitre", "round": "round", "bevel": "bevel"}


def hull(lines: Polylines, line: Line, matrix: Matrix, tolerance_mm: float, less_mm: float = 0.0) -> list[Floats]:
    """Rings (m, 2) around stroked polylines, mm; the area is enclosed by an odd number of them.

    Parameters
    ----------
    lines : dashes already cut, mm.
    line : width, caps and joins, in own units.
    matrix : own units to mm; a skew changes the width with the direction.
    less_mm : reduction on every side.
    """
    scale = mean_scale(matrix)
    radius = line.width / 2.0
    if radius <= less_mm / scale or not len(lines):
        return []
    a, b, c, d, e, f = inverse(matrix)
    own = lines.points_mm @ np.array(((a, b), (c, d))) + (e, f)
    lengths = np.diff(lines.starts)
    first, last = lines.starts[:-1], lines.starts[1:] - 1
    loops = (lengths > 3) & (lines.points_mm[first] == lines.points_mm[last]).all(axis=1)
    shapes = []
    for i in range(len(lines)):
        points = own[lines.starts[i] : lines.starts[i + 1]]
        if len(points) == 1:
            if line.cap == "square":
                x, y = points[0]
                shapes.append(shapely.box(x - radius, y - radius, x + radius, y + radius))
                continue
            shapes.append(shapely.points(points[0]))
        elif loops[i]:
            shapes.append(shapely.linearrings(points))
        else:
            shapes.append(shapely.linestrings(points))
    per_quarter = max(2, math.ceil(math.pi / 4 / math.acos(max(0.0, 1.0 - tolerance_mm / scale / radius))))
    made = [
        shape
        if shape.geom_type == "Polygon"
        else shapely.buffer(
            shape,
            radius,
            quad_segs=per_quarter,
            cap_style=_CAPS[line.cap] if shape.geom_type != "Point" else "round",
            join_style=_JOINS[line.join],
            mitre_limit=line.miter_limit,
        )
        for shape in shapes
    ]
    whole = made[0] if len(made) == 1 else shapely.union_all(made)
    if less_mm > 0.0:
        whole = shapely.buffer(whole, -less_mm / scale, join_style="mitre")
    return [_mapped(ring, matrix) for ring in rings_of(whole)]


def rings_of(shape: shapely.Geometry) -> list[Floats]:
    """Outer and inner rings of one or more polygons."""
    found = []
    for part in shapely.get_parts(shape):
        if part.geom_type == "Polygon" and not part.is_empty:
            found += [shapely.get_coordinates(ring) for ring in (part.exterior, *part.interiors)]
    return found


def _mapped(ring: Floats, matrix: Matrix) -> Floats:
    a, b, c, d, e, f = matrix
    return np.asarray(ring @ np.array(((a, b), (c, d))) + (e, f))
