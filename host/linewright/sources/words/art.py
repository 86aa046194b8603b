"""`Art`: a drawing of shapes ordered from back to front, each of which may hide those behind it, with named places."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from linewright.sources.words.curves import Points

Matrix = Points
"""(2, 3) affine matrix; input and output in units."""


def shift(x: float, y: float) -> Matrix:
    """Translation."""
    return np.array(((1.0, 0.0, x), (0.0, 1.0, y)))


def scale(x: float, y: float | None = None) -> Matrix:
    """Scaling about the origin; a negative factor mirrors."""
    return np.array(((x, 0.0, 0.0), (0.0, x if y is None else y, 0.0)))


def turn(degrees: float) -> Matrix:
    """Rotation about the origin, counter-clockwise with y up."""
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    return np.array(((c, -s, 0.0), (s, c, 0.0)))


def chain(*steps: Matrix) -> Matrix:
    """Product of matrices that are applied from left to right."""
    whole = np.eye(3)
    for step in steps:
        whole = np.vstack((step, (0.0, 0.0, 1.0))) @ whole
    return np.asarray(whole[:2])


def _applied(points: Points, m: Matrix) -> Points:
    """Transformed points; all are computed by the same operations, so closed rings stay exactly closed."""
    x, y = points[:, 0], points[:, 1]
    return np.column_stack((m[0, 0] * x + m[0, 1] * y + m[0, 2], m[1, 0] * x + m[1, 1] * y + m[1, 2]))


@dataclass(frozen=True)
class Anchor:
    """Named place: position, size (a width, in units) and rotation."""

    x: float
    y: float
    size: float = 10.0
    turn: float = 0.0

    def moved(self, m: Matrix) -> Anchor:
        """The anchor transformed by a matrix."""
        x, y = (m[:, :2] @ (self.x, self.y) + m[:, 2]).tolist()
        factor = math.sqrt(abs(float(np.linalg.det(m[:, :2]))))
        along = m[:, :2] @ (math.cos(math.radians(self.turn)), math.sin(math.radians(self.turn)))
        angle = math.degrees(math.atan2(along[1], along[0]))
        if np.linalg.det(m[:, :2]) < 0:  # mirrored: "along" points the other way round
            angle = (angle + 180 + 180) % 360 - 180
        return Anchor(x, y, self.size * factor, angle)


@dataclass(frozen=True, eq=False)
class Shape:
    """One shape.

    Parameters
    ----------
    lines : lines to draw, (n, 2) each.
    area : area that hides what is behind; None: hides nothing.
    tag : role of the shape: ``eye``, ``mouth``, ``main``, ``ground``; or empty.
    pen : name of its colour; empty: the first pen.
    keeps : it keeps its pen when the thing is coloured.
    """

    lines: tuple[Points, ...]
    area: BaseGeometry | None = None
    tag: str = ""
    pen: str = ""

    def moved(self, m: Matrix) -> Shape:
        """The shape transformed by a matrix."""
        lines = tuple(_applied(line, m) for line in self.lines)
        area = None if self.area is None else shapely.transform(self.area, lambda p: _applied(p, m))
        return replace(self, lines=lines, area=area)


@dataclass(frozen=True, eq=False)
class Art:
    """Shapes from back to front, and places by name. Things stand on y = 0; y points up."""

    shapes: tuple[Shape, ...] = ()
    places: Mapping[str, Anchor] = field(default_factory=dict)

    def moved(self, *steps: Matrix) -> Art:
        """The drawing transformed by matrices, applied from left to right."""
        m = chain(*steps)
        return Art(
            tuple(shape.moved(m) for shape in self.shapes), {name: at.moved(m) for name, at in self.places.items()}
        )

    def over(self, behind: Art) -> Art:
        """This drawing in front of another; on equal names its own places are kept."""
        return Art((*behind.shapes, *self.shapes), {**behind.places, **self.places})

    def with_shapes(self, shapes: Iterable[Shape]) -> Art:
        """The same places with other shapes."""
        return replace(self, shapes=tuple(shapes))

    def with_places(self, **places: Anchor) -> Art:
        """The drawing with additional places."""
        return replace(self, places={**self.places, **places})

    def mapped(self, change: Callable[[Shape], Shape]) -> Art:
        """The drawing with a function applied to every shape."""
        return self.with_shapes(change(shape) for shape in self.shapes)

    def bounds(self) -> tuple[float, float, float, float]:
        """``(x_min, y_min, x_max, y_max)``; zeros for an empty drawing."""
        points = [line for shape in self.shapes for line in shape.lines if len(line)]
        points += [
            np.array(s.area.bounds).reshape(2, 2)
            for s in self.shapes
            if s.area is not None and not s.lines and not s.area.is_empty
        ]
        if not points:
            return (0.0, 0.0, 0.0, 0.0)
        whole = np.vstack(points)
        (x0, y0), (x1, y1) = whole.min(axis=0).tolist(), whole.max(axis=0).tolist()
        return (x0, y0, x1, y1)

    @property
    def width(self) -> float:
        """From left to right."""
        x0, _, x1, _ = self.bounds()
        return x1 - x0

    @property
    def height(self) -> float:
        """From bottom to top."""
        _, y0, _, y1 = self.bounds()
        return y1 - y0

    def silhouette(self) -> BaseGeometry:
        """Union of all hiding areas."""
        return shapely.union_all([shape.area for shape in self.shapes if shape.area is not None])

    def place(self, name: str) -> Anchor:
        """A place by name, or a default position derived from the drawing."""
        if name in self.places:
            return self.places[name]
        x0, y0, x1, y1 = self.bounds()
        wide, high, middle = x1 - x0, y1 - y0, (x0 + x1) / 2
        return {
            "top": Anchor(middle, y1, wide * 0.5),
            "seat": Anchor(middle, y1, wide * 0.6),
            "in": Anchor(middle, y0 + high * 0.6, wide * 0.6),
            "eyes": Anchor(middle, y0 + high * 0.68, wide * 0.42),
            "mouth": Anchor(middle, y0 + high * 0.52, wide * 0.25),
            "neck": Anchor(middle, y0 + high * 0.45, wide * 0.5),
            "hand": Anchor(x1 - wide * 0.05, y0 + high * 0.45, wide * 0.2),
            "grip": Anchor(middle, y0 + high * 0.5, wide * 0.2),
            "back": Anchor(x0 + wide * 0.15, y0 + high * 0.6, wide * 0.4),
            "feet": Anchor(middle, y0, wide * 0.5),
        }.get(name, Anchor(middle, (y0 + y1) / 2, wide * 0.3))


def merged(arts: Iterable[Art]) -> Art:
    """Several drawings from back to front; on equal names the later place is kept."""
    whole = Art()
    for art in arts:
        whole = art.over(whole)
    return whole
