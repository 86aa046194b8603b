"""Relative positions of two groups: on, beside, under, behind, and so on.

For things inside others see `contents`; for ropes and the like see `ties`.
"""

from __future__ import annotations

import random
from dataclasses import replace

import numpy as np
import shapely

from linewright.sources.words.art import Anchor, Art, Shape, scale, shift, turn
from linewright.sources.words.contents import cut_away, inside
from linewright.sources.words.curves import arc
from linewright.sources.words.groups import PERSON, Group, joined, middle_of
from linewright.sources.words.store.entry import Thing


def beside(me: Group, other: Group, gap: float, *, first: Group, at_hand: bool = False) -> Group:
    """Place a group to the right of another, on the same ground."""
    x = me.art.bounds()[2] if not at_hand else me.art.place("hand").x
    x0 = other.art.bounds()[0]
    rise = 0.45 * PERSON if other.up and not me.up else 0.0
    moved = other.moved(x + gap - x0, rise)
    return joined([moved, me] if at_hand else [me, moved], first)


def at_side(me: Group, other: Group, *, left: bool) -> Group:
    """Place a group left or right of another, on the same ground, and fix that order."""
    gap = 0.1 * PERSON
    x0, _, x1, _ = me.art.bounds()
    a, _, c, _ = other.art.bounds()
    x = x1 + gap - a if left else x0 - gap - c
    rise = 0.45 * PERSON if other.up and not me.up else 0.0
    return replace(joined([other.moved(x, rise), me], me), fixed=True)


def fitting(me: Group, base: Group) -> Group:
    """Scale a row of figures to fit on one thing; living ones keep at least half their size."""
    wide = max(base.art.place("seat").size, 0.5 * base.art.width) * 1.15
    k = wide / max(me.art.width, 1.0)
    return me if k >= 1 else replace(me, art=me.art.moved(scale(max(k, 0.5 if me.living else 0.18))))


def widened(base: Group, me: Group) -> Group:
    """Widen something flat so that all figures on it fit; its height stays."""
    seat = base.art.place("seat")
    x0, _, x1, _ = me.art.bounds()
    foot = me.art.places.get("feet", Anchor((x0 + x1) / 2, 0.0))
    a, _, c, _ = base.art.silhouette().bounds
    k = min(max(1.0, 1.25 * (x1 - x0) / max(c - a, 1.0)), 3.0)
    if k == 1.0:
        return base
    wide = base.art.moved(scale(k, 1.0))
    middle = k * (a + c) / 2 + foot.x - (x0 + x1) / 2
    return replace(base, art=wide.with_places(seat=Anchor(middle, seat.y, k * seat.size)))


def breathed(me: Group, art: Art) -> Group:
    """Place what comes out of a mouth."""
    at = me.art.place("mouth")
    k = min(1.0, 0.55 * me.art.height / max(art.height, 1.0))
    x0, y0, x1, _ = art.bounds()
    blown = art.moved(shift(-(x0 + x1) / 2, -y0), scale(k), turn(-82), shift(at.x + 3, at.y))
    return replace(me, art=Art((*me.art.shapes, *blown.shapes), me.art.places))


def patterned(me: Group, one: Art) -> Group:
    """Fill a thing's outline with many small copies of another that it is made of."""
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


def against(me: Group, other: Group) -> Group:
    """Place a group touching another on the same ground, in front of it; at a tree, touching the trunk."""
    room = other.art.place("branch" if "branch" in other.art.places else "feet")
    half = 0.06 * other.art.width if "branch" in other.art.places else 0.5 * other.art.width
    middle = other.art.place("feet").x if "branch" in other.art.places else room.x
    return joined([other.moved(me.art.bounds()[2] - 2 - middle + half, 2.0), me], me)


def pushed(me: Group, other: Group) -> Group:
    """Place a pushed thing with its handles in the near hand."""
    turned = other.mirrored() if other.art.place("bars").x > middle_of(other) else other
    return joined([turned.moved(me.art.place("hand").x + 2 - turned.art.place("bars").x, 0.0), me], me)


def pulled_out(me: Group, other: Group, stool: Group) -> Group:
    """A thing half out of its container, which stands on a stool below the pulling hand."""
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
    """Crumbs falling from a hand and lying on the ground before the fed animals."""
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
    """Place a group on top of another: feet or seat on its upper side."""
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


def laden(load: Group, me: Group) -> Group:
    """Place a load on a figure's back, behind the head, low enough for its legs to stand beside the hump of a shell."""
    place = "seat" if "seat" in me.art.places else "back"
    load = replace(load, art=load.art.moved(scale(min(1.0, max(0.75 * me.art.width / max(load.art.width, 1.0), 0.4)))))
    both = on_top(load, me, place=place)
    carrier = Art(both.art.shapes[: len(me.art.shapes)])
    top = Art(both.art.shapes[len(me.art.shapes) :])
    body, feet = carrier.silhouette(), top.silhouette()
    drop, step = 0.0, 0.02 * carrier.height
    while drop < 0.4 * carrier.height and not shapely.transform(feet, lambda p, y=drop: p - (0.0, y)).intersects(body):
        drop += step
    return replace(me, art=Art((*top.moved(shift(0, -drop - 2)).shapes, *carrier.shapes), both.art.places))


def on_nose(me: Group, other: Group) -> Group:
    """Place a thing on a nose, small enough to leave the face visible."""
    at = other.art.place("nose" if "nose" in other.art.places else "mouth")
    eyes = other.art.place("eyes")
    k = min(1.0, 1.3 * eyes.size / max(me.art.width, 1.0))
    art = me.art.moved(scale(k))
    x0, y0, x1, _ = art.bounds()
    small = replace(me, art=art.moved(shift(at.x - (x0 + x1) / 2 + 0.2 * eyes.size, at.y + 0.3 * (eyes.y - at.y) - y0)))
    return joined([other, small], small)


def below(me: Group, above: Group) -> Group:
    """Place a group below another: in its shade, or between its legs."""
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
        held = "hip" in me.art.places  # of what has no hands, the handle stands behind it
        if held and above.art.places.get("grip") and above.art.width < 2.2 * me.art.width:
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


def flown_past(me: Group, other: Group) -> Group:
    """Place a flying group in front of what it passes, with speed lines."""
    tall = me.art.height > 1.15 * me.art.width
    art = me.art.moved(turn(-62.0 if tall else 8.0))
    back = other.art
    far = back.moved(scale(max(1.0, 1.5 * art.height / max(back.height, 1.0)))) if other.up else back
    a, b, c, d = far.bounds()
    x0, y0, x1, y1 = art.bounds()
    y = d + 8 - y0 if not other.up else b - 0.3 * (y1 - y0) - y0
    art = art.moved(shift((a + c) / 2 - (0.1 if not other.up else 0.45) * (c - a) - (x0 + x1) / 2, y))
    x0, y0, x1, y1 = art.bounds()
    slope = 0.53 if tall else 0.14
    lines = []
    for share, long in ((0.06, 0.3), (0.26, 0.42), (0.46, 0.3)):
        x, at = x0 - 5, y0 + (share - 0.1) * (y1 - y0)
        lines.append(np.array(((x, at), (x - long * (x1 - x0), at - slope * long * (x1 - x0)))))
    speed = Group(Art((Shape(tuple(lines), None, "sign"),)))
    moved = replace(me, art=art)
    return replace(joined([replace(other, art=far), speed, moved], moved), up=True, fixed=other.fixed)


def above(me: Group, below: Group) -> Group:
    """Place a group in the air above another."""
    x0, y0, x1, _ = me.art.bounds()
    a, _, c, top = below.art.bounds()
    raised = below
    if below.up and below.art.height < 0.8 * PERSON:
        raised = below
    moved = me.moved((a + c) / 2 - (x0 + x1) / 2, top + 6 - y0)
    return replace(joined([raised, moved], moved), up=False)


def behind(front: Group, back: Group, *, first: Group | None = None) -> Group:
    """Place one group partly hidden by another, which stands slightly lower on the sheet."""
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
    """Place a group between two copies of another."""
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
    """Place a group between two different ones that both face it."""
    x0, _, x1, _ = me.art.bounds()
    left = one.moved(x0 - 5 - one.art.bounds()[2], 0)
    right = other.mirrored() if other.living else other
    right = right.moved(x1 + 5 - right.art.bounds()[0], 0)
    return joined([left, right, me], me)


def under_water(me: Group, boat: Group) -> Group:
    """Place a group below something that floats."""
    x0, _, x1, y1 = me.art.bounds()
    a, b, c, _ = boat.art.bounds()
    below = me.moved((a + c) / 2 - (x0 + x1) / 2, min(b, 0.0) - 4 - y1)
    return replace(joined([boat, below], below), afloat=True)


def among(me: Group, one: Group, wanted: int) -> Group:
    """Place a group among several copies of another."""
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


def pouched(me: Group, other: Group) -> Group:
    """Place a figure in a pouch, instead of its usual occupant, with the upper half visible."""
    room = me.art.place("pouch")
    k = 1.5 * room.size / max(other.art.width, 0.6 * other.art.height, 1.0)
    art = other.art.moved(scale(min(k, 1.0)))
    x0, y0, x1, y1 = art.bounds()
    seen = art.moved(shift(room.x - (x0 + x1) / 2, room.y - y0 - 0.42 * (y1 - y0)))
    first = next(i for i, s in enumerate(me.art.shapes) if s.tag == "joey")
    cut = shapely.box(room.x - 200, -200, room.x + 200, room.y - 2)
    inner = [cut_away(s, cut) for s in seen.shapes]
    rest = [s for s in me.art.shapes[first:] if s.tag != "joey"]
    return replace(me, art=Art((*me.art.shapes[:first], *inner, *rest), me.art.places))


def borne(me: Group, other: Group, place: str, who: Thing) -> Group:
    """Place a thing on a part of a body."""
    if place == "pouch" and "pouch" in me.art.places:
        return pouched(me, other)
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
    if place == "eyes":
        y = at.y - 0.5 * (art.bounds()[3] - y0)
    if place == "shoulder":  # beside the head, so that the face is seen
        x = at.x - 4 - x1 + 0.2 * (x1 - x0)
    if place == "chimney":
        x, y = at.x + 0.26 * me.art.width - (x0 + x1) / 2, 0.8 * at.y
        return joined([replace(other, art=art.moved(shift(x, y - y0))), me], me)
    moved = replace(other, art=art.moved(shift(x, y - y0)))
    return joined([me, moved] if place != "back" or not me.art.places.get("hip") else [moved, me], me)


def _sits(art: Art) -> bool:
    """Whether the figure sits: its feet are not below its hip."""
    hip, one, two = art.places.get("hip"), art.places.get("foot1"), art.places.get("foot2")
    if hip is None or one is None or two is None:
        return False
    return min(one.x, two.x) > hip.x + 0.25 * abs(hip.y - min(one.y, two.y))
