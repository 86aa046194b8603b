"""Connections between groups: ropes, strings, slings and hooks, and what hangs from them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import shapely

from linewright.sources.words.art import Anchor, Art, Shape, scale, shift
from linewright.sources.words.curves import arc, smooth
from linewright.sources.words.groups import PERSON, Group, joined


def tied_to(me: Group, other: Group) -> Group:
    """Tie a group to another with strings: what flies is above it, anything else stands beside it on a rope."""
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
    """Lowest point of each of several things that do not touch."""
    lines = [shapely.linestrings(line) for shape in art.shapes for line in shape.lines if len(line) > 1]
    parts = shapely.get_parts(shapely.union_all(shapely.buffer(lines, 0.5)))
    found = []
    for part in parts:
        if part.area > 0.2 * max(p.area for p in parts):
            points = shapely.get_coordinates(part)
            x, y = points[np.argmin(points[:, 1])]
            found.append((float(x), float(y)))
    return found


def slung(me: Group, other: Group) -> Group:
    """A figure in a cloth that hangs from a beak."""
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


def hung_up(me: Group) -> Group:
    """A group hanging from a line."""
    x0, _, x1, y1 = me.art.bounds()
    top = me.art.place("grip") if "grip" in me.art.places else Anchor((x0 + x1) / 2, y1)
    high = y1 + max(0.35 * me.art.height, 12.0)
    line = np.array(((top.x, max(top.y, y1 - 1)), (top.x, high)))
    beam = np.array(((x0 - 8, high), (x1 + 8, high)))
    return replace(
        me, up=True, living=False, art=Art((*me.art.shapes, Shape((line, beam), None, "sign")), me.art.places)
    )


def hooked(me: Group, other: Group) -> Group:
    """The catch below the end of a fishing line."""
    x1 = me.art.bounds()[2]
    a, b, c, d = other.art.bounds()
    k = min(1.0, 26.0 / max(d - b, 1.0))
    art = other.art.moved(scale(k))
    a, b, c, d = art.bounds()
    return replace(
        me, art=Art((*me.art.shapes, *art.moved(shift(x1 - (a + c) / 2, -0.3 * (d - b) - b)).shapes), me.art.places)
    )


def tied(me: Group, other: Group, *, pulls: bool) -> Group:
    """A rope from a hand to a pulled or led thing."""
    if pulls:  # the load is behind
        x0 = me.art.bounds()[0]
        k = min(1.0, 0.9 * me.art.width / max(other.art.width, 1.0)) if me.afloat else 1.0
        other = replace(other, art=other.art.moved(scale(max(k, 0.6))))
        moved = other.moved(x0 - 0.4 * PERSON - other.art.bounds()[2], 0)
        start = me.art.places.get("rope") or me.art.place("hand2" if "hand2" in me.art.places else "back")
        if "hip" in me.art.places:  # the puller faces the load
            moved = other.moved(me.art.bounds()[2] + 16 - other.art.bounds()[0], 0)
            start = me.art.place("hand")
            end = Anchor(moved.art.bounds()[0] + 2, 0.42 * moved.art.height)
        else:
            end = moved.art.places.get("mouth", Anchor(moved.art.bounds()[2], 0.4 * moved.art.height))
    else:
        moved = other.moved(me.art.bounds()[2] + 12 - other.art.bounds()[0], 0)
        start, end = me.art.place("hand"), moved.art.place("neck")
    sag = (start.x + end.x) / 2, min(start.y, end.y) - 3
    knot = arc(end.x, end.y, 2.2, 2.2)
    line = Shape((smooth(np.array(((start.x, start.y), sag, (end.x, end.y)))), knot), None, "sign")
    return joined([moved, me, Group(Art((line,)))], me)


def on_string(me: Group, art: Art) -> Group:
    """A kite or a balloon high up, with its string in the hand."""
    hand = me.art.place("hand") if "hand" in me.art.places else me.art.place("top")
    x0, y0, _, _ = art.bounds()
    moved = art.moved(shift(hand.x + 34 - x0, me.art.bounds()[3] + 14 - y0))
    end = moved.place("grip")
    line = smooth(np.array(((hand.x, hand.y), ((hand.x + end.x) / 2 + 6, (hand.y + end.y) / 2 - 6), (end.x, end.y))))
    return replace(me, art=Art((Shape((line,), None, "sign"), *moved.shapes, *me.art.shapes), me.art.places), up=False)


def in_claws(me: Group, load: Group, wings: Art) -> Group:
    """A bird in the air with spread wings and a load in its claws."""
    x0, y0, x1, y1 = load.art.bounds()
    k = max(1.0, 0.85 * (x1 - x0) / max(me.art.width, 1.0))
    flier = me.art.moved(scale(k))
    feet = flier.place("feet")
    hold = load.art.places.get("seat") or Anchor((x0 + x1) / 2, y1)
    lifted = 0.3 * PERSON
    art = flier.moved(shift(hold.x - feet.x, hold.y + lifted - flier.bounds()[1] - 2))
    lines = tuple(
        np.array(((x, y0 + lifted - 3 - 2 * (i % 2)), (x, y0 + lifted - 10 - 4 * (i % 2))))
        for i, x in enumerate(np.linspace(x0 + 0.2 * (x1 - x0), x1 - 0.2 * (x1 - x0), 4))
    )
    a, b, c, d = art.bounds()
    span = wings.moved(scale(2.0 * (c - a) / max(wings.width, 1.0)))
    root = span.bounds()
    spread = span.moved(shift((a + c) / 2 - (root[0] + root[2]) / 2, b + 0.5 * (d - b) - root[1]))
    parts = [Group(spread), Group(art), load.moved(0, lifted), Group(Art((Shape(lines, None, "sign"),)))]
    return replace(joined(parts, Group(art)), living=me.living, up=True)


def hung_from(me: Group, above: Group, *, by_feet: bool = False) -> Group:
    """Hanging from something by the hands, or upside down by the feet."""
    art = me.art
    x0, _, x1, y1 = art.bounds()
    if (
        me.art.height > 0.6 * above.art.height
        and not above.up
        and not {"branch", "hook", "under"} & set(above.art.places)
        and "hip" not in art.places
    ):
        wall = above.art.moved(scale(2.1 * me.art.height / max(above.art.height, 1.0)))
        a, b, c, d = wall.bounds()
        moved = me.moved((a + c) / 2 - (x0 + x1) / 2, 0.32 * (d - b))
        return joined([replace(above, art=wall), moved], moved)
    place = above.art.places.get("branch") or above.art.places.get("hook") or above.art.places.get("bars")
    a, b, c, _ = above.art.bounds()
    if place is None and "under" in above.art.places:  # at the rim of an umbrella, away from its handle
        x = (a + c) / 2 + 0.26 * (c - a)
        cut = above.art.silhouette().intersection(shapely.LineString([(x, b - 1), (x, b + above.art.height + 1)]))
        place = Anchor(x, cut.bounds[1] if not cut.is_empty else b + 0.6 * above.art.height)
    if place is None:
        place = Anchor((a + c) / 2 + 0.3 * (c - a), b + 0.55 * (above.art.height))
    hands = "hip" in art.places and not by_feet
    grip = art.place("hand") if hands else Anchor((x0 + x1) / 2, y1)
    if by_feet and "foot1" in art.places:
        grip = Anchor((art.place("foot1").x + art.place("foot2").x) / 2, y1)
    lift = max(0.0, y1 - (place.y - 0.0)) + (6 if place.y < y1 + 6 else 0)
    top = above.moved(0, lift)
    moved = me.moved(place.x - grip.x, place.y + lift - max(grip.y, grip.y if hands else y1))
    return joined([top, moved], moved)
