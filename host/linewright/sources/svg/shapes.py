"""The basic shapes of SVG (rect, circle, ellipse, line, polyline, polygon) as `Segments`.

Start points and directions follow the "equivalent paths" of SVG 2, chapter 10, so that dashes match other renderers.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from itertools import pairwise

from linewright.sources.painting.segments import Segments
from linewright.sources.svg.grammar import EVERYWHERE
from linewright.sources.svg.lengths import NUMBER, Axis, NotFinite, is_not_finite, length_px

_QUARTER = math.pi / 2.0
_POINTS = re.compile(rf"(?:{NUMBER}[\s,]*+)*+")
_NUMBER = re.compile(NUMBER)


class BadShape(ValueError):
    """An attribute makes the shape undrawable; the message says which one."""


class Attributes:
    """Attributes of one shape, as lengths in user units.

    Parameters
    ----------
    values : attributes and CSS properties by name.
    viewport : width and height of the nearest viewport, user units, for percentages.
    font_px : font size for ``em``, px.
    """

    def __init__(self, values: Mapping[str, str], viewport: tuple[float, float], font_px: float) -> None:
        self.values = values
        self.viewport = viewport
        self.font_px = font_px

    def length(self, name: str, axis: Axis) -> float:
        """A length; 0 if absent.

        Raises
        ------
        BadShape
            The value is no length.
        """
        return self.optional(name, axis) or 0.0

    def optional(self, name: str, axis: Axis) -> float | None:
        """A length; None if absent or ``auto``."""
        text = self.values.get(name)
        if text is None or text == "auto" or text.lower() in EVERYWHERE:
            return None  # geometry is not inherited
        try:
            value = length_px(text, axis, self.viewport, self.font_px)
        except NotFinite as problem:
            raise NotFinite(f"{name}={problem}") from None
        if value is None:
            raise BadShape(f'{name}="{text[:40]}" is not a length')
        return value

    def radius(self, name: str, axis: Axis) -> float | None:
        """Like `optional`, for ``rx`` and ``ry``: a negative one counts as absent (SVG 2, sections 10.2 and 10.4)."""
        value = self.optional(name, axis)
        return None if value is not None and value < 0.0 else value

    def size(self, name: str, axis: Axis) -> float | None:
        """Like `optional`, for a size, which must not be negative."""
        value = self.optional(name, axis)
        if value is not None and value < 0.0:
            raise BadShape(f'{name}="{self.values[name][:40]}" is negative')
        return value


def rectangle(segments: Segments, x: float, y: float, width: float, height: float) -> None:
    """Four sides, starting at the corner ``(x, y)``."""
    right, bottom = x + width, y + height
    segments.begin()
    segments.line(x, y, right, y)
    segments.line(right, y, right, bottom)
    segments.line(right, bottom, x, bottom)
    segments.line(x, bottom, x, y)
    segments.close()


def draw_rect(a: Attributes, segments: Segments) -> None:
    """A rectangle with corners rounded to quarter ellipses."""
    x, y = a.length("x", "x"), a.length("y", "y")
    width, height = a.size("width", "x") or 0.0, a.size("height", "y") or 0.0
    rx, ry = _corner_radii(a, width, height)
    if width == 0.0 or height == 0.0:
        return
    if rx == 0.0 or ry == 0.0:
        rectangle(segments, x, y, width, height)
        return
    right, bottom = x + width, y + height
    segments.begin()
    # A side used up by its corners leaves a segment of length 0, which flattening drops.
    segments.line(x + rx, y, right - rx, y)
    segments.ellipse_piece(right - rx, y + ry, rx, ry, -_QUARTER, _QUARTER)
    segments.line(right, y + ry, right, bottom - ry)
    segments.ellipse_piece(right - rx, bottom - ry, rx, ry, 0.0, _QUARTER)
    segments.line(right - rx, bottom, x + rx, bottom)
    segments.ellipse_piece(x + rx, bottom - ry, rx, ry, _QUARTER, _QUARTER)
    segments.line(x, bottom - ry, x, y + ry)
    segments.ellipse_piece(x + rx, y + ry, rx, ry, 2.0 * _QUARTER, _QUARTER)
    segments.close()


def draw_circle(a: Attributes, segments: Segments) -> None:
    """A full circle, starting at its rightmost point."""
    r = a.size("r", "other") or 0.0
    _ellipse(a.length("cx", "x"), a.length("cy", "y"), r, r, segments)


def draw_ellipse(a: Attributes, segments: Segments) -> None:
    """A full ellipse; a single radius makes a circle (SVG 2, section 10.4)."""
    rx, ry = a.radius("rx", "x"), a.radius("ry", "y")
    first = rx if rx is not None else ry or 0.0
    _ellipse(a.length("cx", "x"), a.length("cy", "y"), first, ry if ry is not None else first, segments)


def draw_line(a: Attributes, segments: Segments) -> None:
    """One straight segment."""
    segments.begin()
    segments.line(a.length("x1", "x"), a.length("y1", "y"), a.length("x2", "x"), a.length("y2", "y"))


def draw_polyline(a: Attributes, segments: Segments) -> str | None:
    """Straight segments through ``points``; returns an error message after drawing the valid part."""
    return _through_points(a, segments, closed=False)


def draw_polygon(a: Attributes, segments: Segments) -> str | None:
    """Like `draw_polyline`, closed."""
    return _through_points(a, segments, closed=True)


def _corner_radii(a: Attributes, width: float, height: float) -> tuple[float, float]:
    """Radii by SVG 2, section 10.2: a single one is used for both, and neither exceeds half a side."""
    given_x, given_y = a.radius("rx", "x"), a.radius("ry", "y")
    rx = given_x if given_x is not None else given_y or 0.0
    ry = given_y if given_y is not None else given_x or 0.0
    return min(rx, width / 2.0), min(ry, height / 2.0)


def _ellipse(cx: float, cy: float, rx: float, ry: float, segments: Segments) -> None:
    if rx > 0.0 and ry > 0.0:
        segments.begin()
        segments.ellipse_piece(cx, cy, rx, ry, 0.0, math.tau)
        segments.close()


def _through_points(a: Attributes, segments: Segments, *, closed: bool) -> str | None:
    text = a.values.get("points", "").strip(" \t\r\n\f,")
    found = _POINTS.match(text)
    valid = found[0] if found is not None else ""
    if is_not_finite(text[len(valid) :]):
        raise NotFinite("points=" + text[len(valid) :].split()[0])
    numbers = [float(number) for number in _NUMBER.findall(valid)]
    problem = None
    if len(valid) < len(text):
        problem = f"points are wrong at character {len(valid) + 1}: found {text[len(valid) : len(valid) + 12]!r}"
    elif len(numbers) % 2:
        problem = f"points has {len(numbers)} numbers: the last x has no y"
    xs, ys = numbers[0::2], numbers[1::2]
    points = list(zip(xs, ys, strict=False))  # an odd number is reported above
    if len(points) >= 2:
        segments.begin()
        for (x0, y0), (x1, y1) in pairwise(points):
            segments.line(x0, y0, x1, y1)
        if closed:
            if points[0] != points[-1]:
                segments.line(*points[-1], *points[0])
            segments.close()
    return problem
