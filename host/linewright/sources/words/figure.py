"""`Figure`: an upright body with hands, in a pose; for people and for animals that act like people.

Units: an adult is 95 high, y up, the ground at 0; figures face right. Limbs are tubes that bend at elbow and knee, and
stretch slightly where a hand must reach.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np
import shapely
import shapely.affinity

from linewright.sources.words.art import Anchor, Art, Shape, merged, scale, shift, turn
from linewright.sources.words.curves import joined, outline, tube
from linewright.sources.words.poses import Pose
from linewright.sources.words.script import drawn

XY = tuple[float, float]


@dataclass(frozen=True)
class Figure:
    """Proportions and parts.

    Parameters
    ----------
    head : script; the neck's joint is its origin. People's heads are 26 high.
    head_size : factor on it.
    torso : script; the hip is its origin, the shoulders are ``spine`` above it.
    front, back : scripts over and behind the torso, from the same origin.
    tail : script behind everything, its root at the origin.
    arm, leg : length and radius of the limbs.
    hand : ``mitten``, ``paw``, ``hoof``, ``wing`` or ``fin``.
    foot : ``shoe``, ``paw``, ``hoof``, ``bird``, ``web``, ``bare`` or ``boot``.
    below : ``trousers``, ``skirt``, ``dress``, ``robe`` or ``bare``: what hides the legs.
    one_skin : torso and legs have one outline, as animals have.
    stance : half the way between the hips, in radii of a leg.
    neck : length and radius of a long neck below the head.
    shoulder : half the way between the shoulders; 0: as the arms are thick.
    """

    head: str
    head_size: float = 1.0
    torso: str = "S -8.5,0 -10,12 -10.5,23 -5,28 5,28 10.5,23 10,12 8.5,0 0,-2 :main"
    spine: float = 26.0
    front: str = ""
    back: str = ""
    tail: str = ""
    arm: XY = (33.0, 3.4)
    leg: XY = (36.0, 4.4)
    hand: str = "mitten"
    foot: str = "shoe"
    below: str = "trousers"
    one_skin: bool = False
    stance: float = 0.95
    neck: XY = (0.0, 0.0)
    shoulder: float = 0.0


@dataclass(frozen=True)
class Joints:
    """Positions of a posed figure's parts by name, and the torso's matrix."""

    hip: XY
    neck: XY
    lean: float
    shoulders: tuple[XY, XY]
    hands: tuple[XY, XY]
    feet: tuple[XY, XY]
    knees: tuple[XY, XY]
    elbows: tuple[XY, XY]
    toes: tuple[float, float]


def _as_it_is(art: Art) -> Art:
    return art


@dataclass(frozen=True, eq=False)
class Props:
    """Things on a figure, in its coordinates: behind it, between the legs, behind the head, before the near hand, and
    in front. ``foot`` and ``hand`` are worn on feet and hands; ``dress``, ``shoe`` and ``glove`` give colour and
    pattern of what body, feet and hands wear.
    """

    far: list[Art] = field(default_factory=list)
    under: list[Art] = field(default_factory=list)
    behind: list[Art] = field(default_factory=list)
    held: list[Art] = field(default_factory=list)
    front: list[Art] = field(default_factory=list)
    foot: str = ""
    hand: str = ""
    dress: Callable[[Art], Art] = _as_it_is
    shoe: Callable[[Art], Art] = _as_it_is
    glove: Callable[[Art], Art] = _as_it_is


def joints(figure: Figure, pose: Pose) -> Joints:
    """Positions of all joints with the lowest foot on the ground."""
    length, arm = figure.leg[0], figure.arm[0]
    aside = max(0.0, (figure.stance - 0.95) * figure.leg[1])
    feet = [(x * length + (aside, -aside)[i == 0], y * length) for i, (x, y) in enumerate(pose.feet)]
    hip = (0.0, -min(y for _, y in feet))
    lean = math.radians(pose.lean)

    def on_spine(x: float, y: float) -> XY:
        return (
            hip[0] + x * math.cos(lean) + y * math.sin(lean),
            hip[1] + y * math.cos(lean) - x * math.sin(lean),
        )

    neck = on_spine(0.0, figure.spine + 2.0)
    half = figure.shoulder or figure.arm[1] * 2.1
    shoulders = (on_spine(-half, figure.spine - 3.5), on_spine(half, figure.spine - 3.5))
    hands = [(neck[0] + x * arm, neck[1] + y * arm) for x, y in pose.hands]
    feet = [(hip[0] + x, hip[1] + y + (3.0 if figure.foot != "bird" else 0.5)) for x, y in feet]
    wide = figure.stance * figure.leg[1]
    hips = ((hip[0] - wide, hip[1] + 1), (hip[0] + wide, hip[1] + 1))
    elbows = [_bend(s, h, arm, b) for s, h, b in zip(shoulders, hands, pose.elbows, strict=True)]
    knees = [_bend(a, b, length, 1.0 if pose.forward else 0.25) for a, b in zip(hips, feet, strict=True)]
    return Joints(
        hip, neck, pose.lean, shoulders, (hands[0], hands[1]), (feet[0], feet[1]), (knees[0], knees[1]),
        (elbows[0], elbows[1]), pose.toes,
    )  # fmt: skip


def _bend(root: XY, end: XY, length: float, side: float) -> XY:
    """Middle joint of a limb of this length; ``side`` 1 bends it to the left of its direction, -1 to the right."""
    dx, dy = end[0] - root[0], end[1] - root[1]
    reach = max(math.hypot(dx, dy), 1e-6)
    out = math.sqrt(max((length / 2) ** 2 - (reach / 2) ** 2, 0.0)) * side
    return ((root[0] + end[0]) / 2 - dy / reach * out, (root[1] + end[1]) / 2 + dx / reach * out)


def posed(figure: Figure, pose: Pose, props: Props | None = None) -> Art:
    """The figure in a pose with its props, from back to front, and the places of its parts."""
    props = props or Props()
    at = joints(figure, pose)
    on_hip = (turn(-at.lean), shift(*at.hip))
    bare = drawn(figure.torso)
    dressed = drawn(f"{figure.torso}\n{figure.front}")  # together, so that what is on the torso can be cut at its edge
    torso = bare.moved(*on_hip)
    front = Art(dressed.shapes[len(bare.shapes) :], dressed.places).moved(*on_hip)
    parts = [drawn(figure.tail).moved(shift(0, 3), *on_hip), drawn(figure.back).moved(*on_hip)]
    parts += [*props.far, _limb(figure, at.shoulders[0], at.elbows[0], at.hands[0])]
    parts += [props.glove(_glove(props.hand, figure, at, 0))]
    foot = props.foot or figure.foot
    legs = [_leg(figure, at, i) for i in (0, 1)]
    shoes = [props.shoe(_foot(figure.foot if foot == "peg" and i == 0 else foot, figure, at, i)) for i in (0, 1)]
    if figure.one_skin and not props.under and torso.shapes and torso.shapes[0].area is not None and pose.one_skin:
        main = torso.shapes[0]
        near = legs[1].shapes[0].area
        whole = joined([main.area, near, legs[0].shapes[0].area], 1.6)
        skin = Shape(tuple(outline(whole)), whole, "main")
        parts += [shoes[0], shoes[1], Art((skin, *torso.shapes[1:]))] if foot in ("bird", "web") else [
            Art((skin, *torso.shapes[1:])), shoes[0], shoes[1],
        ]  # fmt: skip
    else:
        if figure.below == "tail":
            parts.append(_fishtail(at))
        else:
            parts += [legs[0], shoes[0], *props.under, legs[1], shoes[1]]
        if figure.below in ("skirt", "coat", "dress", "robe"):
            parts.append(props.dress(_skirt(figure, at)))
        parts.append(props.dress(torso))
    parts.append(props.dress(front))
    head = _head(figure, pose, at)
    parts += [*props.behind, head, *props.held, _limb(figure, at.shoulders[1], at.elbows[1], at.hands[1])]
    parts += [props.glove(_glove(props.hand, figure, at, 1)), *props.front]
    whole_art = merged(parts)
    return Art(whole_art.shapes, {**_places(figure, at), **torso.places, **head.places})


def garment(figure: Figure, wanted: str) -> Art:
    """Drawing of a garment without its wearer.

    Parameters
    ----------
    figure : dressed in it.
    wanted : ``legs``, ``skirt``, ``front`` (without sleeves) or ``sleeves``.
    """
    pose = Pose(hands=((-0.72, -0.62), (0.72, -0.62)), elbows=(-1.0, 1.0), feet=((-0.2, -1.0), (0.2, -1.0)))
    at = joints(figure, pose)
    on_hip = shift(*at.hip)
    bare = drawn(figure.torso)
    front = Art(drawn(f"{figure.torso}\n{figure.front}").shapes[len(bare.shapes) :])
    parts: list[Art] = []
    if wanted == "sleeves":
        parts += [_sleeve(figure, at, i) for i in (0, 1)]
    if wanted == "legs":
        parts += [_leg(figure, at, i) for i in (0, 1)]
        band = drawn("B -12,1 24,7,1; l 0,1 0,-8; B -2,2.6 4,3.6; l -9,1 -9,8; l 9,1 9,8").moved(on_hip)
        hems = [drawn("B -8,-5 16,7,1").moved(shift(*foot)) for foot in at.feet]
        return merged([*parts, band, *hems])
    if figure.below in ("skirt", "coat", "dress", "robe"):
        parts.append(_skirt(figure, at))
    if wanted == "skirt":
        below = shapely.box(-99, -99, 99, at.hip[1])
        cloth = [replace(s, lines=tuple(outline(s.area.intersection(below))), area=s.area.intersection(below))
                 for part in parts for s in part.shapes if s.area is not None]  # fmt: skip
        return merged(
            [Art(tuple(cloth)), drawn("B -9.5,-1 19,5,1; l 0,-3 0,-10; l -5,-3 -7,-10; l 5,-3 7,-10").moved(on_hip)]
        )
    collar = drawn("A 0,28 5,3.4 180,360").moved(on_hip)
    return merged([*parts, bare.moved(on_hip), front.moved(on_hip), collar])


def _sleeve(figure: Figure, at: Joints, i: int) -> Art:
    """A sleeve without the hand, wider at its end."""
    r = figure.arm[1]
    area = tube(np.array((at.shoulders[i], at.elbows[i], at.hands[i])), (r * 1.3, r * 1.25, r * 1.5))
    (x, y), (ex, ey) = at.hands[i], at.elbows[i]
    along = math.degrees(math.atan2(y - ey, x - ex))
    cuff = drawn(f"L -1,{-r * 1.7} {r * 1.6},{-r * 1.7} {r * 1.6},{r * 1.7} -1,{r * 1.7}").moved(
        turn(along), shift(x, y)
    )
    return Art((Shape(tuple(outline(area)), area, "arm"), *cuff.shapes))


def _head(figure: Figure, pose: Pose, at: Joints) -> Art:
    """The head at its joint, with a long neck below it if there is one."""
    head = drawn(figure.head).moved(scale(figure.head_size), turn(pose.head - at.lean * 0.5))
    long, r = figure.neck
    if not long:
        return head.moved(shift(*at.neck))
    root = np.array(at.neck) - (0.0, 4.0)
    top = root + (long * 0.12, long + 4.0)
    area = tube(np.array((root, (root + top) / 2 + (long * 0.06, 0), top)), (r * 1.5, r, r))
    neck = _open(area, (float(root[0]), float(root[1])), r * 1.08, "neck")
    return head.moved(shift(float(top[0]), float(top[1]))).over(Art((neck,)))


def places(figure: Figure, pose: Pose) -> dict[str, Anchor]:
    """Places of the posed figure, without drawing it."""
    at = joints(figure, pose)
    head = _head(figure, pose, at)
    torso = drawn(figure.torso).moved(turn(-at.lean), shift(*at.hip))
    return {**_places(figure, at), **torso.places, **head.places}


def _places(figure: Figure, at: Joints) -> dict[str, Anchor]:
    width = figure.leg[1] * 2
    middle = ((at.hip[0] + at.neck[0]) / 2, (at.hip[1] + at.neck[1]) / 2)
    return {
        "hip": Anchor(*at.hip, width * 2, -at.lean),
        "waist": Anchor(at.hip[0], at.hip[1] + figure.spine * 0.15, 20, -at.lean),
        "chest": Anchor(middle[0], middle[1] + 4, 20, -at.lean),
        "neck": Anchor(*at.neck, 14, -at.lean),
        "back": Anchor(middle[0] - 9, middle[1] + 5, 20, -at.lean),
        "shoulder": Anchor(at.shoulders[0][0] - 1, at.shoulders[0][1] + 5, 10),
        "hand": Anchor(*at.hands[1], 8),
        "hand2": Anchor(*at.hands[0], 8),
        "foot1": Anchor(at.feet[0][0], at.feet[0][1] - 3, width, at.toes[0]),
        "foot2": Anchor(at.feet[1][0], at.feet[1][1] - 3, width, at.toes[1]),
        "feet": Anchor((at.feet[0][0] + at.feet[1][0]) / 2, 0, 24),
        "lap": Anchor(at.hip[0] + 12, at.hip[1] + 5, 20),
    }


def _limb(figure: Figure, root: XY, joint: XY, end: XY) -> Art:
    """An arm with its hand; the outline is open at the shoulder, where it joins the body."""
    r = figure.arm[1]
    if figure.hand == "wing":
        return _wing(figure, root, joint, end)
    area = tube(np.array((root, joint, end)), (r * 1.1, r, r * 0.9))
    hand_r = r * 1.25
    direction = math.atan2(end[1] - joint[1], end[0] - joint[0])
    c, s = math.cos(direction), math.sin(direction)
    tip = shapely.Point(end[0] + c * hand_r * 0.6, end[1] + s * hand_r * 0.6)
    shapes = []
    if figure.hand == "mitten":
        thumb = shapely.LineString([(end[0], end[1]), (end[0] + c * 2 - s * 4, end[1] + s * 2 + c * 4)]).buffer(1.3)
        hand = joined([tip.buffer(hand_r), thumb], 1.0)
        shapes = [Shape(tuple(outline(hand)), hand, "hand"), _open(area, root, r, "arm")]
        shapes.reverse()
    elif figure.hand == "claw":
        pincer = drawn(CLAW).moved(scale((r / 3.2) ** 2), turn(math.degrees(direction)), shift(*end))
        shapes = [_open(area, root, r, "arm"), *pincer.shapes]
    elif figure.hand == "hoof":
        shapes = [_open(area, root, r, "arm")]
        hoof = tip.buffer(hand_r).intersection(
            shapely.affinity.rotate(shapely.box(end[0], end[1] - 9, end[0] + 9, end[1] + 9), direction, end, True)
        )
        shapes.append(Shape(tuple(outline(hoof)), hoof, "hand"))
    else:
        flat = 1.5 if figure.hand == "fin" else 1.0
        whole = joined([area, tip.buffer(hand_r * flat)], 1.5)
        skin = _open(whole, root, r, "arm")
        lines = [*skin.lines]
        if figure.hand == "paw":
            for a in (-0.45, 0.45):
                far_end = np.array((end[0] + c * hand_r * 1.5, end[1] + s * hand_r * 1.5))
                side = np.array((-s, c)) * a * hand_r
                lines.append(np.array((far_end + side, far_end + side - np.array((c, s)) * hand_r * 0.8)))
        shapes = [Shape(tuple(lines), whole, "arm")]
    return Art(tuple(shapes))


def _open(area: shapely.Geometry, root: XY, r: float, tag: str) -> Shape:
    """A limb's area, with its outline open at the root."""
    cut = shapely.difference(area.boundary, shapely.Point(root).buffer(r * 1.45))
    lines = [shapely.get_coordinates(p) for p in shapely.get_parts(shapely.line_merge(cut)) if p.length > 1]
    return Shape(tuple(lines), area, tag)


def _wing(figure: Figure, root: XY, joint: XY, end: XY) -> Art:
    """A wing in place of an arm, with feathers at its end."""
    r = figure.arm[1]
    base = tube(np.array((root, joint, end)), (r * 1.5, r * 1.7, r * 0.9))
    direction = math.degrees(math.atan2(end[1] - joint[1], end[0] - joint[0]))
    feathers = []
    for spread, long in ((28.0, 2.6), (0.0, 3.0), (-28.0, 2.6)):
        a = math.radians(direction + spread)
        tip = (end[0] + math.cos(a) * r * long, end[1] + math.sin(a) * r * long)
        feathers.append(tube(np.array((end, tip)), (r * 0.75, r * 0.55)))
    whole = joined([base, *feathers], 0.4)
    return Art((_open(whole, root, r * 1.3, "arm"),))


def _leg(figure: Figure, at: Joints, i: int) -> Art:
    r = figure.leg[1]
    hip = (at.hip[0] + (-figure.stance, figure.stance)[i] * r, at.hip[1] + 1)
    slim = 0.8 if figure.below == "bare" else 0.95
    area = tube(np.array((hip, at.knees[i], at.feet[i])), (r * 1.1, r, r * slim))
    return Art((Shape(tuple(outline(area)), area, "leg"),))


def _fishtail(at: Joints) -> Art:
    """A mermaid's tail in place of legs."""
    knee, foot = at.knees[1], at.feet[1]
    area = tube(np.array((at.hip, knee, foot)), (10.0, 8.0, 3.5))
    along = math.degrees(math.atan2(foot[1] - knee[1], foot[0] - knee[0]))
    fin = drawn("S 0,3! 10,12 18,12 13,4 17,-6 9,-8 0,-3!").moved(turn(along), shift(*foot))
    scales = drawn("A -4,0 4,3 200,340; A 4,0 4,3 200,340; A 0,-6 4,3 200,340").moved(shift(at.hip[0], at.hip[1] - 4))
    return scales.over(Art((*fin.shapes, Shape(tuple(outline(area)), area, "skirt"))))


def _skirt(figure: Figure, at: Joints) -> Art:
    """A skirt from the waist over the knees, or to the feet."""
    long = {"skirt": 0.35, "coat": 0.4, "dress": 0.75, "robe": 1.0}[figure.below]
    ends: list[shapely.Geometry] = [shapely.Point(at.hip[0], at.hip[1] + 4).buffer(8)]
    for knee, foot in zip(at.knees, at.feet, strict=True):
        share = max(0.0, (long - 0.4) / 0.6)
        down = (knee[0] + (foot[0] - knee[0]) * share, knee[1] + (foot[1] - knee[1]) * share)
        wide = figure.leg[1] * (1.6 if figure.below == "skirt" else 2.0)
        y = max(down[1], 3.5)
        ends.append(shapely.box(down[0] - wide, y, down[0] + wide, y + 2))
    area = shapely.convex_hull(shapely.union_all(ends))
    hem = area.bounds
    folds = [
        np.array(((at.hip[0] + dx * 0.25, at.hip[1] - 6), (at.hip[0] + dx, hem[1] + 3)))
        for dx in (-0.28 * (hem[2] - hem[0]), 0.26 * (hem[2] - hem[0]))
        if figure.below != "coat" and at.hip[1] - hem[1] > 16 and hem[2] - hem[0] < 0.95 * figure.leg[0]
    ]
    return Art((Shape((*outline(area), *folds), area, "skirt"),))


CLAW: Final = "S -1,-4! 4,-6 9,-4 10,-1! 6,-2 3,0 6,2 10,1! 9,4 4,6 -1,4!"

FEET: Final[dict[str, str]] = {
    "shoe": "S -3.6,0! -4,5.5 0,7 3.6,4.6 8.5,3 9.4,0!",
    "laced": "S -4.4,2.4! -4.6,9.6! 1.4,10.4! 3.4,6.4 8.6,5.4 10.6,2.4!; B -4.8,0 15.6,2.6,.8; l 1.6,8.4 4.4,9.2; l 2.4,7 5.4,7.6; l 3.8,6 6.8,6.4; s 1.4,10.4 3,13 4.6,11.4; s 1.4,10.4 -0.6,13 -1.4,11; s -4.6,7.4 -1.4,6.6 -0.6,2.6",
    "boot": "S -4.4,0! -4.6,14! 4.4,14! 4.6,6 9.4,4.5 10.4,0!; l -4.6,11.5 4.4,11.5; l -4.3,1.8 10,1.8",
    "paw": "O 1.8,2.6 6,3; s 4.6,0.6 4.4,2.4; s 6.6,1.2 6.4,3",
    "hoof": "L -3.2,5 3.2,5 4.6,0 -3.6,0; l 0.8,2.6 1,0",
    "bare": "S -3,0! -3.4,5 0,6 5,4 8.4,2.6 8,0!; s 6.4,0.6 6.2,2.2",
    "bird": "l 0,4 0,0.6 6.5,0; l 0,0.6 4.5,2.4; l 0,0.6 -3.6,0",
    "web": "S -2,3! 0,4! 9,0! 5.5,0.6! 3,0! 0.5,0.8! -3,0!; l 0.2,3.4 3,0.2",
    "long": "S -3.6,0! -4,5.5 0,7 6,5 16,5 20,2.4 19,0!; O 17,5.6 2",
    "point": "S -2.6,6! 2.6,6! 6,1 7.6,0! -2,0!",
    "block": "B -4,0 13,6,1",
    "heel": "S -3.6,9! 1.4,9! 5,3.4 10,1.6 10.4,0! 5,0 0,4 -2.4,6!; l -3.4,8 -3,0; l -3,0 -1.4,0; l -1.4,0 -2,5",
    "flipper": "S -3,5! 3,6! 12,3 20,2 22,0! 4,0 -3,0!; l 6,3.4 18,1.2; l 4,1.4 16,.6",
    "iceskate": "S -3.8,3! -4,13! 3.6,13! 4,8 8.4,6 9.4,3!; l -5,0 11,0; s 11,0 13,.6 13,2.4; l -2,3 -2,0; l 6,3 6,0; l -1,10 3,10; l -1,8 3,8",
    "rollerskate": "S -3.8,4! -4,14! 3.6,14! 4,9 8.4,7 9.4,4!; O -2,2 2.4; O 7,2 2.4; O -2,2 .8; O 7,2 .8; l -1,11 3,11",
    "ski": "S -3.6,2! -4,7.5 0,9 3.6,6.6 8.5,5 9.4,2!; S -22,0! -22,1.6! 22,1.6! 29,6! 30,5! 23,0!",
    "snowshoe": "S -3.6,2! -4,7.5 0,9 3.6,6.6 8.5,5 9.4,2!; O 3,1.4 14,2.4; v -9,1.4 15,1.4 8,1.4",
    "stilt": "S -3.6,0! -4,5.5 0,7 3.6,4.6 8.5,3 9.4,0!; T 1,-1,1.4 1,-34,1.2; B -4,-2.4 12,2.4",
    "sock": "S -3.6,0! -4,13! 4,13! 4,6 8.5,4 9,0!; l -4,10.6 4,10.6; l -4,8.4 4,8.4; l -4,6.2 4,6.2",
    "peg": "B -5.6,-2 11.2,18 ~; L -2,12 2,12 1.5,0 -1.5,0; l -0.4,11 -0.2,2; S -5.6,22! -4.6,14 -2.2,11! 2.2,11! 4.6,14 5.6,22!; l -5.2,18.6 5.2,18.6; B -2.4,0 4.8,1.6",
    "none": "",
}
"""Shapes of feet, relative to the ankle, facing right, for legs with a radius of 4.4."""


def _glove(script: str, figure: Figure, at: Joints, i: int) -> Art:
    """What a hand wears."""
    (x, y), (ex, ey) = at.hands[i], at.elbows[i]
    along = math.degrees(math.atan2(y - ey, x - ex)) - 90
    return drawn(script).moved(scale(figure.arm[1] / 3.4), turn(along), shift(x, y))


def _foot(kind: str, figure: Figure, at: Joints, i: int) -> Art:
    size = max(figure.leg[1] / 4.4, 0.75)
    x, y = at.feet[i]
    lift = 3.0 if figure.foot != "bird" else 0.5
    art = drawn(FEET[kind]).moved(scale(size), shift(0, -lift), turn(at.toes[i]), shift(x, y))
    return art.with_shapes(Shape(s.lines, s.area, "foot", s.pen) for s in art.shapes)
