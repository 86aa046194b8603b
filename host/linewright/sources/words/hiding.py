"""Hidden-line removal: from shapes to visible strokes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from linewright.sources.words.art import Shape
from linewright.sources.words.curves import Points


@dataclass(frozen=True, eq=False)
class Stroke:
    """A visible line: points (n, 2), pen, tag and index of its shape."""

    points: Points
    pen: str
    tag: str
    number: int


def visible(shapes: Sequence[Shape], shortest: float) -> list[Stroke]:
    """The parts of all lines that no later shape hides, in the order of the shapes.

    Parameters
    ----------
    shortest : shorter remains of cut lines are left out, in units of the shapes.
    """
    owners = [i for i, shape in enumerate(shapes) for line in shape.lines if len(line) > 1]
    lines = np.array([shapely.linestrings(line) for shape in shapes for line in shape.lines if len(line) > 1])
    if not len(lines):
        return []
    owner = np.array(owners)
    whole = np.ones(len(lines), dtype=bool)
    for number, shape in enumerate(shapes):
        if shape.area is None or shape.area.is_empty:
            continue
        before = int(np.searchsorted(owner, number))
        if not before:
            continue
        shapely.prepare(shape.area)
        hit = np.flatnonzero(shapely.intersects(shape.area, lines[:before]))
        if len(hit):
            lines[hit] = shapely.difference(lines[hit], shape.area)
            whole[hit] = False
    found = []
    for i, geometry in enumerate(lines):
        shape = shapes[owners[i]]
        parts = [geometry] if whole[i] else _pieces(geometry)
        for part in parts:
            if whole[i] or part.length >= shortest:
                found.append(Stroke(shapely.get_coordinates(part), shape.pen, shape.tag, owners[i]))
    return found


def _pieces(geometry: shapely.Geometry) -> list[shapely.Geometry]:
    """The remaining pieces of a line, joined where it was cut at its own crossings."""
    parts = [part for part in shapely.get_parts(geometry) if part.geom_type == "LineString" and not part.is_empty]
    if len(parts) < 2:
        return parts
    return list(shapely.get_parts(shapely.line_merge(shapely.multilinestrings(parts))))
