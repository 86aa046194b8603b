"""Hiding of lower items: removes their strokes where a later item is opaque."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import shapely

from linewright.drawing.crop import PlacedDrawing
from linewright.drawing.strokes import Drawing


def without_covered(placed: PlacedDrawing, cover: shapely.Geometry) -> PlacedDrawing:
    """The strokes, or parts of them, outside an area; each keeps its pen.

    Parameters
    ----------
    cover : polygons, mm, in the coordinates of the strokes.
    """
    if shapely.is_empty(cover) or not len(placed):
        return placed
    shapely.prepare(cover)
    lengths = np.diff(placed.starts)
    stroke = np.repeat(np.arange(len(placed)), lengths)
    dots = lengths == 1
    hit = np.zeros(len(placed), dtype=bool)
    hit[dots] = shapely.intersects(cover, shapely.points(placed.points_mm[placed.starts[:-1][dots]]))
    numbers = np.flatnonzero(~dots)
    on_line = ~dots[stroke]
    lines = shapely.linestrings(placed.points_mm[on_line], indices=np.repeat(np.arange(len(numbers)), lengths[numbers]))
    touched = shapely.intersects(cover, lines)
    hit[numbers[touched]] = True
    if not hit.any():
        return placed
    parts: list[np.ndarray] = []
    pens: list[int] = []
    line_of = dict(zip(numbers.tolist(), lines, strict=True))
    for number in range(len(placed)):
        if not hit[number]:
            parts.append(placed.stroke(number))
            pens.append(int(placed.pen[number]))
        elif not dots[number]:
            left = shapely.line_merge(shapely.difference(line_of[number], cover))
            pieces = [piece for piece in shapely.get_parts(left) if not piece.is_empty]
            parts += [shapely.get_coordinates(piece) for piece in pieces]
            pens += [int(placed.pen[number])] * len(pieces)
    kept = Drawing.from_strokes(parts, pens, placed.pens)
    return replace(placed, points_mm=kept.points_mm, starts=kept.starts, pen=kept.pen)
