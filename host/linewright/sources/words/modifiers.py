"""Adjectives: their effects on a drawing.

A modifier takes the drawing of a thing, standing on y = 0, and returns it changed. Signs such as tears and steam are
scaled to the thing's head or body, so that they fit a mouse and a mountain.

More than 500 lines: it is a table, one short function per adjective.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Final

import numpy as np
import shapely
import shapely.ops
from shapely.geometry.base import BaseGeometry

from linewright.sources.words.art import Anchor, Art, Shape, merged, scale, shift, turn
from linewright.sources.words.curves import Points, arc, dot, hatching, outline, solid
from linewright.sources.words.script import drawn

Modifier = Callable[[Art], Art]


def _size(wide: float, high: float | None = None) -> Modifier:
    return lambda art: art.moved(scale(wide, high))


def _main(art: Art) -> int:
    """Index of the shape that takes patterns: tagged ``main``, or the largest."""
    tagged = [i for i, s in enumerate(art.shapes) if s.tag in ("main", "shell") and s.area is not None]
    areas = [(s.area.area if s.area is not None else 0.0) for s in art.shapes]
    return max(tagged or range(len(areas)), key=lambda i: areas[i])


def _patterned(pattern: Callable[[BaseGeometry, float], Sequence[Points]]) -> Modifier:
    """Modifier that draws lines on a thing's largest areas; a pattern's second argument is a tenth of the thing's
    size.
    """

    def change(art: Art) -> Art:
        if not any(s.area is not None for s in art.shapes):
            return art
        unit = math.sqrt(max(art.width * art.height, 1.0)) / 10
        chosen = _main(art)
        least = 0.3 * art.shapes[chosen].area.area  # type: ignore[union-attr]  # chosen for its area
        shapes = []
        for i, shape in enumerate(art.shapes):
            shapes.append(shape)
            big = shape.area is not None and shape.area.area > least and shape.tag not in ("head", "front", "eye")
            if i == chosen or (big and shape.tag in ("main", "leg", "skirt", "skin")):
                inner = shape.area.buffer(-0.12 * unit) if shape.area is not None else shape.area
                cut = [_inside(line, inner) for line in pattern(inner, unit)]
                shapes.append(Shape(tuple(line for lines in cut for line in lines), None, "pattern"))
        return art.with_shapes(shapes)

    return change


def _inside(line: Points, area: BaseGeometry) -> list[Points]:
    cut = shapely.intersection(shapely.linestrings(line), area)
    return [
        shapely.get_coordinates(p) for p in shapely.get_parts(cut) if p.geom_type == "LineString" and p.length > 0.4
    ]


def _grid(area: BaseGeometry, step: float) -> list[tuple[float, float]]:
    """Points of a triangular grid over an area."""
    x0, y0, x1, y1 = area.bounds
    found = []
    for row, y in enumerate(np.arange(y0 + step * 0.6, y1, step * 0.87)):
        found += [(float(x), float(y)) for x in np.arange(x0 + step * (0.5 if row % 2 else 1.0), x1, step)]
    return found


def _at_grid(make: Callable[[float, float, float], Sequence[Points]], step: float) -> Modifier:
    def pattern(area: BaseGeometry, unit: float) -> list[Points]:
        shapely.prepare(area)
        lines: list[Points] = []
        for x, y in _grid(area, step * unit):
            if shapely.contains_xy(area, x, y):
                lines += make(x, y, unit)
        return lines

    return _patterned(pattern)


def _star(x: float, y: float, r: float) -> Points:
    a = np.radians(90 + 36 * np.arange(11))
    radius = np.where(np.arange(11) % 2, 0.42 * r, r)
    return np.column_stack((x + radius * np.cos(a), y + radius * np.sin(a)))


def _heart(x: float, y: float, r: float) -> Points:
    t = np.linspace(0, math.tau, 30)
    return np.column_stack((
        x + r * np.sin(t) ** 3,
        y + r * (13 * np.cos(t) - 5 * np.cos(2 * t) - 2 * np.cos(3 * t) - np.cos(4 * t)) / 15,
    ))  # fmt: skip


def _tufts(x: float, y: float, u: float) -> list[Points]:
    return [np.array(((x - 0.3 * u, y + 0.3 * u), (x, y - 0.3 * u), (x + 0.3 * u, y + 0.3 * u)))]


def _bricks(area: BaseGeometry, unit: float) -> list[Points]:
    x0, y0, x1, y1 = area.bounds
    lines = []
    for row, y in enumerate(np.arange(y0, y1, unit)):
        lines.append(np.array(((x0, y), (x1, y))))
        for x in np.arange(x0 + (unit if row % 2 else 0), x1, 2 * unit):
            lines.append(np.array(((x, y), (x, y + unit))))
    return lines


def _wood(area: BaseGeometry, unit: float) -> list[Points]:
    x0, y0, x1, y1 = area.bounds
    x = np.linspace(x0, x1, 40)
    lines: list[Points] = []
    for i, y in enumerate(np.arange(y0, y1, 0.75 * unit)):
        lines.append(np.column_stack((x, y + 0.16 * unit * np.sin(x / unit * 1.3 + i * 1.7))))
    lines.append(arc((x0 + x1) / 2, (y0 + y1) / 2 + 0.3 * unit, 0.5 * unit, 0.25 * unit))
    return lines


def _knit(area: BaseGeometry, unit: float) -> list[Points]:
    x0, y0, x1, y1 = area.bounds
    lines = []
    for y in np.arange(y0, y1, 0.8 * unit):
        x = np.arange(x0, x1, 0.4 * unit)
        lines.append(np.column_stack((x, y + 0.25 * unit * (np.arange(len(x)) % 2))))
    return lines


def _patches(area: BaseGeometry, unit: float) -> list[Points]:
    lines: list[Points] = []
    for i, (x, y) in enumerate(_grid(area, 2.6 * unit)):
        s, t = 0.9 * unit, math.radians(12 if i % 2 else -15)
        box = np.array(((-s, -s), (s, -s), (s, s), (-s, s), (-s, -s))) @ np.array(
            ((math.cos(t), -math.sin(t)), (math.sin(t), math.cos(t)))
        )
        lines.append(box + (x, y))
        for k in range(4):
            middle = (box[k] + box[k + 1]) / 2
            lines.append(np.array((middle * 0.75, middle * 1.25)) + (x, y))
    return lines


# Signs at places.


def _head_of(art: Art) -> tuple[float, float, float]:
    """Top of a thing's head (x, y), and its width."""
    top = art.place("top")
    return top.x, top.y, max(top.size, 0.12 * art.width)


def sign(art: Art, script: str, place: str, unit: float = 20.0, *, behind: bool = False) -> Art:
    """Place a sign on a drawing; its script is drawn for a place 20 wide."""
    at = art.place(place)
    made = drawn(script).moved(scale(at.size / unit), turn(at.turn), shift(at.x, at.y))
    made = Art(made.shapes)
    return art.over(made) if behind else made.over(art).with_places(**art.places)


def _signed(script: str, place: str, *, behind: bool = False) -> Modifier:
    return lambda art: sign(art, script, place, behind=behind)


def _without(art: Art, tag: str) -> Art:
    return art.with_shapes(s for s in art.shapes if s.tag != tag)


def _eyes(change: Callable[[float, float, float], tuple[list[Points], BaseGeometry | None]]) -> Modifier:
    """Modifier that redraws every eye from its centre and radius."""

    def apply(art: Art) -> Art:
        shapes = []
        for shape in art.shapes:
            if shape.tag == "eye" and shape.area is not None:
                c = shape.area.centroid
                r = max(math.sqrt(shape.area.area / math.pi), 0.03 * art.place("top").size)
                lines, area = change(c.x, c.y, r)
                shapes.append(Shape(tuple(lines), area, "eye", shape.pen))
            else:
                shapes.append(shape)
        return art.with_shapes(shapes)

    return apply


def _mouth(change: Callable[[Anchor], Sequence[Shape]]) -> Modifier:
    """Modifier that redraws the mouth at its place."""

    def apply(art: Art) -> Art:
        at = art.place("mouth")
        rest = [s for s in art.shapes if s.tag != "mouth"]
        last = max((i for i, s in enumerate(art.shapes) if s.tag == "mouth"), default=None)
        if last is None:
            return art.with_shapes((*rest, *change(at)))
        before = [s for s in art.shapes[: last + 1] if s.tag != "mouth"]
        return art.with_shapes((*before, *change(at), *art.shapes[last + 1 :]))

    return apply


def _arc_mouth(start: float, end: float, drop: float, wide: float = 0.5) -> Modifier:
    return _mouth(
        lambda at: [
            Shape((arc(at.x, at.y + drop * at.size, wide * at.size, 0.42 * at.size, 0, start, end),), None, "mouth")
        ]
    )


def _open_mouth(tall: float, wide: float) -> Modifier:
    def change(at: Anchor) -> list[Shape]:
        ring = arc(at.x, at.y, wide * at.size, tall * at.size)
        return [Shape((ring,), shapely.polygons(ring), "mouth")]

    return _mouth(change)


def _closed(x: float, y: float, r: float) -> tuple[list[Points], BaseGeometry | None]:
    w = max(r, 1.4)
    return [arc(x, y + 0.2 * w, 1.3 * w, 1.0 * w, 0, 190, 350)], None


def _wide(x: float, y: float, r: float) -> tuple[list[Points], BaseGeometry | None]:
    big = max(1.9 * r, 2.0) if r < 3 else 1.2 * r
    ring = arc(x, y, big, big)
    return [ring, dot(x, y, big * 0.3)], shapely.polygons(ring)


def _crossed(x: float, y: float, r: float) -> tuple[list[Points], BaseGeometry | None]:
    w = max(r, 1.6) * 1.1
    return [np.array(((x - w, y - w), (x + w, y + w))), np.array(((x - w, y + w), (x + w, y - w)))], None


def _spirals(x: float, y: float, r: float) -> tuple[list[Points], BaseGeometry | None]:
    t = np.linspace(0, 1, 40)
    w = max(r * 1.6, 2.4)
    line = np.column_stack((x + w * t * np.cos(5 * math.pi * t), y + w * t * np.sin(5 * math.pi * t)))
    return [line], shapely.polygons(arc(x, y, w, w))


def _hearts(x: float, y: float, r: float) -> tuple[list[Points], BaseGeometry | None]:
    line = _heart(x, y, max(r * 1.5, 2.2))
    return [line], shapely.polygons(line)


def _one_eye(art: Art) -> Art:
    at = art.place("eyes")
    r = at.size * 0.24
    ring = arc(at.x, at.y, r, r)
    one = Shape((ring, arc(at.x + 0.2 * r, at.y, 0.5 * r, 0.5 * r), dot(at.x + 0.25 * r, at.y, 0.25 * r)),
                shapely.polygons(ring), "eye")  # fmt: skip
    return art.with_shapes((*_without(art, "eye").shapes, one))


def _after(*steps: Modifier) -> Modifier:
    def apply(art: Art) -> Art:
        for step in steps:
            art = step(art)
        return art

    return apply


def _around(script: str, *, share: float = 1.0) -> Modifier:
    """Modifier that stretches a script with a 100 x 100 box over the thing."""

    def apply(art: Art) -> Art:
        x0, y0, x1, y1 = art.bounds()
        over = drawn(script).moved(scale((x1 - x0) / 100 * share, (y1 - y0) / 100 * share), shift((x0 + x1) / 2, y0))
        return Art(over.shapes).over(art).with_places(**art.places)

    return apply


def _rays(art: Art) -> Art:
    x0, y0, x1, y1 = art.bounds()
    cx, cy, rx, ry = (x0 + x1) / 2, (y0 + y1) / 2, (x1 - x0) / 2, (y1 - y0) / 2
    hull = art.silhouette().convex_hull.buffer(0.04 * max(rx, ry) + 1)
    far = max(rx, ry) * 1.45
    lines = []
    for i in range(16):
        a = math.tau * (i + 0.25) / 16
        if math.sin(a) < -0.35:
            continue
        ray = shapely.LineString([(cx, cy), (cx + math.cos(a) * far, cy + math.sin(a) * far)])
        left = shapely.get_parts(shapely.difference(ray, hull))
        if len(left) and left[-1].length > 2:
            end = np.array(left[-1].coords[0]), np.array(left[-1].coords[-1])
            length = float(np.hypot(*(end[1] - end[0])))
            lines.append(np.array((end[0], end[0] + (end[1] - end[0]) / length * min(length, 0.3 * max(rx, ry)))))
    return art.with_shapes((Shape(tuple(lines), None, "sign"), *art.shapes))


def _dashed(on: float, off: float) -> Modifier:
    def apply(art: Art) -> Art:
        unit = math.sqrt(max(art.width * art.height, 1.0)) / 100

        def change(shape: Shape) -> Shape:
            lines: list[Points] = []
            for line in shape.lines:
                whole = shapely.linestrings(line) if len(line) > 1 else None
                if whole is None or shape.tag in ("eye", "mouth"):
                    lines.append(line)
                    continue
                at, long = 0.0, whole.length
                while at < long:
                    piece = shapely.ops.substring(whole, at, min(at + on * unit, long))
                    if piece.length > 0:
                        lines.append(shapely.get_coordinates(piece))
                    at += (on + off) * unit
            return replace(shape, lines=tuple(lines))

        return art.mapped(change)

    return apply


def _furry(art: Art) -> Art:
    """Replace the largest outline by tufts of fur."""
    chosen = _main(art)
    shape = art.shapes[chosen]
    if shape.area is None:
        return art
    unit = math.sqrt(max(art.width * art.height, 1.0)) / 100
    lines = []
    for ring in outline(shape.area):
        whole = shapely.linestrings(ring)
        count = max(12, int(whole.length / (4.4 * unit)))
        at = shapely.get_coordinates(
            shapely.line_interpolate_point(whole, np.linspace(0, 1, 2 * count + 1), normalized=True)
        )
        along = np.gradient(at, axis=0)
        along /= np.maximum(np.hypot(along[:, 0], along[:, 1]), 1e-9)[:, None]
        side = 1.0 if shapely.is_ccw(shapely.linearrings(ring)) else -1.0
        out = np.column_stack((along[:, 1], -along[:, 0])) * side
        lines.append(at + out * np.where(np.arange(len(at)) % 2, 3.0 * unit, 0.0)[:, None])
    shapes = list(art.shapes)
    shapes[chosen] = replace(shape, lines=(*lines, *shape.lines[len(outline(shape.area)) :]))
    return _at_grid(_tufts, 2.4)(art.with_shapes(shapes))


def _cut(art: Art, x_low: float, x_high: float) -> Art:
    """The part between two vertical lines."""
    x0, y0, x1, y1 = art.bounds()
    strip = shapely.box(max(x_low, x0 - 5), y0 - 5, min(x_high, x1 + 5), y1 + 5)

    def change(shape: Shape) -> Shape:
        lines = [part for line in shape.lines if len(line) > 1 for part in _inside(line, strip)]
        area = None if shape.area is None else solid(shape.area.intersection(strip))
        return replace(shape, lines=tuple(lines), area=area)

    return art.mapped(change)


def halves(left: Art, right: Art) -> Art:
    """The left half of one drawing and the right half of another, scaled to equal height, with a stitched seam."""
    factor = left.height / max(right.height, 1e-6)
    right = right.moved(scale(factor))
    a, b = left.bounds(), right.bounds()
    left = left.moved(shift(-(a[0] + a[2]) / 2, -a[1]))
    right = right.moved(shift(-(b[0] + b[2]) / 2, -b[1]))
    whole = merged((_cut(left, -1e9, 0.0), _cut(right, 0.0, 1e9)))
    high = max(left.height, right.height)
    seam = drawn(f"v 0,{0.02 * high:.2f} 0,{0.98 * high:.2f} 9,{0.012 * high:.2f}")
    return Art((*whole.shapes, *seam.shapes), {**left.places, **right.places})


def _upside_down(art: Art) -> Art:
    x0, y0, x1, y1 = art.bounds()
    return art.moved(turn(180), shift(x0 + x1, y0 + y1))


def _tilted(degrees: float) -> Modifier:
    def apply(art: Art) -> Art:
        turned = art.moved(turn(degrees))
        return turned.moved(shift(0, -turned.bounds()[1]))

    return apply


def _floating(art: Art) -> Art:
    """The thing lifted, with its shadow on the ground."""
    x0, _, x1, _ = art.bounds()
    lift = 0.35 * art.height + 6
    cx, wide = (x0 + x1) / 2, (x1 - x0) * 0.3
    shade = Shape((arc(cx, 1.5, wide, 2.0, 0, 0, 360),), None, "shadow")
    return Art((shade, *art.moved(shift(0, lift)).shapes), art.moved(shift(0, lift)).places)


def _two_headed(art: Art) -> Art:
    """The thing with a second head, copied from the shapes around the first."""
    top, mouth = art.place("top"), art.place("mouth")
    x0, _, x1, _ = art.bounds()
    low = min(mouth.y - 0.6 * (top.y - mouth.y), top.y - 0.9 * top.size)
    zone = shapely.box(x0 - 5, low, x1 + 5, top.y + 3 * top.size)
    head = [s for s in art.shapes if s.lines and all(zone.contains(shapely.MultiPoint(line)) for line in s.lines)]
    second = Art(tuple(head)).moved(scale(-0.9, 0.9), shift(2 * top.x * 0.95 - 0.95 * top.size, 0.1 * top.y))
    return art.over(second)


WINGS: Final = (
    "S 0,2! 8,20 22,30 36,26! 32,22 36,16! 30,15 31,8! 24,8 24,1! 12,-4 0,-4!; "
    "S 0,2! -8,20 -22,30 -36,26! -32,22 -36,16! -30,15 -31,8! -24,8 -24,1! -12,-4 0,-4!"
)
TEARS: Final = (
    "S -5,-3! -7,-8 -5,-10 -3,-8 ; S 6,-3! 4,-8 6,-10 8,-8; S -6,-13! -8,-18 -6,-20 -4,-18; S 7,-14! 5,-19 7,-21 9,-19"
)
STEAM: Final = "s -8,6 -3,12 -8,18 -3,24; s 2,8 7,14 2,20 7,26; s 11,6 16,12 11,18 16,24"
SWEAT: Final = "S 16,2! 14,-4 17,-6 20,-3; S 21,8! 19,2 22,0 25,3; S -16,2! -19,-3 -16,-6 -13,-4"
NOTES: Final = "D 14,6 2; l 15.8,6 15.8,18; s 15.8,18 20,16 20,11; D 26,16 2; D 34,19 2; l 27.8,16 27.8,28; l 35.8,19 35.8,31; l 27.8,28 35.8,31"
ZZZ: Final = "l 12,4 18,4; l 18,4 12,-4; l 12,-4 18,-4; l 21,14 30,14; l 30,14 21,3; l 21,3 30,3; l 33,30 45,30; l 45,30 33,15; l 33,15 45,15"
STARS: Final = "L -14,8 -12,12 -8,13 -11,16 -10,20 -14,18 -18,20 -17,16 -20,13 -16,12; L 2,16 4,20 8,21 5,24 6,28 2,26 -2,28 -1,24 -4,21 0,20; L 17,8 19,12 23,13 20,16 21,20 17,18 13,20 14,16 11,13 15,12"
KEY: Final = "B -13,-1.6 10,3.2; O -16,5 5; O -16,-5 5; O -16,5 2.4; O -16,-5 2.4"
FLAMES: Final = (
    "S -50,0! -58,16 -48,26 -50,40! -40,28 -34,12 -36,0!; S -36,0! -40,14 -28,24 -30,44! -20,28 -16,12 -20,0!; "
    "S -18,0! -20,12 -8,20 -8,36! 2,22 4,10 0,0!; S 2,0! 2,14 12,24 12,42! 22,26 24,10 20,0!; "
    "S 20,0! 20,12 30,18 32,34! 40,20 40,8 36,0!; S 36,0! 38,14 48,22 50,42! 58,24 56,10 52,0!; "
    "S -26,76! -32,88 -22,96 -22,108! -12,96 -10,84 -14,76!; S -4,80! -8,94 2,104 4,120! 14,102 14,88 10,80!; "
    "S 22,76! 18,88 28,94 30,106! 38,92 38,82 34,76!"
)
ICICLES: Final = "L -44,52 -40,30 -36,52; L -30,50 -27,34 -23,50; L 24,50 28,28 32,50; L 36,52 40,36 44,52; l -10,104 10,104; l 0,98 0,110; l -6,100 6,108; l -6,108 6,100"
COBWEB: Final = "l -50,100 -20,100; l -50,100 -50,70; l -50,100 -26,76; s -40,100 -42,92 -50,90; s -30,100 -34,84 -50,80; l 18,40 24,34; l 24,34 20,28; l 20,28 28,22; l -20,20 -16,15; l -16,15 -20,10"
CRACK: Final = "l -6,96 2,78; l 2,78 -8,64; l -8,64 6,50; l 6,50 -4,34; l 2,78 14,72; l 6,50 18,44; l -8,64 -20,60"
BANDAGE: Final = "L -11,-3 11,-7 11,-12 -11,-8; l -6,-4 -4,-9; l 0,-5 2,-10; S 10,-6! 16,-4 15,-10! 10,-9"
DIRT: Final = "D -22,20 1; D -10,34 1.4; D 8,26 1; D 20,40 1.3; D -18,52 1; D 2,58 1.2; D 18,66 1; D -6,74 1; S -30,8 -22,12 -16,8 -24,4; S 14,10 22,14 28,9 20,5; s -4,88 2,90; s 12,84 16,88"
DRIPS: Final = "S -34,10! -37,2 -34,-1 -31,2; S -12,4! -15,-4 -12,-7 -9,-4; S 14,6! 11,-2 14,-5 17,-2; S 36,12! 33,4 36,1 39,4; S -44,44! -47,36 -44,33 -41,36; S 46,50! 43,42 46,39 49,42"
STINK: Final = "s -30,104 -24,112 -32,120 -26,128; s 0,106 6,114 -2,122 4,130; s 30,104 36,112 28,120 34,128"
SNOW_ON: Final = "S -10,-2! -12,3 -5,7 4,6 12,3 11,-2! 7,-4 4,-1 0,-4 -4,-1 -7,-4; D -16,10 .8; D 16,12 .8; D 0,16 .8; D -8,14 .6; D 9,15 .6"
SHIVER: Final = "v -56,20 -56,80 6,2; v 56,20 56,80 6,2"
SPEED: Final = "l -84,30 -58,30; l -92,48 -56,48; l -80,66 -58,66"
SPROUT: Final = "s 0,0 1,8 0,14; S 0,14! 8,22 14,18! 8,12; S 0,12! -8,20 -14,16! -8,10"
MEDAL: Final = "L -4,6 4,6 2,-2 -2,-2; O 0,-6 4.4; O 0,-6 2.4"
LEAVES: Final = "S 0,-2! -12,-4 -14,4 -2,6!; S 0,0! 12,-2 14,6 2,8!; S -2,4! -8,14 0,18 4,8!"
PLUGS: Final = "L -60,88 -50,74 -55,74 -48,60 -62,78 -56,78; L 60,88 50,74 55,74 48,60 62,78 56,78"

MODIFIERS: Final[dict[str, Modifier]] = {
    "tiny": _size(0.4), "small": _size(0.68), "big": _size(1.35), "huge": _size(1.9), "tall": _size(0.92, 1.5),
    "short": _size(1.05, 0.68), "fat": _size(1.42, 1.0), "thin": _size(0.62, 1.08), "long": _size(1.6, 0.95),
    "wide": _size(1.5, 1.0),
    "striped": _patterned(lambda area, unit: hatching(area, 1.15 * unit, 70)),
    "spotted": _at_grid(lambda x, y, u: [arc(x, y, 0.5 * u, 0.45 * u)], 1.7),
    "checked": _patterned(lambda area, unit: [*hatching(area, 1.2 * unit, 0), *hatching(area, 1.2 * unit, 90)]),
    "tartan": _patterned(lambda area, unit: [*hatching(area, 1.6 * unit, 0), *hatching(area, 1.6 * unit, 90),
                                             *[line + 0.35 * unit for line in hatching(area, 1.6 * unit, 0)]]),
    "starry": _at_grid(lambda x, y, u: [_star(x, y, 0.62 * u)], 2.0),
    "flowery": _at_grid(lambda x, y, u: [arc(x, y, 0.2 * u, 0.2 * u), *[arc(x + 0.42 * u * math.cos(a), y + 0.42 * u * math.sin(a), 0.24 * u, 0.24 * u) for a in np.arange(5) * math.tau / 5]], 2.3),
    "heart-patterned": _at_grid(lambda x, y, u: [_heart(x, y, 0.55 * u)], 2.0),
    "scaly": _at_grid(lambda x, y, u: [arc(x, y, 0.5 * u, 0.5 * u, 0, 180, 360)], 1.0),
    "furry": _furry,
    "wooden": _patterned(_wood), "brick": _patterned(_bricks), "woollen": _patterned(_knit),
    "patched": _patterned(_patches),
    "black": _patterned(lambda area, unit: hatching(area, 0.34 * unit, 45)),
    "dark": _patterned(lambda area, unit: hatching(area, 0.6 * unit, 45)),
    "leafy": _at_grid(lambda x, y, u: [_leaf(x, y, 0.7 * u)], 1.8),
    "old": _after(_around(COBWEB),),
    "broken": _around(CRACK), "burning": _around(FLAMES), "frozen": _around(ICICLES), "dirty": _around(DIRT),
    "wet": _around(DRIPS), "smelly": _around(STINK), "cold": _around(SHIVER), "electric": _around(PLUGS),
    "shining": _rays, "fast": _around(SPEED),
    "hot": _signed(STEAM, "top"), "magic": _signed(STARS, "top"), "snowy": _signed(SNOW_ON, "top"),
    "musical": _signed(NOTES, "top"), "growing": _signed(SPROUT, "top"), "proud": _after(_signed(MEDAL, "chest"), _arc_mouth(200, 340, 0.2)),
    "happy": _arc_mouth(195, 345, 0.3, 0.6), "sad": _arc_mouth(25, 155, -0.35),
    "angry": _after(_arc_mouth(25, 155, -0.35), _signed("l -9,6 -1.6,2.4; l 1.6,2.4 9,6", "eyes")),
    "surprised": _after(_eyes(_wide), _open_mouth(0.45, 0.28)),
    "frightened": _after(_eyes(_wide), _open_mouth(0.22, 0.45), _signed(SWEAT, "top"), _around(SHIVER)),
    "laughing": _after(_eyes(_closed), _open_mouth(0.42, 0.5)),
    "howling": _open_mouth(0.75, 0.42), "singing": _after(_open_mouth(0.42, 0.3), _signed(NOTES, "top")),
    "shouting": _after(_open_mouth(0.5, 0.42), _signed("l 12,4 22,9; l 13,0 24,0; l 12,-4 22,-9", "mouth")),
    "crying": _after(_arc_mouth(25, 155, -0.35), _signed(TEARS, "eyes")),
    "sleeping": _after(_eyes(_closed), _signed(ZZZ, "top")),
    "tired": _after(_eyes(_closed), _open_mouth(0.3, 0.22), _signed("s -9,-4 -5,-6 -1,-4; s 1,-4 5,-6 9,-4", "eyes")),
    "dead": _after(_eyes(_crossed), _arc_mouth(25, 155, -0.35)),
    "dizzy": _after(_eyes(_spirals), _signed(STARS, "top")),
    "loving": _after(_eyes(_hearts), _signed("S 14,6! 10,12 14,14 17,11 20,14 24,12 20,6 17,2!; S 28,20! 25,25 28,27 30,25 32,27 35,25 32,20 30,17!", "top")),
    "one-eyed": _one_eye,
    "two-headed": _two_headed,
    "winged": _signed(WINGS, "back", behind=True),
    "mechanical": _after(_signed(KEY, "back", behind=True), _at_grid(lambda x, y, u: [arc(x, y, 0.13 * u, 0.13 * u)], 2.6)),
    "bandaged": _signed(BANDAGE, "top"),
    "ghostly": _dashed(5.0, 3.0), "invisible": _dashed(0.8, 4.0),
    "upside down": _upside_down, "leaning": _tilted(-16), "lying": _tilted(90), "floating": _floating,
    "nervous": _after(_signed(SWEAT, "top"), _around(SHIVER)),
    "thirsty": _after(_signed("S -2,0! -2,-9 2,-11 5,-9 5,0!; l 1.4,-1 1.6,-7", "mouth"), _signed(SWEAT, "top")),
    "clever": _signed("O 0,16 6; l -2,9 2,9; l -1.6,7 1.6,7; l -10,20 -14,22; l 10,20 14,22; l 0,25 0,29; l -7,24 -10,28; l 7,24 10,28", "top"),
    "leafed": _signed(LEAVES, "top"),
}  # fmt: skip
"""By name; `lexicon` lists synonyms for each."""

PATTERNS: Final = frozenset(
    {"striped", "spotted", "checked", "tartan", "starry", "flowery", "heart-patterned", "scaly", "furry", "woollen", "patched",
     "black", "dark", "leafy"}
)  # fmt: skip
"""Modifiers that are patterns of cloth."""


def _leaf(x: float, y: float, r: float) -> Points:
    a = np.radians(np.linspace(0, 360, 15))
    return np.column_stack((x + r * 0.8 * np.cos(a), y + r * 0.42 * np.sin(a) * (1 + 0.4 * np.cos(a))))


def modified(art: Art, name: str) -> Art:
    """The drawing changed by one modifier."""
    return MODIFIERS[name](art)
