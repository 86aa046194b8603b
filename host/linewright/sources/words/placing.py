"""Where one group is to another: on it, in it, under it, behind it, and so on; and what joins them."""

from __future__ import annotations

import math
import random
from dataclasses import replace

import numpy as np
import shapely

from linewright.sources.words.art import Anchor, Art, Shape, scale, shift, turn
from linewright.sources.words.curves import arc, outline, smooth, solid
from linewright.sources.words.groups import PERSON, Group, fitted, grounded, joined, middle_of
from linewright.sources.words.store.entry import Thing


def beside(me: Group, other: Group, gap: float, *, first: Group, at_hand: bool = False) -> Group:
    """To the right of somebody, on the same ground."""
    x = me.art.bounds()[2] if not at_hand else me.art.place("hand").x
    x0 = other.art.bounds()[0]
    rise = 0.45 * PERSON if other.up and not me.up else 0.0
    moved = other.moved(x + gap - x0, rise)
    return joined([moved, me] if at_hand else [me, moved], first)


def at_side(me: Group, other: Group, *, left: bool) -> Group:
    """To the left or to the right of something, on the same ground, for good."""
    gap = 0.1 * PERSON
    x0, _, x1, _ = me.art.bounds()
    a, _, c, _ = other.art.bounds()
    x = x1 + gap - a if left else x0 - gap - c
    rise = 0.45 * PERSON if other.up and not me.up else 0.0
    return replace(joined([other.moved(x, rise), me], me), fixed=True)


def tied_to(me: Group, other: Group) -> Group:
    """Held by strings: what flies is above what it is tied to, anything else stands beside it on a rope."""
    end = other.art.place("seat")
    if not me.up:
        moved = other.moved(me.art.bounds()[2] + 14 - other.art.bounds()[0], 0)
        start, stop = me.art.place("neck"), moved.art.place("neck")
        low = min(start.y, stop.y) - 5
        rope = smooth(np.array(((start.x, start.y), ((start.x + stop.x) / 2, low), (stop.x, stop.y))))
        return joined([moved, me, Group(Art((Shape((rope,), None, "sign"),)))], me)
    x0, y0, x1, _ = me.art.bounds()
    raised = me.moved(end.x - (x0 + x1) / 2, other.art.bounds()[3] + 0.3 * PERSON - y0)
    strings = []
    for x, y in _feet(raised.art):
        bend = ((x + end.x) / 2 + 0.15 * (x - end.x), (y + end.y) / 2)
        strings.append(Shape((smooth(np.array(((x, y), bend, (end.x, end.y)))),), None, "sign"))
    return replace(joined([other, Group(Art(tuple(strings))), raised], other), up=other.up, living=False)


def _feet(art: Art) -> list[tuple[float, float]]:
    """The lowest point of each of several things that do not touch."""
    lines = [shapely.linestrings(line) for shape in art.shapes for line in shape.lines if len(line) > 1]
    parts = shapely.get_parts(shapely.union_all(shapely.buffer(lines, 0.5)))
    found = []
    for part in parts:
        if part.area > 0.2 * max(p.area for p in parts):
            points = shapely.get_coordinates(part)
            x, y = points[np.argmin(points[:, 1])]
            found.append((float(x), float(y)))
    return found


def fitting(me: Group, base: Group) -> Group:
    """Several that are to stand on one thing, small enough for it; those that live keep at least half their size."""
    wide = max(base.art.place("seat").size, 0.5 * base.art.width) * 1.15
    k = wide / max(me.art.width, 1.0)
    return me if k >= 1 else replace(me, art=me.art.moved(scale(max(k, 0.5 if me.living else 0.18))))


def breathed(me: Group, art: Art) -> Group:
    """Out of somebody's mouth."""
    at = me.art.place("mouth")
    k = min(1.0, 0.55 * me.art.height / max(art.height, 1.0))
    x0, y0, x1, _ = art.bounds()
    blown = art.moved(shift(-(x0 + x1) / 2, -y0), scale(k), turn(-82), shift(at.x + 3, at.y))
    return replace(me, art=Art((*me.art.shapes, *blown.shapes), me.art.places))


def slung(me: Group, other: Group) -> Group:
    """Somebody in a cloth that hangs from a beak."""
    at = me.art.place("mouth")
    art = other.art.moved(scale(min(1.0, 0.42 * me.art.height / max(other.art.height, 1.0))))
    x0, y0, x1, y1 = art.bounds()
    wide, high = x1 - x0, y1 - y0
    art = art.moved(shift(at.x - (x0 + x1) / 2 + 0.1 * wide, at.y - 0.28 * high - y1))
    x0, y0, x1, y1 = art.bounds()
    rim = y1 - 0.62 * high
    left, right, low = x0 - 0.22 * wide, x1 + 0.22 * wide, y0 - 0.1 * high
    sack = smooth(
        np.array(
            ((left, rim), (left + 0.1 * wide, low + 0.2 * high), ((left + right) / 2, low),
             (right - 0.1 * wide, low + 0.2 * high), (right, rim), ((left + right) / 2, rim - 0.16 * high), (left, rim))
        )
    )  # fmt: skip
    knot = (at.x + 0.04 * wide, at.y)
    ends = [
        Shape(
            (smooth(np.array(((side, rim), ((side + knot[0]) / 2 + 0.3 * (side - knot[0]), (rim + at.y) / 2), knot))),),
            None,
        )
        for side in (left, right)
    ]
    ears = [
        Shape((arc(knot[0] + dx, knot[1] + 1.5, 3.4, 1.8),), shapely.Point(knot[0] + dx, knot[1] + 1.5).buffer(1.8))
        for dx in (-3.0, 3.4)
    ]
    cloth = Shape((sack,), shapely.polygons(sack))
    fold = Shape(
        (
            smooth(
                np.array(
                    (
                        (left + 0.3 * wide, rim - 0.2 * high),
                        ((left + right) / 2, low + 0.25 * high),
                        (right - 0.3 * wide, rim - 0.22 * high),
                    )
                )
            ),
        ),
        None,
    )
    return replace(me, art=Art((*me.art.shapes, *ends, *art.shapes, cloth, fold, *ears), me.art.places))


def patterned(me: Group, one: Art) -> Group:
    """Made of something: that, small and many times, within the outline."""
    x0, y0, x1, y1 = me.art.bounds()
    side = 0.2 * max(x1 - x0, y1 - y0)
    one = one.moved(scale(side / max(one.width, one.height, 1e-6)))
    a, b, c, d = one.bounds()
    one = one.moved(shift(-(a + c) / 2, -(b + d) / 2))
    hull = me.art.silhouette().buffer(-1.2)
    lines = []
    for row, y in enumerate(np.arange(y0 + 0.5 * side, y1, 0.82 * (d - b) + 3)):
        for x in np.arange(x0 + (0.5 + 0.5 * (row % 2)) * (c - a + 3) - side, x1 + side, c - a + 3):
            tile = one.moved(shift(float(x), float(y)))
            if not hull.intersects(shapely.box(*tile.bounds())):
                continue
            for shape in tile.shapes:
                for line in shape.lines:
                    if len(line) > 1:
                        parts = shapely.get_parts(shapely.intersection(shapely.linestrings(line), hull))
                        lines += [shapely.get_coordinates(p) for p in parts if p.length > 1.0]
    return replace(me, art=Art((*me.art.shapes, Shape(tuple(lines), None, "pattern")), me.art.places))


def hung_up(me: Group) -> Group:
    """On a line from above."""
    x0, _, x1, y1 = me.art.bounds()
    top = me.art.place("grip") if "grip" in me.art.places else Anchor((x0 + x1) / 2, y1)
    high = y1 + max(0.35 * me.art.height, 12.0)
    line = np.array(((top.x, max(top.y, y1 - 1)), (top.x, high)))
    beam = np.array(((x0 - 8, high), (x1 + 8, high)))
    return replace(
        me, up=True, living=False, art=Art((*me.art.shapes, Shape((line, beam), None, "sign")), me.art.places)
    )


def at_windows(one: Group, car: Group, wanted: int) -> Group:
    """At so many windows: the upper part of somebody, cut off by the frame. Windows are twice as high as they are wide at most."""
    panes = [car.art.places[f"pane{i}"] for i in range(1, 9) if f"pane{i}" in car.art.places][:wanted]
    found: list[Shape] = []
    for pane in panes:
        x0, y0, x1, y1 = one.art.bounds()
        hip = one.art.places.get("hip")
        low = y0 if hip is None else hip.y
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


def against(me: Group, other: Group) -> Group:
    """Touching something on the same ground, and before it; of a tree, its trunk."""
    room = other.art.place("branch" if "branch" in other.art.places else "feet")
    half = 0.06 * other.art.width if "branch" in other.art.places else 0.5 * other.art.width
    middle = other.art.place("feet").x if "branch" in other.art.places else room.x
    return joined([other.moved(me.art.bounds()[2] - 2 - middle + half, 2.0), me], me)


def pushed(me: Group, other: Group) -> Group:
    """Before somebody, with its bars in the near hand."""
    turned = other.mirrored() if other.art.place("bars").x > middle_of(other) else other
    return joined([turned.moved(me.art.place("hand").x + 2 - turned.art.place("bars").x, 0.0), me], me)


def housed(me: Group, house: Group) -> Group:
    """A house in place of a shell."""
    at = me.art.place("shell")
    a, b, c, _ = house.art.bounds()
    home = house.art.moved(shift(-(a + c) / 2, -b), scale(1.15 * at.size / max(c - a, 1.0)), shift(at.x, at.y))
    first = next(i for i, s in enumerate(me.art.shapes) if s.tag == "shell")
    shapes = [s for s in me.art.shapes if s.tag != "shell"]
    return replace(me, art=Art((*home.shapes, *shapes[:first], *shapes[first:]), me.art.places))


def pulled_out(me: Group, other: Group, stool: Group) -> Group:
    """Something half out of what it was in, which stands on a stool below the hand that pulls."""
    hand = me.art.place("hand")
    a, b, c, d = other.art.bounds()
    under = hand.y - (d - b) + 3
    x = hand.x + 2
    parts = [other.moved(x - (a + c) / 2, hand.y + 3 - d), me]
    if under > 4:
        base = stool.art.moved(scale(1.0, under / max(stool.art.height, 1.0)))
        x0, y0, x1, _ = base.bounds()
        parts.insert(0, Group(base.moved(shift(x - (x0 + x1) / 2, -y0))))
    else:
        parts[0] = other.moved(x - (a + c) / 2, -b)
    return joined(parts, me)


def strewn(me: Group, both: Group, rng: random.Random) -> Group:
    """Crumbs that fall from a hand, and that lie on the ground before who is fed."""
    hand = me.art.place("hand")
    x0 = me.art.bounds()[2]
    found = []
    for i in range(16):
        share = (i + rng.random()) / 16
        x = hand.x + 4 + share * (x0 - hand.x + 14)
        y = max(hand.y * (1 - 1.15 * share**1.5) - 4, rng.uniform(-1.5, 1.5))
        found.append(Shape((arc(x, y, 0.8, 0.7),), None, "sign"))
    return replace(both, art=Art((*both.art.shapes, *found), both.art.places))


def on_top(me: Group, base: Group, *, place: str = "", climbing: bool = False, lie: bool = False) -> Group:
    """On top of something: feet or seat on its upper side."""
    if lie and "lie" in base.art.places:
        return inside(me, base, lie=True)
    seat = (
        base.art.place(place)
        if place and place in base.art.places
        else base.art.place("seat" if not place or place not in base.art.places else place)
    )
    if climbing and "climb" in base.art.places:
        seat = base.art.place("climb")
        if seat.turn and "hip" not in me.art.places:  # on four feet along the slope
            me = replace(me, art=me.art.moved(turn(0.8 * seat.turn)))
    x0, y0, x1, _ = me.art.bounds()
    foot = me.art.place("feet") if "feet" in me.art.places else Anchor((x0 + x1) / 2, y0)
    hip = me.art.places.get("hip")
    grown = base
    if me.art.width > 1.9 * max(seat.size, 1.0) and not climbing:
        k = min(
            me.art.width / (1.9 * max(seat.size, 1.0)), 2.2, max(1.0, 0.8 * me.art.height / max(base.art.height, 1.0))
        )
        grown = replace(base, art=base.art.moved(scale(k)))
        seat = seat.moved(scale(k))
    high = y0
    x = (x0 + x1) / 2 if hip is None else foot.x
    if hip is not None and _sits(me.art):
        high = hip.y - 5
        x = hip.x
    placed = me.moved(seat.x - x, seat.y - high)
    lowest = placed.art.bounds()[1]
    both = joined([grown, placed], placed)
    if lowest < grown.art.bounds()[1]:
        both = both.moved(0, 0)
    return replace(both, up=base.up, afloat=base.afloat)


def inside(me: Group, container: Group, *, lie: bool = False) -> Group:
    """Inside something: what is tagged ``front`` hides the lower half."""
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
        # Arms may hang over a rim; what has none fits into the opening, and all of it behind a glass wall.
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
        art = art.mapped(lambda s: _cut(s, wall))
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


def in_hat(me: Group, hat: Group) -> Group:
    """Looking out of a hat that stands on its crown."""
    art = grounded(hat.art.moved(turn(180)), keep_below=False)
    art = art.moved(scale(max(0.9 * me.art.width / max(art.width, 1.0), 1.0)))
    x0, _, x1, y1 = art.bounds()
    a, b, c, d = me.art.bounds()
    moved = me.moved((x0 + x1) / 2 - (a + c) / 2, y1 - 0.06 * (y1) - b - 0.35 * (d - b))
    hull = art.silhouette().convex_hull
    seen = moved.art.mapped(lambda s: _seen_above(s, 0.0, hull))
    return replace(me, art=Art((*seen.shapes, *art.shapes), moved.art.places))


def below(me: Group, above: Group) -> Group:
    """Below something: in its shade, or between its legs."""
    if above.up or "under" in above.art.places:
        over = above.art.place("under") if "under" in above.art.places else None
        x0, _, x1, y1 = me.art.bounds()
        art = above.art
        if art.width < 0.9 * me.art.width:
            art = art.moved(scale(0.95 * me.art.width / art.width))
            over = art.place("under") if over is not None else None
        a, b, c, _ = art.bounds()
        y = y1 + 3 - (over.y if over is not None else b)
        if over is not None:
            y = max(y1 - 0.62 * art.height, 0.0) - b
        moved = art.moved(shift((x0 + x1) / 2 - (a + c) / 2, y))
        if above.art.places.get("grip") and above.art.width < 2.2 * me.art.width:
            return replace(me, art=Art((*me.art.shapes, *moved.shapes), me.art.places))
        return replace(me, art=Art((*moved.shapes, *me.art.shapes), me.art.places))
    if "on" in above.art.places or above.art.place("seat").y < me.art.height:  # a table, a bridge: it is made to fit
        room = 0.86 * above.art.place("seat").y
        k = max(1.0, me.art.height / max(room, 1.0))
        if k > 1.8:
            me = replace(me, art=me.art.moved(scale(1.8 / k)))
            k = 1.8
        base = replace(above, art=above.art.moved(scale(k)))
    else:
        base = above
    a, _, c, _ = base.art.bounds()
    x0, _, x1, _ = me.art.bounds()
    trunk = 0.22 * base.art.width if "branch" in base.art.places else 0.0
    return joined([base.moved((x0 + x1) / 2 - (a + c) / 2 - trunk, 2.0), me], me)


def above(me: Group, below: Group) -> Group:
    """In the air above something."""
    x0, y0, x1, _ = me.art.bounds()
    a, _, c, top = below.art.bounds()
    raised = below
    if below.up and below.art.height < 0.8 * PERSON:
        raised = below
    moved = me.moved((a + c) / 2 - (x0 + x1) / 2, top + 6 - y0)
    return replace(joined([raised, moved], moved), up=False)


def behind(front: Group, back: Group, *, first: Group | None = None) -> Group:
    """One partly hidden by the other, which stands a little lower on the sheet."""
    a, _, c, high = front.art.bounds()
    x0, _, x1, top = back.art.bounds()
    if back.up:
        grown = back.art.moved(scale(max(1.0, 0.75 * high / max(back.art.height, 1.0))))
        x0, _, x1, top = grown.bounds()
        moved = replace(back, art=grown).moved(
            (a + c) / 2 - (x0 + x1) / 2 + 0.22 * (x1 - x0), max(0.3 * high, 1.02 * high - 0.8 * top)
        )
        return joined([moved, front], first or front)
    offset = 0.0 if (x1 - x0) > 1.5 * (c - a) else 0.34 * (c - a)
    if top < 1.1 * high and (x1 - x0) < 1.2 * (c - a):  # it looks out at one side
        cover = front.art.silhouette().intersection(shapely.box(a, -1.0, c, 0.8 * top))
        edge = c if cover.is_empty else cover.bounds[2]
        if edge - (a + c) / 2 > 0.25 * (x1 - x0):
            seen = 0.55 if back.living else 0.6
            return joined([back.moved(edge - x1 + seen * (x1 - x0), 0.03 * high), front], first or front)
        return joined([back.moved((a + c) / 2 - (x0 + x1) / 2 + 0.2 * (x1 - x0), 0.03 * high), front], first or front)
    moved = back.moved((a + c) / 2 - (x0 + x1) / 2 + offset, 0.1 * high)
    return joined([moved, front], first or front)


def between(me: Group, one: Group, said: str) -> Group:
    """Between two of the same."""
    x0, _, x1, _ = me.art.bounds()
    left = one.moved(x0 - 4 - one.art.bounds()[2], 0)
    if one.living:
        right = one.mirrored()
        right = right.moved(x1 + 4 - right.art.bounds()[0], 0)
    else:
        right = one.moved(x1 + 4 - one.art.bounds()[0], 0)
    low = (
        0.34 * one.art.height
        if me.up or "web" in said or (me.art.height < 0.5 * one.art.height and not me.living)
        else 0.0
    )
    return joined([left, right, me.moved(0, low)], me)


def between_two(me: Group, one: Group, other: Group) -> Group:
    """Between two different ones, both of which look at it."""
    x0, _, x1, _ = me.art.bounds()
    left = one.moved(x0 - 5 - one.art.bounds()[2], 0)
    right = other.mirrored() if other.living else other
    right = right.moved(x1 + 5 - right.art.bounds()[0], 0)
    return joined([left, right, me], me)


def under_water(me: Group, boat: Group) -> Group:
    """Below something that floats."""
    x0, _, x1, y1 = me.art.bounds()
    a, b, c, _ = boat.art.bounds()
    below = me.moved((a + c) / 2 - (x0 + x1) / 2, min(b, 0.0) - 4 - y1)
    return replace(joined([boat, below], below), afloat=True)


def among(me: Group, one: Group, wanted: int) -> Group:
    """With several of the same around it."""
    x0, _, x1, _ = me.art.bounds()
    wide = one.art.width
    count = max(4, min(wanted, 8))
    found = []
    for i in range(count):
        x = x0 - 0.7 * wide + (x1 - x0 + 1.4 * wide) * i / (count - 1)
        a, _, c, _ = one.art.bounds()
        found.append((i % 2, one.moved(x - (a + c) / 2, (6.0 if i % 2 else -6.0))))
    back = [g for odd, g in found if odd]
    front = [replace(g, art=g.art.moved(shift(0, 0))) for odd, g in found if not odd]
    small = [
        g for g in front if g.art.height < 0.7 * me.art.height or abs(middle_of(g) - middle_of(me)) > 0.5 * me.art.width
    ]
    return joined([*back, me, *small], me)


def in_crown(me: Group, tree: Group) -> Group:
    """In the crown of a tree."""
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


def borne(me: Group, other: Group, place: str, who: Thing) -> Group:
    """Something on a part of somebody."""
    at = me.art.place({"nose": "nose" if "nose" in me.art.places else "mouth", "": "seat"}.get(place, place))
    if place == "back" and not me.art.places.get("hip"):
        at = me.art.place("seat")
    if place == "hand" and "grip" in other.art.places:
        grip = other.art.place("grip")
        moved = other.moved(at.x - grip.x, at.y - grip.y)
        return joined([me, moved], me)
    x0, y0, x1, _ = other.art.bounds()
    limit = {
        "shoulder": 0.42,
        "top": 0.75,
        "hand": 0.5,
        "nose": 0.6,
        "mouth": 0.45,
        "lap": 0.7,
        "chimney": 0.16,
        "neck": 0.24,
    }.get(place, 1.0) * me.art.width
    k = min(1.0, max(limit, 12.0) / max(x1 - x0, 1.0))
    art = other.art.moved(scale(k))
    x0, y0, x1, _ = art.bounds()
    if place == "mouth" and me.art.places.get("hip") is None:  # across the mouth, so that the face is seen
        if art.height > 1.2 * art.width and not other.living:
            art = art.moved(turn(-78))
        x0, y0, x1, _ = art.bounds()
        snout = at.x + 0.30 * (x1 - x0)
        return joined(
            [me, replace(other, art=art.moved(shift(snout - (x0 + x1) / 2, at.y - 0.5 * (y0 + art.bounds()[3]))))], me
        )
    y = at.y - (0.6 * (art.bounds()[3] - y0) if place == "mouth" else 0.0)
    if place == "top":
        y = (
            max(y, me.art.bounds()[3] - 2)
            if any(w in who.wears for w in ("top hat", "wizard hat")) or who.name == "scarecrow"
            else y
        )
    x = at.x - (x0 + x1) / 2
    if place == "neck":  # below it, as a bell hangs
        y = at.y - 0.35 * at.size - (art.bounds()[3] - y0)
    if place == "shoulder":  # beside the head, so that the face is seen
        x = at.x - 4 - x1 + 0.2 * (x1 - x0)
    if place == "chimney":
        x, y = at.x + 0.26 * me.art.width - (x0 + x1) / 2, 0.8 * at.y
        return joined([replace(other, art=art.moved(shift(x, y - y0))), me], me)
    moved = replace(other, art=art.moved(shift(x, y - y0)))
    return joined([me, moved] if place != "back" or not me.art.places.get("hip") else [moved, me], me)


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
    """A cloud with what somebody thinks of."""
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


def hooked(me: Group, other: Group) -> Group:
    """What somebody fishes for, below the end of the line."""
    x1 = me.art.bounds()[2]
    a, b, c, d = other.art.bounds()
    k = min(1.0, 26.0 / max(d - b, 1.0))
    art = other.art.moved(scale(k))
    a, b, c, d = art.bounds()
    return replace(
        me, art=Art((*me.art.shapes, *art.moved(shift(x1 - (a + c) / 2, -0.3 * (d - b) - b)).shapes), me.art.places)
    )


def tied(me: Group, other: Group, *, pulls: bool) -> Group:
    """A rope from hand to what is pulled or led."""
    if pulls:  # it comes after
        x0 = me.art.bounds()[0]
        moved = other.moved(x0 - 14 - other.art.bounds()[2], 0)
        start = me.art.places.get("rope") or me.art.place("hand2" if "hand2" in me.art.places else "back")
        if "hip" in me.art.places:  # somebody who pulls looks at the load
            moved = other.moved(me.art.bounds()[2] + 16 - other.art.bounds()[0], 0)
            start = me.art.place("hand")
            end = Anchor(moved.art.bounds()[0] + 2, 0.42 * moved.art.height)
        else:
            end = moved.art.places.get("mouth", Anchor(moved.art.bounds()[2], 0.4 * moved.art.height))
    else:
        moved = other.moved(me.art.bounds()[2] + 12 - other.art.bounds()[0], 0)
        start, end = me.art.place("hand"), moved.art.place("neck")
    sag = (start.x + end.x) / 2, min(start.y, end.y) - 3
    line = Shape((smooth(np.array(((start.x, start.y), sag, (end.x, end.y)))),), None, "sign")
    return joined([moved, me, Group(Art((line,)))], me)


def on_string(me: Group, art: Art) -> Group:
    """A kite or a balloon high up, with its string in the hand."""
    hand = me.art.place("hand") if "hand" in me.art.places else me.art.place("top")
    x0, y0, _, _ = art.bounds()
    moved = art.moved(shift(hand.x + 34 - x0, me.art.bounds()[3] + 14 - y0))
    end = moved.place("grip")
    line = smooth(np.array(((hand.x, hand.y), ((hand.x + end.x) / 2 + 6, (hand.y + end.y) / 2 - 6), (end.x, end.y))))
    return replace(me, art=Art((Shape((line,), None, "sign"), *moved.shapes, *me.art.shapes), me.art.places), up=False)


def hung_from(me: Group, above: Group) -> Group:
    """Hanging from something."""
    art = me.art
    x0, _, x1, y1 = art.bounds()
    if (
        me.art.height > 0.6 * above.art.height
        and not above.up
        and "branch" not in above.art.places
        and "hip" not in art.places
    ):
        wall = above.art.moved(scale(2.1 * me.art.height / max(above.art.height, 1.0)))
        a, b, c, d = wall.bounds()
        moved = me.moved((a + c) / 2 - (x0 + x1) / 2, 0.32 * (d - b))
        return joined([replace(above, art=wall), moved], moved)
    place = above.art.places.get("branch") or above.art.places.get("hook") or above.art.places.get("bars")
    a, b, c, _ = above.art.bounds()
    if place is None:
        place = Anchor((a + c) / 2 + 0.3 * (c - a), b + 0.55 * (above.art.height))
    grip = art.place("hand") if "hip" in art.places else Anchor((x0 + x1) / 2, y1)
    lift = max(0.0, y1 - (place.y - 0.0)) + (6 if place.y < y1 + 6 else 0)
    top = above.moved(0, lift)
    moved = me.moved(place.x - grip.x, place.y + lift - max(grip.y, y1 if "hip" not in art.places else grip.y))
    return joined([top, moved], moved)


def _seen_above(shape: Shape, low: float, hull: shapely.Geometry) -> Shape:
    """A shape without what lies below a container's foot, or beside it below its rim."""
    x0, y0, x1, y1 = shape.area.bounds if shape.area is not None else (0, 0, 0, 0)
    del x0, y0, x1, y1
    a, b, c, d = hull.bounds
    rim = b + 0.55 * (d - b)
    gone = shapely.union_all(
        [
            shapely.box(a - 200, low - 400, c + 200, b + 0.12 * (d - b)),
            shapely.box(a - 0.0, low - 400, c + 0.0, rim).difference(hull.buffer(0.5)),
        ]
    )
    lines = [
        shapely.get_coordinates(part)
        for line in shape.lines if len(line) > 1
        for part in shapely.get_parts(shapely.difference(shapely.linestrings(line), gone)) if part.length > 0.3
    ]  # fmt: skip
    return replace(shape, lines=tuple(lines), area=None if shape.area is None else solid(shape.area.difference(gone)))


def _cut(shape: Shape, gone: shapely.Geometry) -> Shape:
    """A shape without what lies within an area."""
    lines = [
        shapely.get_coordinates(part)
        for line in shape.lines if len(line) > 1
        for part in shapely.get_parts(shapely.difference(shapely.linestrings(line), gone)) if part.length > 0.3
    ]  # fmt: skip
    return replace(shape, lines=tuple(lines), area=None if shape.area is None else solid(shape.area.difference(gone)))


def _shows(container: Group) -> bool:
    """Whether all of what is inside is seen."""
    if any(s.tag == "front" for s in container.art.shapes):
        return False
    size = min(container.art.width, container.art.height)
    return container.art.place("in").size >= 0.3 * size and _see_through(container)


def _see_through(container: Group) -> bool:
    """Whether what is inside is seen through the wall: a bottle, a jar."""
    return not container.living and len(container.art.shapes) < 14 and container.art.height < 75


def _sits(art: Art) -> bool:
    """Whether a figure's feet are not below its hip."""
    hip, one, two = art.places.get("hip"), art.places.get("foot1"), art.places.get("foot2")
    if hip is None or one is None or two is None:
        return False
    return min(one.x, two.x) > hip.x + 0.25 * abs(hip.y - min(one.y, two.y))
