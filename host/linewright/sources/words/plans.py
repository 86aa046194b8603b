"""Drawings of animals that walk, stand on two thin legs, or swim, from proportions.

Heads are scripts with the neck joint as origin, facing right, about 26 units high at size 1 like people's heads, so
that they also fit upright figures.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from linewright.sources.words.art import Anchor, Art, Shape, merged, scale, shift, turn
from linewright.sources.words.curves import joined, outline, solid, tube
from linewright.sources.words.figure import FEET
from linewright.sources.words.script import drawn


@dataclass(frozen=True)
class FourLegs:
    """An animal on four legs.

    Parameters
    ----------
    head, size : script and its factor.
    joint : where the neck ends, from the shoulder.
    length : from hip to shoulder.
    leg : length and radius.
    rump, chest : radii of the body; ``belly`` that of its middle.
    neck : radii at the shoulder and at the head.
    tail : script, root at the origin, pointing left.
    foot : see `figure.FEET`.
    over : script over the body, whose middle is the origin: patches, manes, stripes; cut at its edge.
    above : the same, not cut.
    merge : the head's first shape shares its outline with the body.
    slope : how much higher the shoulder is than the hip.
    """

    head: str
    size: float = 1.0
    joint: tuple[float, float] = (12.0, 14.0)
    length: float = 46.0
    leg: tuple[float, float] = (24.0, 4.2)
    rump: float = 12.0
    chest: float = 12.5
    belly: float = 12.0
    neck: tuple[float, float] = (9.0, 7.0)
    tail: str = ""
    foot: str = "paw"
    over: str = ""
    above: str = ""
    merge: bool = False
    slope: float = 0.0
    head_turn: float = 0.0


def four_legs(plan: FourLegs) -> Art:
    """The animal, standing."""
    half, (long, r) = plan.length / 2, plan.leg
    hip = np.array((-half, long + plan.rump * 0.75))
    shoulder = np.array((half, long + plan.chest * 0.75 + plan.slope))
    middle = (hip + shoulder) / 2 + (0, -0.08 * plan.belly)
    joint = shoulder + plan.joint
    body = tube(np.array((hip, middle, shoulder)), (plan.rump, plan.belly, plan.chest))
    neck = tube(np.array((shoulder, (shoulder + joint) / 2 + (1, -1), joint)), (*_three(plan.neck),))
    near = [_hind(hip, plan, 0.0), _fore(shoulder, plan, 0.0)]
    far = [_hind(hip, plan, 9.0), _fore(shoulder, plan, -8.0)]
    feet = [(hip[0] + 1, 0.0), (shoulder[0] - 1, 0.0), (hip[0] + 10, 1.5), (shoulder[0] - 9, 1.5)]
    head = drawn(plan.head).moved(scale(plan.size), turn(plan.head_turn), shift(*joint))
    skins = [body, neck, *near]
    shapes = list(head.shapes)
    if plan.merge and shapes[0].area is not None:
        skins.append(shapes.pop(0).area)
    whole = joined(skins, 3.5)
    behind = [drawn(plan.tail).moved(shift(hip[0] - plan.rump * 0.86, hip[1] + plan.rump * 0.35))]
    for area, at in zip(far, feet[2:], strict=True):
        behind += [Art((Shape(tuple(outline(area)), area, "leg"),)), _foot(plan, at)]
    skin = Art((Shape(tuple(outline(whole)), whole, "main"),))
    over = drawn(plan.over).moved(shift(*middle))
    front = [_foot(plan, at) for at in feet[:2]]
    above = drawn(plan.above).moved(shift(*middle))
    art = merged([*behind, skin, _within(over, whole), above, *front, Art(tuple(shapes), head.places)])
    marks = {f"foot{i + 1}": Anchor(at[0], at[1], r * 2.2) for i, at in enumerate(feet)}
    middle_neck = (shoulder + joint) / 2
    return art.with_places(
        **marks,
        seat=Anchor(middle[0] - 2, middle[1] + plan.belly, plan.length * 0.6),
        back=Anchor(hip[0] + 4, hip[1] + plan.rump, plan.rump * 1.4),
        neck=Anchor(
            float(middle_neck[0]), float(middle_neck[1]), plan.neck[1] * 2.1, -25 if plan.joint[1] > 4 else -70
        ),
        chest=Anchor(shoulder[0] + plan.chest * 0.5, shoulder[1], 12),
        hand=head.places.get("mouth", Anchor(float(joint[0]), float(joint[1]), 8)),
        tail=Anchor(hip[0] - plan.rump, hip[1], 8),
    )


def _three(pair: tuple[float, float]) -> tuple[float, float, float]:
    return pair[0], (pair[0] + pair[1]) / 2, pair[1]


def _hind(hip: np.ndarray[tuple[int], np.dtype[np.float64]], plan: FourLegs, forward: float) -> shapely.Geometry:
    long, r = plan.leg
    x = hip[0] + forward
    knee = (x + r * 0.5, long * 0.85) if plan.foot == "hoof" else (x + r * 0.8, long * 0.8)
    back = (x - r * 0.9, long * 0.42)
    lift = 1.5 if forward else 0.0
    points = np.array(((x, hip[1] - 1), knee, back, (x + 0.5, r * 0.9 + lift)))
    return tube(points, (plan.rump * 0.8, max(r * 1.7, plan.rump * 0.55), r * 1.0, r * 0.95))


def _fore(shoulder: np.ndarray[tuple[int], np.dtype[np.float64]], plan: FourLegs, forward: float) -> shapely.Geometry:
    long, r = plan.leg
    x = shoulder[0] + forward
    lift = 1.5 if forward else 0.0
    points = np.array(((x, shoulder[1] - 2), (x, long * 0.75), (x - 1, long * 0.4), (x - 1, r * 0.9 + lift)))
    return tube(points, (plan.chest * 0.6, r * 1.35, r * 1.02, r * 0.95))


def _foot(plan: FourLegs, at: tuple[float, float]) -> Art:
    art = drawn(FEET[plan.foot]).moved(scale(plan.leg[1] / 4.4), shift(*at))
    return art.mapped(lambda s: Shape(s.lines, s.area, "foot", s.pen))


def _within(over: Art, area: shapely.Geometry) -> Art:
    """Marks on the skin, clipped at the outline unless tagged ``free``."""
    shapes = []
    for shape in over.shapes:
        if shape.tag == "free":
            shapes.append(shape)
            continue
        lines = [
            shapely.get_coordinates(part)
            for line in shape.lines
            for part in shapely.get_parts(shapely.intersection(shapely.linestrings(line), area))
            if part.geom_type == "LineString" and part.length > 0.6
        ]
        hides = None if shape.area is None else solid(shape.area.intersection(area.buffer(-0.1)))
        shapes.append(Shape(tuple(lines), hides, shape.tag, shape.pen))
    return over.with_shapes(shapes)


@dataclass(frozen=True)
class Bird:
    """A bird on its legs, seen from the side.

    Parameters
    ----------
    head, size : script and its factor.
    body : half length, half height and tilt of the egg, degrees up.
    neck : points from the chest to the joint of the head, from the middle of the body, each with a radius.
    leg : length; 0: it swims or sits.
    foot : ``bird`` or ``web``.
    tail, wing, over : scripts; the tail from the end of the body, the others from its middle.
    """

    head: str
    size: float = 0.8
    body: tuple[float, float, float] = (22.0, 14.0, 15.0)
    neck: tuple[tuple[float, float, float], ...] = ((12, 6, 9), (15, 14, 7))
    leg: float = 14.0
    foot: str = "bird"
    tail: str = "S 4,4! -14,3 -16,-1! -12,-3! -14,-5! 4,-5!"
    wing: str = "S 10,4 2,7 -12,3 -22,-4! -10,-6 2,-6 9,-2; s -16,-3 -8,-2 -4,-4; s -12,1 -4,1 0,-1"
    over: str = ""
    merge: bool = True


def bird(plan: Bird) -> Art:
    """The bird, standing or afloat."""
    half, high, tilt = plan.body
    centre = np.array((0.0, plan.leg + high * 0.95))
    egg = drawn(f"S {half},0 {half * 0.5},{high * 0.85} {-half * 0.4},{high * 0.8} {-half},0 {-half * 0.3},{-high * 0.9} "
                f"{half * 0.6},{-high}").moved(turn(tilt), shift(*centre))  # fmt: skip
    neck_points = np.array(plan.neck)
    neck = tube(neck_points[:, :2] + centre, neck_points[:, 2].tolist())
    joint = neck_points[-1, :2] + centre
    head = drawn(plan.head).moved(scale(plan.size), shift(*joint))
    shapes = list(head.shapes)
    assert egg.shapes[0].area is not None
    skins: list[shapely.Geometry] = [egg.shapes[0].area, neck]
    if plan.merge and shapes[0].area is not None:
        skins.append(shapes.pop(0).area)
    whole = joined(skins, 3.0)
    tail = drawn(plan.tail).moved(turn(tilt), shift(*(centre + _turned((-half * 0.9, 1), tilt))))
    legs = []
    feet = {}
    for i, x in enumerate((3.5, -3.0)):
        if plan.leg:
            foot = drawn(FEET[plan.foot]).moved(scale(0.85), shift(x, 0 if i else 1.2))
            leg = drawn(f"T {x},{centre[1] - high * 0.6},1.3 {x},{2 if i else 3},1.0")
            legs += [leg, foot]
            feet[f"foot{i + 1}"] = Anchor(x, 0 if i else 1.2, 6.0)
    skin = Art((Shape(tuple(outline(whole)), whole, "main"),))
    over = _within(drawn(plan.over).moved(turn(tilt), shift(*centre)), whole)
    wing = drawn(plan.wing).moved(turn(tilt), shift(*centre))
    art = merged([tail, *legs, skin, over, wing, Art(tuple(shapes), head.places)])
    return art.with_places(
        **feet,
        seat=Anchor(-half * 0.2, centre[1] + high * 0.8, half),
        neck=Anchor(float(joint[0]), float(joint[1]) - 2, float(neck_points[-1, 2]) * 2.2, 0),
        back=Anchor(-half * 0.5, centre[1] + high * 0.7, half * 0.6),
        hand=head.places.get("mouth", Anchor(float(joint[0]), float(joint[1]), 8)),
    )


def _turned(point: tuple[float, float], degrees: float) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    return np.asarray(turn(degrees)[:, :2] @ np.array(point))
