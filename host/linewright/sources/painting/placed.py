"""`Placed`: a painting at its size on the sheet, with flattened curves."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from linewright.errors import SourceError
from linewright.sources.painting.flatten import (
    Floats,
    Ints,
    Polylines,
    extents,
    flatten,
    piece_counts,
    transform_rows,
)
from linewright.sources.painting.limits import FileLimits, refuse
from linewright.sources.painting.marks import Painting
from linewright.sources.painting.segments import ARC, ROW


@dataclass(frozen=True, eq=False)
class Placed:
    """Outlines on the sheet.

    Parameters
    ----------
    painting : their origin.
    zoom : mm on the sheet per mm of the file's page.
    lines : one polyline per outline; ``owner`` is the mark. Mm on the sheet, from the corner of the picture.
    first : (marks + 1,) int64: the first outline of each mark.
    closed : whether each outline returns to its first point.
    """

    painting: Painting
    zoom: float
    lines: Polylines
    first: Ints
    closed: NDArray[np.bool_]

    def of_mark(self, mark: int) -> Polylines:
        """The outlines of one mark."""
        low, high = self.first[mark], self.first[mark + 1]
        starts = self.lines.starts[low : high + 1]
        return Polylines(self.lines.points_mm[starts[0] : starts[-1]], starts - starts[0], self.lines.owner[low:high])


@dataclass(frozen=True, eq=False)
class Curves:
    """Segments of all marks, mm of the page; see `Segments`."""

    kinds: NDArray[np.uint8]
    rows: Floats
    starts: Ints


def on_page(painting: Painting, limits: FileLimits) -> Curves:
    """The curves of a painting in mm of its page.

    Raises
    ------
    SourceError
        A coordinate is not finite or too far out.
    """
    segments = painting.segments
    kinds: NDArray[np.uint8] = np.frombuffer(bytes(segments.kinds), dtype=np.uint8)
    starts: Ints = np.array([*segments.starts, len(kinds)], dtype=np.int64)
    rows = np.array(segments.rows).reshape(-1, ROW)
    if not len(kinds):
        return Curves(kinds, rows, np.zeros(1, dtype=np.int64))
    matrices = np.array([mark.matrix for mark in painting.marks])
    row_owner = np.repeat(np.array(painting.owner, dtype=np.int64), np.diff(starts))
    with np.errstate(over="ignore", invalid="ignore"):  # checked for infinities below
        rows = transform_rows(kinds, rows, matrices[row_owner])
        reach = extents(kinds, rows)
    outside = np.flatnonzero(~(reach <= limits.coordinate_mm) | ~np.isfinite(rows).all(axis=1))
    if len(outside):
        where = painting.describe(painting.marks[row_owner[outside[0]]].origin) or painting.name
        hint = "correct the number or the transform, or delete the element"
        if not np.isfinite(rows[outside[0]]).all():
            raise SourceError("a coordinate is not a finite number", where=where, hint=hint)
        raise refuse(
            "a coordinate is too large", float(reach[outside[0]]), limits.coordinate_mm, "mm", where=where, hint=hint
        )
    return Curves(kinds, rows, starts)


def placed(painting: Painting, curves: Curves, zoom: float, tolerance_mm: float, limits: FileLimits) -> Placed:
    """Flatten curves at their size on the sheet.

    Raises
    ------
    SourceError
        There are too many points.
    """
    owner: Ints = np.array(painting.owner, dtype=np.int64)
    closed = np.array(painting.segments.closed, dtype=bool)
    first = np.searchsorted(owner, np.arange(len(painting.marks) + 1))
    rows = curves.rows * zoom
    arc = curves.kinds == ARC
    rows[arc, 6:] = curves.rows[arc, 6:]
    counts = piece_counts(curves.kinds, rows, tolerance_mm)
    vertices = int(counts.sum()) + len(owner)
    if vertices > limits.vertices:
        raise too_many_points(vertices, limits, painting.name)
    lines = flatten(curves.kinds, rows, curves.starts, closed, counts)
    return Placed(painting, zoom, Polylines(lines.points_mm, lines.starts, owner), first, closed)


def too_many_points(vertices: float, limits: FileLimits, name: str) -> SourceError:
    """The error for a picture with too many points."""
    return refuse(
        "too many points",
        vertices,
        limits.vertices,
        "points",
        where=name,
        hint="allow a larger tolerance, use a wider pen or a smaller size, or simplify the picture",
    )
