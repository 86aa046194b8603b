"""Scenes: backgrounds and foregrounds, fitted to the space that the figures take.

A scene gets the box to fill, in paper units with the ground at y = 0, and a random generator, and returns what is
behind and in front of the figures. Figures stand on its ground, float on it, or are in it.

More than 500 lines: it is a table, one short function per scene, with shared helpers.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final

import numpy as np
import shapely

from linewright.sources.words.art import Art, Shape, merged, scale, shift
from linewright.sources.words.curves import Points, arc, smooth
from linewright.sources.words.script import drawn


@dataclass(frozen=True)
class Box:
    """Box that a scene fills."""

    x0: float
    x1: float
    y0: float
    y1: float

    @property
    def width(self) -> float:
        """From left to right."""
        return self.x1 - self.x0

    @property
    def height(self) -> float:
        """From bottom to top."""
        return self.y1 - self.y0

    def at(self, x: float, y: float) -> tuple[float, float]:
        """The point at fractions of the width, and of the height above the ground."""
        return self.x0 + x * self.width, y * self.y1


Paint = Callable[[Box, random.Random], tuple[Art, Art]]


@dataclass(frozen=True)
class Scenery:
    """One scene.

    Parameters
    ----------
    paint : draws what is behind and what is in front.
    words : its names.
    after : prepositions before its name; after others the word means a thing, if there is one.
    afloat : figures float or swim in it.
    sky : it fills only the air, and combines with another scene.
    """

    paint: Paint
    words: tuple[str, ...]
    after: frozenset[str] = field(
        default_factory=lambda: frozenset({"in", "at", "by", "through", "along", "on", "under"})
    )
    afloat: bool = False
    sky: bool = False


def _line(*points: tuple[float, float], soft: bool = False) -> Shape:
    at = np.array(points)
    return Shape((smooth(at) if soft else at,), None, "ground")


def _ring(points: Points) -> Shape:
    return Shape((points,), shapely.polygons(points) if len(points) > 3 else None, "scene")


def _thing(name: str, x: float, y: float, height: float) -> Art:
    from linewright.sources.words.store import things

    art = things()[name].natural()
    x0, y0, x1, _ = art.bounds()
    k = height / art.height
    made = art.moved(shift(-(x0 + x1) / 2, -y0), scale(k), shift(x, y))
    return Art(tuple(Shape(s.lines, s.area, "scene", s.pen) for s in made.shapes))


def _script(text: str, x: float, y: float, k: float) -> Art:
    made = drawn(text).moved(scale(k), shift(x, y))
    return Art(tuple(Shape(s.lines, s.area, "scene") for s in made.shapes))


def _ground(box: Box, rng: random.Random, height: float = 0.0, rough: float = 0.6) -> Art:
    x = np.linspace(box.x0, box.x1, 9)
    y = height + np.array([rng.uniform(-rough, rough) for _ in x])
    return Art((Shape((smooth(np.column_stack((x, y))),), None, "ground"),))


def _waves(box: Box, y: float, rng: random.Random, *, size: float = 3.0, gaps: bool = True) -> Art:
    lines = []
    x = box.x0 + rng.uniform(0, 6)
    while x < box.x1 - 8:
        long = min(rng.uniform(14, 40), box.x1 - x)
        t = np.linspace(0, 1, max(8, int(long)))
        lines.append(np.column_stack((x + t * long, y + size * 0.32 * np.sin(t * long / size * 1.1))))
        x += long + (rng.uniform(6, 26) if gaps else 0)
    return Art(tuple(Shape((line,), None, "ground") for line in lines))


def _sea(box: Box, rng: random.Random) -> tuple[Art, Art]:
    horizon = 0.30 * box.y1
    parts = [Art((_line((box.x0, horizon), (box.x1, horizon)),))]
    parts += [_waves(box, horizon * share, rng, size=1.6 + 2 * (1 - share)) for share in (0.86, 0.66, 0.44)]
    side = rng.choice((0.14, 0.86))
    parts.append(_thing("sailing boat", *box.at(side, 0.29), 0.12 * box.y1))
    parts += [
        _script("s -10,0 -5,5 0,1 5,5 10,0", *box.at(x, y), 0.5) for x, y in ((0.28, 0.84), (0.38, 0.9), (0.72, 0.8))
    ]
    shore = np.column_stack((np.linspace(box.x0, box.x1, 30), 6 + 2.4 * np.sin(np.linspace(0, 9, 30))))
    parts.append(Art((Shape((shore,), None, "ground"),)))
    front = [_script("D 0,0 .5; D 6,-3 .5; D -8,-4 .5; D 14,-1 .5", *box.at(x, 0), 1.0) for x in (0.15, 0.5, 0.82)]
    return merged([*parts, _ground(box, rng)]), merged(front)


def _on_sea(box: Box, rng: random.Random) -> tuple[Art, Art]:
    horizon = 0.22 * box.y1
    behind = [
        Art((_line((box.x0, horizon), (box.x1, horizon)),)),
        *(_waves(box, horizon * s, rng) for s in (0.75, 0.4)),
    ]
    behind += [_script("s -10,0 -5,5 0,1 5,5 10,0", *box.at(x, y), 0.5) for x, y in ((0.2, 0.86), (0.8, 0.8))]
    front = [_waves(box, y, rng, size=3.6, gaps=y < -3) for y in (-1.0, -6.0, -11.0)]
    return merged(behind), merged(front)


def _beach(box: Box, rng: random.Random) -> tuple[Art, Art]:
    behind, front = _sea(box, rng)
    umbrella = _thing("umbrella", *box.at(rng.choice((0.1, 0.9)), 0.03), 0.36 * box.y1)
    star = _thing("starfish", *box.at(0.3, 0), 7.0).moved(shift(0, -9))
    return umbrella.over(behind), star.over(front)


def _harbour(box: Box, rng: random.Random) -> tuple[Art, Art]:
    horizon = 0.26 * box.y1
    houses = []
    x = box.x0
    while x < box.x0 + 0.4 * box.width:
        houses.append(
            _thing(rng.choice(("house", "small house", "barn")), x + 12, horizon, rng.uniform(0.2, 0.28) * box.y1)
        )
        x += 22
    parts = [
        Art((_line((box.x0, horizon), (box.x1, horizon)),)), *houses,
        _thing("lighthouse", *box.at(0.88, 0.255), 0.42 * box.y1), _thing("tugboat", *box.at(0.62, 0.17), 0.24 * box.y1),
        *(_waves(box, y * box.y1, rng) for y in (0.2, 0.13)),
    ]  # fmt: skip
    quay = [_line((box.x0, 6), (box.x1, 6)), _line((box.x0, 0), (box.x1, 0)), _line((box.x0, -10), (box.x1, -10))]
    quay += [_line((x, 0), (x, -10)) for x in np.arange(box.x0 + 9, box.x1, 24)]
    bollards = [_script("S -4,0! -3,8 -6,10 -5,13 5,13 6,10 3,8 4,0!", *box.at(x, 0), 1.0) for x in (0.08, 0.93)]
    return merged([*parts, Art(tuple(quay))]), merged(bollards)


def _moon(box: Box, rng: random.Random) -> tuple[Art, Art]:
    parts = [_stars(box, rng, 14), _thing("earth", *box.at(rng.choice((0.14, 0.86)), 0.7), 0.22 * box.y1)]
    x = np.linspace(box.x0, box.x1, 40)
    hump = 5 + 5 * np.cos((x - (box.x0 + box.x1) / 2) / box.width * math.pi)
    parts.append(Art((Shape((np.column_stack((x, hump - 4)),), None, "ground"),)))
    craters = [Art((Shape((arc(*box.at(rx, 0), w, w * 0.32),), None, "ground"), Shape((arc(*box.at(rx, 0), w * 0.8, w * 0.2, 0, 200, 340),), None, "ground"))).moved(shift(0, y))
               for rx, y, w in ((0.12, -5, 9), (0.4, -9, 6), (0.72, -7, 10), (0.92, -3, 5))]  # fmt: skip
    return merged(parts), merged(craters)


def _planet(box: Box, rng: random.Random) -> tuple[Art, Art]:
    parts = [_stars(box, rng, 12), _thing("planet", *box.at(rng.choice((0.14, 0.86)), 0.68), 0.2 * box.y1)]
    parts += [
        _script(f"L -6,0 -2,{h} 4,{h - 5} 9,0", *box.at(x, 0), 1.0) for x, h in ((0.07, 22), (0.2, 14), (0.9, 26))
    ]
    rocks = [_script("S -8,0! -5,5 2,7 8,0!", *box.at(x, 0), 1.0).moved(shift(0, -7)) for x in (0.3, 0.8)]
    return merged([*parts, _ground(box, rng, rough=2.0)]), merged(rocks)


def _stars(box: Box, rng: random.Random, count: int) -> Art:
    star = "L 0,3 -0.8,0.8 -3,0 -0.8,-0.8 0,-3 0.8,-0.8 3,0 0.8,0.8"
    found = []
    for i in range(count):
        x = box.x0 + (i + rng.uniform(0.2, 0.8)) / count * box.width
        y = rng.uniform(0.48, 0.98) * box.y1
        found.append(_script(star if i % 2 else "D 0,0 .6", x, y, 0.9))
    return merged(found)


def _space(box: Box, rng: random.Random) -> tuple[Art, Art]:
    parts = [_stars(Box(box.x0, box.x1, box.y0, box.y1), rng, 18), _thing("planet", *box.at(0.14, 0.7), 0.22 * box.y1),
             _thing("full moon", *box.at(0.88, 0.16), 0.14 * box.y1), _thing("comet", *box.at(0.85, 0.8), 0.12 * box.y1)]  # fmt: skip
    parts.append(merged(_script("D 0,0 .6", *box.at(rng.random(), rng.uniform(0.02, 0.5)), 1) for _ in range(8)))
    return merged(parts), Art()


def _forest(box: Box, rng: random.Random) -> tuple[Art, Art]:
    trees = []
    for row, (y, high) in enumerate(((0.16, 0.62), (0.08, 0.78))):
        for i in range(6 if row == 0 else 4):
            x = (i + rng.uniform(0.2, 0.8)) / (6 if row == 0 else 4)
            trees.append(
                _thing(
                    rng.choice(("fir tree", "fir tree", "tree")), *box.at(x, y), high * box.y1 * rng.uniform(0.8, 1.1)
                )
            )
    front = [
        _thing("mushroom", *box.at(0.08, 0), 12).moved(shift(0, -5)),
        _tuft(*box.at(0.3, 0)),
        _tuft(*box.at(0.9, 0)),
    ]
    return merged([*trees, _ground(box, rng, 4.0), _ground(box, rng)]), merged(front)


def _tuft(x: float, y: float) -> Art:
    return _script("s -6,0 -7,5 -10,9; s -2,0 -2,7 -3,12; s 2,0 3,6 6,11; s 5,0 7,4 11,7", x, y - 4, 0.9)


def _city(box: Box, rng: random.Random) -> tuple[Art, Art]:
    parts = []
    x = box.x0
    while x < box.x1 - 8:
        wide = min(rng.uniform(22, 36), box.x1 - x)
        high = rng.uniform(0.35, 0.78) * box.y1
        house = [_ring(np.array(((x, 5), (x, high), (x + wide, high), (x + wide, 5), (x, 5))))]
        for wx in np.arange(x + 4, x + wide - 6, 8):
            house += [
                _ring(np.array(((wx, wy), (wx, wy + 6), (wx + 4, wy + 6), (wx + 4, wy), (wx, wy))))
                for wy in np.arange(14, high - 10, 13)
            ]
        parts.append(Art(tuple(house)))
        x += wide
    street = [_line((box.x0, 5), (box.x1, 5)), _line((box.x0, 0), (box.x1, 0)), _line((box.x0, -12), (box.x1, -12))]
    dashes = [_line((x, -6), (x + 12, -6)) for x in np.arange(box.x0 + 6, box.x1 - 10, 26)]
    lamp = _thing("lamp post", *box.at(rng.choice((0.06, 0.94)), 0.03), 0.5 * box.y1)
    return merged([*parts, Art((*street, *dashes)), lamp]), Art()


def _room(box: Box, rng: random.Random) -> tuple[Art, Art]:
    floor = 0.16 * box.y1
    window = box.at(rng.choice((0.14, 0.84)), 0.5)
    w, h = 0.1 * box.width + 8, 0.3 * box.y1
    pane = [_ring(np.array(((window[0] - w / 2, window[1]), (window[0] - w / 2, window[1] + h), (window[0] + w / 2, window[1] + h), (window[0] + w / 2, window[1]), (window[0] - w / 2, window[1])))),
            _line((window[0], window[1]), (window[0], window[1] + h)), _line((window[0] - w / 2, window[1] + h / 2), (window[0] + w / 2, window[1] + h / 2))]  # fmt: skip
    other = box.at(0.84 if window[0] < (box.x0 + box.x1) / 2 else 0.14, 0.55)
    boards = [_line((box.x0, y), (box.x1, y)) for y in (floor, floor + 3)]
    rug = _ring(arc((box.x0 + box.x1) / 2, 1.0, 0.36 * box.width, 6.0))
    rim = Shape((arc((box.x0 + box.x1) / 2, 1.0, 0.33 * box.width, 4.4),), None, "scene")
    return merged([Art((*pane, *boards)), _thing("picture", *other, 0.22 * box.y1), Art((rug, rim))]), Art()


def _kitchen(box: Box, rng: random.Random) -> tuple[Art, Art]:
    floor = 0.12 * box.y1
    high = 0.42 * box.y1
    parts = [Art((_line((box.x0, floor), (box.x1, floor)),))]
    for i, x in enumerate(np.arange(box.x0, box.x1 - 10, 30)):
        parts.append(
            _script(
                "B 0,0 28,36; D 24,22 .9; l 0,30 28,30"
                if i % 3
                else "B 0,0 28,36; B 4,4 20,20,2; O 6,32 1.6; O 14,32 1.6; O 22,32 1.6; l 0,28 28,28",
                x,
                floor,
                high / 38,
            )
        )
    shelf = 0.72 * box.y1
    parts.append(
        Art(
            (
                _line((box.x0 + 6, shelf), (box.x1 - 6, shelf)),
                _line((box.x0 + 6, shelf - 2.4), (box.x1 - 6, shelf - 2.4)),
            )
        )
    )
    for i, name in enumerate(("jar", "teapot", "cup", "bottle", "soup", "jar")):
        parts.append(_thing(name, *box.at(0.1 + 0.16 * i, 0.72), 0.12 * box.y1))
    tiles = [_line((x, floor), (x - 8, -8)) for x in np.arange(box.x0 + 10, box.x1, 24)]
    del rng
    return merged([*parts, Art(tuple(tiles))]), Art()


def _desert(box: Box, rng: random.Random) -> tuple[Art, Art]:
    def dune(base: float, high: float, phase: float) -> Art:
        x = np.linspace(box.x0, box.x1, 30)
        y = base + high * (0.5 + 0.5 * np.sin((x - box.x0) / box.width * math.tau * 1.3 + phase))
        edge = np.column_stack((x, y))
        whole = np.vstack((edge, ((box.x1, -2), (box.x0, -2), edge[0])))
        return Art((Shape((edge,), shapely.polygons(whole), "scene"),))

    sun = _thing("sun", *box.at(0.84, 0.74), 0.22 * box.y1)
    parts = [sun, dune(0.2 * box.y1, 0.12 * box.y1, rng.uniform(0, 6)), dune(0.08 * box.y1, 0.1 * box.y1, rng.uniform(0, 6)),
             _thing("cactus", *box.at(rng.choice((0.07, 0.93)), 0.06), 0.32 * box.y1)]  # fmt: skip
    front = [
        _script("s -8,0 -3,1.4 3,0 8,1.2", *box.at(x, 0), 1.0).moved(shift(0, -6)) for x in (0.1, 0.36, 0.64, 0.88)
    ]
    return merged([*parts, _ground(box, rng)]), merged(front)


def _snow(box: Box, rng: random.Random) -> tuple[Art, Art]:
    flakes = []
    for i in range(16):
        x, y = box.at((i + rng.random()) / 16, rng.uniform(0.15, 0.98))
        flakes.append(
            _script("l 0,-3 0,3; l -2.6,-1.5 2.6,1.5; l -2.6,1.5 2.6,-1.5" if i % 2 else "O 0,0 1.1", x, y, 1.0)
        )
    hills = np.column_stack((np.linspace(box.x0, box.x1, 30), 9 + 7 * np.sin(np.linspace(0.5, 6.5, 30))))
    parts = [
        Art((Shape((hills,), None, "ground"),)),
        _thing("fir tree", *box.at(0.06, 0.08), 0.42 * box.y1),
        _thing("fir tree", *box.at(0.95, 0.06), 0.34 * box.y1),
    ]
    return merged([*flakes, *parts, _ground(box, rng, rough=1.4)]), Art()


def _rain(box: Box, rng: random.Random) -> tuple[Art, Art]:
    lines = []
    for i in range(34):
        x, y = box.at((i + rng.random()) / 34, rng.uniform(0.05, 0.86))
        lines.append(Shape((np.array(((x, y), (x - 2.4, y - 8))),), None, "rain"))
    clouds = merged(_thing("cloud", *box.at(x, 0.86), 0.15 * box.y1) for x in (0.14, 0.5, 0.86))
    puddles = [_script("o 0,0 12,2; o 0,0.3 6,0.9", *box.at(x, 0), 1.0).moved(shift(0, -5)) for x in (0.2, 0.75)]
    return clouds.over(Art(tuple(lines))), merged(puddles)


def _night(box: Box, rng: random.Random) -> tuple[Art, Art]:
    moon = _thing("moon", *box.at(rng.choice((0.1, 0.9)), 0.74), 0.22 * box.y1)
    return merged([_stars(box, rng, 13), moon]), Art()


def _day(box: Box, rng: random.Random) -> tuple[Art, Art]:
    sun = _thing("sun", *box.at(rng.choice((0.1, 0.9)), 0.74), 0.2 * box.y1)
    return merged([sun, _thing("cloud", *box.at(0.5, 0.84), 0.1 * box.y1)]), Art()


def _storm(box: Box, rng: random.Random) -> tuple[Art, Art]:
    behind, front = _rain(box, rng)
    bolts = [_script("L 4,0 -8,-22 -1,-22 -8,-44 12,-16 3,-16 10,0", *box.at(x, 0.86), 0.8) for x in (0.22, 0.8)]
    return merged([*bolts, behind]), front


def _fog(box: Box, rng: random.Random) -> tuple[Art, Art]:
    bands = [_waves(box, y * box.y1, rng, size=7.0) for y in (0.12, 0.24, 0.36, 0.5, 0.64, 0.78, 0.9)]
    return merged(bands), merged([_waves(box, y * box.y1, rng, size=8.0) for y in (0.05, 0.18)])


def _wind(box: Box, rng: random.Random) -> tuple[Art, Art]:
    gust = "s -24,0 0,2 14,2 18,7 13,10 10,7"
    return merged(_script(gust, *box.at(rng.random(), y), rng.uniform(0.7, 1.2)) for y in (0.3, 0.5, 0.68, 0.84)), Art()


def _stage(box: Box, rng: random.Random) -> tuple[Art, Art]:
    x0, x1, top = box.x0, box.x1, box.y1
    w = 0.13 * box.width + 6
    parts: list[Shape] = [_line((x0, 4), (x1, 4)), _line((x0, -8), (x1, -8)), _line((x0, -12), (x1, -12))]
    parts += [_line((x, 4), (x + (x - (x0 + x1) / 2) * 0.06, -8)) for x in np.linspace(x0 + 8, x1 - 8, 12)]
    for side, sign in ((x0, 1.0), (x1, -1.0)):
        edge = smooth(
            np.array(
                (
                    (side, top),
                    (side + sign * w * 1.5, top * 0.86),
                    (side + sign * w, top * 0.5),
                    (side + sign * w * 0.5, top * 0.3),
                    (side + sign * w * 0.9, 0),
                )
            )
        )
        whole = np.vstack((edge, ((side, 0), (side, top))))
        folds = tuple(
            np.array(
                (
                    (side + sign * w * f * 1.3, top * 0.9),
                    (side + sign * w * f * 0.5, top * 0.3),
                    (side + sign * w * f * 0.8, 2),
                )
            )
            for f in (0.25, 0.5, 0.75)
        )
        parts.append(Shape((whole, *(smooth(f) for f in folds)), shapely.polygons(whole), "scene"))
    swags = [arc(x0 + (i + 0.5) * box.width / 7, top, box.width / 14, 0.09 * top, 0, 180, 360) for i in range(7)]
    parts += [Shape((s,), shapely.polygons(np.vstack((s, s[:1]))), "scene") for s in swags]
    parts.append(_line((x0, top), (x1, top)))
    lights = [
        _script("A 0,0 5,5 0,180; l -5,0 5,0", *box.at(x, 0), 1.0).moved(shift(0, -12))
        for x in np.linspace(0.08, 0.92, 7)
    ]
    del rng
    return Art(tuple(parts)), merged(lights)


def _circus(box: Box, rng: random.Random) -> tuple[Art, Art]:
    x0, x1, top = box.x0, box.x1, box.y1
    apex = ((x0 + x1) / 2, top * 1.12)
    ribs = [_line(apex, (x, top * 0.66)) for x in np.linspace(x0, x1, 9)]
    swags = [
        Shape(
            (arc(x0 + (i + 0.5) * box.width / 8, top * 0.66, box.width / 16, 0.06 * top, 0, 180, 360),), None, "scene"
        )
        for i in range(8)
    ]
    ring = [
        Shape((arc((x0 + x1) / 2, 0, box.width * 0.48, 12, 0, 0, 360),), None, "ground"),
        Shape((arc((x0 + x1) / 2, 0, box.width * 0.45, 9, 0, 0, 360),), None, "ground"),
    ]
    del rng
    return Art((*ribs, *swags, *ring)), Art()


def _under_water(box: Box, rng: random.Random) -> tuple[Art, Art]:
    weeds = []
    for x in (0.06, 0.16, 0.88, 0.96):
        weeds.append(_thing("seaweed", *box.at(x, 0), rng.uniform(0.25, 0.42) * box.y1))
    weeds.append(_thing("coral", *box.at(0.8, 0), 0.2 * box.y1))
    bubbles = [
        _script("O 0,0 2; O 4,7 1.4; O -1,13 1", *box.at(rng.random(), rng.uniform(0.3, 0.85)), 1.0) for _ in range(6)
    ]
    fish = [_thing("fish", *box.at(x, y), 9) for x, y in ((0.1, 0.72), (0.18, 0.64), (0.9, 0.58))]
    surface = _waves(box, 0.99 * box.y1, rng, size=4.0, gaps=False)
    front = [
        _thing("starfish", *box.at(0.28, 0), 8).moved(shift(0, -9)),
        _thing("clam", *box.at(0.7, 0), 8).moved(shift(0, -9)),
    ]
    return merged([surface, *bubbles, *fish, *weeds, _ground(box, rng, rough=2.0)]), merged(front)


def _market(box: Box, rng: random.Random) -> tuple[Art, Art]:
    parts = [_thing("kiosk", *box.at(x, 0.07), 0.56 * box.y1) for x in (0.12, 0.5, 0.88)]
    flags = [Shape((smooth(np.array((box.at(0, 0.94), box.at(0.5, 0.86), box.at(1, 0.94)))),), None, "scene")]
    flags += [
        _ring(np.array((box.at(x, 0.88), box.at(x + 0.03, 0.88), box.at(x + 0.015, 0.8), box.at(x, 0.88))))
        for x in np.linspace(0.06, 0.9, 9)
    ]
    front = [
        _thing("basket", *box.at(0.07, 0), 16).moved(shift(0, -8)),
        _thing("box", *box.at(0.94, 0), 15).moved(shift(0, -8)),
    ]
    return merged([Art(tuple(flags)), *parts, _ground(box, rng, 5.0), _ground(box, rng)]), merged(front)


def _garden(box: Box, rng: random.Random) -> tuple[Art, Art]:
    parts = [_thing("fence", *box.at(x, 0.06), 0.2 * box.y1) for x in np.arange(0.08, 1.0, 0.2)]
    parts += [_thing("tree", *box.at(0.9, 0.05), 0.66 * box.y1), _thing("bush", *box.at(0.1, 0.04), 0.22 * box.y1)]
    front = [
        _thing(rng.choice(("flower", "tulip", "flower", "sunflower")), *box.at(x, 0), 20).moved(shift(0, -8))
        for x in (0.04, 0.13, 0.8, 0.9, 0.97)
    ]
    return merged([*parts, _ground(box, rng)]), merged([*front, _tuft(*box.at(0.24, 0)), _tuft(*box.at(0.7, 0))])


def _meadow(box: Box, rng: random.Random) -> tuple[Art, Art]:
    x = np.linspace(box.x0, box.x1, 30)
    hill = np.column_stack((x, 0.14 * box.y1 + 0.06 * box.y1 * np.sin(np.linspace(0.4, 5, 30))))
    parts = [
        Art((Shape((hill,), None, "ground"),)),
        _thing("tree", *box.at(0.9, 0.14), 0.4 * box.y1),
        _thing("cloud", *box.at(0.22, 0.82), 0.12 * box.y1),
    ]
    front = [_tuft(*box.at(s, 0)) for s in (0.07, 0.3, 0.62, 0.93)] + [
        _thing("flower", *box.at(s, 0), 14).moved(shift(0, -7)) for s in (0.16, 0.8)
    ]
    return merged([*parts, _ground(box, rng)]), merged(front)


def _railway(box: Box, rng: random.Random) -> tuple[Art, Art]:
    rails = [_line((box.x0, y), (box.x1, y)) for y in (0.0, -2.0, -8.0, -10.0)]
    sleepers = [_line((x, -1), (x - 3, -11)) for x in np.arange(box.x0 + 6, box.x1, 11)]
    poles = [_script("l 0,0 0,60; l -7,56 7,56; l -5,50 5,50", *box.at(x, 0.04), box.y1 / 90) for x in (0.06, 0.94)]
    wires = [
        Shape((smooth(np.array((box.at(0.06, y), box.at(0.5, y - 0.05), box.at(0.94, y)))),), None, "scene")
        for y in (0.62, 0.66)
    ]
    signal = _script(
        "l 0,0 0,46; B -5,46 10,22,4; O 0,62 3; O 0,53 3", *box.at(rng.choice((0.16, 0.84)), 0.03), box.y1 / 120
    )
    return merged([*poles, Art(tuple(wires)), signal, Art((*rails, *sleepers))]), Art()


def _mountains(box: Box, rng: random.Random) -> tuple[Art, Art]:
    parts = [_thing("mountain", *box.at(x, 0.06), high * box.y1) for x, high in ((0.2, 0.66), (0.82, 0.74), (0.5, 0.5))]
    trees = [
        _thing("fir tree", *box.at(x, 0.03), rng.uniform(0.12, 0.2) * box.y1)
        for x in (0.04, 0.1, 0.36, 0.66, 0.92, 0.97)
    ]
    return merged([*parts, *trees, _ground(box, rng, rough=1.6)]), Art()


def _sky(box: Box, rng: random.Random) -> tuple[Art, Art]:
    clouds = [
        _thing("cloud", *box.at(x, y), h * box.y1)
        for x, y, h in ((0.14, 0.72, 0.14), (0.84, 0.84, 0.13), (0.9, 0.2, 0.14), (0.12, 0.12, 0.12))
    ]
    birds = [_script("s -10,0 -5,5 0,1 5,5 10,0", *box.at(x, y), 0.5) for x, y in ((0.5, 0.94), (0.58, 0.9))]
    del rng
    return merged([*clouds, *birds]), Art()


def _lake(box: Box, rng: random.Random) -> tuple[Art, Art]:
    far = 0.2 * box.y1
    parts = [
        Art((_line((box.x0, far), (box.x1, far)),)),
        _thing("hill", *box.at(0.3, 0.2), 0.2 * box.y1),
        _thing("fir tree", *box.at(0.9, 0.2), 0.3 * box.y1),
        _thing("fir tree", *box.at(0.82, 0.2), 0.22 * box.y1),
    ]
    parts += [_waves(box, far * s, rng, size=2.4) for s in (0.7, 0.4)]
    front = [
        _waves(box, -1, rng),
        _waves(box, -6, rng),
        _thing("reeds", *box.at(0.05, 0), 0.4 * box.y1).moved(shift(0, -8)),
        _thing("reeds", *box.at(0.95, 0), 0.34 * box.y1).moved(shift(0, -8)),
    ]
    return merged(parts), merged(front)


def _reeds(box: Box, rng: random.Random) -> tuple[Art, Art]:
    behind = [_thing("reeds", *box.at(x, 0.02), rng.uniform(0.6, 0.9) * box.y1) for x in (0.08, 0.3, 0.72, 0.92)]
    front = [_thing("reeds", *box.at(x, 0), rng.uniform(0.25, 0.36) * box.y1).moved(shift(0, -8)) for x in (0.04, 0.96)]
    return merged([*behind, _waves(box, 3, rng)]), merged([*front, _waves(box, -5, rng)])


def _street(box: Box, rng: random.Random) -> tuple[Art, Art]:
    parts = []
    x = box.x0 + 4
    while x < box.x1 - 16:
        name = rng.choice(("house", "small house", "house", "church", "kiosk"))
        high = {"house": 0.58, "small house": 0.44, "church": 0.72, "kiosk": 0.4}[name] * box.y1
        made = _thing(name, 0, 0, high)
        parts.append(made.moved(shift(x + made.width / 2, 6)))
        x += made.width + 3
    street = [_line((box.x0, 6), (box.x1, 6)), _line((box.x0, 2.4), (box.x1, 2.4)), _line((box.x0, -12), (box.x1, -12))]
    return merged([*parts, Art(tuple(street))]), _thing(
        "lamp post", *box.at(rng.choice((0.04, 0.96)), 0), 0.5 * box.y1
    ).moved(shift(0, -6))


def _library(box: Box, rng: random.Random) -> tuple[Art, Art]:
    parts = [_thing("bookcase", *box.at(x, 0.06), 0.72 * box.y1) for x in (0.1, 0.36, 0.64, 0.9)]
    return merged([*parts, _ground(box, rng, 5.0, 0.0), _ground(box, rng, 0.0, 0.0)]), Art()


def _jungle(box: Box, rng: random.Random) -> tuple[Art, Art]:
    parts = [_thing("palm tree", *box.at(x, 0.05), rng.uniform(0.6, 0.85) * box.y1) for x in (0.07, 0.3, 0.72, 0.94)]
    vines = [
        Shape((smooth(np.array((box.at(x, 1.0), box.at(x + 0.1, 0.7), box.at(x + 0.22, 0.98)))),), None, "scene")
        for x in (0.04, 0.4, 0.7)
    ]
    front = [_thing("bush", *box.at(x, 0), 18).moved(shift(0, -8)) for x in (0.05, 0.95)]
    return merged([Art(tuple(vines)), *parts, _ground(box, rng)]), merged(
        [*front, _tuft(*box.at(0.25, 0)), _tuft(*box.at(0.7, 0))]
    )


def _ice(box: Box, rng: random.Random) -> tuple[Art, Art]:
    bergs = [
        _script(
            f"L -20,0 -12,{h} -2,{h * 0.7:.0f} 8,{h * 1.1:.0f} 20,0; l -12,{h} -8,0; l 8,{h * 1.1:.0f} 10,6",
            *box.at(x, 0.1),
            1.0,
        )
        for x, h in ((0.12, 34), (0.86, 42))
    ]
    floe = _ring(
        np.array(
            (
                box.at(0.04, 0.045),
                box.at(0.96, 0.045),
                (box.at(0.99, 0)[0], -6),
                (box.at(0.9, 0)[0], -10),
                (box.at(0.08, 0)[0], -10),
                (box.at(0.01, 0)[0], -5),
                box.at(0.04, 0.045),
            )
        )
    )
    return merged([*bergs, _waves(box, 8, rng), Art((floe,))]), _waves(box, -14, rng)


def _bed_room(box: Box, rng: random.Random) -> tuple[Art, Art]:
    behind, front = _room(box, rng)
    return merged([behind, _thing("lamp", *box.at(0.95, 0.03), 0.34 * box.y1)]), front


def _farm(box: Box, rng: random.Random) -> tuple[Art, Art]:
    parts = [
        _thing("barn", *box.at(0.14, 0.08), 0.5 * box.y1),
        _thing("fence", *box.at(0.5, 0.06), 0.16 * box.y1),
        _thing("fence", *box.at(0.74, 0.06), 0.16 * box.y1),
        _thing("windmill", *box.at(0.9, 0.1), 0.56 * box.y1),
    ]
    return merged([*parts, _ground(box, rng)]), merged([_tuft(*box.at(0.2, 0)), _tuft(*box.at(0.8, 0))])


def _dream_clouds(box: Box, rng: random.Random) -> tuple[Art, Art]:
    front = [_thing("cloud", *box.at(x, 0), 22).moved(shift(0, -12)) for x in (0.1, 0.36, 0.64, 0.9)]
    behind, _ = _sky(box, rng)
    return behind, merged(front)


_OUT: Final = frozenset(
    {"in", "at", "by", "through", "along", "during", "on", "under", "among", "over", "before", "behind"}
)
SCENES: Final[dict[str, Scenery]] = {
    "sea": Scenery(_sea, ("sea", "seaside", "ocean", "shore", "coast", "seashore", "water", "bay"), frozenset({"by", "at", "along", "on shore"})),
    "on the sea": Scenery(_on_sea, ("sea", "ocean", "water", "waves", "high sea", "open sea", "river", "stream"), frozenset({"on", "in", "along", "over"}), afloat=True),
    "beach": Scenery(_beach, ("beach", "sand", "sandbank"), _OUT),
    "harbour": Scenery(_harbour, ("harbour", "harbor", "port", "quay", "docks", "dock", "quayside", "marina"), _OUT),
    "moon": Scenery(_moon, ("moon",), frozenset({"on"})),
    "planet": Scenery(_planet, ("planet", "mars", "another planet", "venus", "strange planet"), frozenset({"on"})),
    "space": Scenery(_space, ("space", "outer space", "universe", "stars", "galaxy"), _OUT),
    "forest": Scenery(_forest, ("forest", "wood", "woods", "woodland", "trees"), _OUT),
    "jungle": Scenery(_jungle, ("jungle", "rainforest", "tropics"), _OUT),
    "city": Scenery(_city, ("city", "town", "big city", "rooftops", "downtown"), _OUT),
    "street": Scenery(_street, ("street", "road", "path", "pavement", "village", "square", "town square", "lane", "alley"), _OUT),
    "room": Scenery(_room, ("room", "living room", "sitting room", "parlour", "house interior", "classroom", "office"), _OUT),
    "bedroom": Scenery(_bed_room, ("bedroom", "nursery"), _OUT),
    "kitchen": Scenery(_kitchen, ("kitchen", "restaurant", "cafe", "café", "bakery"), _OUT),
    "library": Scenery(_library, ("library", "bookshop", "study"), _OUT),
    "desert": Scenery(_desert, ("desert", "sahara", "dunes"), _OUT),
    "snow": Scenery(_snow, ("snow", "winter", "snowfall", "blizzard", "snowstorm"), _OUT),
    "ice": Scenery(_ice, ("ice", "arctic", "antarctica", "south pole", "north pole", "iceberg", "ice floe"), _OUT),
    "rain": Scenery(_rain, ("rain", "drizzle", "shower of rain"), frozenset({"in", "through", "during", "under"}), sky=True),
    "storm": Scenery(_storm, ("storm", "thunderstorm", "tempest", "gale"), frozenset({"in", "through", "during"}), sky=True),
    "night": Scenery(_night, ("night", "midnight", "moonlight", "starlight", "dusk", "starry sky", "darkness", "dark", "evening"), _OUT | {"by"}, sky=True),
    "day": Scenery(_day, ("sunshine", "dawn", "noon", "daylight", "summer", "sunset", "sunrise", "sunny day", "midday", "morning", "day", "afternoon"), _OUT, sky=True),
    "fog": Scenery(_fog, ("fog", "mist"), _OUT, sky=True),
    "wind": Scenery(_wind, ("wind", "breeze"), frozenset({"in", "through", "during"}), sky=True),
    "stage": Scenery(_stage, ("stage", "theatre", "theater", "opera", "concert", "concert hall", "opera house", "ballroom"), frozenset({"in", "at", "on", "during"})),
    "circus": Scenery(_circus, ("circus", "circus ring", "big top", "ring"), frozenset({"in", "at"})),
    "under water": Scenery(_under_water, ("sea", "water", "ocean", "waves", "underwater", "sea bed", "bottom of the sea", "seabed"), frozenset({"under", "beneath"}), afloat=True),
    "market": Scenery(_market, ("market", "market square", "market place", "fair", "harbour fair", "marketplace", "fairground", "bazaar"), _OUT),
    "garden": Scenery(_garden, ("garden", "park", "backyard", "orchard", "flower bed", "zoo"), _OUT),
    "meadow": Scenery(_meadow, ("meadow", "field", "grass", "lawn", "pasture", "countryside", "valley", "playground"), _OUT),
    "farm": Scenery(_farm, ("farm", "farmyard"), _OUT),
    "railway": Scenery(_railway, ("railway", "railway line", "railway station", "station", "tracks", "rails", "railroad", "train station", "platform"), _OUT),
    "mountains": Scenery(_mountains, ("mountains", "alps", "hills", "highlands"), _OUT),
    "sky": Scenery(_sky, ("sky", "air", "clouds", "heaven"), frozenset({"in", "through", "among", "across", "along", "above", "over"}), afloat=True),
    "on clouds": Scenery(_dream_clouds, ("clouds",), frozenset({"on"})),
    "lake": Scenery(_lake, ("lake", "pond", "river", "swamp", "lagoon"), frozenset({"on", "in", "by", "at", "along"}), afloat=True),
    "reeds": Scenery(_reeds, ("reeds", "rushes", "marsh"), frozenset({"in", "among", "by", "through"})),
}  # fmt: skip


def scene_of(words: str, preposition: str) -> str:
    """Scene named by a word after a preposition; empty if none."""
    for name, scene in SCENES.items():
        if words in scene.words and preposition in scene.after:
            return name
    return ""


def skies(box: Box, rng: random.Random, names: list[str]) -> tuple[Art, Art]:
    """Several scenes combined, one in front of the other."""
    behind, front = Art(), Art()
    for name in sorted(names, key=lambda name: not SCENES[name].sky):
        one_behind, one_front = SCENES[name].paint(box, rng)
        behind, front = one_behind.over(behind), one_front.over(front)
    return behind, front
