"""Things inside other things: in a boat, house, hat or bottle, at windows, in a picture or a thought bubble."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import shapely

from linewright.sources.words.art import Anchor, Art, Shape, scale, shift, turn
from linewright.sources.words.curves import arc, outline, solid
from linewright.sources.words.groups import Group, fitted, grounded, joined
from linewright.sources.words.store.entry import Thing


def at_windows(one: Group, car: Group, wanted: int) -> Group:
    """Figures at ``wanted`` windows: the upper part, cut off by the frame. A window is at most twice as high as
    wide.
    """
    panes = [car.art.places[f"pane{i}"] for i in range(1, 9) if f"pane{i}" in car.art.places][:wanted]
    found: list[Shape] = []
    for pane in panes:
        x0, y0, x1, y1 = one.art.bounds()
        hip = one.art.places.get("hip")
        low = y0 if hip is None else hip.y
        eyes = one.art.places.get("eyes")
        if hip is None and eyes is not None and y1 - y0 > 4.5 * eyes.size:  # of a giraffe, the head
            low = eyes.y - 1.5 * eyes.size
            x0, x1 = eyes.x - 1.6 * eyes.size, eyes.x + 1.6 * eyes.size
        k = min(0.96 * pane.size / max(x1 - x0, 1.0), 1.0 * pane.size / max(y1 - low, 1.0))
        k = max(k, 0.8 * pane.size / max(y1 - low, 1.0))
        art = one.art.moved(scale(k))
        x0, _, x1, _ = art.bounds()
        middle = art.place("eyes").x if "eyes" in art.places and x1 - x0 > pane.size else (x0 + x1) / 2
        frame = shapely.box(pane.x - 0.48 * pane.size, pane.y, pane.x + 0.48 * pane.size, pane.y + 1.02 * pane.size)
        moved = art.moved(shift(pane.x - middle, pane.y - k * low))
        for shape in moved.shapes:
            lines = [
                shapely.get_coordinates(part)
                for line in shape.lines if len(line) > 1
                for part in shapely.get_parts(shapely.intersection(shapely.linestrings(line), frame)) if part.length > 0.2
            ]  # fmt: skip
            area = None if shape.area is None else solid(shape.area.intersection(frame))
            found.append(replace(shape, lines=tuple(lines), area=area))
    return replace(car, art=Art((*car.art.shapes, *found), car.art.places))


def housed(me: Group, house: Group) -> Group:
    """A house in place of the shell."""
    at = me.art.place("shell")
    a, b, c, _ = house.art.bounds()
    home = house.art.moved(shift(-(a + c) / 2, -b), scale(1.15 * at.size / max(c - a, 1.0)), shift(at.x, at.y))
    first = next(i for i, s in enumerate(me.art.shapes) if s.tag == "shell")
    shapes = [s for s in me.art.shapes if s.tag != "shell"]
    return replace(me, art=Art((*home.shapes, *shapes[:first], *shapes[first:]), me.art.places))


def inside(me: Group, container: Group, *, lie: bool = False) -> Group:
    """A group inside a container; shapes tagged ``front`` hide its lower half."""
    room = container.art.place("in")
    art = me.art
    if lie and "lie" in container.art.places:
        room = container.art.place("lie")
        if art.height > art.width:
            art = grounded(art.moved(turn(90)), keep_below=False)
        k = min(1.0, 1.9 * room.size / max(art.width, 1.0))
        art = art.moved(scale(k))
        x0, y0, _, _ = art.bounds()
        art = art.moved(shift(room.x - x0 - 8, room.y - y0 - 3))
    else:
        seen = _shows(container)
        lies = seen and container.art.height > 1.8 * container.art.width and art.width > art.height
        if lies:
            container = replace(container, art=grounded(container.art.moved(turn(-90)), keep_below=False))
            room = container.art.place("in")
        wide = art.width
        # Arms may hang over a rim; a group without arms fits into the opening, and behind a glass wall all of it does.
        spare = 1.5 if "hip" in art.places else 1.9 if lies else 0.8 if seen else 1.25
        if wide > spare * room.size:
            grow = min(wide / (spare * room.size), 1.9)
            container = replace(container, art=container.art.moved(scale(grow)))
            room = container.art.place("in")
            art = art.moved(scale(max(min(1.0, spare * room.size / wide), 0.5 if "hip" in art.places else 0.12)))
        if seen and art.height > 0.72 * container.art.height:
            art = art.moved(scale(0.72 * container.art.height / art.height))
        x0, y0, x1, y1 = art.bounds()
        hip = art.places.get("hip")
        has_front = any(s.tag == "front" for s in container.art.shapes)
        sink = (0.30 if hip is None else (hip.y - y0) / max(y1 - y0, 1.0)) * (y1 - y0) if has_front else 0.0
        middle = (x0 + x1) / 2 if hip is None else hip.x
        if not has_front:
            y = room.y - (y1 - y0) / 2 if room.size < 0.9 * container.art.width else room.y
            art = art.moved(shift(room.x - middle, y - y0))
        else:
            art = art.moved(shift(room.x - middle, room.y - sink - y0))
    front = [s for s in container.art.shapes if s.tag == "front"]
    behind = [s for s in container.art.shapes if s.tag != "front"]
    high = room.y > container.art.bounds()[1] + 0.7 * container.art.height
    if (
        not front and not lie and high and not _shows(container) and "hip" in art.places
    ):  # its wall hides the lower half
        wall = container.art.silhouette().intersection(
            shapely.box(-1e4, -1e4, 1e4, room.y + 0.02 * container.art.height)
        )
        art = art.mapped(lambda s: cut_away(s, wall))
    if front:  # what hangs out below the container is not seen
        low = container.art.bounds()[1]
        hull = shapely.union_all([s.area for s in front if s.area is not None]).convex_hull
        art = art.mapped(lambda s: _seen_above(s, low, hull))
    if _shows(container):
        behind, front = [], [s for s in behind if s.tag != "label"]
        front = [replace(s, area=None) for s in front]
        shapes = (*art.shapes, *front)
    else:
        shapes = (*behind, *art.shapes, *front)
    places = {**container.art.places, **{n: p for n, p in art.places.items() if n not in ("seat", "in")}}
    return replace(container, art=Art(shapes, places), living=me.living)


def hatched(me: Group, egg: Group) -> Group:
    """A figure half out of an egg whose broken shell hides its feet."""
    x0, y0, x1, y1 = me.art.bounds()
    wide, high = x1 - x0, y1 - y0
    round_wide = min(1.02 * wide, max(0.62 * wide, 1.1 * high))
    tall = max(0.95 * high, 1.1 * round_wide)
    shell = Group(egg.art.moved(scale(round_wide / max(egg.art.width, 1.0), tall / max(egg.art.height, 1.0))))
    a, b, c, d = shell.art.bounds()
    rim = b + 0.5 * (d - b)
    steps = np.linspace(a - 2, c + 2, 10)
    teeth = [(float(x), rim + (0.07 if i % 2 else -0.05) * high) for i, x in enumerate(steps)]
    below = shapely.Polygon([(a - 5, b - 5), *teeth, (c + 5, b - 5)])
    half = shapely.Polygon(shell.art.silhouette().intersection(below).exterior)
    front = Shape((shapely.get_coordinates(half),), half, "main", egg.art.shapes[0].pen)
    eyes = me.art.places.get("eyes", Anchor(0.0, y1))
    up = me.art.moved(shift((a + c) / 2 - (x0 + x1) / 2, rim + max(-0.36 * high - y0, 0.12 * high - eyes.y)))
    middle, low = (a + c) / 2, b + 0.25 * (d - b)
    outer = shapely.box(a - wide, b - high, c + wide, low + 0.3 * high).difference(half.convex_hull)
    seen = up.mapped(
        lambda s: cut_away(s, outer.intersection(shapely.box(a - wide, b - high, c + wide, rim - 0.06 * high)))
    )
    lid_x, lid = c + 0.16 * wide, 0.5 * (c - a)
    cap = shapely.Polygon(
        [*[(lid_x + lid * (0.5 - 0.5 * math.cos(t)), b + 0.7 * lid * math.sin(t)) for t in np.linspace(0, math.pi, 17)],
         (lid_x + 0.8 * lid, b + 0.1 * lid), (lid_x + 0.6 * lid, b), (lid_x + 0.4 * lid, b + 0.1 * lid),
         (lid_x + 0.2 * lid, b)]
    )  # fmt: skip
    piece = Shape((shapely.get_coordinates(cap),), cap, "main", egg.art.shapes[0].pen)
    crack = np.array(
        (
            (middle - 0.2 * wide, rim - 0.02 * high),
            (middle - 0.15 * wide, low),
            (middle - 0.22 * wide, low - 0.08 * high),
        )
    )
    return replace(me, art=Art((*seen.shapes, front, Shape((crack,), None), piece), up.places))


def in_hat(me: Group, hat: Group) -> Group:
    """A figure looking out of an upturned hat."""
    art = grounded(hat.art.moved(turn(180)), keep_below=False)
    art = art.moved(scale(max(0.9 * me.art.width / max(art.width, 1.0), 1.0)))
    x0, _, x1, y1 = art.bounds()
    a, b, c, d = me.art.bounds()
    moved = me.moved((x0 + x1) / 2 - (a + c) / 2, y1 - 0.06 * (y1) - b - 0.35 * (d - b))
    hull = art.silhouette().convex_hull
    seen = moved.art.mapped(lambda s: _seen_above(s, 0.0, hull))
    return replace(me, art=Art((*seen.shapes, *art.shapes), moved.art.places))


def in_crown(me: Group, tree: Group) -> Group:
    """A figure in the crown of a tree."""
    room = tree.art.place("in")
    art = me.art
    k = min(1.0, 0.95 * room.size / max(art.width, 1.0))
    big = tree
    if k < 0.75:
        big = replace(tree, art=tree.art.moved(scale(min(0.75 / k, 2.0))))
        room = big.art.place("in")
        k = max(k, 0.75)
    art = art.moved(scale(k))
    x0, y0, x1, y1 = art.bounds()
    moved = replace(me, art=art.moved(shift(room.x - (x0 + x1) / 2, room.y - (y0 + y1) / 2)))
    return joined([big, moved], moved)


def filled(me: Group, one: Art, wanted: int, kind: Thing) -> Group:
    """Several things in a container, or in a tree."""
    room = me.art.place("in")
    in_one_row = wanted <= 6 and kind.theme != "plants"
    count = wanted if in_one_row or kind.theme == "plants" or wanted == 1 else max(wanted, 5)
    columns = 0.75 * count if in_one_row else math.sqrt(count)
    k = min(1.0, 1.0 * room.size / columns / max(one.width, 1.0))
    if wanted == 1 and not any(s.tag == "front" for s in me.art.shapes):  # all of it is seen before the wall
        k = min(k, 0.62 * me.art.height / max(one.height, 1.0))
    one = one.moved(scale(k))
    x0, y0, x1, y1 = one.bounds()
    wide, high = x1 - x0, y1 - y0
    pieces: list[Shape] = []
    front = [s for s in me.art.shapes if s.tag == "front"]
    behind = [s for s in me.art.shapes if s.tag != "front"]
    if kind.theme == "plants":
        for i in range(count):
            a = math.tau * i / count
            r = 0.34 * room.size * (0.5 + 0.5 * (i % 2 if count > 3 else 1))
            pieces += one.moved(
                shift(room.x + 1.15 * r * math.cos(a) - (x0 + x1) / 2, room.y + 0.9 * r * math.sin(a) - (y0 + y1) / 2)
            ).shapes
        return replace(me, art=Art((*me.art.shapes, *pieces), me.art.places))
    row = count if in_one_row else max(1, min(count, int(1.1 * room.size / max(wide * 0.7, 1.0))))
    sunk = 0.2 if in_one_row else 0.45
    for i in range(count - 1, -1, -1):
        level, column = divmod(i, row)
        in_row = min(row, count - level * row)
        x = room.x + (column - (in_row - 1) / 2) * wide * 0.75
        pieces += one.moved(shift(x - (x0 + x1) / 2, room.y - y0 - sunk * high + level * 0.55 * high)).shapes
    if in_one_row:
        pieces = [replace(s, tag="front") for s in pieces]
    return replace(me, art=Art((*behind, *pieces, *front), me.art.places))


def pictured(me: Group, art: Art, name: str) -> Group:
    """A picture of something, or its statue."""
    if "frame" in me.art.places and name != "easel":
        frame = me.art.place("frame")
        return replace(me, art=Art((*me.art.shapes, *fitted(art, frame, 0.7).shapes), me.art.places))
    top = me.art.places.get("on", me.art.place("seat"))
    x0, y0, x1, _ = art.bounds()
    pedestal = me.art.with_shapes(s for s in me.art.shapes if s.tag != "bust")
    grown = pedestal.moved(scale(max(1.0, 0.8 * (x1 - x0) / max(top.size, 1.0))))
    top = grown.places.get("on", grown.place("seat"))
    moved = art.moved(shift(top.x - (x0 + x1) / 2, top.y - y0))
    return replace(me, art=Art((*grown.shapes, *moved.shapes), {**grown.places, **moved.places}))


def easel(me: Group, easel: Art, art: Art) -> Group:
    """An easel before the painter, with the picture on it."""
    k = min(max(me.art.height / 92.0, 0.5), 1.15)
    easel = easel.moved(scale(k))
    frame = easel.place("frame")
    shapes = (*easel.shapes, *fitted(art, frame, 0.86).shapes)
    x = me.art.place("hand").x + 7
    moved = Art(shapes).moved(shift(x - easel.bounds()[0] + 6, 0))
    return replace(me, art=Art((*moved.shapes, *me.art.shapes), me.art.places))


def bubble(me: Group, art: Art) -> Group:
    """A thought bubble with a picture."""
    wide = max(0.75 * me.art.height, 46.0)
    top = me.art.place("top")
    cx, cy = top.x + 0.35 * wide, me.art.bounds()[3] + 0.55 * wide
    lobes = [
        shapely.Point(cx + 0.5 * wide * math.cos(a), cy + 0.3 * wide * math.sin(a)).buffer(0.2 * wide)
        for a in np.linspace(0, math.tau, 9)[:-1]
    ]
    cloud = shapely.union_all(
        [*lobes, shapely.box(cx - 0.45 * wide, cy - 0.26 * wide, cx + 0.45 * wide, cy + 0.26 * wide)]
    )
    shapes = [Shape(tuple(outline(cloud)), cloud, "sign")]
    for share, r in ((0.12, 1.6), (0.3, 2.4), (0.5, 3.4)):
        x, y = top.x + 5 + share * 12, me.art.bounds()[3] + 2 + share * 0.2 * wide
        shapes.append(Shape((arc(x, y, r, r),), None, "sign"))
    inside = fitted(art, Anchor(cx, cy, 0.82 * wide), 0.62)
    return replace(me, art=Art((*me.art.shapes, *shapes, *inside.shapes), me.art.places))


def _seen_above(shape: Shape, low: float, hull: shapely.Geometry) -> Shape:
    """A shape without the parts below a container's foot, or beside it below its rim."""
    a, b, c, d = hull.bounds
    rim = b + 0.55 * (d - b)
    gone = shapely.union_all(
        [
            shapely.box(a - 200, low - 400, c + 200, b + 0.12 * (d - b)),
            shapely.box(a, low - 400, c, rim).difference(hull.buffer(0.5)),
        ]
    )
    return cut_away(shape, gone)


def cut_away(shape: Shape, gone: shapely.Geometry) -> Shape:
    """A shape without the parts within an area."""
    lines = [
        shapely.get_coordinates(part)
        for line in shape.lines if len(line) > 1
        for part in shapely.get_parts(shapely.difference(shapely.linestrings(line), gone)) if part.length > 0.3
    ]  # fmt: skip
    return replace(shape, lines=tuple(lines), area=None if shape.area is None else solid(shape.area.difference(gone)))


def _shows(container: Group) -> bool:
    """Whether all of the content is visible."""
    if any(s.tag == "front" for s in container.art.shapes):
        return False
    size = min(container.art.width, container.art.height)
    return container.art.place("in").size >= 0.3 * size and _see_through(container)


def _see_through(container: Group) -> bool:
    """Whether the content is visible through the wall: a bottle, a jar."""
    return not container.living and len(container.art.shapes) < 14 and container.art.height < 75
