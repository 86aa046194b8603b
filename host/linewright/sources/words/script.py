"""Notation of the store's drawings: one shape per line, from back to front, y up, the ground at 0.

======================  ================================================================================
``O x,y rx[,ry[,t]]``    ellipse, turned by t degrees; hides                      (``o``: hides nothing)
``S x,y x,y ...``        smooth closed line through points; hides                 (``s``: open, hides nothing)
``L x,y x,y ...``        polygon; hides                                           (``l``: open, hides nothing)
``B x,y w,h[,r]``        box from its lower left corner, rounded by r; hides
``T x,y,r x,y,r ...``    limb: smooth line with a radius at each point; hides
``A x,y rx,ry a,b``      arc from a to b degrees
``V x,y x,y n,h``        n waves of height h between two points                   (``v``: a zigzag)
``W x,y r n``            wheel with n spokes; hides
``D x,y r``              dot of solid ink
``E x,y r``              eye
``M x,y w[,t]``          mouth, w wide
``@name x,y[,size[,t]]`` a place
======================  ================================================================================

``&push x,y[,k]`` moves what follows, k times as large, until ``&pop``.

A point that ends in ``!`` is a corner of a smooth line. Before a command, ``+`` joins the shape with the one before it,
``/`` keeps only what lies within the last area. After its numbers: ``#gap,angle`` hatches it, ``~`` leaves its
outline away, ``^`` draws it mirrored at x = 0 as well, ``*n,dx,dy`` repeats it, ``:tag`` names it, ``?r`` rounds the
inner corners of a join. Several shapes may share a line, with semicolons between; ``%`` begins a comment.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field, replace
from functools import lru_cache

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from linewright.sources.words.art import Anchor, Art, Shape, scale, shift
from linewright.sources.words.curves import Points, arc, dot, hatching, joined, outline, smooth, solid, tube

_OPTION = re.compile(r"([#*:?])(\S*)")
FILLET = 2.5
"""Units: default radius of the inner corners of joined shapes."""


@dataclass
class _Line:
    """One parsed line of a script."""

    command: str
    numbers: list[list[float]]
    corners: list[bool]
    join: bool = False
    clip: bool = False
    bare: bool = False
    mirror: bool = False
    options: dict[str, list[str]] = field(default_factory=dict)


class ScriptError(ValueError):
    """A script cannot be parsed; raised for mistakes in the store, not in user input."""


@lru_cache(maxsize=4096)
def drawn(text: str) -> Art:
    """The drawing of a script; cached, because drawings are immutable.

    Raises
    ------
    ScriptError : a line of it is wrong.
    """
    shapes: list[Shape] = []
    places: dict[str, Anchor] = {}
    stack: list[tuple[list[Shape], dict[str, Anchor], tuple[Points, Points]]] = []
    for raw in re.split(r"[\n;]", re.sub(r"%.*", "", text)):
        words = raw.split()
        if not words:
            continue
        if words[0] == "&ready":
            shapes += _READY[words[1]].shapes
            places |= _READY[words[1]].places
            continue
        try:
            if words[0] == "&push":
                x, y, *k = (float(n) for n in words[1].split(","))
                stack.append((shapes, places, (scale(k[0] if k else 1.0), shift(x, y))))
                shapes, places = [], {}
                continue
            if words[0] == "&pop":
                inner = Art(tuple(shapes), places)
                shapes, places, steps = stack.pop()
                inner = inner.moved(*steps)
                shapes += inner.shapes
                places |= inner.places
                continue
            if words[0].startswith("@"):
                places[words[0][1:]] = Anchor(*(float(n) for n in ",".join(words[1:]).split(",")))
                continue
            _add(shapes, _taken_apart(words))
        except (ValueError, IndexError, TypeError, KeyError) as error:
            raise ScriptError(f"{raw.strip()!r}: {error}") from error
    return Art(tuple(shapes), places)


_READY: dict[str, Art] = {}


def ready(art: Art) -> str:
    """A script that stands for an existing drawing."""
    word = str(len(_READY))
    _READY[word] = art
    return f"&ready {word}"


def _taken_apart(words: list[str]) -> _Line:
    head, rest = words[0], words[1:]
    line = _Line("", [], [])
    while head[:1] in "+/" and head:
        line.join |= head[0] == "+"
        line.clip |= head[0] == "/"
        head = head[1:]
    line.command = head[:1]
    if head[1:]:
        rest = [head[1:], *rest]
    for word in rest:
        if word == "~":
            line.bare = True
        elif word == "^":
            line.mirror = True
        elif match := _OPTION.fullmatch(word):
            line.options[match[1]] = match[2].split(",")
        else:
            line.corners.append(word.endswith("!"))
            line.numbers.append([float(n) for n in word.rstrip("!").split(",")])
    return line


def _add(shapes: list[Shape], line: _Line) -> None:
    """Add the shapes of a line on top."""
    lines, area = _geometry(line)
    tag = line.options.get(":", [""])[0] or {"E": "eye", "M": "mouth"}.get(line.command, "")
    made = [Shape(tuple(lines), area, tag)]
    if "*" in line.options:
        count, dx, dy = (float(n) for n in line.options["*"])
        made = [shape.moved(shift(i * dx, i * dy)) for shape in made for i in range(int(count))]
    if line.mirror:
        made += [shape.moved(scale(-1, 1)) for shape in made]
    if line.join:
        before = shapes.pop()
        fillet = float(line.options.get("?", [str(FILLET)])[0])
        areas = [shape.area for shape in (before, *made) if shape.area is not None]
        whole = joined(areas, fillet)
        made = [replace(before, lines=tuple(outline(whole)), area=whole)]
    if line.clip:
        within = next(shape.area for shape in reversed(shapes) if shape.area is not None and shape.tag != "clipped")
        made = [_clipped(shape, within) for shape in made]
    if "#" in line.options:
        gap, angle = (float(n) for n in (*line.options["#"], "45")[:2])
        made = [_hatched(shape, gap, angle) for shape in made]
    if line.bare:
        made = [replace(s, lines=s.lines[_rings(s) :]) for s in made]
    shapes += made


def _rings(shape: Shape) -> int:
    """How many of its lines are outline, not hatching."""
    return len(outline(shape.area)) if shape.area is not None else 0


def _hatched(shape: Shape, gap: float, angle: float) -> Shape:
    if shape.area is None:
        return shape
    return replace(shape, lines=(*shape.lines, *hatching(shape.area, gap, angle, inset=0.3)))


def _clipped(shape: Shape, within: BaseGeometry) -> Shape:
    """The part of a shape within an area; its own area is clipped likewise."""
    if shape.area is not None:
        area = solid(shape.area.intersection(within.buffer(-0.1)))  # leave the clipping outline visible
        return replace(shape, lines=tuple(outline(area)), area=area, tag=shape.tag or "clipped")
    lines: list[Points] = []
    for line in shape.lines:
        cut = shapely.intersection(shapely.linestrings(line), within)
        lines += [shapely.get_coordinates(part) for part in shapely.get_parts(cut) if part.geom_type == "LineString"]
    return replace(shape, lines=tuple(lines))


def _geometry(line: _Line) -> tuple[list[Points], BaseGeometry | None]:
    """Lines and area of a command."""
    n, command = line.numbers, line.command
    if command in "Oo":
        x, y, size = n[0][0], n[0][1], n[1]
        rx, ry = size[0], size[1] if len(size) > 1 else size[0]
        ring = arc(x, y, rx, ry, size[2] if len(size) > 2 else 0.0)
        return [ring], _area(ring) if command == "O" else None
    if command in "SsLl":
        points = np.array(n)
        closed = command in "SL"
        if command in "Ll":
            ring = np.vstack((points, points[:1])) if closed else points
        else:
            ring = smooth(points, line.corners, closed=closed)
        return [ring], _area(ring) if closed else None
    if command == "B":
        (x, y), size = n[0], n[1]
        r = min(size[2] if len(size) > 2 else 0.0, size[0] / 2, size[1] / 2)
        box = shapely.box(x + r, y + r, x + size[0] - r, y + size[1] - r)
        area = box.buffer(r, quad_segs=5) if r else box
        return outline(area), area
    if command == "T":
        points = np.array(n)
        area = tube(points[:, :2], points[:, 2].tolist())
        return outline(area), area
    if command == "A":
        (x, y), (rx, ry), (start, end) = n
        return [arc(x, y, rx, ry, 0.0, start, end)], None
    if command in "Vv":
        return [_waves(n, zigzag=command == "v")], None
    if command == "W":
        return _wheel(n)
    if command == "D":
        ring = arc(n[0][0], n[0][1], n[1][0], n[1][0])
        return [dot(n[0][0], n[0][1], n[1][0])], _area(ring)
    if command == "E":
        return eye_lines(n[0][0], n[0][1], n[1][0])
    if command == "M":
        size = n[1]
        return [mouth_line(n[0][0], n[0][1], size[0], size[1] if len(size) > 1 else 0.0)], None
    raise ScriptError(f"there is no command {command!r}")


def eye_lines(x: float, y: float, r: float) -> tuple[list[Points], BaseGeometry | None]:
    """Lines and area of an eye: a dot; from a radius of 2, a ring with a pupil looking ahead."""
    ring = arc(x, y, r, r)
    if r < 2:
        return [dot(x, y, r)], _area(ring)
    return [ring, dot(x + r * 0.3, y, r * 0.45)], _area(ring)


def mouth_line(x: float, y: float, width: float, turn: float = 0.0) -> Points:
    """A smile centred at (x, y)."""
    return arc(x, y + width * 0.35, width / 2, width * 0.45, turn, 200, 340)


def _area(ring: Points) -> BaseGeometry:
    area = shapely.polygons(ring)
    return area if area.is_valid else solid(shapely.make_valid(area))


def _waves(n: list[list[float]], *, zigzag: bool) -> Points:
    (a, b), (count, height) = np.array(n[:2]), n[2]
    count = int(count)
    t = np.linspace(0, 1, count * (2 if zigzag else 10) + 1)
    across = np.array((-(b - a)[1], (b - a)[0])) / max(math.hypot(*(b - a)), 1e-9)
    swing = np.where(np.arange(len(t)) % 2, height, -height) if zigzag else height * np.sin(t * count * math.tau)
    return np.asarray(a + t[:, None] * (b - a) + swing[:, None] * across)


def _wheel(n: list[list[float]]) -> tuple[list[Points], BaseGeometry]:
    (x, y), r, spokes = n[0], n[1][0], int(n[2][0]) if len(n) > 2 else 0
    rim, hub = r * 0.84, r * 0.16
    lines = [arc(x, y, r, r), arc(x, y, rim, rim), arc(x, y, hub, hub)]
    for i in range(spokes):
        a = math.tau * (i + 0.5) / spokes
        c, s = math.cos(a), math.sin(a)
        lines.append(np.array(((x + hub * c, y + hub * s), (x + rim * c, y + rim * s))))
    return lines, _area(lines[0])
